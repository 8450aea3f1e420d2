/* What a linear program of a few times and a few modes misses: modes of which its shaper leaves more than it thought, and times
   at which an impulse would lower what is left. */
#include "shaping/tailor_private.h"

#include <math.h>
#include <string.h>

enum { ADDED_MOST = 40 /* rows a round */, ROWS_MANY = 240 };
enum { TIME_POINTS = 200, POINTS_A_CYCLE = 24, TIME_POINTS_MOST = 8000 };

typedef struct row_seeker {
    tailor_program *program;
    const quell_shaper *shaper;
    size_t band;
    double above;
    size_t count; /* the worst are kept */
    double excess[ADDED_MOST];
    tailor_row row[ADDED_MOST];
} row_seeker;

static void take_peak(void *into, const band_peak *peak)
{
    row_seeker *seeker = into;
    double excess = peak->residual - seeker->above;
    size_t at = seeker->count;
    if (!(excess > 0))
        return;
    if (at == ADDED_MOST) {
        at = 0;
        for (size_t i = 1; i < ADDED_MOST; i++)
            at = seeker->excess[i] < seeker->excess[at] ? i : at;
        if (excess <= seeker->excess[at])
            return;
    } else {
        seeker->count++;
    }
    /* the angle as g has it: phase referred to T / 2; amplitudes are real, so a phasor referred to 0 only turns */
    double w = QUELL_TAU * peak->hz, wd = w * sqrt(1 - peak->zeta * peak->zeta);
    double complex left = quell_residual_phasor(seeker->shaper, peak->hz, peak->zeta);
    double angle = carg(left) - wd * seeker->program->duration_s / 2;
    seeker->excess[at] = excess;
    seeker->row[at] = (tailor_row){seeker->band, peak->hz, peak->zeta, angle, 1};
}

/* Of many rows, those that prove nothing now are dropped: what is wanted of them is found again. */
static void drop_idle_rows(tailor_program *program)
{
    size_t kept = 0;
    for (size_t j = 0; j < program->rows && program->rows > ROWS_MANY; j++)
        if (program->dual[j] > TAILOR_NEGLIGIBLE) {
            program->row[kept] = program->row[j];
            program->dual[kept++] = program->dual[j];
        }
    program->rows = program->rows > ROWS_MANY ? kept : program->rows;
}

size_t tailor_seek_rows(tailor_program *program, double gap)
{
    const quell_bands *bands = program->bands;
    quell_shaper shaper;
    row_seeker seeker = {.program = program, .shaper = &shaper, .count = 0};
    tailor_program_shaper(program, &shaper);
    program->upper = 0;
    for (size_t k = 0; k < bands->count; k++) {
        double range[2];
        seeker.band = k;
        seeker.above = program->slack[k] + gap / 2;
        band_scan(&bands->band[k], &shaper, program->with, take_peak, &seeker, range);
        program->upper = bands->weighted ? program->upper + bands->band[k].weight * range[1] : fmax(program->upper, range[1]);
    }
    drop_idle_rows(program);
    for (size_t i = 0; i < seeker.count; i++)
        tailor_add_row(program, seeker.row[i]);
    return seeker.count;
}

/* f at even times, by turning each atom on from the time before. */
static void sum_atoms(const tailor_program *program, double step_s, size_t count, double *f)
{
    memset(f, 0, count * sizeof *f);
    for (size_t j = 0; j < program->rows; j++) {
        const tailor_row *row = &program->row[j];
        if (program->dual[j] == 0)
            continue;
        double w = QUELL_TAU * row->hz, wd = w * sqrt(1 - row->zeta * row->zeta), decay = row->zeta * w;
        double size = row->gain * program->dual[j] * exp(-decay * program->duration_s);
        double phase = -wd * program->duration_s / 2 - row->angle;
        double re = size * cos(phase), im = size * sin(phase), grow = exp(decay * step_s);
        double turn_re = grow * cos(wd * step_s), turn_im = grow * sin(wd * step_s);
        for (size_t i = 0; i < count; i++) {
            f[i] += re;
            double next = re * turn_re - im * turn_im;
            im = re * turn_im + im * turn_re;
            re = next;
        }
    }
}

static double f_at(const tailor_program *program, double t)
{
    double sum = 0;
    for (size_t j = 0; j < program->rows; j++)
        if (program->dual[j] > 0)
            sum += program->dual[j] * tailor_row_at(&program->row[j], program->duration_s, t);
    return sum;
}

size_t tailor_seek_columns(tailor_program *program, double gap)
{
    double f[TIME_POINTS_MOST], highest_hz = 0, below = program->lower - gap / 2;
    for (size_t j = 0; j < program->rows; j++)
        highest_hz = program->dual[j] > 0 ? fmax(highest_hz, program->row[j].hz) : highest_hz;
    size_t count = (size_t)fmin(TIME_POINTS + POINTS_A_CYCLE * highest_hz * program->duration_s, TIME_POINTS_MOST);
    double ticks = program->tick_s > 0 ? round(program->duration_s / program->tick_s) : HUGE_VAL;
    bool on_ticks = ticks < (double)count || (ticks < TIME_POINTS_MOST && program->tick_s > 0);
    count = on_ticks ? (size_t)ticks + 1 : count;
    size_t added = program->columns;
    double step_s = program->duration_s / (double)(count - 1), least = HUGE_VAL;
    sum_atoms(program, step_s, count, f);
    for (size_t i = 0; i < count; i++) {
        bool first = i == 0, last = i + 1 == count;
        if (!((first || f[i] <= f[i - 1]) && (last || f[i] < f[i + 1])))
            continue;
        double bend = first || last || on_ticks ? 0 : f[i - 1] - 2 * f[i] + f[i + 1];
        double t = step_s * ((double)i + (bend > 0 ? (f[i - 1] - f[i + 1]) / (2 * bend) : 0));
        double value = fmin(f_at(program, fmin(t, program->duration_s)), f[i]);
        least = fmin(least, value);
        if (value < below)
            tailor_add_column(program, t);
    }
    program->lower = least;
    return program->columns - added;
}
