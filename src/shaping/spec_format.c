/* Writes shapers as specifications that read back to the same shaper. */
#include "shaping/shaping_private.h"

#include <stdio.h>
#include <string.h>

enum { NUMBER = 32 };

/* The value with as few digits as read back to it. */
static const char *number(char out[NUMBER], double value)
{
    for (int digits = 6; digits <= 17; digits++) {
        double back;
        quell_number_print(out, NUMBER, value, digits);
        if (quell_number_parse(out, &back, NULL) == QUELL_OK && back == value)
            break;
    }
    return out;
}

static void format_impulses(const quell_shaper *shaper, char *out, size_t size)
{
    size_t used = (size_t)snprintf(out, size, "impulses:");
    for (size_t i = 0; i < shaper->count; i++) {
        char entry[2 * NUMBER + 4], amplitude[NUMBER], time[NUMBER];
        int length = snprintf(entry, sizeof entry, "%s%s@%s", i > 0 ? "," : "",
                              number(amplitude, shaper->amplitude[i]), number(time, shaper->time_s[i]));
        const bool last = i + 1 == shaper->count;
        if (length < 0 || used + (size_t)length + (last ? 1 : sizeof ",...") > size) {
            memcpy(out + used, i > 0 ? ",..." : "...", i > 0 ? sizeof ",..." : sizeof "...");
            return;
        }
        memcpy(out + used, entry, (size_t)length + 1);
        used += (size_t)length;
    }
}

const char *quell_shaper_format(const quell_shaper *shaper, char *out, size_t size)
{
    char frequency[NUMBER], damping[NUMBER], tolerance[NUMBER];
    if (shaper->family != NULL) {
        const bool humps = (shaper->family->flags & QUELL_FAMILY_TOLERANCE) != 0;
        snprintf(out, size, "%s:%s:%s%s%s", shaper->family->id, number(frequency, shaper->at.frequency_hz),
                 number(damping, shaper->at.damping_ratio), humps ? ":" : "",
                 humps ? number(tolerance, shaper->at.tolerance) : "");
    } else if (shaper->count == 1) {
        snprintf(out, size, "none");
    } else {
        format_impulses(shaper, out, size);
    }
    return out;
}
