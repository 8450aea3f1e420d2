/* quell check --json: quell.check/1. */
#include "cli/check_view.h"

#include <math.h>

/* A recording that could not be read keeps its place in the list: the reason is its one finding. */
static void add_unreadable(quell_json *json, json_t *in, const check_view *view)
{
    static const char *const unknown[] = {"format",           "axes",         "unit",
                                          "rate_hz",          "rate_ci95_hz", "samples",
                                          "lost_samples",     "duration_s",   "jitter_fraction",
                                          "mean_mps2",        "step_mps2",    "noise_mps2_per_rthz",
                                          "clipped_fraction", "segments"};
    for (size_t i = 0; i < sizeof unknown / sizeof unknown[0]; i++)
        quell_json_null(json, in, unknown[i], "the file could not be read");
    quell_findings findings = {.count = 1};
    findings.item[0] = (quell_finding){"unreadable", QUELL_REFUSE, 0, 0, view->why, ""};
    cli_json_findings(json, in, &findings);
    quell_json_text(json, in, "verdict", "unfit");
}

static void add_segments(quell_json *json, json_t *in, const quell_fitness *fitness)
{
    json_t *list = quell_json_array(json, in, "segments");
    for (size_t s = 0; s < fitness->segments; s++) {
        json_t *item = quell_json_item(json, list);
        quell_json_text(json, item, "kind", quell_stretch_word(fitness->segment[s].kind));
        quell_json_number(json, item, "start_s", fitness->segment[s].start_s, "");
        quell_json_number(json, item, "end_s", fitness->segment[s].end_s, "");
    }
}

static void add_mounting(quell_json *json, json_t *in, const quell_mounting *mounting)
{
    static const char *const rows[3] = {"x", "y", "z"};
    json_t *object = quell_json_object(json, in, "mounting");
    quell_json_text(json, object, "found_by", mounting->words);
    quell_json_bool(json, object, "up_known", mounting->up_known);
    quell_json_bool(json, object, "direction_known", mounting->direction_known);
    quell_json_bool(json, object, "sign_known", mounting->sign_known);
    quell_json_number(json, object, "tilt_rad", mounting->tilt_rad, "");
    quell_json_number(json, object, "gravity_mps2", mounting->gravity_mps2, "");
    for (size_t k = 0; k < 3; k++)
        quell_json_numbers(json, object, rows[k], mounting->map[k], 3);
}

static void add_noise(quell_json *json, json_t *in, const double *noise_mps2_per_rthz, size_t axes)
{
    bool known = true;
    for (size_t k = 0; k < axes; k++)
        known = known && isfinite(noise_mps2_per_rthz[k]);
    quell_json_numbers(json, in, "noise_mps2_per_rthz", noise_mps2_per_rthz, axes);
    if (!known)
        quell_json_text(json, in, "noise_mps2_per_rthz_why", "no stretch is long enough to tell");
}

void check_json(quell_json *json, json_t *in, const check_view *view)
{
    quell_json_text(json, in, "file", view->path);
    if (!view->readable) {
        add_unreadable(json, in, view);
        return;
    }
    const quell_recording *recording = &view->recording;
    size_t axes = recording->axes;
    quell_json_text(json, in, "format", recording->format);
    quell_json_integer(json, in, "axes", (long long)axes);
    json_t *names = quell_json_array(json, in, "axis_names");
    for (size_t k = 0; k < axes; k++)
        quell_json_append_text(json, names, recording->axis_name[k]);
    quell_json_text(json, in, "unit", recording->unit);
    quell_json_number(json, in, "rate_hz", recording->rate_hz, "");
    quell_json_numbers(json, in, "rate_ci95_hz", recording->rate_ci95_hz, 2);
    quell_json_integer(json, in, "samples", (long long)recording->samples);
    quell_json_integer(json, in, "lost_samples", (long long)recording->lost_samples);
    quell_json_integer(json, in, "filled_samples", (long long)recording->filled_samples);
    quell_json_number(json, in, "duration_s", view->fitness.duration_s, "");
    if (recording->has_time)
        quell_json_number(json, in, "jitter_fraction", recording->jitter_fraction, "");
    else
        quell_json_null(json, in, "jitter_fraction", "the file has no time stamps");
    quell_json_numbers(json, in, "mean_mps2", view->fitness.mean_mps2, axes);
    quell_json_numbers(json, in, "step_mps2", recording->step_mps2, axes);
    quell_json_numbers(json, in, "resolution_mps2", recording->resolution_mps2, axes);
    add_noise(json, in, view->fitness.noise_mps2_per_rthz, axes);
    quell_json_numbers(json, in, "clipped_fraction", recording->clipped_fraction, axes);
    quell_json_number(json, in, "dominant_hz", view->fitness.dominant_hz, "no motion was found");
    quell_json_number(json, in, "motion_s", view->fitness.motion_s, "");
    quell_json_number(json, in, "damping_ci95_share", view->fitness.damping_ci95_share,
                      "no motion was found");
    quell_json_number(json, in, "motion_wanted_s", view->fitness.wanted_s, "no motion was found");
    add_mounting(json, in, &view->mounting);
    add_segments(json, in, &view->fitness);
    cli_json_idle(json, in, view->idle);
    cli_json_findings(json, in, &recording->findings);
    quell_json_text(json, in, "verdict", view->fitness.verdict);
}
