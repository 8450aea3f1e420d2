/* Fuzz target: plans of test motion, and the words that state one. */
#include "fuzz.h"

#include "quell/modes.h"
#include "quell/simulate.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

enum { HEAD = 3 }; /* bytes: the pieces, the trouble, and a line's end to keep the corpus readable */

static quell_status read_plan(quell_shaking *out, fuzz_source *state, quell_error *err)
{
    quell_source source = fuzz_source_open(state);
    return quell_shaking_read(out, &source, err);
}

static bool is_between(double value, double most)
{
    return isfinite(value) && value > 0 && value <= most;
}

/* What a fit relies on without looking again. */
static void check_shaking(const quell_shaking *shaking, bool from_plan)
{
    const quell_sweep *sweep = &shaking->sweep;
    FUZZ_CHECK(shaking->stated && strcmp(shaking->why, "as stated") == 0, "not stated");
    FUZZ_CHECK(shaking->kind <= QUELL_EXCITE_AMBIENT, "kind %d", (int)shaking->kind);
    FUZZ_CHECK(!from_plan || shaking->kind != QUELL_EXCITE_AMBIENT, "a plan of no motion");
    FUZZ_CHECK(shaking->axis == 0 || shaking->axis == 'x' || shaking->axis == 'y', "axis %d", shaking->axis);
    FUZZ_CHECK(!shaking->sweep_known || shaking->kind == QUELL_EXCITE_SWEEP, "a sweep of another kind");
    FUZZ_CHECK(!from_plan || shaking->sweep_known == (shaking->kind == QUELL_EXCITE_SWEEP), "no sweep");
    FUZZ_CHECK(shaking->duration_s == 0 || is_between(shaking->duration_s, 1e5), "%g s", shaking->duration_s);
    FUZZ_CHECK(shaking->sweep_known || !shaking->acceleration_known, "of no sweep");
    FUZZ_CHECK(shaking->acceleration_known || sweep->acceleration_mps2 == 1, "%g", sweep->acceleration_mps2);
    if (!shaking->sweep_known)
        return;
    FUZZ_CHECK(quell_motion_check_sweep(sweep, NULL) == QUELL_OK, "%g to %g Hz", sweep->start_hz, sweep->end_hz);
    FUZZ_CHECK(sweep->start_hz > 0 && sweep->end_hz > sweep->start_hz && is_between(sweep->rate_hz_per_s, HUGE_VAL) &&
                   is_between(sweep->acceleration_mps2, HUGE_VAL),
               "%g to %g Hz", sweep->start_hz, sweep->end_hz);
    FUZZ_CHECK(!from_plan || (sweep->end_hz <= 1e5 && sweep->rate_hz_per_s <= 1e5 && sweep->acceleration_mps2 <= 1e4),
               "out of range");
}

/* Field by field: the bytes between fields may differ. */
static bool is_same(const quell_shaking *a, const quell_shaking *b)
{
    return a->kind == b->kind && a->sweep_known == b->sweep_known && a->axis == b->axis &&
           a->acceleration_known == b->acceleration_known && a->sweep.start_hz == b->sweep.start_hz &&
           a->sweep.end_hz == b->sweep.end_hz && a->sweep.rate_hz_per_s == b->sweep.rate_hz_per_s &&
           a->sweep.acceleration_mps2 == b->sweep.acceleration_mps2 && a->duration_s == b->duration_s;
}

/* The same bytes as a person's words. */
static void state_in_words(const uint8_t *data, size_t size)
{
    char *text = malloc(size + 1);
    if (text == NULL)
        abort();
    memcpy(text, data, size);
    text[size] = '\0';
    quell_shaking shaking = {.first = 4711};
    quell_error err = {0};
    quell_status status = quell_shaking_parse(&shaking, text, &err);
    if (status == QUELL_OK) {
        check_shaking(&shaking, false);
    } else {
        FUZZ_CHECK(status == QUELL_E_USAGE, "status %d: %s", (int)status, err.text);
        FUZZ_CHECK(shaking.first == 4711, "out was touched: %s", err.text);
        fuzz_check_error(&err, status, NULL);
    }
    free(text);
}

/* The same bytes as moves that drive a machine: events in order of time, and at rest in the end. */
static void drive(fuzz_source state)
{
    quell_source source = fuzz_source_open(&state);
    quell_planned_motion planned = {.start_s = 4711};
    quell_error err = {0};
    quell_status status = quell_planned_motion_read(&planned, &source, &err);
    if (status != QUELL_OK) {
        FUZZ_CHECK(status == QUELL_E_DATA, "status %d: %s", (int)status, err.text);
        FUZZ_CHECK(planned.start_s == 4711, "out was touched: %s", err.text);
        fuzz_check_error(&err, status, "input");
        return;
    }
    double sum = 0, most = 0;
    for (size_t i = 0; i < planned.list.count; i++) {
        const quell_event *event = &planned.list.event[i];
        FUZZ_CHECK(isfinite(event->time_s) && (i == 0 || event->time_s >= event[-1].time_s), "event %zu at %g s", i, event->time_s);
        sum += event->acceleration_mps2;
        most = fmax(most, fabs(event->acceleration_mps2));
    }
    FUZZ_CHECK(planned.path != NULL && isfinite(planned.list.end_s), "ends at %g s", planned.list.end_s);
    FUZZ_CHECK(fabs(sum) <= 1e-9 * most * (double)(planned.list.count + 1), "does not end at rest: %g", sum);
    quell_motion_list_free(&planned.list);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    size_t piece = size > 0 ? (uint8_t)(data[0] - '0') + 1u : 1,
           trouble = size > 1 ? (uint8_t)(data[1] - '0') : 0;
    size_t head = size < HEAD ? size : HEAD;
    fuzz_source whole = {.bytes = data + head, .size = size - head}, pieces = whole;
    pieces.piece = piece;
    pieces.fails = trouble > 0;
    pieces.fail_after = trouble * 16;
    quell_shaking shaking[2] = {{.first = 4711}, {.first = 4711}};
    quell_error err = {0}, other = {0};
    quell_status status = read_plan(&shaking[0], &whole, &err);
    quell_status again = read_plan(&shaking[1], &pieces, &other);
    FUZZ_CHECK(pieces.failed ? again == QUELL_E_IO : again == status, "whole: %d, %s; in pieces: %d, %s",
               (int)status, err.text, (int)again, other.text);
    if (status == QUELL_OK) {
        check_shaking(&shaking[0], true);
        FUZZ_CHECK(pieces.failed || is_same(&shaking[0], &shaking[1]), "read differently");
    } else {
        FUZZ_CHECK(status == QUELL_E_DATA, "status %d: %s", (int)status, err.text);
        FUZZ_CHECK(shaking[0].first == 4711, "out was touched: %s", err.text);
        if (!pieces.failed)
            fuzz_check_same_error(&err, &other);
        fuzz_check_error(&err, status, "input");
    }
    drive((fuzz_source){.bytes = data + head, .size = size - head});
    state_in_words(data + head, size - head);
    return 0;
}
