/* The least residual that a non-negative shaper of a given duration can have: a linear program over all times and all modes
   of the bands, solved by exchange. Each round solves it over a few times and a few modes, looks for the modes where the
   shaper found leaves more and for the times that would lower it, and takes those in. */
#include "shaping/tailor_private.h"

#include <math.h>
#include <string.h>

enum { EVEN_TIMES = 25, FIRST_FREQUENCIES = 9, LATER_FREQUENCIES = 3, ANGLES = 4, ROUNDS = 40 };
enum { ADDED_MOST = 40 /* rows a round */, ROWS_MANY = 240, EXCHANGES_MOST = 400 };
enum { TIME_POINTS = 200, POINTS_A_CYCLE = 24, TIME_POINTS_MOST = 8000 };

#define GAP 1e-4         /* between the residual reached and the least possible, of the limit */
#define NEGLIGIBLE 1e-11 /* of amplitudes and weights */
#define APART 1e-6       /* times closer than this, of the duration, are one */

/* Re(exp(-j angle) g(t)) of a row, as far as what it is convolved with leaves it. */
static double row_at(const tailor_row *row, double duration_s, double t)
{
    double w = QUELL_TAU * row->hz, wd = w * sqrt(1 - row->zeta * row->zeta);
    return row->gain * exp(row->zeta * w * (t - duration_s)) * cos(wd * (t - duration_s / 2) - row->angle);
}

/* ---------------------------------------------------------------- columns and rows */

static void add_column(tailor_program *program, double t)
{
    if (program->tick_s > 0)
        t = program->tick_s * round(t / program->tick_s);
    t = fmin(fmax(t, 0), program->duration_s);
    for (size_t i = 0; i < program->columns; i++)
        if (fabs(program->time_s[i] - t) <= APART * program->duration_s)
            return;
    if (program->columns == TAILOR_COLUMNS_MAX)
        return;
    program->amplitude[program->columns] = 0;
    program->carries[program->columns] = false;
    program->time_s[program->columns++] = t;
}

static double gain_of(const tailor_program *program, const tailor_row *row)
{
    return program->with != NULL ? quell_residual(program->with, row->hz, row->zeta) : 1;
}

static void add_row(tailor_program *program, tailor_row row)
{
    if (program->rows == TAILOR_ROWS_MAX)
        return;
    row.gain = gain_of(program, &row);
    program->dual[program->rows] = 0;
    program->row[program->rows++] = row;
}

/* Rows all over the bands: without them a solution may take them for met where no row is. */
static void add_base_rows(tailor_program *program, size_t frequencies)
{
    const quell_bands *bands = program->bands;
    for (size_t k = 0; k < bands->count; k++)
        for (size_t i = 0; i < frequencies; i++)
            for (size_t a = 0; a < ANGLES; a++) {
                const quell_band *band = &bands->band[k];
                double share = (double)i / (double)(frequencies - 1), angle = QUELL_TAU * (double)a / ANGLES;
                add_row(program, (tailor_row){k, band->hz[0] + share * (band->hz[1] - band->hz[0]),
                                              band->damping_ratio[i % 2], angle, 1});
            }
}

void tailor_program_start(tailor_program *program, const quell_bands *bands, double duration_s, double tick_s)
{
    *program = (tailor_program){.bands = bands, .duration_s = duration_s, .tick_s = tick_s, .lower = 0, .upper = 1};
}

void tailor_program_forget(tailor_program *program)
{
    program->rows = program->columns = 0;
    program->lower = 0;
    program->upper = 1;
}

