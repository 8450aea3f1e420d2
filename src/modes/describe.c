/* A mode of a fit in the user's terms: values, intervals, direction, checks. */
#include "modes_private.h"

#include <math.h>
#include <string.h>

#define QUANTILE 1.959963984540054 /* of the normal distribution, 97.5 % */
#define IGNORED_WITHIN 0.05        /* how far off the frequency of an ignored mode may be given */
#define SAME_WITHIN 0.05

/* What a sweep's estimates are off by however small their scatter, as standard errors: its input is not quite as flat as the
   model takes it. By simulation (make study). */
#define SWEPT_FREQUENCY 0.001
#define SWEPT_DAMPING 0.01
#define SWEPT_PARTICIPATION 0.01

/* The same of random strokes of a plan: a recording's few thousand strokes are no even density. By simulated recordings of
   60 s (sh tests/study/random-coverage): without, 93, 94 and 86 % of 240 intervals of frequency, damping ratio and
   participation held the truth, with, 96, 95 and 99 % of 240 others. */
#define DRAWN_FREQUENCY 0.0007
#define DRAWN_DAMPING 0.015
#define DRAWN_PARTICIPATION 0.03

static void log_interval(double value, double half_width, double out[2])
{
    out[0] = value * exp(-half_width);
    out[1] = value * exp(half_width);
}

quell_mode quell_search_mode(const quell_mode_search *search, size_t k, const double *variance,
                             const quell_modes_options *options)
{
    const double *fitted = search->best.parameter + FIT_PER_MODE * k, *var = variance + FIT_PER_MODE * k;
    bool from_peak = search->from_peak[k] != NO_PEAK, swept = search->problem.swept;
    bool drawn = options->shaking != NULL && options->shaking->random_known;
    const quell_peak *peak = from_peak ? &search->peak[search->from_peak[k]] : NULL;
    quell_mode mode = {.frequency_hz = exp(fitted[FIT_LN_F]),
                       .damping_ratio = exp(fitted[FIT_LN_ZETA]),
                       .participation = fitted[FIT_C],
                       .half_power_damping_ratio = from_peak ? peak->half_power_damping_ratio : (double)NAN,
                       .decay_damping_ratio = (double)NAN,
                       .decay_damping_ratio_ci95 = {(double)NAN, (double)NAN},
                       .prominence_db = from_peak ? peak->prominence_db : (double)NAN,
                       .seen_on = search->axis};
    double f_se = hypot(sqrt(var[FIT_LN_F]), swept ? SWEPT_FREQUENCY : drawn ? DRAWN_FREQUENCY : 0);
    double zeta_se = hypot(sqrt(var[FIT_LN_ZETA]), swept ? SWEPT_DAMPING : drawn ? DRAWN_DAMPING : 0);
    double c_share = swept ? SWEPT_PARTICIPATION : drawn ? DRAWN_PARTICIPATION : 0;
    double c_se = hypot(sqrt(var[FIT_C]), c_share * fabs(mode.participation));
    log_interval(mode.frequency_hz, hypot(QUANTILE * f_se, options->rate_relative_error), mode.frequency_ci95_hz);
    log_interval(mode.damping_ratio, QUANTILE * zeta_se, mode.damping_ratio_ci95);
    mode.participation_ci95[0] = mode.participation - QUANTILE * c_se;
    mode.participation_ci95[1] = mode.participation + QUANTILE * c_se;
    if (search->problem.model.form == MODEL_AMBIENT)
        mode.participation = mode.participation_ci95[0] = mode.participation_ci95[1] = (double)NAN;
    double at = mode.frequency_hz / search->spectrum->bin_hz, reach = fmax(mode.damping_ratio * at, 1);
    double last = fmin(at + reach, (double)(search->spectrum->bins - 1));
    quell_direction_find(search->spectrum, (size_t)fmax(at - reach + 0.5, 1), (size_t)(last + 0.5),
                         mode.direction);
    return mode;
}

bool quell_modes_alike(double f1_hz, double f2_hz, double damping_ratio)
{
    return fabs(log(f1_hz / f2_hz)) <= fmax(SAME_WITHIN, 2 * damping_ratio);
}

/* The reason to ignore a mode; NULL if there is none. */
static const char *ignored(const quell_modes_options *options, const quell_mode *mode)
{
    double within = fmax(IGNORED_WITHIN, mode->damping_ratio);
    for (size_t i = 0; i < options->ignored_count; i++)
        if (fabs(options->ignored[i].frequency_hz / mode->frequency_hz - 1) <= within)
            return options->ignored[i].reason;
    return NULL;
}

static size_t insert(quell_mode *modes, size_t count, const quell_mode *mode)
{
    size_t at = count;
    for (; at > 0 && modes[at - 1].frequency_hz > mode->frequency_hz; at--)
        modes[at] = modes[at - 1];
    modes[at] = *mode;
    return at;
}

bool quell_modes_enter(quell_modes *modes, const quell_mode *mode, const quell_modes_options *options)
{
    const char *reason = ignored(options, mode);
    if ((reason == NULL ? modes->count : modes->left_out) == QUELL_MODES_MAX)
        return false;
    if (reason == NULL) {
        insert(modes->mode, modes->count++, mode);
        return true;
    }
    size_t at = insert(modes->left_out_mode, modes->left_out, mode);
    memmove(modes->left_out_reason + at + 1, modes->left_out_reason + at, (modes->left_out - at) * sizeof reason);
    modes->left_out_reason[at] = reason;
    modes->left_out++;
    return true;
}
