/* Parts of the modes stage: the response model on a band of bins, the fit of it, its starts, peaks and
   lines. */
#ifndef QUELL_MODES_PRIVATE_H
#define QUELL_MODES_PRIVATE_H

#include "quell/modes.h"

/* ---------------------------------------------------------------- a known sweep (sweep_density.c) */

/* Samples at rate_hz of a sweep with its dwells and the rests around it; whole. */
double quell_sweep_samples(const quell_shaking *shaking, double rate_hz);

/* The density, up to a factor, that random strokes of a known range have on average; like->bins entries. QUELL_OK; QUELL_E_USAGE;
   QUELL_E_MEMORY. */
quell_status quell_random_density(const quell_shaking *shaking, const quell_spectrum *like, double *density, quell_error *err);

/* The Welch density of that many samples of a command, as quell_sweep_density estimates it; at like's bins. */
quell_status quell_command_density(const quell_motion_list *list, const quell_shaking *shaking, const quell_spectrum *like,
                                   double samples, double *density, quell_error *err);

/* ---------------------------------------------------------------- a sweep as it is seen (sweep_track.c, sweep_shape.c) */

/* Fills in shaking->seen and harmonics from the samples of one axis, for a sweep that runs linearly. QUELL_OK, also where
   it cannot be told; QUELL_E_MEMORY. The gaps live in arena. */
quell_status quell_sweep_track(quell_shaking *shaking, const quell_recording *recording, size_t axis, quell_arena *arena,
                               quell_error *err);

/* The density that a sweep which is seen shakes with, up to a factor; like->bins entries. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_sweep_shape(const quell_shaking *shaking, const quell_spectrum *like, double *shape, quell_error *err);

/* ---------------------------------------------------------------- a blow (blow.c) */

/* Do samples first..end - 1 begin with a blow that then dies away, with nothing more to shake the machine? *at: where. */
bool quell_blow_find(const quell_recording *recording, size_t first, size_t end, size_t *at);

/* ---------------------------------------------------------------- bursts and pauses (bursts.c) */

/* What shakes the machine, its ringing apart. */
typedef struct quell_bursts {
    size_t count;      /* of bursts between which it pauses; 1: no pause, or 3 s on end without one */
    double paused;     /* share of the time */
    size_t first, end; /* samples from the first burst to the last */
} quell_bursts;

enum { QUELL_BURSTS_LEAST = 4 }; /* that make motion stops ... */
#define QUELL_PAUSED_LEAST 0.1   /* ... with pauses for this share of the time: random motion through a mode has 0.04 */

/* Samples first..end - 1. Without kept samples there is no burst. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_bursts_find(quell_bursts *out, const quell_recording *recording, size_t first, size_t end,
                               quell_error *err);

/* ---------------------------------------------------------------- response model */

/* Parameters of K modes: ln f, ln zeta, c for each mode in turn, then b0, b1, n, d. */
enum { FIT_PARAMETERS_MAX = 3 * QUELL_MODES_MAX + 4 };
enum { FIT_LN_F, FIT_LN_ZETA, FIT_C, FIT_PER_MODE };        /* offsets within a mode */
enum { FIT_B0, FIT_B1, FIT_NOISE, FIT_DIRECT, FIT_COMMON }; /* offsets behind the modes */

/* S = e^b0 (x/x_ref)^b1 |d + sum c g|^2 + e^n, or without a common input S = sum e^c |1 + g|^2 + e^n. */
typedef enum quell_model_form {
    MODEL_DRIVEN, /* d = 1 */
    MODEL_ACROSS, /* an axis that is not driven: b0 and b1 are held, d is small: what leaks from the driven axis */
    MODEL_AMBIENT /* c is the ln of a mode's own input; b0, b1 and d play no part */
} quell_model_form;

/* Frequencies at which the model is evaluated, per_bin of them a bin, from the band's ends `reach` bins outwards, and the
   window's |W|^2 that smears it over as many. */
typedef struct quell_model_grid {
    size_t per_bin, reach;
    size_t origin, room;         /* point i of the arrays lies at (origin + i) bin_hz / per_bin: the whole search band */
    size_t first, points;        /* those of the band in use: (first + i) bin_hz / per_bin */
    double *x_hz, *log_x;        /* ln(x / reference) */
    double *input;               /* known shape of the input: |H|^2 of a shaper that was on; 1 if none */
    double *kernel, kernel_sum;  /* |W|^2 at offsets of 1 / per_bin bin, from -reach to reach bins */
} quell_model_grid;

