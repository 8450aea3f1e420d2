/* Ripple seen on a part: ringing, the machine's own pitch, or extrusion? Common practice, no source. */
#include "quell/predict.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#define NORMAL_95 1.959964
#define LIKELIHOOD 20.0 /* times as likely as the other */
#define EXPLAINED 0.01  /* probability of a misfit as large by chance */
#define SAME_PITCH 0.02
#define RIPPLES_MAX 1000.0

enum { HEIGHTS_LEAST = 3 /* for an interval */ };

const char *quell_part_cause_word(quell_part_cause cause)
{
    static const char *const words[] = {[QUELL_PART_RINGING] = "ringing",
                                        [QUELL_PART_PITCH] = "machine-pitch",
                                        [QUELL_PART_EXTRUSION] = "extrusion",
                                        [QUELL_PART_UNCLEAR] = "unclear"};
    return words[cause];
}

/* ---------------------------------------------------------------- what is taken */

static bool within(double value, double low, double high)
{
    return value >= low && value <= high;
}

static quell_status check_readings(const quell_part *part, quell_error *err)
{
    for (size_t i = 0; i < part->readings; i++) {
        const quell_part_reading *at = &part->reading[i];
        if (!within(at->speed_mps, 1e-4, 10))
            return quell_fail(err, QUELL_E_USAGE, "speed %zu is %s mm/s, want 0.1 to 10000", i + 1,
                              quell_number_short(1e3 * at->speed_mps, 6).text);
        if (!within(at->length_m, 1e-6, 10))
            return quell_fail(err, QUELL_E_USAGE, "length %zu is %s mm, want 0.001 to 10000", i + 1,
                              quell_number_short(1e3 * at->length_m, 6).text);
        if (!(part->length_error_m > 0 && part->length_error_m < at->length_m))
            return quell_fail(err, QUELL_E_USAGE, "the calliper is good to %s mm, want more than 0 and less than the %s mm measured",
                              quell_number_short(1e3 * part->length_error_m, 6).text, quell_number_short(1e3 * at->length_m, 6).text);
    }
    if (!(within(part->ripples, 1, RIPPLES_MAX) && part->ripples == floor(part->ripples)))
        return quell_fail(err, QUELL_E_USAGE, "found %s ripples, want a whole number from 1 to %g",
                          quell_number_short(part->ripples, 6).text, RIPPLES_MAX);
    return QUELL_OK;
}

static quell_status check_drive(const quell_part *part, quell_error *err)
{
    if (!isnan(part->belt_pitch_m) && !within(part->belt_pitch_m, 1e-4, 1))
        return quell_fail(err, QUELL_E_USAGE, "the belt's pitch is %s mm, want 0.1 to 1000",
                          quell_number_short(1e3 * part->belt_pitch_m, 6).text);
    const double whole[] = {part->pulley_teeth, part->steps_per_turn};
    static const char *const name[] = {"pulley teeth", "steps per turn"};
    for (size_t i = 0; i < 2; i++)
        if (!isnan(whole[i]) && !(within(whole[i], 1, 1e6) && whole[i] == floor(whole[i])))
            return quell_fail(err, QUELL_E_USAGE, "found %s %s, want a whole number from 1 to 1000000",
                              quell_number_short(whole[i], 6).text, name[i]);
    if (!isnan(part->pulley_teeth) && isnan(part->belt_pitch_m))
        return quell_fail(err, QUELL_E_USAGE, "the pulley's teeth are given without the belt's pitch, want both");
    if (!isnan(part->steps_per_turn) && isnan(part->pulley_teeth))
        return quell_fail(err, QUELL_E_USAGE, "steps per turn are given without the pulley's teeth, want both");
    return QUELL_OK;
}

static quell_status check(const quell_part *part, quell_error *err)
{
    if (part->readings > QUELL_PART_MAX || part->heights > QUELL_PART_MAX)
        return quell_fail(err, QUELL_E_USAGE, "found more than %d values, which is the most taken", (int)QUELL_PART_MAX);
    quell_status status = check_readings(part, err);
    for (size_t i = 0; i < part->heights && status == QUELL_OK; i++)
        if (!within(part->height_m[i], 1e-9, 1))
            status = quell_fail(err, QUELL_E_USAGE, "height %zu is %s um, want 0.001 to 1000000", i + 1,
                                quell_number_short(1e6 * part->height_m[i], 6).text);
    return status == QUELL_OK ? check_drive(part, err) : status;
}

