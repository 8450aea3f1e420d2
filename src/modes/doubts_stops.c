/* Does a mode ring differently as it dies, or by the direction of the motion before? Each decay is fitted on its own
   (stop_steps.c), and their scatter is the standard error. */
#include "modes_private.h"

#include <gsl/gsl_cdf.h>
#include <math.h>

#define CHANCE 0.00135 /* of a normal variable beyond 3 standard errors; few stops need more of Student's */
#define FALL_LEAST 0.005
#define MODE_WITHIN 0.05
#define LEVELS_APART 1.5 /* of the amplitudes: stops that ring alike differ for other reasons */
#define STEEPEST 0.2
#define FREQUENCY_LEAST 0.01
#define DAMPING_LEAST 0.1
#define SECONDS_BEFORE 3.0 /* of motion looked at before a stop */

enum { STOPS_OF_GROUP = 3, STOPS_MOST = 64 };

/* ---------------------------------------------------------------- samples of few stops */

typedef struct sample_of_stops {
    size_t n;
    double value[STOPS_MOST];
} sample_of_stops;

static void add(sample_of_stops *to, double value)
{
    if (to->n < STOPS_MOST)
        to->value[to->n++] = value;
}

static double mean_of(const sample_of_stops *of)
{
    double sum = 0;
    for (size_t i = 0; i < of->n; i++)
        sum += of->value[i];
    return sum / (double)of->n;
}

/* Of the mean, squared. */
static double variance_of(const sample_of_stops *of)
{
    double mean = mean_of(of), sum = 0;
    for (size_t i = 0; i < of->n; i++)
        sum += (of->value[i] - mean) * (of->value[i] - mean);
    return sum / (double)(of->n - 1) / (double)of->n;
}

static bool beyond_chance(double errors, size_t degrees)
{
    return errors > gsl_cdf_tdist_Qinv(CHANCE, (double)degrees);
}

/* ---------------------------------------------------------------- falling with level */

/* As each decay dies. */
static const char *falls_in_decays(quell_doubter *in, const quell_mode *mode)
{
    quell_stop_view view;
    sample_of_stops fall = {0}, off = {0};
    if (!quell_stop_look(&view, in, mode))
        return NULL;
    for (size_t s = 0; s < in->decays->stops; s++) {
        double step[STOP_STEPS];
        if (!quell_stop_step(&view, in->decays->stop[s], true, step))
            continue;
        add(&fall, step[STOP_BY_FALL]);
        add(&off, step[STOP_BY_FREQUENCY]);
    }
    quell_memory_free(view.shape);
    if (fall.n < STOP_VIEW_LEAST)
        return NULL;
    double by = mean_of(&fall), errors = by / sqrt(variance_of(&fall));
    if (!(by > FALL_LEAST && beyond_chance(errors, fall.n - 1)))
        return NULL;
    double end_hz = in->decays->mode[view.mode].frequency_hz * exp(mean_of(&off));
    return quell_doubt_print(in,
                             "its frequency falls with level: %s Hz when a stop makes it ring, %s Hz as that "
                             "dies, %s standard errors "
                             "apart over %zu stops: a joint that slips? check the screws and belt clamps",
                             quell_number_fixed(end_hz * (1 - by), 1).text,
                             quell_number_fixed(end_hz, 1).text, quell_doubt_errors(errors).text, fall.n);
}

/* From the stops that make it ring little to those that make it ring much. The stops' own frequencies are of the strongest
   mode. */
static const char *falls_between_stops(quell_doubter *in, const quell_mode *mode)
{
    const quell_decays *decays = in->decays;
    if (decays == NULL || decays->each == NULL || decays->stops < STOP_VIEW_LEAST)
        return NULL;
    double sum = 0, n = 0, least = (double)INFINITY, most = 0;
    for (size_t s = 0; s < decays->stops; s++)
        if (decays->each[s].frequency_hz > 0 && decays->each[s].amplitude_mps2 > 0) {
            sum += log(decays->each[s].frequency_hz);
            n++;
            least = fmin(least, decays->each[s].amplitude_mps2);
            most = fmax(most, decays->each[s].amplitude_mps2);
        }
    if (!(most > LEVELS_APART * least &&
          fabs(sum / n - log(mode->frequency_hz)) < fmax(MODE_WITHIN, mode->damping_ratio)))
        return NULL;
    quell_decay_trend trend;
    quell_decays_each(decays, &trend);
    if (!(trend.per_octave < -FALL_LEAST && trend.per_octave > -STEEPEST && trend.level_p_value < 2 * CHANCE))
        return NULL;
    return quell_doubt_print(
        in,
        "its frequency falls with level: by %s %% where a stop makes it ring twice as much (%zu stops; by "
        "chance in %s %% of such): a joint that slips? check the screws and belt clamps",
        quell_number_percent(-trend.per_octave).text, decays->stops,
        quell_number_percent(trend.level_p_value).text);
}

