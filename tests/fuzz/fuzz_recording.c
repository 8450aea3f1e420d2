/* One input of a recording target: streamed as a whole, and read into memory in pieces; each mounted and judged, both
   compared. */
#include "fuzz.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

/* What a sink was given. Samples beyond the room are counted only. */
typedef struct gathered {
    size_t axes, count, room;
    double *value[3]; /* in the file's units */
    size_t breaks, lost;
} gathered;

enum { ROOM = 1 << 17 };

typedef struct outcome {
    quell_arena *arena;
    quell_status status;
    quell_error err;
    quell_recording recording;
    quell_mounting mounting;
    quell_fitness fitness;
} outcome;

static quell_status begin(void *context, size_t axes, double rate_hz, quell_error *err)
{
    (void)err;
    gathered *all = context;
    FUZZ_CHECK(all->axes == 0 && all->count == 0, "begun again after %zu samples", all->count);
    FUZZ_CHECK(axes >= 1 && axes <= 3 && isfinite(rate_hz) && rate_hz > 0, "%zu axes, %g Hz", axes, rate_hz);
    all->axes = axes;
    return QUELL_OK;
}

static quell_status take(void *context, const double *const *value, size_t n, quell_error *err)
{
    (void)err;
    gathered *all = context;
    FUZZ_CHECK(all->axes > 0, "samples before the beginning");
    for (size_t k = 0; k < all->axes; k++)
        for (size_t i = 0; i < n; i++) {
            FUZZ_CHECK(isfinite(value[k][i]), "sample %zu of axis %zu", all->count + i, k);
            if (all->count + i < all->room)
                all->value[k][all->count + i] = value[k][i];
        }
    all->count += n;
    return QUELL_OK;
}

static quell_status gap(void *context, size_t lost, quell_error *err)
{
    (void)err;
    gathered *all = context;
    FUZZ_CHECK(lost > 0 && all->count > 0, "%zu lost after %zu samples", lost, all->count);
    all->breaks++;
    all->lost += lost;
    return QUELL_OK;
}

static bool reads_memory(quell_status status)
{
    return status == QUELL_OK || status == QUELL_E_MEMORY;
}

/* Mounting and judging of what was read. */
static void judge(outcome *out, const fuzz_setup *setup)
{
    fuzz_check_recording(&out->recording);
    out->status =
        quell_mounting_find(&out->mounting, &out->recording, 'x', &setup->read, out->arena, &out->err);
    FUZZ_CHECK(reads_memory(out->status), "mounting: %s", out->err.text);
    if (out->status != QUELL_OK)
        return;
    fuzz_check_mounting(&out->mounting, &out->recording);
    quell_mounting_apply(&out->mounting, &out->recording);
    fuzz_check_recording(&out->recording);
    out->status = quell_recording_judge(&out->fitness, &out->recording, 0, out->arena, &out->err);
    FUZZ_CHECK(reads_memory(out->status), "judging: %s", out->err.text);
    if (out->status != QUELL_OK)
        return;
    fuzz_check_recording(&out->recording);
    fuzz_check_fitness(&out->fitness, &out->recording);
}

static void check_gathered(const gathered *all, const quell_recording *recording)
{
    FUZZ_CHECK(all->axes == recording->axes && all->count == recording->samples,
               "%zu x %zu given, %zu x %zu read", all->axes, all->count, recording->axes, recording->samples);
    bool streamed = recording->accel_mps2[0] == NULL; /* then the sink alone knows where they are */
    FUZZ_CHECK(streamed || all->breaks == recording->break_count, "%zu breaks given, %zu read", all->breaks,
               recording->break_count);
    FUZZ_CHECK(all->breaks <= recording->gaps, "%zu breaks, %zu gaps", all->breaks, recording->gaps);
    FUZZ_CHECK(all->lost + recording->filled_samples == recording->lost_samples,
               "%zu not filled, %zu filled, %zu lost", all->lost, recording->filled_samples,
               recording->lost_samples);
    for (size_t k = 0; k < recording->axes && recording->accel_mps2[k] != NULL; k++)
        for (size_t i = 0; i < all->count && i < all->room; i++) {
            double given = all->value[k][i] * recording->scale_mps2[k], read = recording->accel_mps2[k][i];
            FUZZ_CHECK(fabs(given - read) <= 1e-12 * fabs(read),
                       "sample %zu of axis %zu: %.17g given, %.17g read", i, k, given, read);
        }
}

