/* quell modes: did the machine run the sweep that was stated? */
#include "cli/modes_view.h"

#include <math.h>
#include <string.h>

#define OFF_MOST 0.1 /* 10 %, as quell_sweep_verify has it */
#define RISE_MOST 1.3 /* at the sweep's end: a mode at twice its frequency, or nearer */
#define EDGE 0.03    /* of the sweep's end: as far beyond it the density falls off */

static const char remedy[] = "compare the statement or the plan with what was sent, the axis, and the controller's own "
                             "limits of acceleration and speed";

static bool is_off(double got, double wanted)
{
    return fabs(got / wanted - 1) > OFF_MOST; /* not if either is not known */
}

/* Seconds: of the motion in the recording, and of the plan. */
static double moved_s(const modes_recording *of)
{
    const quell_shaking *shaking = &of->how.shaking;
    size_t rests = shaking->margin[0] + shaking->margin[1];
    return (double)(shaking->end - shaking->first - rests) / of->spectrum.rate_hz;
}

static double planned_s(const modes_recording *of)
{
    const quell_shaking *shaking = &of->how.shaking;
    const quell_sweep *sweep = &shaking->sweep;
    return shaking->duration_s > 0 ? shaking->duration_s : (sweep->end_hz - sweep->start_hz) / sweep->rate_hz_per_s;
}

static void append(char out[MODES_SWEEP_WORDS], const char *text)
{
    size_t used = strlen(out);
    snprintf(out + used, MODES_SWEEP_WORDS - used, "%s%s", used > 0 ? ", " : "recorded ", text);
}

const char *modes_sweep_words(const modes_recording *of, bool only_off, char out[MODES_SWEEP_WORDS])
{
    const quell_sweep_check *check = &of->sweep_check;
    const quell_sweep *plan = &of->how.shaking.sweep;
    char text[MODES_SWEEP_WORDS / 2];
    out[0] = '\0';
    if (!of->sweep_checked)
        return out;
    if (isfinite(check->planned_mps2) && (!only_off || is_off(check->recorded_mps2, check->planned_mps2))) {
        snprintf(text, sizeof text, "%s of %s m/s2", quell_number_short(check->recorded_mps2, 2).text,
                 quell_number_short(check->planned_mps2, 2).text);
        append(out, text);
    }
    bool reached = !is_off(check->reached_hz[0], plan->start_hz) && !is_off(check->reached_hz[1], plan->end_hz);
    if (isfinite(check->reached_hz[0]) && !(only_off && reached)) {
        snprintf(text, sizeof text, "%s to %s of %s to %s Hz", quell_number_short(check->reached_hz[0], 3).text,
                 quell_number_short(check->reached_hz[1], 3).text, quell_number_short(plan->start_hz, 3).text,
                 quell_number_short(plan->end_hz, 3).text);
        append(out, text);
    }
    if (!only_off || is_off(moved_s(of), planned_s(of))) {
        snprintf(text, sizeof text, "%s of %s s", quell_number_fixed(moved_s(of), 1).text,
                 quell_number_fixed(planned_s(of), 1).text);
        append(out, text);
    }
    return out;
}

/* Does the response still rise where the sweep ends? */
static bool still_rises(const modes_recording *of)
{
    return of->sweep_checked && of->sweep_check.rise > RISE_MOST && !is_off(of->sweep_check.reached_hz[1], of->how.shaking.sweep.end_hz);
}

bool modes_at_sweep_end(const modes_recording *of, double hz)
{
    return still_rises(of) && hz > of->modes.excited_hz[1] && hz < (1 + EDGE) * of->how.shaking.sweep.end_hz;
}

static quell_status add_rise(cli_run *run, const modes_recording *of, quell_findings *findings)
{
    return quell_findings_add(findings, run->arena, "beyond", QUELL_WARN, of->sweep_check.rise, RISE_MOST,
                              "sweep further: a higher acceleration or finer motor steps let quell excite go further up",
                              "the response still rises at the sweep's end, %s Hz, to %s times that at low frequency: a mode lies "
                              "near this end or above it and is not fitted",
                              quell_number_fixed(of->how.shaking.sweep.end_hz, 1).text,
                              quell_number_fixed(of->sweep_check.rise, 1).text);
}

quell_status modes_check_sweep(cli_run *run, modes_recording *of, quell_findings *findings)
{
    const quell_shaking *shaking = &of->how.shaking;
    quell_shaper shaper;
    bool stated;
    quell_status status = cli_shaper_on(run, &shaper, &stated);
    if (status != QUELL_OK || shaper.count > 1 || shaking->kind != QUELL_EXCITE_SWEEP || !shaking->sweep_known)
        return status; /* what was commanded passed the shaper on its way: its density is not the plan's */
    status = quell_sweep_verify(&of->sweep_check, &of->spectrum, of->axis, &of->modes, shaking, &run->err);
    if (status != QUELL_OK)
        return status;
    of->sweep_checked = true;
    char off[MODES_SWEEP_WORDS];
    if (still_rises(of))
        status = add_rise(run, of, findings);
    if (status != QUELL_OK)
        return status;
    if (isnan(of->sweep_check.reached_hz[0]))
        return quell_findings_add(findings, run->arena, "not-run", QUELL_WARN, (double)NAN, (double)NAN, remedy,
                                  "nothing of the sweep that is stated is in the recording");
    if (modes_sweep_words(of, true, off)[0] == '\0')
        return QUELL_OK;
    return quell_findings_add(findings, run->arena, "not-run", QUELL_WARN, of->sweep_check.recorded_mps2,
                              of->sweep_check.planned_mps2, remedy, "%s: the controller did not run this test", off);
}

void modes_json_sweep_check(quell_json *json, json_t *sweep, const modes_recording *of)
{
    if (!of->sweep_checked) {
        quell_json_null(json, sweep, "check", "a shaper was on: the plan's density is not what moved the axis");
        return;
    }
    const quell_sweep_check *check = &of->sweep_check;
    char off[MODES_SWEEP_WORDS];
    json_t *item = quell_json_object(json, sweep, "check");
    quell_json_bool(json, item, "ran",
                    isfinite(check->reached_hz[0]) && modes_sweep_words(of, true, off)[0] == '\0');
    quell_json_number(json, item, "recorded_mps2", check->recorded_mps2, "no bin of the density tells it");
    quell_json_number(json, item, "planned_mps2", check->planned_mps2, "not stated");
    if (isfinite(check->reached_hz[0]))
        quell_json_numbers(json, item, "reached_hz", check->reached_hz, 2);
    else
        quell_json_null(json, item, "reached_hz", "nothing of the sweep was recorded");
    quell_json_number(json, item, "rise", check->rise, "no bin of the density tells it");
    quell_json_number(json, item, "moved_s", moved_s(of), "");
    quell_json_number(json, item, "planned_s", planned_s(of), "");
}