/* Which grid: what a fit ends with wants the fine one; while it searches, the coarse one tells the way as well. */
typedef enum quell_model_precision {
    MODEL_EXACT,  /* model and derivatives on the fine grid */
    MODEL_SEARCH, /* derivatives on the coarse one */
    MODEL_ROUGH   /* both on the coarse one */
} quell_model_precision;

/* The model, seen through the window, at `bins` bins from `first` on. It is evaluated on a grid finer than
   the bins and smeared by the window's |W|^2, as the data are. */
typedef struct quell_model {
    const quell_spectrum *spectrum;
    quell_model_form form;
    quell_model_precision precision;
    const double *command;                /* density that was commanded, by bin of the spectrum; NULL: not known */
    size_t first, bins;                   /* the band in use */
    size_t prepared_first, prepared_last; /* the bins it may lie within */
    double reference_hz;
    quell_model_grid fine, coarse;
    double *work; /* RESPONSE_ROWS rows of fine.room values */
} quell_model;

/* A model over the bins low..high (inclusive) at most. shaper: was on during the recording; NULL: none.
   QUELL_OK; QUELL_E_MEMORY. Free with quell_model_clear in either case. */
quell_status quell_model_prepare(quell_model *model, const quell_spectrum *spectrum, size_t low, size_t high,
                                 double reference_hz, const quell_shaper *shaper, quell_error *err);
void quell_model_clear(quell_model *model);

/* Narrows the model to bins first..last (inclusive) of those it was prepared for. */
void quell_model_set_band(quell_model *model, size_t first, size_t last);

/* |W|^2 of a cosine-sum window at an offset in bins, for long segments. The coefficients' signs put the
   window's middle at n = N/2; about the middle they alternate. */
double quell_window_kernel(const quell_window *window, double offset);

/* ln M of each bin of the band, and, unless jacobian is NULL, d ln M / d parameter: row by row, a row of
   `bins` values a parameter. */
void quell_model_evaluate(const quell_model *model, const double *parameter, size_t modes, double *log_model,
                          double *jacobian);

/* The model without noise and without what was commanded on a grid, into the first row of model->work; derivatives by each
   mode's parameters, b0, b1 and d into the rows after it, in the order of the parameters (that of n stays unused). A row is
   grid->room long. */
enum { RESPONSE_ROWS = FIT_PARAMETERS_MAX + 4 };
void quell_response_rows(const quell_model *model, const quell_model_grid *grid, const double *parameter, size_t modes,
                         bool derivatives);

/* ---------------------------------------------------------------- fit */

/* Beyond this two modes cancel each other, or the input's level is lost: no longer a participation. */
#define FIT_PARTICIPATION_MAX 5.0

/* Data of a fit. Arrays are indexed by bin of the spectrum. */
typedef struct quell_fit_problem {
    quell_model model;
    const double *density;                /* P */
    double *log_density;                  /* ln P, its bias for chi-square taken off */
    bool *masked;                         /* lines, and where a shaper left no input */
    bool held[FIT_COMMON];                /* common parameters that stay as they are */
    double held_level, held_slope;        /* b0 and b1 where they are held */
    bool swept;                           /* P is a sweep's: its scatter is not chi-square's */
    double weight;                        /* nu / 2: one over the variance of P / M */
    double noise_bounds[2], noise_start;  /* of n */
    double *log_model, *trial, *jacobian; /* scratch, a band long; jacobian FIT_PARAMETERS_MAX of them */
} quell_fit_problem;

/* A point in the fit, and how good it is. */
typedef struct quell_fit {
    size_t modes, iterations;
    double parameter[FIT_PARAMETERS_MAX];
    double misfit; /* Q = sum nu/2 (P/M - 1 - ln P/M) over the unmasked bins, with what is known of b1 and d beforehand;
                      infinite: rejected */
    double rms;    /* of ln P - ln M */
} quell_fit;

/* The data of one axis over the bins low..high at most. QUELL_OK; QUELL_E_MEMORY. Free with
   quell_fit_release in either case. */
quell_status quell_fit_prepare(quell_fit_problem *problem, const quell_spectrum *spectrum, size_t axis,
                               size_t low, size_t high, double reference_hz, const quell_shaper *shaper,
                               bool swept, quell_error *err);
void quell_fit_release(quell_fit_problem *problem);

/* Falls of Q not worth a further step: while fits are being compared, and at the end. */
#define FIT_NEARLY 1e-2
#define FIT_FULLY 1e-5

