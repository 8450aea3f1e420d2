/* How a shaper that is said to be in effect agrees with what was measured, in words. */
#include "compare/identify_private.h"

#include <math.h>

const char *quell_agreement_word(quell_agreement agreement)
{
    static const char *const words[] = {"works-as-predicted", "not-in-effect", "wrong-axis", "notch-elsewhere",
                                        "mode-moved",         "differs",       "unclear"};
    return words[agreement];
}

static const char *describe(const quell_applied *of, const quell_shaper *shaper, quell_arena *arena)
{
    const char *misfit = quell_arena_print(arena, "%s", quell_number_fixed(fmax(of->misfit_db, 0.1), 1).text);
    if (misfit == NULL)
        return NULL;
    double hz = shaper->family != NULL ? shaper->at.frequency_hz : (double)NAN;
    switch (of->agreement) {
    case QUELL_APPLIED_WORKS:
        return quell_arena_print(arena, "The shaper works as predicted: the ratio of after to before follows it within %s dB.",
                                 misfit);
    case QUELL_APPLIED_NOT_IN_EFFECT:
        return quell_arena_print(arena, "The shaper is not in effect: the ratio is that of no shaper (%s dB off what this one would show).", misfit);
    case QUELL_APPLIED_WRONG_AXIS:
        return quell_arena_print(
            arena, "The shaper is on the wrong axis: it acts on the other one, and not on the one that was driven.");
    case QUELL_APPLIED_ELSEWHERE:
        return isnan(hz) ? quell_arena_print(arena, "The shaper acts, but at %s times its frequency (%s to %s).",
                                             quell_number_fixed(of->scale, 3).text, quell_number_fixed(of->scale_ci95[0], 3).text,
                                             quell_number_fixed(of->scale_ci95[1], 3).text)
                         : quell_arena_print(arena, "The shaper acts, but at %s Hz (%s to %s) instead of %s Hz.",
                                             quell_number_fixed(of->scale * hz, 2).text,
                                             quell_number_fixed(of->scale_ci95[0] * hz, 2).text,
                                             quell_number_fixed(of->scale_ci95[1] * hz, 2).text, quell_number_short(hz, 5).text);
    case QUELL_APPLIED_MODE_MOVED:
        return quell_arena_print(arena, "The shaper works as predicted, but the mode has moved from %s Hz to %s Hz.",
                                 quell_number_fixed(of->mode_hz, 1).text, quell_number_fixed(of->moved_hz, 1).text);
    case QUELL_APPLIED_DIFFERS:
        return quell_arena_print(arena, "Something acts, and not as this shaper would (%s dB off): quell identify tells what.",
                                 misfit);
    default:
        return quell_arena_print(arena, "Whether the shaper is in effect cannot be told from these recordings (%s dB off).",
                                 misfit);
    }
}

static const char *describe_mode(const char *text, const quell_applied *of, quell_arena *arena)
{
    if (text == NULL || isnan(of->mode_hz) || (of->agreement != QUELL_APPLIED_WORKS && of->agreement != QUELL_APPLIED_MODE_MOVED))
        return text;
    return quell_arena_print(
        arena,
        "%s At the mode of %s Hz the level changed by %s dB, predicted %s dB. That is the machine while it moves, "
        "not what rings after a move, of which the shaper leaves %s %%.",
        text, quell_number_fixed(of->mode_hz, 1).text, quell_number_fixed(of->mode_measured_db, 1).text,
        quell_number_fixed(of->mode_predicted_db, 1).text, quell_number_short(100 * of->mode_residual, 2).text);
}

const char *applied_words(const quell_applied *of, const quell_shaper *shaper, quell_arena *arena)
{
    return describe_mode(describe(of, shaper, arena), of, arena);
}
