/* Doubts from numbers that stand beside a mode: a frame that moves, decays that differ, a tone on top of it. */
#include "modes_private.h"

#include <math.h>

#define FRAME_BELOW_HZ 20.0
#define FRAME_LIGHT_BELOW_HZ 15.0
#define FRAME_OFF_DEG 25.0
#define FRAME_LIGHT 0.5
#define DISAGREE_ERRORS 2.0
#define DISAGREE_LEAST 0.1 /* of ln zeta: less changes no setting */
#define DISAGREE_ALONE 0.4 /* where it is one decay only */
#define Z95 1.959964
#define STOPS_LEAST 3          /* for a jackknife */
#define TONE_SHARE 0.05 /* of the density where the tone is */
#define TONE_WITHIN 1.0 /* half-widths of the mode */

/* ---------------------------------------------------------------- the frame */

/* Angle between a mode's motion and the driven axis, in degrees; NaN if it is not known. */
static double off_axis_deg(const quell_mode *mode, size_t axis)
{
    return acos(fmin(fabs(mode->direction[axis]), 1)) * 360 / QUELL_TAU;
}

/* A frame that stands on feet or on a bench rocks as a whole below some 15 to 20 Hz. It is told from a soft belt
   by where it goes (it turns about its feet, so the head moves up or sideways, too), or by its weight: the axis
   pushes the frame back by the share of its own mass, so a frame answers with a small participation, where a soft
   belt, which carries the whole axis, has one near 1. */
static bool frame_moves(const quell_mode *mode, size_t axis)
{
    if (mode->frequency_hz < FRAME_BELOW_HZ && off_axis_deg(mode, axis) > FRAME_OFF_DEG)
        return true;
    return mode->frequency_hz < FRAME_LIGHT_BELOW_HZ && fabs(mode->participation) < FRAME_LIGHT;
}

const char *quell_doubt_frame(quell_doubter *in, const quell_mode *mode)
{
    for (const quell_mode *lower = in->modes->mode; lower != mode; lower++)
        if (frame_moves(lower, in->axis))
            return NULL; /* said once */
    if (!frame_moves(mode, in->axis))
        return NULL;
    double off_deg = off_axis_deg(mode, in->axis);
    const char axis[] = {"XYZ"[in->axis], '\0'};
    const char *rest =
        "the frame itself moves? the sensor shows that, too, a part only what moves against the "
        "bed: brace the frame, or record on the bed as well";
    if (off_deg > FRAME_OFF_DEG)
        return quell_doubt_print(in, "moves %s deg off %s at %s Hz: %s", quell_number_fixed(off_deg, 0).text,
                                 axis, quell_number_fixed(mode->frequency_hz, 1).text, rest);
    return quell_doubt_print(in, "participation of only %s at %s Hz: %s",
                             quell_number_short(mode->participation, 2).text,
                             quell_number_fixed(mode->frequency_hz, 1).text, rest);
}

/* ---------------------------------------------------------------- decay against spectrum */

static double log_error(const double ci95[2])
{
    return log(ci95[1] / ci95[0]) / (2 * Z95);
}

/* Standard error of ln zeta of the decays: theirs, as few stops make wide intervals; else from the interval. */
static double decay_log_error(const quell_doubter *in, const quell_mode *mode)
{
    for (size_t k = 0; in->decays != NULL && k < in->decays->count; k++)
        if (in->decays->mode[k].damping_ratio == mode->decay_damping_ratio)
            return in->decays->mode[k].log_damping_se;
    return log_error(mode->decay_damping_ratio_ci95);
}

/* One decay, as a sweep or random motion leaves, or two do not tell how decays scatter: with a neighbour close by their
   error, which is that of the noise alone, has been found 36 times too small. */
static bool scatter_known(const quell_doubter *in)
{
    return in->decays == NULL || in->decays->stops >= STOPS_LEAST;
}

const char *quell_doubt_disagreement(quell_doubter *in, const quell_mode *mode)
{
    double apart = log(mode->decay_damping_ratio / mode->damping_ratio);
    double errors = fabs(apart) / hypot(decay_log_error(in, mode), log_error(mode->damping_ratio_ci95));
    bool known = scatter_known(in); /* one decay or two do not tell how decays differ: then only much counts */
    if (!(errors > DISAGREE_ERRORS && fabs(apart) > (known ? DISAGREE_LEAST : DISAGREE_ALONE)))
        return NULL;
    if (!known)
        return quell_doubt_print(
            in, "the decay at the end says a damping ratio of %s, spectrum %s: %s look at --plot",
            quell_number_short(mode->decay_damping_ratio, 2).text, quell_number_short(mode->damping_ratio, 2).text,
            apart < 0 ? "two close modes taken for one?" : "friction, which weighs more as ringing dies?");
    return quell_doubt_print(
        in, "decay says a damping ratio of %s, spectrum %s, %s standard errors apart: %s",
        quell_number_short(mode->decay_damping_ratio, 2).text,
        quell_number_short(mode->damping_ratio, 2).text, quell_doubt_errors(errors).text,
        apart > 0 ? "friction, which weighs more as ringing dies? check rails and bearings"
                  : "a frequency that wanders as the axis travels? record at one place at a time");
}

/* ---------------------------------------------------------------- a tone on top */

const char *quell_doubt_tone(quell_doubter *in, const quell_mode *mode)
{
    const quell_spectrum *spectrum = in->spectrum;
    double reach = fmax(TONE_WITHIN * mode->damping_ratio * mode->frequency_hz, spectrum->bin_hz);
    for (size_t i = 0; i < in->line_count; i++) {
        const quell_known_line *line = &in->line[i];
        size_t bin;
        if (fabs(line->frequency_hz - mode->frequency_hz) > reach)
            continue;
        quell_known_line_explains(spectrum, mode->seen_on, line, &bin);
        double alone = 0.5 * line->amplitude_mps2 * line->amplitude_mps2 / spectrum->enbw_hz;
        if (bin == 0 || alone < TONE_SHARE * spectrum->asd_m2ps3[mode->seen_on][bin])
            continue;
        return quell_doubt_print(
            in,
            "a tone of %s m/s2 at %s Hz, there without motion, lies on top of it: stop the "
            "fan that makes it and record again",
            quell_number_short(line->amplitude_mps2, 2).text, quell_number_fixed(line->frequency_hz, 1).text);
    }
    return NULL;
}