/* Improves a fit by at most max_iterations steps of damped Fisher scoring, until a step promises to lower Q
   by less than `enough`. */
void quell_fit_improve(quell_fit_problem *problem, quell_fit *fit, size_t max_iterations, double enough);

/* Unmasked bins of the model's band. */
size_t quell_fit_bins(const quell_fit_problem *problem);

/* Q and the rms misfit of a point whose ln M is log_model. */
double quell_fit_misfit(const quell_fit_problem *problem, const quell_fit *fit, const double *log_model, double *rms);

/* P/M - 1 of each bin of the band into problem->trial, what stands out cut down, after quell_model_evaluate into log_model and
   jacobian. Clears the jacobian at masked bins. */
void quell_fit_excess(quell_fit_problem *problem, size_t modes);

/* Sums over the unmasked bins of the band at fit->parameter, after quell_model_evaluate into log_model and jacobian:
   gradient -dQ/dp and information sum nu/2 dlnM dlnM^T (lower triangle), with what is known beforehand.
   quell_fit_excess comes with it. */
void quell_fit_normal_equations(quell_fit_problem *problem, const quell_fit *fit, double *gradient,
                                double information[][FIT_PARAMETERS_MAX]);

/* The free parameters into index: all but those held and those on a bound whose gradient points outwards. */
size_t quell_fit_free_parameters(const quell_fit_problem *problem, const quell_fit *fit, const double *gradient,
                                 size_t *index);

/* Variances of the parameters at a fit's end, by the sandwich of the information and the scatter of the scores, which
   neighbouring bins share; NaN for parameters on a bound, infinite for all if the information has no inverse. */
void quell_fit_variances(quell_fit_problem *problem, const quell_fit *fit, double variance[FIT_PARAMETERS_MAX]);

/* Bins that count as one, since neighbours share data: 1 + 2 sum rho^2. */
double quell_bins_shared(const quell_spectrum *spectrum);

/* What an information criterion says of a fit on the model's band; the lower the better. duration_s: of the data. */
double quell_fit_criterion(const quell_fit_problem *problem, const quell_fit *fit);

/* The fall of Q that a mode more must bring for the criterion to want it. */
double quell_fit_price(const quell_fit_problem *problem, const quell_fit *fit);

/* The greatest fall of Q that a mode more promises, to the second order in its participation. */
double quell_fit_score(quell_fit_problem *problem, const quell_fit *fit);

/* False if a mode has left the range in which it means something: zeta in [2e-4, 0.4], f in the band or 10 %
   off, |c| below its bound. */
bool quell_fit_plausible(const quell_fit_problem *problem, const quell_fit *fit);

/* ---------------------------------------------------------------- starts */

/* Where a mode may be. */
typedef struct quell_mode_start {
    double frequency_hz, damping_ratio;
} quell_mode_start;

/* The best fit with one mode a start, over the sign choices of c: 2^n for n <= 4, beyond that from all
   positive with one flipped at a time. `from`, unless NULL, is a fit of the first n - 1 starts to go on from
   as well. */
quell_fit quell_fit_from_starts(quell_fit_problem *problem, const quell_mode_start *start, size_t modes,
                                const quell_fit *from);

/* The same over all choices of signs, for modes that were not fitted one after the other: 2^modes times a few steps. The input is
   taken for flat while signs are told. */
quell_fit quell_fit_from_all_signs(quell_fit_problem *problem, const quell_mode_start *start, size_t modes);

/* Candidates for a mode more, the likeliest first. */
enum { CANDIDATES_MAX = 6 };
typedef struct quell_candidates {
    size_t count;
    quell_mode_start start[CANDIDATES_MAX];
    double weight[CANDIDATES_MAX]; /* standard errors by which the density lies above the fit */
} quell_candidates;

/* Those that a fit on the model's band leaves. */
void quell_candidates_find(quell_fit_problem *problem, const quell_fit *fit, quell_candidates *out);

/* ---------------------------------------------------------------- band */

/* The bins close round the modes, within low..high. */
void quell_band_near(const quell_fit_problem *problem, const quell_mode_start *start, size_t modes,
                     size_t low, size_t high, size_t *first, size_t *last);

/* Widens the model's band step by step to low..high at most, refitting, while the fit foretells the next
   step. */
void quell_band_grow(quell_fit_problem *problem, quell_fit *fit, size_t low, size_t high);

/* ---------------------------------------------------------------- peaks */

