/* Fuzz target: results of `quell modes --json` read again, and the ripple predicted from what was accepted. */
#include "fuzz.h"

#include "quell/predict.h"

#include <math.h>

enum { HEAD = 3 }; /* bytes: the pieces, the trouble, and a line's end to keep the corpus readable */

static quell_status read_saved(quell_modes *out, char *axis, quell_arena *arena, fuzz_source *state, quell_error *err)
{
    quell_source source = fuzz_source_open(state);
    return quell_modes_read(out, axis, &source, arena, err);
}

static void check_interval(const double interval[2], double value)
{
    bool unknown = isnan(interval[0]) && isnan(interval[1]);
    double slack = 1e-9 * fabs(value);
    FUZZ_CHECK(unknown || (interval[0] <= value + slack && interval[1] >= value - slack), "%g not in %g to %g", value, interval[0],
               interval[1]);
}

/* What a prediction relies on without looking again. */
static void check_modes(const quell_modes *modes, char axis)
{
    FUZZ_CHECK(modes->count <= QUELL_MODES_MAX, "%zu modes", modes->count);
    FUZZ_CHECK(axis == 0 || axis == 'x' || axis == 'y', "axis %d", axis);
    for (size_t k = 0; k < modes->count; k++) {
        const quell_mode *mode = &modes->mode[k];
        FUZZ_CHECK(mode->frequency_hz > 0 && mode->frequency_hz <= 1e6, "%g Hz", mode->frequency_hz);
        FUZZ_CHECK(mode->damping_ratio >= 0 && mode->damping_ratio < 1, "%g", mode->damping_ratio);
        FUZZ_CHECK(!modes->participation_known || isfinite(mode->participation), "participation");
        check_interval(mode->frequency_ci95_hz, mode->frequency_hz);
        check_interval(mode->damping_ratio_ci95, mode->damping_ratio);
        FUZZ_CHECK(mode->doubts <= QUELL_DOUBTS_MAX, "%zu doubts", mode->doubts);
    }
}

static void predict(const quell_modes *modes)
{
    const quell_event braking[] = {{-0.03, 0, -6, 0}, {0, -0.008, 6, 0}};
    const quell_motion stop = {2, braking};
    for (size_t k = 0; k < modes->count; k++) {
        if (!isfinite(modes->mode[k].participation))
            continue;
        quell_ripple ripple = quell_ripple_predict(&modes->mode[k], &stop, NULL, 0.1);
        FUZZ_CHECK(ripple.amplitude_m >= 0 && ripple.spacing_m > 0, "%g m", ripple.amplitude_m);
        FUZZ_CHECK(isnan(ripple.amplitude_ci95_m[0]) ||
                       (ripple.amplitude_ci95_m[0] <= ripple.amplitude_m && ripple.amplitude_ci95_m[1] >= ripple.amplitude_m),
                   "%g not in %g to %g", ripple.amplitude_m, ripple.amplitude_ci95_m[0], ripple.amplitude_ci95_m[1]);
    }
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    size_t piece = size > 0 ? (uint8_t)(data[0] - '0') + 1u : 1, trouble = size > 1 ? (uint8_t)(data[1] - '0') : 0;
    size_t head = size < HEAD ? size : HEAD;
    fuzz_source whole = {.bytes = data + head, .size = size - head}, pieces = whole;
    pieces.piece = piece;
    pieces.fails = trouble > 0;
    pieces.fail_after = trouble * 16;
    quell_arena *arena = quell_arena_create(1 << 22);
    quell_modes modes[2] = {{.count = 77}, {.count = 77}};
    char axis[2] = {'?', '?'};
    quell_error err = {0}, other = {0};
    quell_status status = read_saved(&modes[0], &axis[0], arena, &whole, &err);
    quell_status again = read_saved(&modes[1], &axis[1], arena, &pieces, &other);
    FUZZ_CHECK(pieces.failed ? again == QUELL_E_IO : again == status, "whole: %d, %s; in pieces: %d, %s", (int)status, err.text,
               (int)again, other.text);
    if (status == QUELL_OK) {
        check_modes(&modes[0], axis[0]);
        predict(&modes[0]);
    } else {
        FUZZ_CHECK(status == QUELL_E_DATA, "status %d: %s", (int)status, err.text);
        FUZZ_CHECK(modes[0].count == 77 && axis[0] == '?', "out was touched: %s", err.text);
        if (!pieces.failed)
            fuzz_check_same_error(&err, &other);
        fuzz_check_error(&err, status, "input");
    }
    quell_arena_destroy(arena);
    return 0;
}