/* ---------------------------------------------------------------- lines through the readings */

/* y = slope * x: slope, its standard error and what is left, in units of the errors. */
typedef struct line {
    double slope, se, misfit;
} line;

static double spacing_m(const quell_part *part, size_t i)
{
    return part->reading[i].length_m / part->ripples;
}

/* Standard error: of the calliper, and of what no calliper tells. */
static double error_m(const quell_part *part, size_t i)
{
    return hypot(part->length_error_m / NORMAL_95 / part->ripples, QUELL_PART_RELATIVE_ERROR * spacing_m(part, i));
}

static double along(const quell_part *part, size_t i, bool in_proportion)
{
    return in_proportion ? part->reading[i].speed_mps : 1;
}

static line fit(const quell_part *part, bool in_proportion)
{
    double xx = 0, xy = 0, left = 0;
    for (size_t i = 0; i < part->readings; i++) {
        double x = along(part, i, in_proportion) / error_m(part, i);
        xx += x * x;
        xy += x * spacing_m(part, i) / error_m(part, i);
    }
    line out = {.slope = xy / xx};
    for (size_t i = 0; i < part->readings; i++)
        left += pow((spacing_m(part, i) - out.slope * along(part, i, in_proportion)) / error_m(part, i), 2);
    double spare = (double)part->readings - 1; /* readings that scatter more than stated are known less well than stated */
    out.se = sqrt(1 / xx) * sqrt(spare > 0 ? fmax(1, left / spare) : 1);
    out.misfit = left;
    return out;
}

static void set_interval(double ci95[2], const line *of)
{
    ci95[0] = of->slope - NORMAL_95 * of->se;
    ci95[1] = of->slope + NORMAL_95 * of->se;
}

/* Is the line with `misfit` to be taken, rather than the one with `other`? */
static bool explains(double misfit, double other, size_t readings)
{
    return gsl_cdf_chisq_Q(misfit, (double)(readings - 1)) >= EXPLAINED && other - misfit >= 2 * log(LIKELIHOOD);
}

static bool one_speed(const quell_part *part)
{
    double low = part->reading[0].speed_mps, high = low;
    for (size_t i = 1; i < part->readings; i++) {
        low = fmin(low, part->reading[i].speed_mps);
        high = fmax(high, part->reading[i].speed_mps);
    }
    return high < 1.001 * low;
}

static void choose(const quell_part *part, quell_part_finding *out)
{
    bool by_ringing, by_pitch;
    if (part->readings == 0) {
        out->cause = part->one_sided ? QUELL_PART_EXTRUSION : QUELL_PART_UNCLEAR;
        out->why = part->one_sided ? "a bulge on one side of the corners is material, not motion, as you say it is one"
                                   : "no spacing is given";
        return;
    }
    out->cause = QUELL_PART_UNCLEAR;
    out->why = "one speed alone cannot tell ringing from the machine's own pitch: measure at twice the speed too";
    if (one_speed(part))
        return;
    by_ringing = explains(out->misfit_ringing, out->misfit_pitch, part->readings);
    by_pitch = explains(out->misfit_pitch, out->misfit_ringing, part->readings);
    double probability[] = {gsl_cdf_chisq_Q(out->misfit_ringing, (double)(part->readings - 1)),
                            gsl_cdf_chisq_Q(out->misfit_pitch, (double)(part->readings - 1))};
    if (by_ringing) {
        out->cause = QUELL_PART_RINGING;
        out->why = "the spacing grows in proportion to the speed";
    } else if (by_pitch) {
        out->cause = QUELL_PART_PITCH;
        out->why = "the spacing is the same at every speed";
    } else if (probability[0] < EXPLAINED && probability[1] < EXPLAINED) {
        out->why = "the spacing is neither in proportion to the speed nor constant, within the calliper's error: were ripples "
                   "counted alike, and had the speed been reached where you measured?";
    } else {
        out->why = "the speeds are too close, or the lengths too rough, to tell: measure over more ripples, at speeds that "
                   "differ by a factor of two";
    }
}

/* ---------------------------------------------------------------- damping and pitches */

