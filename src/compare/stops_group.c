/* Kinds of strokes: a stop after a long stroke rings otherwise than after a short one, and towards + otherwise than towards -. */
#include "compare/stops_private.h"

#include <math.h>

#define ALIKE 0.1 /* of the length and of the speed */

enum { STOPS_OF_GROUP = 2, TRIED_LEAST = 3 };

typedef struct kind {
    int direction;
    double stroke_m, speed_mps;
} kind;

static bool near(double a, double b)
{
    return fabs(a - b) <= ALIKE * fmax(fabs(a), fabs(b));
}

/* Gives each stop its kind; returns how many there are, more than STOPS_GROUPS_MAX if they do not fit. */
static size_t assign(const stops_job *job, bool by_direction)
{
    kind known[STOPS_GROUPS_MAX];
    size_t count = 0;
    for (size_t s = 0; s < 2; s++)
        for (size_t r = 0; r < job->side[s].count; r++)
            for (size_t i = 0; i < job->side[s].each[r].stops.count; i++) {
                const quell_stop *stop = &job->side[s].each[r].stops.stop[i];
                int direction = by_direction ? stop->direction : 0;
                size_t g = 0;
                while (g < count && !(known[g].direction == direction && near(known[g].stroke_m, stop->stroke_m) &&
                                      near(known[g].speed_mps, stop->speed_mps)))
                    g++;
                if (g == STOPS_GROUPS_MAX)
                    return g + 1;
                if (g == count)
                    known[count++] = (kind){direction, stop->stroke_m, stop->speed_mps};
                job->side[s].each[r].group[i] = g;
            }
    return count;
}

/* Has every recording stops enough of each? */
static bool complete(const stops_job *job, size_t groups)
{
    for (size_t s = 0; s < 2; s++)
        for (size_t r = 0; r < job->side[s].count; r++) {
            size_t stops[STOPS_GROUPS_MAX] = {0};
            for (size_t i = 0; i < job->side[s].each[r].stops.count; i++)
                stops[job->side[s].each[r].group[i]]++;
            for (size_t g = 0; g < groups; g++)
                if (stops[g] < STOPS_OF_GROUP)
                    return false;
        }
    return true;
}

static bool is_like_sure(const stops_job *job, const quell_stop *stop)
{
    for (size_t s = 0; s < 2; s++)
        for (size_t r = 0; r < job->side[s].count; r++)
            for (size_t i = 0; job->side[s].each[r].sure && i < job->side[s].each[r].stops.count; i++) {
                const quell_stop *other = &job->side[s].each[r].stops.stop[i];
                if (near(other->stroke_m, stop->stroke_m) && near(other->speed_mps, stop->speed_mps))
                    return true;
            }
    return false;
}

bool stops_are_like_sure(const stops_job *job, const stops_recording *recording)
{
    size_t like = 0;
    for (size_t i = 0; i < recording->stops.count; i++)
        like += is_like_sure(job, &recording->stops.stop[i]);
    return recording->stops.count >= TRIED_LEAST && 4 * like >= 3 * recording->stops.count;
}

double stops_mean_stroke(const stops_side *side, bool speed)
{
    double sum = 0, n = 0;
    for (size_t r = 0; r < side->count; r++)
        for (size_t i = 0; i < side->each[r].stops.count; i++, n++)
            sum += speed ? side->each[r].stops.stop[i].speed_mps : side->each[r].stops.stop[i].stroke_m;
    return sum / n;
}

void stops_group(stops_job *job)
{
    for (int by_direction = 1; by_direction >= 0; by_direction--) {
        job->groups = assign(job, by_direction != 0);
        job->alike = job->groups <= STOPS_GROUPS_MAX && complete(job, job->groups);
        if (job->alike)
            return;
    }
    job->groups = 1;
    for (size_t s = 0; s < 2; s++)
        for (size_t r = 0; r < job->side[s].count; r++)
            for (size_t i = 0; i < job->side[s].each[r].stops.count; i++)
                job->side[s].each[r].group[i] = 0;
    job->alike = near(stops_mean_stroke(&job->side[0], false), stops_mean_stroke(&job->side[1], false)) &&
                 near(stops_mean_stroke(&job->side[0], true), stops_mean_stroke(&job->side[1], true));
}