/* With `fill` the recording is streamed and its samples are gathered there; else it is read, and compared with `like`
   if that is given. */
static void read_once(outcome *out, const fuzz_setup *setup, fuzz_source *state, gathered *fill,
                      const gathered *like)
{
    quell_source source = fuzz_source_open(state);
    const quell_sink sink = {.context = fill, .begin = begin, .take = take, .gap = gap};
    const quell_recording untouched = {.samples = 4711};
    *out = (outcome){.arena = quell_arena_create(FUZZ_ARENA), .recording = untouched};
    if (out->arena == NULL)
        abort();
    if (setup->trouble == FUZZ_NO_MEMORY)
        quell_memory_fail_at(setup->amount + 1);
    out->status =
        fill != NULL
            ? quell_recording_stream(&out->recording, &source, &setup->read, &sink, out->arena, &out->err)
            : quell_recording_read(&out->recording, &source, &setup->read, out->arena, &out->err);
    if (out->status == QUELL_OK) {
        if (fill != NULL || like != NULL)
            check_gathered(fill != NULL ? fill : like, &out->recording);
        judge(out, setup);
    } else {
        FUZZ_CHECK(out->recording.samples == 4711, "out was touched: %s", out->err.text);
    }
    quell_memory_fail_at(0);
    bool read = out->recording.samples != 4711; /* mounting and judging do not know the file's name */
    if (out->status != QUELL_OK)
        fuzz_check_error(&out->err, out->status, read ? NULL : "input");
}

static void check_same(const outcome *a, const outcome *b)
{
    FUZZ_CHECK(a->status == b->status, "streamed: status %d, %s; in pieces: status %d, %s", (int)a->status,
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

/* With trouble, an outcome is the one without it, or names the trouble; a failed source is never passed over. Who reads
   ahead may meet it while the rows before are still to be refused. */
static void check_trouble(const fuzz_setup *setup, const outcome *good, const outcome *bad,
                          const fuzz_source *state)
{
    bool refused_before = setup->threads > 1 && bad->status == QUELL_E_DATA && good->status == QUELL_E_DATA;
    if (state->failed && !refused_before) {
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
    double *room = malloc(3 * ROOM * sizeof *room);
    if (room == NULL)
        abort();
    gathered all = {.room = ROOM, .value = {room, room + ROOM, room + 2 * (size_t)ROOM}};
    fuzz_setup plain = *setup;
    plain.trouble = FUZZ_NONE;
    outcome streamed, read;
    fuzz_source source = {.bytes = bytes, .size = length};
    read_once(&streamed, &plain, &source, &all, NULL);
    FUZZ_CHECK(streamed.status != QUELL_E_IO && streamed.status != QUELL_E_MEMORY, "%zu bytes: %s", length,
               streamed.err.text);
    source = (fuzz_source){.bytes = bytes, .size = length, .piece = setup->piece};
    if (setup->trouble == FUZZ_SOURCE_FAILS) {
        source.fails = true;
        source.fail_after = setup->amount;
    }
    fuzz_setup ahead = *setup; /* with the one that reads ahead, if there is to be one */
    ahead.read.threads = setup->threads;
    read_once(&read, &ahead, &source, NULL, streamed.status == QUELL_OK ? &all : NULL);
    bool too_large = may_be_large && read.status == QUELL_E_MEMORY;
    if (!too_large)
        check_trouble(setup, &streamed, &read, &source);
    quell_arena_destroy(streamed.arena);
    quell_arena_destroy(read.arena);
    free(room);
    free(bytes);
}
