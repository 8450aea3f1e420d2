/* The least residual that a non-negative shaper of a given duration can have: a linear program over all times and all modes
   of the bands, solved by exchange. Each round solves it over a few times and a few modes, looks for the modes where the
   shaper found leaves more and for the times that would lower it (tailor_seek.c), and takes those in. */
#include "shaping/tailor_private.h"

#include <math.h>
#include <string.h>

enum { EVEN_TIMES = 25, FIRST_FREQUENCIES = 9, LATER_FREQUENCIES = 3, ANGLES = 4, ROUNDS = 40 };
enum { EXCHANGES_MOST = 400 };

#define GAP 1e-4   /* between the residual reached and the least possible, of the limit */
#define APART 1e-6 /* times closer than this, of the duration, are one */

double tailor_row_at(const tailor_row *row, double duration_s, double t)
{
    double w = QUELL_TAU * row->hz, wd = w * sqrt(1 - row->zeta * row->zeta);
    return row->gain * exp(row->zeta * w * (t - duration_s)) * cos(wd * (t - duration_s / 2) - row->angle);
}

/* ---------------------------------------------------------------- columns and rows */

void tailor_add_column(tailor_program *program, double t)
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

void tailor_add_row(tailor_program *program, tailor_row row)
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
                tailor_add_row(program, (tailor_row){k, band->hz[0] + share * (band->hz[1] - band->hz[0]),
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
        tailor_add_column(program, duration_s * (double)i / (EVEN_TIMES - 1));
    for (size_t i = 0; i < count; i++)
        if (program->carries[i])
            tailor_add_column(program, before[i] * ratio);
}

/* Rows that prove nothing are dropped. */
static void renew_rows(tailor_program *program)
{
    size_t kept = 0;
    for (size_t j = 0; j < program->rows; j++)
        if (program->dual[j] > TAILOR_NEGLIGIBLE) {
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
            row[i] = tailor_row_at(&program->row[j], program->duration_s, program->time_s[i]);
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
        sum += program->amplitude[i] = space->x[i] > TAILOR_NEGLIGIBLE ? space->x[i] : 0;
    for (size_t i = 0; i < program->columns; i++)
        program->carries[i] = (program->amplitude[i] /= sum) > 0;
    for (size_t k = 0; k < bands->count; k++)
        program->slack[k] = space->x[program->columns + (bands->weighted ? k : 0)];
    for (size_t j = 0; j < program->rows; j++) {
        program->dual[j] = -space->dual[j] > TAILOR_NEGLIGIBLE ? -space->dual[j] : 0;
        weights[program->row[j].band] += program->dual[j];
        all += program->dual[j];
    }
    for (size_t j = 0; j < program->rows; j++) {
        size_t k = program->row[j].band;
        double share = bands->weighted ? bands->band[k].weight : 1, held = bands->weighted ? weights[k] : all;
        program->dual[j] *= held > share ? share / held : 1;
    }
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
        size_t columns = program->held ? 0 : tailor_seek_columns(program, gap), rows = tailor_seek_rows(program, gap);
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
