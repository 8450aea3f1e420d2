/* quell modes: is the motion what it is taken for, or stated to be? */
#include "cli/modes_view.h"

#include <math.h>

/* Bursts and pauses that are no random motion's, and decays that tell of each other. */
#define BURSTS_LEAST 3
#define PAUSED_LEAST 0.1
#define DECAYS_LEAST 3

/* Where modes are looked for by default, as quell excite has it. */
#define FULL_HZ 150.0
#define NEAR_FULL 0.95

/* Random motion that pauses again and again: its density is no answer to an input that is alike at all times. */
static quell_status add_paused(cli_run *run, const quell_shaking *shaking, quell_findings *findings)
{
    return quell_findings_add(
        findings, run->arena, "excitation", QUELL_WARN, (double)shaking->bursts, BURSTS_LEAST,
        shaking->stated ? "leave out --excitation, or say stops"
                        : "say --excitation stops if it was strokes with stops, or pick a part "
                          "without pauses with --span",
        "%s, but the motion comes in %zu bursts, with pauses for %s %% of the time: modes and "
        "damping ratios may be wrong",
        shaking->stated ? "random motion is stated" : "the motion is taken for random", shaking->bursts,
        quell_number_fixed(100 * shaking->paused, 0).text);
}

/* Few decays are the answer: the end of random motion, say, which is one. */
static quell_status add_few_decays(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    const quell_shaking *shaking = &of->how.shaking;
    size_t stops = of->how.decays.stops;
    bool pauses = shaking->bursts >= BURSTS_LEAST && shaking->paused >= PAUSED_LEAST;
    const char *looks = pauses ? "" : ", and the motion does not pause again and again: it looks random";
    return quell_findings_add(
        findings, run->arena, "excitation", QUELL_WARN, (double)stops, DECAYS_LEAST,
        pauses ? "record more strokes with stops" : "say --excitation random, or leave it out",
        "the modes are those of %zu free decay%s, want %d or more, which tell how far they "
        "differ%s",
        stops, stops == 1 ? "" : "s", DECAYS_LEAST, looks);
}

/* Stops that are none: what was taken for their decays rings while something shakes it. */
static quell_status add_not_stops(cli_run *run, quell_findings *findings)
{
    return quell_findings_add(
        findings, run->arena, "excitation", QUELL_WARN, (double)NAN, (double)NAN,
        "say --excitation random, or leave it out",
        "stops are stated, but the motion does not pause again and again: it looks random, and "
        "what was taken for free decays may be none");
}

/* Random strokes that end below where modes are looked for. */
static quell_status add_random_end(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    const quell_shaking *shaking = &of->how.shaking;
    double band_hz[2], end_hz = shaking->random_hz[1];
    quell_status status = cli_band(run, band_hz, &run->err);
    if (status != QUELL_OK || !shaking->random_known || end_hz >= NEAR_FULL * (band_hz[1] > 0 ? fmin(band_hz[1], FULL_HZ) : FULL_HZ))
        return status;
    bool none = of->modes.count == 0;
    return quell_findings_add(findings, run->arena, "range", none ? QUELL_WARN : QUELL_NOTE, end_hz, (double)NAN,
                              "a higher acceleration or finer motor steps let quell excite go further up",
                              "the random strokes end at %s Hz: a mode near this end or above is hardly shaken%s",
                              quell_number_fixed(end_hz, 1).text, none ? ", and none was found" : " and may not be found");
}

quell_status modes_check_excitation(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    const quell_shaking *shaking = &of->how.shaking;
    bool pauses = shaking->bursts >= BURSTS_LEAST && shaking->paused >= PAUSED_LEAST;
    quell_status status = shaking->kind == QUELL_EXCITE_RANDOM ? add_random_end(run, of, findings) : QUELL_OK;
    if (status != QUELL_OK)
        return status;
    if (shaking->kind == QUELL_EXCITE_RANDOM && pauses)
        return add_paused(run, shaking, findings);
    if (shaking->kind != QUELL_EXCITE_STOPS || shaking->blow || of->how.decays.count == 0)
        return QUELL_OK;
    if (of->how.decays.stops < DECAYS_LEAST)
        return add_few_decays(run, of, findings);
    return pauses || !shaking->stated ? QUELL_OK : add_not_stops(run, findings);
}
