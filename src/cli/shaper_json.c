/* The `shaper` object of JSON results. */
#include "cli/cli.h"

void cli_json_shaper(quell_json *json, json_t *in, const char *key, const quell_shaper *shaper)
{
    static const char *const no_family = "a list of impulses, or a product of shapers";
    json_t *object = quell_json_object(json, in, key);
    if (shaper->family != NULL) {
        quell_json_text(json, object, "family", shaper->family->id);
        quell_json_number(json, object, "frequency_hz", shaper->at.frequency_hz, "");
        quell_json_number(json, object, "damping_ratio", shaper->at.damping_ratio, "");
    } else if (shaper->count == 1) {
        quell_json_text(json, object, "family", "none");
        quell_json_null(json, object, "frequency_hz", "no shaper");
        quell_json_null(json, object, "damping_ratio", "no shaper");
    } else {
        quell_json_text(json, object, "family", "impulses");
        quell_json_null(json, object, "frequency_hz", no_family);
        quell_json_null(json, object, "damping_ratio", no_family);
    }
    if (shaper->family != NULL && (shaper->family->flags & QUELL_FAMILY_TOLERANCE) != 0)
        quell_json_number(json, object, "tolerance", shaper->at.tolerance, "");
    else
        quell_json_null(json, object, "tolerance", "this shaper has no humps of a given height");
    quell_json_numbers(json, object, "amplitudes", shaper->amplitude, shaper->count);
    quell_json_numbers(json, object, "times_s", shaper->time_s, shaper->count);
    if (shaper->family != NULL && (shaper->family->flags & QUELL_FAMILY_SMOOTH) != 0 && shaper->count > 1) {
        json_t *kernel = quell_json_object(json, object, "kernel"); /* its values are the weights of equal steps: sum 1 */
        quell_json_number(json, kernel, "step_s", shaper->time_s[1] - shaper->time_s[0], "");
        quell_json_numbers(json, kernel, "values", shaper->amplitude, shaper->count);
    }
}
