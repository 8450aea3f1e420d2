/* Monte-Carlo study of the modes' estimator: recordings made with quell_simulate, of machines drawn by chance, go the way
   of a user's recording (mounting, judgement, modes), and what comes out is compared to what went in.

   Rows of a table (study_rows.c) say what is recorded; figures (study_figures.c) say what is told of it; a goal is a
   figure of a row with its limits. Every recording has a seed of its own, made of the study's, the row's name and its
   index, so results depend neither on threads nor on which other rows are run. */
#ifndef QUELL_TESTS_STUDY_H
#define QUELL_TESTS_STUDY_H

#include "quell/modes.h"
#include "quell/simulate.h"

#include <stdio.h>

enum { STUDY_MODES_MAX = 3, STUDY_GOALS_MAX = 10 };

/* ---------------------------------------------------------------- what is recorded */

typedef struct study_range {
    double low, high;
} study_range;

typedef struct study_mode_range {
    study_range frequency_hz, damping_ratio, participation;
} study_mode_range;

typedef enum study_figure {
    STUDY_RIGHT,   /* share of recordings with as many modes as there are, each near its own */
    STUDY_KIND,    /* share whose excitation was told */
    STUDY_F_ERROR, /* median |error|, relative */
    STUDY_ZETA_ERROR,
    STUDY_C_ERROR, /* median |error|, absolute */
    STUDY_F_BIAS,  /* median error */
    STUDY_ZETA_BIAS,
    STUDY_F_SPREAD, /* spread of errors by the Cramer-Rao bound of each recording */
    STUDY_ZETA_SPREAD,
    STUDY_F_COVERED, /* share of the 95 % intervals that hold the truth */
    STUDY_ZETA_COVERED,
    STUDY_C_COVERED,
    STUDY_ZETA_WIDTH,   /* median half-width of the interval of zeta, relative */
    STUDY_ZETA_CALIBRE, /* that by 1.96 of the bound's standard deviations */
    STUDY_FALSE,        /* modes a recording that are none */
    STUDY_PEAKS,        /* peaks a recording that are no modes, of quell_peaks_find */
    STUDY_FAILED,       /* share of recordings that no modes could be sought in */
    STUDY_FIT_S,        /* processor seconds of one fit of as many modes as there are, median */
    STUDY_FIND_S,       /* processor seconds of quell_modes_find on the spectrum, median */
    STUDY_MEASURE_S,    /* of the whole measurement */
    STUDY_FIGURES
} study_figure;

typedef struct study_goal {
    study_figure figure;
    study_range within; /* NaN: no limit on that side */
} study_goal;

typedef struct study_row {
    const char *name, *title;
    size_t modes;
    study_mode_range mode[STUDY_MODES_MAX];
    quell_excitation excitation;
    double seconds;
    double rate_hz;         /* 0: drawn from 2000 to 3200 Hz */
    bool command_known;     /* of a sweep */
    bool noise;             /* no machine: coloured noise */
    bool timed;             /* the parts of the measurement are run once more for their times */
    double background_mps2; /* ambient shaking of every mode beside the commanded motion, rms in 0..rate/2 */
    quell_line line;        /* amplitude 0: none */
    size_t count;           /* recordings of the full study */
    study_goal goal[STUDY_GOALS_MAX];
    size_t goals;
} study_row;

const study_row *study_rows(size_t *count);
const study_row *study_row_find(const char *name); /* NULL if there is none */

/* ---------------------------------------------------------------- one recording */

typedef struct study_recording {
    quell_simulation setup; /* the truth */
    quell_recording recording;
    double start_s, end_s; /* of the excitation */
} study_recording;

/* Recording `index` of a row. */
quell_status study_record(study_recording *out, const study_row *row, uint64_t seed, size_t index,
                          quell_arena *arena, quell_error *err);