/* Half-power damping ratio of the peak at a bin: (r2 - r1) / (2 r_peak) with r from linear interpolation
   between bins and the peak from a parabola; NaN if a side does not fall to half before the density's end.
   peak_bin, unless NULL: the interpolated peak in bins; width_bins likewise. */
double quell_half_power(const double *density, size_t bins, size_t peak, double *peak_bin,
                        double *width_bins);

/* Narrows the bins *low..*high round a peak to those before the excitation ends, where the density steps
   down. */
void quell_excitation_ends(const quell_spectrum *spectrum, size_t axis, size_t peak, size_t *low,
                           size_t *high);

/* Is the peak at `bin`, width_bins wide, a line? Then it is at most as wide as the window makes a tone, and
   1.5 bins; and has no skirts beyond the window's main lobe. */
bool quell_is_line(const quell_spectrum *spectrum, const double *density, size_t bin, double width_bins);

/* The first and last bin that a line at `bin` spoils. */
void quell_line_extent(const quell_spectrum *spectrum, const double *density, size_t bin, size_t *first,
                       size_t *last);

/* ---------------------------------------------------------------- the search */

enum { SEARCH_PEAKS_MAX = 24, NO_PEAK = SEARCH_PEAKS_MAX };

typedef struct quell_mode_search {
    const quell_spectrum *spectrum;
    size_t axis;
    size_t low, high;  /* bins searched */
    size_t modes_most; /* that it looks for; 0: all there may be */
    quell_sweep seen;  /* what the sweep is seen to run over; all 0: not told */
    size_t peaks;
    quell_peak peak[SEARCH_PEAKS_MAX];
    bool used[SEARCH_PEAKS_MAX];
    quell_fit_problem problem;
    quell_fit best;                    /* best.modes is 0 if there is none */
    size_t from_peak[QUELL_MODES_MAX]; /* which peak each mode of the best fit started from; NO_PEAK: from none */
    size_t first, last;                /* bins of the best fit's band */
    double split_ratio, split_hz;      /* as in quell_modes_fit */
} quell_mode_search;

/* The bins of options->band_hz (or of the default band), within a known sweep's range; band_hz gets what was taken.
   QUELL_OK; QUELL_E_USAGE; QUELL_E_DATA. */
quell_status quell_search_band(quell_mode_search *search, const quell_modes_options *options, double band_hz[2],
                               quell_error *err);

/* Narrows a search to what the sweep excites together with the most prominent peak; other peaks count as used. */
void quell_search_keep_within_excitation(quell_mode_search *search);

/* Prepares the problem for the excitation's kind and finds the peaks. view: the spectrum, or one whose density of the axis
   is another (a projection); it must outlive the search. command: density commanded, by bin; NULL: not known. Known lines
   are masked. QUELL_OK; QUELL_E_MEMORY. Free with quell_fit_release(&search->problem) in either case. */
quell_status quell_search_prepare(quell_mode_search *search, const quell_modes_options *options, quell_model_form form,
                                  const double *command, quell_error *err);

/* ---------------------------------------------------------------- all peaks at once (whole.c) */

/* Under a sweep of two peaks and more: a search that has begun with a mode for each of them on all that they span; it shares
   its problem's buffers with the one given, so that only one can be at work. NULL: such a beginning means nothing, or memory is
   out. Free with quell_memory_free. */
quell_mode_search *quell_whole_begin(quell_mode_search *search);

/* Does the fit explain all that is excited? */
bool quell_whole_is_explained(quell_mode_search *search);

/* Takes the other search's modes if they explain better what both together span. */
void quell_whole_take_if_better(quell_mode_search *search, quell_mode_search *other);

/* Where a fit of two modes and more under a sweep falls short: turns the signs of participations as long as it helps. */
void quell_whole_turn_signs(quell_mode_search *search);

/* Takes out modes that the criterion does not want: a peak may be none's. */
void quell_whole_drop_idle(quell_mode_search *search);

/* The widest band of a fit, relative to the lowest mode and to the highest. */
#define FIT_LOW 0.55
#define FIT_HIGH 1.5

/* Steps of a fit to its end. */
enum { FIT_ALL_STEPS = 60 };

/* A fit from starts, with one mode more than the best so far, or two where there is none. */
typedef struct quell_trial {
    quell_fit fit;
    size_t first, last; /* bins of its band */
    bool whole;         /* it explains the widest band there is for these modes */
    double gain;        /* by which the criterion falls; not above 0: not worth it */
    double ratio;       /* twice the gain in ln likelihood, per independent bin */
} quell_trial;