static void find_damping(const quell_part *part, quell_part_finding *out)
{
    double n = (double)part->heights, mean_x = (n - 1) / 2, mean_y = 0, xx = 0, xy = 0, left = 0;
    out->damping_ratio = out->damping_ratio_ci95[0] = out->damping_ratio_ci95[1] = (double)NAN;
    out->damping_why = part->heights == 0 ? "no heights are given" : "one height tells nothing of the decay";
    if (part->heights < 2)
        return;
    for (size_t i = 0; i < part->heights; i++)
        mean_y += log(part->height_m[i]) / n;
    for (size_t i = 0; i < part->heights; i++) {
        xx += pow((double)i - mean_x, 2);
        xy += ((double)i - mean_x) * (log(part->height_m[i]) - mean_y);
    }
    double decrement = -xy / xx;
    for (size_t i = 0; i < part->heights; i++)
        left += pow(log(part->height_m[i]) - mean_y + decrement * ((double)i - mean_x), 2);
    out->damping_why = "the heights do not fall: that is no ringing after a corner";
    if (!(decrement > 0))
        return;
    out->damping_why = "";
    out->damping_ratio = quell_damping_from_decrement(decrement);
    if (part->heights < HEIGHTS_LEAST)
        return;
    double half = gsl_cdf_tdist_Pinv(0.975, n - 2) * sqrt(left / (n - 2) / xx);
    out->damping_ratio_ci95[0] = quell_damping_from_decrement(fmax(decrement - half, 0));
    out->damping_ratio_ci95[1] = quell_damping_from_decrement(decrement + half);
}

static void add_pitch(quell_part_finding *out, const char *name, double length_m)
{
    if (!isfinite(length_m))
        return;
    double half = fmax((out->spacing_ci95_m[1] - out->spacing_ci95_m[0]) / 2, SAME_PITCH * length_m);
    out->pitch[out->pitches++] = (quell_part_pitch){name, length_m, fabs(out->spacing_m - length_m) <= half};
}

static void list_pitches(const quell_part *part, quell_part_finding *out)
{
    double turn_m = part->belt_pitch_m * part->pulley_teeth;
    add_pitch(out, "belt tooth", part->belt_pitch_m);
    add_pitch(out, "pulley turn", turn_m);
    add_pitch(out, "motor full step", turn_m / part->steps_per_turn);
    add_pitch(out, "four motor full steps (a turn of the motor's field)", 4 * turn_m / part->steps_per_turn);
}

quell_status quell_part_judge(const quell_part *part, quell_part_finding *out, quell_error *err)
{
    quell_status status = check(part, err);
    if (status != QUELL_OK)
        return status;
    const double no = (double)NAN;
    quell_part_finding made = {.frequency_hz = no, .frequency_ci95_hz = {no, no}, .spacing_m = no, .spacing_ci95_m = {no, no},
                               .misfit_ringing = no, .misfit_pitch = no};
    if (part->readings > 0) {
        line ringing = fit(part, true), pitch = fit(part, false);
        double period_ci95[2];
        set_interval(period_ci95, &ringing);
        made.frequency_hz = 1 / ringing.slope;
        made.frequency_ci95_hz[0] = 1 / period_ci95[1];
        made.frequency_ci95_hz[1] = period_ci95[0] > 0 ? 1 / period_ci95[0] : (double)INFINITY;
        made.spacing_m = pitch.slope;
        set_interval(made.spacing_ci95_m, &pitch);
        made.misfit_ringing = ringing.misfit;
        made.misfit_pitch = pitch.misfit;
    }
    choose(part, &made);
    find_damping(part, &made);
    list_pitches(part, &made);
    *out = made;
    return QUELL_OK;
}

/* ---------------------------------------------------------------- modes */

static double damped(double frequency_hz, double damping_ratio)
{
    return frequency_hz * sqrt(1 - damping_ratio * damping_ratio);
}

bool quell_part_compare(const quell_part_finding *finding, const quell_modes *modes, quell_part_match *out)
{
    double nearest = (double)INFINITY;
    for (size_t k = 0; k < modes->count; k++) {
        const quell_mode *mode = &modes->mode[k];
        double at_hz = damped(mode->frequency_hz, mode->damping_ratio), off = finding->frequency_hz / at_hz - 1;
        if (!(fabs(log1p(off)) < nearest))
            continue;
        nearest = fabs(log1p(off));
        bool above = off > 0;
        double part_half = fabs(log(finding->frequency_ci95_hz[above ? 0 : 1] / finding->frequency_hz)),
               mode_half = fabs(log(mode->frequency_ci95_hz[above ? 1 : 0] / mode->frequency_hz));
        *out = (quell_part_match){k, at_hz, off, nearest <= hypot(part_half, isfinite(mode_half) ? mode_half : 0)};
    }
    return isfinite(nearest);
}