/* Times that carry nothing are dropped; even ones are there anew. */
static void rescale_columns(tailor_program *program, double duration_s)
{
    double ratio = duration_s / program->duration_s, before[TAILOR_COLUMNS_MAX];
    size_t count = program->columns;
    memcpy(before, program->time_s, count * sizeof *before);
    program->columns = 0;
    program->duration_s = duration_s;
    if (program->even_ticks > 0)
        program->tick_s = duration_s / (double)program->even_ticks;
    for (size_t i = 0; program->with != NULL && i < program->with->count; i++)
        program->with->time_s[i] *= ratio;
    for (size_t i = 0; i < EVEN_TIMES; i++)
        add_column(program, duration_s * (double)i / (EVEN_TIMES - 1));
    for (size_t i = 0; i < count; i++)
        if (program->carries[i])
            add_column(program, before[i] * ratio);
}

/* Rows that prove nothing are dropped. */
static void renew_rows(tailor_program *program)
{
    size_t kept = 0;
    for (size_t j = 0; j < program->rows; j++)
        if (program->dual[j] > NEGLIGIBLE) {
            program->row[kept] = program->row[j];
            program->row[kept].gain = gain_of(program, &program->row[j]); /* the duration may have changed */
            program->dual[kept++] = program->dual[j];
        }
    program->rows = kept;
    add_base_rows(program, kept == 0 ? FIRST_FREQUENCIES : LATER_FREQUENCIES);
}

/* ---------------------------------------------------------------- one linear program */

typedef struct lp_space {
    double entry[(TAILOR_ROWS_MAX + 1) * (TAILOR_COLUMNS_MAX + QUELL_TAILOR_BANDS_MAX)], bound[TAILOR_ROWS_MAX + 1];
    double cost[TAILOR_COLUMNS_MAX + QUELL_TAILOR_BANDS_MAX], x[TAILOR_COLUMNS_MAX + QUELL_TAILOR_BANDS_MAX];
    double dual[TAILOR_ROWS_MAX + 1];
    lp_kind kind[TAILOR_ROWS_MAX + 1];
} lp_space;

/* Columns: amplitudes, then s of each band, or one for all. Rows: the demands, then the sum of amplitudes. */
static void set_up(const tailor_program *program, lp_space *space, lp_problem *out)
{
    const quell_bands *bands = program->bands;
    size_t slacks = bands->weighted ? bands->count : 1, columns = program->columns + slacks;
    *out = (lp_problem){.rows = program->rows + 1, .columns = columns, .cost = space->cost, .entry = space->entry,
                        .bound = space->bound, .kind = space->kind};
    memset(space->entry, 0, out->rows * columns * sizeof *space->entry);
    memset(space->cost, 0, columns * sizeof *space->cost);
    for (size_t k = 0; k < slacks; k++)
        space->cost[program->columns + k] = bands->weighted ? bands->band[k].weight : 1;
    for (size_t j = 0; j < program->rows; j++) {
        double *row = space->entry + j * columns;
        for (size_t i = 0; i < program->columns; i++)
            row[i] = row_at(&program->row[j], program->duration_s, program->time_s[i]);
        row[program->columns + (bands->weighted ? program->row[j].band : 0)] = -1;
        space->bound[j] = 0;
        space->kind[j] = LP_AT_MOST;
    }
    for (size_t i = 0; i < program->columns; i++)
        space->entry[program->rows * columns + i] = 1;
    space->bound[program->rows] = 1;
    space->kind[program->rows] = LP_EQUAL;
}

/* The simplex method leaves rounding: amplitudes are made non-negative and to sum to 1, weights not to exceed their shares. */
static void take_solution(tailor_program *program, const lp_space *space)
{
    const quell_bands *bands = program->bands;
    double sum = 0, weights[QUELL_TAILOR_BANDS_MAX] = {0}, all = 0;
    for (size_t i = 0; i < program->columns; i++)
        sum += program->amplitude[i] = space->x[i] > NEGLIGIBLE ? space->x[i] : 0;
    for (size_t i = 0; i < program->columns; i++)
        program->carries[i] = (program->amplitude[i] /= sum) > 0;
    for (size_t k = 0; k < bands->count; k++)
        program->slack[k] = space->x[program->columns + (bands->weighted ? k : 0)];
    for (size_t j = 0; j < program->rows; j++) {
        program->dual[j] = -space->dual[j] > NEGLIGIBLE ? -space->dual[j] : 0;
        weights[program->row[j].band] += program->dual[j];
        all += program->dual[j];
    }
    for (size_t j = 0; j < program->rows; j++) {
        size_t k = program->row[j].band;
        double share = bands->weighted ? bands->band[k].weight : 1, held = bands->weighted ? weights[k] : all;
        program->dual[j] *= held > share ? share / held : 1;
    }
}