/* Fits `modes` starts, on the widest band if they explain it, else on one that is found on the way, and compares with the best
   so far on the same band. */
quell_trial quell_try_starts(quell_mode_search *search, const quell_mode_start *start, size_t modes);

/* Notes what two close modes in place of one gain, if it is most so far; they may not be worth it. */
void quell_note_split(quell_mode_search *search, const quell_trial *made);

/* Is a fit one that means something: every mode near its start, within what is searched, wider than a line, with a response
   that counts, and no two that only cancel? The model's band is the fit's. */
bool quell_fit_worth_having(const quell_mode_search *search, const quell_fit *fit, const quell_mode_start *start);

/* Is every mode's participation known to be there? Not asked under a sweep and without a common input. The model's band is the
   fit's. */
bool quell_fit_significant(quell_mode_search *search, const quell_fit *fit);

/* Is it worth while to look for a mode more on the band of the best fit? Not where all that is left is too little to pay, as
   the score has it, by far. A band that had to stay narrow may widen with another mode. */
bool quell_mode_may_pay(quell_mode_search *search);

/* Takes in one mode after the other as long as it pays. */
void quell_modes_select(quell_mode_search *search);

/* The k-th mode of the best fit, with intervals from the variances; direction from spectrum. */
quell_mode quell_search_mode(const quell_mode_search *search, size_t k, const double *variance,
                             const quell_modes_options *options);

/* Puts a mode into its place by frequency, or among those left out if the user ignores it. False if there is no room. */
bool quell_modes_enter(quell_modes *modes, const quell_mode *mode, const quell_modes_options *options);

/* Do both stand for one mode: within 5 %, or twice the damping ratio? */
bool quell_modes_alike(double f1_hz, double f2_hz, double damping_ratio);

/* Modes that move only across the driven axis, from the densities of the others, entered into modes. `driven` is the search
   on the driven axis. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_modes_across(const quell_mode_search *driven, const quell_modes_options *options,
                                const double *command, quell_modes *modes, quell_error *err);

/* In bins: what is wider than this on either side shows, and costs, as much with shorter segments. */
#define AMBIENT_HALF_WIDTH_MOST 130.0

/* Modes of a recording without a common input, each along the direction in which it dominates; none wider than
   AMBIENT_HALF_WIDTH_MOST. modes->band_hz is what is searched. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_modes_ambient(const quell_spectrum *spectrum, size_t axis, const quell_modes_options *options,
                                 quell_modes *modes, quell_error *err);

/* What a finished search fitted: its axis' density, and, of the first one reported, modes->fit and modes->band_hz. */
void quell_search_report(const quell_mode_search *search, quell_modes *modes);

/* The density that a known sweep commands; *command is NULL if there is none. It is for quell_memory_free. */
quell_status quell_options_command(const quell_spectrum *spectrum, const quell_modes_options *options,
                                   double **command, quell_error *err);

/* The kind of excitation that options state; a sweep where nothing is stated. */
quell_excitation quell_options_kind(const quell_modes_options *options);

/* ---------------------------------------------------------------- direction and doubts */

/* Principal direction of the real part of the cross-spectral matrix over the bins first..last; NaN unless it
   is there for three axes. The largest component is positive. */
void quell_direction_find(const quell_spectrum *spectrum, size_t first, size_t last, double direction[3]);

/* The unit vector along which the peak at a bin stands out most of what is around it, if that is much more than along the
   peak's principal direction; else that one: what another mode adds is turned away from. False if there are no three axes. */
bool quell_direction_stands_out(const quell_spectrum *spectrum, size_t bin, double half_width_bins, double u[3]);

/* The direction of a mode that was seen along such a vector, whatever else moves at its frequency across it: G u. */
void quell_direction_along(const quell_spectrum *spectrum, quell_mode *mode, const double along[3]);

/* Fills in the doubts of every mode. band_hz: what was searched. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_doubts_add(quell_modes *modes, const quell_spectrum *spectrum, size_t axis,
                              const double band_hz[2], quell_arena *arena, quell_error *err);

/* Masks what known lines make up, and marks peaks there as lines (known_lines.c). */
void quell_known_lines_mask(quell_mode_search *search, const quell_modes_options *options);

/* ---------------------------------------------------------------- doubts */