/* What came of a mode that is there. Errors are found by true: of logarithms for f and zeta, differences for c. */
typedef struct study_match {
    bool found;
    double f_hz, zeta, c;             /* true */
    double ln_f, ln_zeta, c_error;    /* errors */
    double sd_ln_f, sd_ln_zeta, sd_c; /* the Cramer-Rao bound's; NaN: there is none */
    bool f_covered, zeta_covered, c_covered;
    double zeta_half_width; /* of the interval, relative */
} study_match;

typedef struct study_result {
    quell_status status;
    size_t modes, found, wrong, peaks;
    double wrong_hz; /* the first of those that are none */
    bool kind_right;
    char why[160]; /* what the excitation was taken to be by */
    study_match match[STUDY_MODES_MAX];
    double fit_s, find_s, measure_s;
} study_result;

/* Processor seconds of one fit to axis 0 of the spectrum: of all signs of c from starts near the truth, in the design's band,
   to its end. NaN without modes, or where it cannot be made. */
double study_fit_time(const quell_spectrum *spectrum, const quell_simulation *truth);

/* Of the calling thread so far. */
double study_processor_s(void);

/* Makes recording `index` and looks for its modes. */
void study_try(study_result *out, const study_row *row, uint64_t seed, size_t index);

/* Recordings 0..count - 1 of a row, on so many threads. The same results with any number of them. */
void study_run(study_result *out, size_t count, const study_row *row, uint64_t seed, size_t threads,
               bool progress);

/* ---------------------------------------------------------------- what is told */

typedef struct study_value {
    double value, standard_error; /* value NaN: nothing to tell */
} study_value;

study_value study_figure_value(study_figure figure, const study_result *result, size_t count);
bool study_figure_meets(double value, const study_range *within);

/* How a figure is called and printed: value * scale with so many decimals and the unit. */
typedef struct study_words {
    const char *title, *unit;
    double scale;
    int decimals;
} study_words;
const study_words *study_figure_words(study_figure figure);

/* All figures of a row. */
typedef struct study_told {
    const study_row *row;
    size_t count, missed; /* recordings; goals */
    study_value value[STUDY_FIGURES];
} study_told;

study_told study_tell(const study_row *row, const study_result *result, size_t count);

/* A line a figure, those with goals first. */
void study_print(FILE *out, const study_told *told);

/* RESULTS.md: goals in one table, all figures in another. */
void study_print_markdown(FILE *out, const study_told *told, size_t rows, uint64_t seed);

/* ---------------------------------------------------------------- bounds, independent of the estimator */

/* A density S(x) over `seconds` of record, seen in low_hz..high_hz. Driven: e^b0 (x/x_ref)^b1 |H|^2 + noise, with ln f,
   ln zeta and c of each mode, b0 and b1 unknown. Incoherent: sum over modes of e^a |1 + g|^2 + noise, with ln f, ln zeta
   and a unknown. The sensor's noise is taken as known: it cannot be below 0, and a bound that lets it fall there is
   up to four times too large for c, so that an estimator that knows better would seem to beat it. */
typedef struct study_spectrum {
    size_t modes;
    double f_hz[STUDY_MODES_MAX], zeta[STUDY_MODES_MAX], c[STUDY_MODES_MAX];
    bool incoherent;
    double level_m2ps3, noise_m2ps3; /* of input and sensor */
    double low_hz, high_hz, seconds;
} study_spectrum;

/* Standard deviations of a mode's estimates that no unbiased estimator goes below. */
typedef struct study_bound {
    double sd_ln_f, sd_ln_zeta, sd_c;
} study_bound;

/* From Whittle's information T * integral of dlnS/dp dlnS/dq df (P. Whittle, Ark. Mat. 2, 1953), derivatives by differences.
   out has spectrum->modes entries. False if the information is singular. */
bool study_bound_find(study_bound *out, const study_spectrum *spectrum);

/* The standard deviation (rad/sample) of the frequency of A cos(w n + p), n = 0..samples - 1, A and p unknown, in white noise of
   deviation s: from the exact information. */
double study_tone_bound(double amplitude, double noise, double w, double phase, size_t samples);

#endif