/* ---------------------------------------------------------------- what is missing */

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
        if (program->dual[j] > NEGLIGIBLE) {
            program->row[kept] = program->row[j];
            program->dual[kept++] = program->dual[j];
        }
    program->rows = program->rows > ROWS_MANY ? kept : program->rows;
}

/* Takes in rows where the shaper leaves more than the program thought, and finds R. */
static size_t seek_rows(tailor_program *program, double gap)
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
        add_row(program, seeker.row[i]);
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
            sum += program->dual[j] * row_at(&program->row[j], program->duration_s, t);
    return sum;
}

/* Takes in times at which an impulse would lower the residual, and finds the least residual possible. */
static size_t seek_columns(tailor_program *program, double gap)
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
            add_column(program, t);
    }
    program->lower = least;
    return program->columns - added;
}

/* ---------------------------------------------------------------- one duration */

tailor_answer tailor_program_solve(tailor_program *program, double duration_s, double limit)
{
    lp_space *space = quell_memory_get(sizeof *space);
    if (space == NULL) {
        program->no_memory = true;
        return TAILOR_FAILED;
    }
    tailor_answer answer = TAILOR_UNSURE;
    double gap = GAP * limit;
    if (!program->held)
        rescale_columns(program, duration_s);
    renew_rows(program);
    for (size_t round = 0; round < ROUNDS && answer == TAILOR_UNSURE; round++) {
        if (program->exchanges >= EXCHANGES_MOST)
            return quell_memory_free(space), TAILOR_FAILED;
        lp_problem problem;
        double least;
        set_up(program, space, &problem);
        if (!lp_solve(&problem, space->x, space->dual, &least)) {
            answer = TAILOR_FAILED;
            break;
        }
        program->exchanges++;
        take_solution(program, space);
        program->lower = least; /* over the times there are */
        size_t columns = program->held ? 0 : seek_columns(program, gap), rows = seek_rows(program, gap);
        if (program->upper <= limit)
            answer = TAILOR_MEETS;
        else if (program->lower > limit)
            answer = TAILOR_CANNOT;
        else if (program->upper - program->lower < gap || columns + rows == 0)
            break;
    }
    quell_memory_free(space);
    return answer;
}

static void put(quell_shaper *shaper, double amplitude, double time_s)
{
    size_t at = shaper->count++;
    for (; at > 0 && shaper->time_s[at - 1] > time_s; at--) {
        shaper->time_s[at] = shaper->time_s[at - 1];
        shaper->amplitude[at] = shaper->amplitude[at - 1];
    }
    shaper->time_s[at] = time_s;
    shaper->amplitude[at] = amplitude;
}

/* A shaper begins at 0, and V is referred to its last impulse: both ends are there, if need be with nothing. */
void tailor_program_shaper(const tailor_program *program, quell_shaper *out)
{
    quell_shaper made = {.count = 0};
    for (size_t i = 0; i < program->columns && made.count < QUELL_SHAPER_MAX - 2; i++)
        if (program->amplitude[i] > 0)
            put(&made, program->amplitude[i], program->time_s[i]);
    if (made.time_s[0] > 0)
        put(&made, 0, 0);
    if (made.time_s[made.count - 1] < program->duration_s)
        put(&made, 0, program->duration_s);
    *out = made;
}