/* What doubts are judged by. Of a spectrum alone: the first four. */
typedef struct quell_doubter {
    const quell_modes *modes;
    const quell_spectrum *spectrum;
    size_t axis;
    const double *band_hz;            /* what was searched */
    const quell_recording *recording; /* NULL: the spectrum alone; else in the spectrum's axes */
    size_t first, end;                /* the stretch in it that the spectrum is of */
    const quell_shaking *shaking;     /* NULL: not known what shook the machine */
    const quell_decays *decays;       /* NULL: none */
    const quell_known_line *line;     /* tones that are there without motion */
    size_t line_count;
    quell_arena *arena; /* for the sentences */
    bool failed;        /* memory ran out */
} quell_doubter;

/* A kind of doubt: NULL if there is none of it about that mode, else the sentence. */
typedef const char *quell_doubt_kind(quell_doubter *in, const quell_mode *mode);

/* A sentence in the arena; NULL, and in->failed, if memory is out. */
const char *quell_doubt_print(quell_doubter *in, const char *format, ...) QUELL_PRINTF(2, 3);

/* "4.2", "31", "over 100": how many standard errors apart. */
quell_number_text quell_doubt_errors(double errors);

/* Adds what only the recording tells, before what the spectrum told: these weigh more. Where there are too many, the
   last are dropped. in: all but modes and failed are filled in. QUELL_OK; QUELL_E_MEMORY. */
quell_status quell_doubts_add_recording(quell_modes *modes, quell_doubter *in, quell_error *err);

/* doubts_checks.c, doubts_speed.c, doubts_level.c, doubts_sweep.c, doubts_stops.c. */
quell_doubt_kind quell_doubt_frame, quell_doubt_disagreement, quell_doubt_tone, quell_doubt_speed,
    quell_doubt_level, quell_doubt_sweep, quell_doubt_falling_stops, quell_doubt_direction;

/* The ringing of a mode as a rotating vector: the samples turned back by its frequency and low-passed by a Gaussian.
   Where |z| goes, the amplitude goes (m/s2); where its angle runs, the frequency is off. */
typedef struct quell_ringing {
    size_t count;
    double complex *z; /* NaN where the filter reaches over a gap */
    double rate_hz;    /* of z: about 16 spread_hz */
    double start_s;    /* time of z[0] after sample `first` */
    double spread_hz;  /* standard deviation of the filter */
} quell_ringing;

/* Of axis `axis`, samples first..end - 1. count is 0 if they are too few. QUELL_OK; QUELL_E_MEMORY. z is for
   quell_memory_free. */
quell_status quell_ringing_get(quell_ringing *out, const quell_recording *recording, size_t axis,
                               size_t first, size_t end, double frequency_hz, double spread_hz);

/* By what share of a move of the mode's frequency the rotation of its ringing behind that filter moves: the response of
   the fitted modes, the noise left out. Below RINGING_SHARE_LEAST it says nothing of the frequency. */
#define RINGING_SHARE_LEAST 0.2
double quell_ringing_share(const quell_modes *modes, const quell_mode *mode, double spread_hz);

enum { STOP_VIEW_LEAST = 4, STOP_OWN = 4, STOP_SHAPES_MOST = 2 * QUELL_MODES_MAX + 1 + STOP_OWN };
enum { STOP_BY_FREQUENCY, STOP_BY_DAMPING, STOP_BY_FALL, STOP_STEPS };

/* One mode's part in the decays, seen along its direction. The shapes that a decay is made of are the same for each:
   exp(-zeta w t) cos and sin for every mode, an offset, and STOP_OWN more of the mode's own. */
typedef struct quell_stop_view {
    const quell_recording *recording;
    const quell_decays *decays;
    size_t mode; /* of decays */
    double direction[3];
    size_t step, count; /* every step-th sample is used, count of them */
    size_t linear, shapes;
    double *shape; /* count rows of `shapes` */
    double gram[STOP_SHAPES_MOST * STOP_SHAPES_MOST];
} quell_stop_view;

/* The decays' mode that is this one, seen along its own direction. False, and nothing to free, if there is none, fewer
   than STOP_VIEW_LEAST stops, too few samples, or memory is out (in->failed). shape is for quell_memory_free. */
bool quell_stop_look(quell_stop_view *out, quell_doubter *in, const quell_mode *mode);

/* Steps of ln f, ln zeta and, with_fall, the fall, of the decay from sample `start` on. False if they say nothing. */
bool quell_stop_step(const quell_stop_view *view, size_t start, bool with_fall, double step[STOP_STEPS]);

#endif
