/* What the files of the tailored design share: the semi-infinite linear program at one duration, and its parts. */
#ifndef QUELL_TAILOR_PRIVATE_H
#define QUELL_TAILOR_PRIVATE_H

#include "quell/shaping.h"

/* ---------------------------------------------------------------- bands (bands.c) */

/* A maximum of V along frequency. */
typedef struct band_peak {
    double hz, zeta, residual;
} band_peak;

/* Calls `peak` (unless NULL) for each maximum of V, ends included, at three damping ratios; range: least and greatest V.
   with: V is that of the product with this one; NULL: of the shaper alone. */
void band_scan(const quell_band *band, const quell_shaper *shaper, const quell_shaper *with,
               void (*peak)(void *, const band_peak *), void *into, double range[2]);

/* Frequencies that show a band's V for shapers of that duration. */
size_t band_points(const quell_band *band, double duration_s);

/* ---------------------------------------------------------------- demands (demands.c) */

enum { DEMANDS_MOST = 160 };

/* A mode of a band at which the residual has a maximum. */
typedef struct demand {
    size_t band;
    double hz, zeta, residual;
} demand;

typedef struct demand_list {
    size_t count, band; /* band: of the maxima that come */
    demand demand[DEMANDS_MOST];
} demand_list;

/* Lists the maxima of at least that share of their band's worst; returns R. */
double demands_list(demand_list *list, const quell_bands *bands, const quell_shaper *shaper, double least_share);

/* ---------------------------------------------------------------- linear programs (tailor_lp.c) */

/* Minimise cost . x where x >= 0 and every row's bound holds. Entries are by row, `columns` to a row. */
enum { LP_COLUMNS_MAX = 320 };

typedef enum lp_kind { LP_AT_MOST, LP_EQUAL, LP_AT_LEAST } lp_kind;

typedef struct lp_problem {
    size_t rows, columns;
    const double *cost;    /* of columns */
    const double *entry;   /* rows x columns */
    const double *bound;   /* of rows */
    const lp_kind *kind;   /* of rows */
    const double *low;     /* of columns; NULL: 0 */
    const double *high;    /* of columns; NULL: none */
} lp_problem;

/* x: columns values, dual: rows values (of a minimum: >= 0 where at least, <= 0 where at most). False if there is no solution,
   or no memory, or the solver gives up. */
bool lp_solve(const lp_problem *problem, double *x, double *dual, double *least);

/* ---------------------------------------------------------------- one duration (tailor_exchange.c, tailor_seek.c) */

#define TAILOR_NEGLIGIBLE 1e-11 /* of amplitudes and weights */

enum { TAILOR_ROWS_MAX = 640, TAILOR_COLUMNS_MAX = 160 };

/* A demand: the part of the residual of (hz, zeta) along `angle` is at most the band's s. */
typedef struct tailor_row {
    size_t band;
    double hz, zeta, angle;
    double gain; /* V of what the shaper is convolved with; set by the program */
} tailor_row;

typedef enum tailor_answer { TAILOR_MEETS, TAILOR_CANNOT, TAILOR_UNSURE, TAILOR_FAILED } tailor_answer;

/* The program at one duration, and what its last solution was. */
typedef struct tailor_program {
    const quell_bands *bands;
    double duration_s;
    double tick_s; /* times are multiples of it; 0: any */
    bool held;     /* no times but those there are */
    /* A shaper that all of them are convolved with, such as a smooth kernel: each demand is on the product. Its times scale with
       the duration, which is that of the impulses alone; NULL: none. */
    quell_shaper *with;
    size_t even_ticks; /* so many ticks make up the duration, whatever it is; 0: see tick_s */
    size_t columns, rows;
    double time_s[TAILOR_COLUMNS_MAX], amplitude[TAILOR_COLUMNS_MAX];
    bool carries[TAILOR_COLUMNS_MAX]; /* an amplitude, when last solved */
    tailor_row row[TAILOR_ROWS_MAX];
    double dual[TAILOR_ROWS_MAX]; /* weights of the proof, >= 0 */
    double slack[QUELL_TAILOR_BANDS_MAX]; /* s of each band */
    double upper, lower;           /* R of the amplitudes; the least R that any shaper has */
    size_t exchanges;
    bool no_memory; /* it was out, whatever the answer */
} tailor_program;

/* Forgets what was solved before, which may stand in the way. */
void tailor_program_forget(tailor_program *program);

/* Sets a program up, empty. */
void tailor_program_start(tailor_program *program, const quell_bands *bands, double duration_s, double tick_s);

/* Solves at a duration, from what the program last held; stops as soon as it is known whether the limit can be met. */
tailor_answer tailor_program_solve(tailor_program *program, double duration_s, double limit);

/* The lowest frequency of all bands; QUELL_OK if the limits can be asked for. */
double tailor_lowest_hz(const quell_bands *bands);
quell_status tailor_check_limits(const quell_tailor_limits *limits, quell_error *err);

/* The shortest duration at which the limit is met: found between range_s[0], known to be too short, and range_s[1], whose shaper is
   *best. False if the programs cannot be solved. */
bool tailor_shortest(tailor_program *program, double limit, double range_s[2], quell_shaper *best, size_t *programs);

/* Re(exp(-j angle) g(t)) of a row, as far as what it is convolved with leaves it. */
double tailor_row_at(const tailor_row *row, double duration_s, double t);

/* Takes a time, or a demand, into the program; what is there already, or finds no room, is passed over. */
void tailor_add_column(tailor_program *program, double t);
void tailor_add_row(tailor_program *program, tailor_row row);

/* Takes in times at which an impulse would lower the residual, and finds the least residual possible: program->lower. Returns how
   many. */
size_t tailor_seek_columns(tailor_program *program, double gap);

/* Takes in rows where the shaper leaves more than the program thought, and finds R: program->upper. Returns how many. */
size_t tailor_seek_rows(tailor_program *program, double gap);

/* The impulses that are not 0, as a shaper that ends at the duration. */
void tailor_program_shaper(const tailor_program *program, quell_shaper *out);

/* ---------------------------------------------------------------- a few impulses (tailor_polish.c, tailor_few.c) */

/* Makes impulses that are closer than `apart` of the duration one, the first at 0 and the last at the end. */
void tailor_merge(quell_shaper *shaper, double apart);

/* Improves amplitudes and times together, the duration held; returns R, NaN if memory is out. */
double tailor_polish(quell_shaper *shaper, const quell_bands *bands);

/* The shortest that is found with so many impulses and on ticks (0: any times), beginning at a duration that none goes below.
   False if none meets the limit. */
bool tailor_few(quell_shaper *out, tailor_program *program, const quell_tailor_limits *limits, double duration_s);

/* ---------------------------------------------------------------- textbook shapers (textbook.c, textbook_improve.c) */

enum { TEXTBOOK_PARTS = 3 };

/* A product of families at design points, and what it comes to. */
typedef struct textbook_candidate {
    size_t parts;
    quell_design_point at[TEXTBOOK_PARTS];
    const quell_family *family[TEXTBOOK_PARTS];
    quell_textbook made;
    double measure;
    bool keeps;   /* the limit */
    double merit; /* the measure, and more where the limit is not kept */
} textbook_candidate;

/* What is to be least: duration, or the square of the spread; either of a product is the sum of its parts'. */
double textbook_measure(const quell_textbook_limits *limits, const quell_shaper *shaper);

/* Improves a candidate from its design points on, in so many steps at most; its merit is NaN if memory is out. */
void textbook_improve(textbook_candidate *of, const quell_bands *bands, const quell_textbook_limits *limits, size_t steps);

#endif