const char *quell_doubt_falling_stops(quell_doubter *in, const quell_mode *mode)
{
    const char *text = falls_in_decays(in, mode);
    return text != NULL ? text : falls_between_stops(in, mode);
}

/* ---------------------------------------------------------------- differing by direction */

/* Which way the axis went before the stop: the sign of the largest velocity since the stop before, from the
   acceleration, whose mean over a stroke from rest to rest is 0. */
static int way_of(const quell_doubter *in, size_t stop)
{
    const quell_recording *recording = in->recording;
    const double *sample = recording->accel_mps2[in->axis];
    size_t end = in->decays->stop[stop], before = (size_t)(SECONDS_BEFORE * recording->rate_hz);
    size_t from = stop > 0 ? in->decays->stop[stop - 1] + in->decays->window : in->first;
    if (end > before && from < end - before)
        from = end - before;
    double mean = 0, velocity = 0, most = 0;
    for (size_t i = from; i < end; i++)
        mean += sample[i] / (double)(end - from);
    for (size_t i = from; i < end; i++) {
        velocity += sample[i] - mean;
        most = fabs(velocity) > fabs(most) ? velocity : most;
    }
    return (most > 0) - (most < 0);
}

/* Do two groups differ by more than chance and `least`? */
static bool differ(const sample_of_stops group[2], double least, double *by, double *errors)
{
    *by = mean_of(&group[1]) - mean_of(&group[0]);
    *errors = fabs(*by) / sqrt(variance_of(&group[0]) + variance_of(&group[1]));
    size_t degrees = (group[0].n < group[1].n ? group[0].n : group[1].n) - 1; /* on the safe side */
    return fabs(*by) > least && beyond_chance(*errors, degrees);
}

const char *quell_doubt_direction(quell_doubter *in, const quell_mode *mode)
{
    quell_stop_view view;
    sample_of_stops frequency[2] = {{0}, {0}}, damping[2] = {{0}, {0}};
    if (!quell_stop_look(&view, in, mode))
        return NULL;
    for (size_t s = 0; s < in->decays->stops; s++) {
        double step[STOP_STEPS];
        int way = way_of(in, s);
        if (way == 0 || !quell_stop_step(&view, in->decays->stop[s], false, step))
            continue;
        add(&frequency[way > 0], step[STOP_BY_FREQUENCY]);
        add(&damping[way > 0], step[STOP_BY_DAMPING]);
    }
    quell_memory_free(view.shape);
    if (frequency[0].n < STOPS_OF_GROUP || frequency[1].n < STOPS_OF_GROUP)
        return NULL;
    const quell_decay *own = &in->decays->mode[view.mode];
    double by, errors;
    if (differ(frequency, FREQUENCY_LEAST, &by, &errors))
        return quell_doubt_print(in,
                                 "differs by direction: %s Hz after motion towards +, %s Hz towards -, %s "
                                 "standard errors apart over "
                                 "%zu stops: play? check the belt's tension and the bearings",
                                 quell_number_fixed(own->frequency_hz * exp(mean_of(&frequency[1])), 1).text,
                                 quell_number_fixed(own->frequency_hz * exp(mean_of(&frequency[0])), 1).text,
                                 quell_doubt_errors(errors).text, frequency[0].n + frequency[1].n);
    if (differ(damping, DAMPING_LEAST, &by, &errors))
        return quell_doubt_print(in,
                                 "differs by direction: a damping ratio of %s after motion towards +, %s "
                                 "towards -, %s standard errors "
                                 "apart over %zu stops: friction? check the rails and what drags along",
                                 quell_number_short(own->damping_ratio * exp(mean_of(&damping[1])), 2).text,
                                 quell_number_short(own->damping_ratio * exp(mean_of(&damping[0])), 2).text,
                                 quell_doubt_errors(errors).text, damping[0].n + damping[1].n);
    return NULL;
}
