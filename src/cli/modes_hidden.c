/* quell modes: what a recording may hide from the fit: gaps of a sweep, notches of a shaper, modes at a sweep's ends. */
#include "cli/modes_view.h"

#include <math.h>

#define PASSED_LEAST 0.01 /* of the frequency, in a gap */
#define NOTCH_LEAST 0.15  /* width of a shaper's notch over its frequency */
#define INPUT_LEAST 1e-3  /* of the power, as the fit has it */

static quell_status add_gaps(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    const quell_shaking *shaking = &of->how.shaking;
    quell_status status = QUELL_OK;
    for (size_t g = 0; g < shaking->gap_count && status == QUELL_OK; g++) {
        const quell_sweep_gap *gap = &shaking->gap[g];
        if (!(gap->high_hz > (1 + PASSED_LEAST) * gap->low_hz) || gap->high_hz < of->modes.excited_hz[0] ||
            gap->low_hz > of->modes.excited_hz[1])
            continue;
        status = quell_findings_add(findings, run->arena, "sweep-gap", QUELL_WARN, gap->low_hz, gap->high_hz,
                                    "record the sweep again",
                                    "samples are lost while the sweep passed %s to %s Hz: a mode there is told from its flanks "
                                    "alone, and a narrow one not at all",
                                    quell_number_fixed(gap->low_hz, 1).text, quell_number_fixed(gap->high_hz, 1).text);
    }
    return status;
}

static quell_status add_notch(cli_run *run, double low_hz, double high_hz, quell_findings *findings)
{
    if (!(high_hz - low_hz > NOTCH_LEAST * (low_hz + high_hz) / 2))
        return QUELL_OK;
    return quell_findings_add(findings, run->arena, "notch", QUELL_WARN, low_hz, high_hz,
                              "record once more with shaping off",
                              "the shaper that was on leaves less than a thousandth of the power from %s to %s Hz: a mode there "
                              "does not show, and puts the damping ratios and participations of others off",
                              quell_number_fixed(low_hz, 1).text, quell_number_fixed(high_hz, 1).text);
}

/* Where a shaper leaves nothing to measure with. */
static quell_status add_notches(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    quell_shaper shaper;
    bool stated;
    quell_status status = cli_shaper_on(run, &shaper, &stated);
    bool driven = of->modes.kind == QUELL_EXCITE_SWEEP || of->modes.kind == QUELL_EXCITE_RANDOM;
    if (status != QUELL_OK || shaper.count < 2 || !driven)
        return status;
    double step_hz = of->spectrum.bin_hz / 4, from_hz = 0;
    for (double x_hz = of->modes.excited_hz[0]; x_hz <= of->modes.excited_hz[1] && status == QUELL_OK; x_hz += step_hz) {
        double h = cabs(quell_shaper_response(&shaper, x_hz));
        bool last = x_hz + step_hz > of->modes.excited_hz[1];
        if (h * h < INPUT_LEAST && !last) {
            from_hz = from_hz > 0 ? from_hz : x_hz;
            continue;
        }
        if (from_hz > 0)
            status = add_notch(run, from_hz, x_hz, findings);
        from_hz = 0;
    }
    return status;
}

static quell_status add_side(cli_run *run, double off, double low_hz, double high_hz, quell_findings *findings)
{
    if (off == 0)
        return QUELL_OK;
    return quell_findings_add(findings, run->arena, "sweep-end", QUELL_WARN, low_hz, high_hz,
                              "sweep over a wider range, and look at --plot",
                              "from %s to %s Hz, beside what is fitted, the sweep left up to %s dB %s than the modes make up: "
                              "another mode may be there, and damping ratios and participations may be off by more than their "
                              "intervals",
                              quell_number_fixed(low_hz, 0).text, quell_number_fixed(high_hz, 0).text,
                              quell_number_fixed(fabs(off) * 10 / log(10), 0).text, off > 0 ? "more" : "less");
}

/* A mode where the sweep begins or ends, or beyond. */
static quell_status add_ends(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    quell_shaper shaper;
    bool stated;
    quell_sweep_beyond beyond;
    quell_status status = cli_shaper_on(run, &shaper, &stated);
    const quell_modes_options options = {.shaper_on = shaper.count > 1 ? &shaper : NULL, .shaking = &of->how.shaking};
    if (status == QUELL_OK)
        status = quell_sweep_beyond_find(&beyond, &of->modes, &of->spectrum, of->axis, &options, &run->err);
    if (status == QUELL_OK)
        status = add_side(run, beyond.below, beyond.range_hz[0], of->modes.band_hz[0], findings);
    if (status == QUELL_OK)
        status = add_side(run, beyond.above, of->modes.band_hz[1], beyond.range_hz[1], findings);
    return status;
}

quell_status modes_hidden_findings(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    quell_status status = add_gaps(run, of, findings);
    if (status == QUELL_OK)
        status = add_notches(run, of, findings);
    return status == QUELL_OK && of->modes.kind == QUELL_EXCITE_SWEEP ? add_ends(run, of, findings) : status;
}
