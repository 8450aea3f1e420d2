/* One input of a recording target: read, mounted and judged as a whole and again in pieces, both outcomes compared. */
#include "fuzz.h"

#include <stdlib.h>
#include <string.h>

typedef struct outcome {
    quell_arena *arena;
    quell_status status;
    quell_error err;
    quell_recording recording;
    quell_mounting mounting;
    quell_fitness fitness;
} outcome;

static bool reads_memory(quell_status status)
{
    return status == QUELL_OK || status == QUELL_E_MEMORY;
}

static void read_once(outcome *out, const fuzz_setup *setup, fuzz_source *state)
{
    quell_source source = fuzz_source_open(state);
    const quell_recording untouched = {.samples = 4711};
    *out = (outcome){.arena = quell_arena_create(FUZZ_ARENA), .recording = untouched};
    if (out->arena == NULL)
        abort();
    if (setup->trouble == FUZZ_NO_MEMORY)
        quell_memory_fail_at(setup->amount + 1);
    out->status = quell_recording_read(&out->recording, &source, &setup->read, out->arena, &out->err);
    if (out->status == QUELL_OK) {
        fuzz_check_recording(&out->recording);
        out->status =
            quell_mounting_find(&out->mounting, &out->recording, 'x', &setup->read, out->arena, &out->err);
        FUZZ_CHECK(reads_memory(out->status) || setup->read.mount != NULL, "mounting: %s", out->err.text);
    } else {
        FUZZ_CHECK(out->recording.samples == 4711, "out was touched: %s", out->err.text);
    }
    if (out->status == QUELL_OK) {
        fuzz_check_mounting(&out->mounting, &out->recording);
        quell_mounting_apply(&out->mounting, &out->recording);
        fuzz_check_recording(&out->recording);
        out->status = quell_recording_judge(&out->fitness, &out->recording, 0, out->arena, &out->err);
        FUZZ_CHECK(reads_memory(out->status), "judging: %s", out->err.text);
    }
    quell_memory_fail_at(0);
    if (out->status == QUELL_OK) {
        fuzz_check_recording(&out->recording);
        fuzz_check_fitness(&out->fitness, &out->recording);
    } else {
        fuzz_check_error(&out->err, out->status);
    }
}

static void check_same(const outcome *a, const outcome *b)
{
    FUZZ_CHECK(a->status == b->status, "whole: status %d, %s; in pieces: status %d, %s", (int)a->status,
               a->err.text, (int)b->status, b->err.text);
    if (a->status != QUELL_OK) {
        fuzz_check_same_error(&a->err, &b->err);
        return;
    }
    fuzz_check_same_recording(&a->recording, &b->recording);
    FUZZ_CHECK(memcmp(a->mounting.map, b->mounting.map, sizeof a->mounting.map) == 0, "mounting");
    FUZZ_CHECK(strcmp(a->mounting.words, b->mounting.words) == 0, "%s; %s", a->mounting.words,
               b->mounting.words);
    FUZZ_CHECK(strcmp(a->fitness.verdict, b->fitness.verdict) == 0, "%s; %s", a->fitness.verdict,
               b->fitness.verdict);
    FUZZ_CHECK(strcmp(a->fitness.reason, b->fitness.reason) == 0, "%s; %s", a->fitness.reason,
               b->fitness.reason);
    FUZZ_CHECK(a->fitness.segments == b->fitness.segments, "segments");
}

/* With trouble, an outcome is the one without it, or names the trouble; a failed source is never passed over. */
static void check_trouble(const fuzz_setup *setup, const outcome *good, const outcome *bad,
                          const fuzz_source *state)
{
    if (state->failed) {
        FUZZ_CHECK(bad->status == QUELL_E_IO, "the source failed, the outcome is %d, %s", (int)bad->status,
                   bad->err.text);
        FUZZ_CHECK(strcmp(bad->err.text, "the disk was pulled out") == 0, "%s", bad->err.text);
    } else if (setup->trouble == FUZZ_SOURCE_FAILS || bad->status != QUELL_E_MEMORY) {
        check_same(good, bad);
    }
}

void fuzz_recording(const fuzz_setup *setup, const uint8_t *data, size_t size, bool may_be_large)
{
    size_t length;
    uint8_t *bytes = fuzz_bytes_make(setup, data, size, &length);
    fuzz_setup plain = *setup;
    plain.trouble = FUZZ_NONE;
    outcome whole, other;
    fuzz_source source = {.bytes = bytes, .size = length};
    read_once(&whole, &plain, &source);
    FUZZ_CHECK(whole.status != QUELL_E_IO, "%s", whole.err.text);
    FUZZ_CHECK(may_be_large || whole.status != QUELL_E_MEMORY, "%zu bytes: %s", length, whole.err.text);
    source = (fuzz_source){.bytes = bytes, .size = length, .piece = setup->piece};
    if (setup->trouble == FUZZ_SOURCE_FAILS) {
        source.fails = true;
        source.fail_after = setup->amount;
    }
    read_once(&other, setup, &source);
    check_trouble(setup, &whole, &other, &source);
    quell_arena_destroy(whole.arena);
    quell_arena_destroy(other.arena);
    free(bytes);
}
