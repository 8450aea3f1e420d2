/** \file base.h — what every stage shares: status and errors, memory, numbers, quantities, random numbers.

    Nothing here knows about vibration. Everything is reentrant; there are no global settings except the
    allocation-failure switch that the tests use. Units are SI throughout; a dimensioned name ends in its unit.
    Numbers read and print with a decimal point whatever the process's locale, in formatted texts and errors, too. */
#ifndef QUELL_BASE_H
#define QUELL_BASE_H

#include <stdarg.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#define QUELL_VERSION "0.1.0"

#define QUELL_PI 3.14159265358979323846
#define QUELL_TAU 6.28318530717958647693

/** Standard gravity, exact (3rd CGPM 1901; ISO 80000-3). */
#define QUELL_STANDARD_GRAVITY_MPS2 9.80665

#if defined(__GNUC__)
#define QUELL_PRINTF(format_index, first_index) __attribute__((format(printf, format_index, first_index)))
#else
#define QUELL_PRINTF(format_index, first_index)
#endif

/* ---------------------------------------------------------------- status and errors */

/** What a call came to. Each has one exit code and one meaning: see quell_status_describe(). */
typedef enum quell_status {
    QUELL_OK = 0,
    QUELL_E_USAGE,    /**< an argument, option or specification is wrong: exit 2 */
    QUELL_E_DATA,     /**< the input cannot be used: exit 3 */
    QUELL_E_IO,       /**< reading, writing or starting a program failed: exit 4 */
    QUELL_E_MEMORY,   /**< out of memory, or over a stated maximum of it: exit 4 */
    QUELL_E_NOT_MET,  /**< nothing meets the limits asked for; the best is still given: exit 5 */
    QUELL_E_NO_SHAPER /**< the shaper asked for does not exist there: exit 5 */
} quell_status;

typedef struct quell_status_info {
    const char *name;    /**< as printed in JSON: "usage", "data", ... */
    int exit_code;       /**< the program's exit code */
    const char *meaning; /**< one phrase, lower case */
} quell_status_info;

/** The table row of a status; the row of QUELL_E_USAGE for a value outside the enumeration. Never NULL. */
const quell_status_info *quell_status_describe(quell_status status);

/** Why a call failed, filled in by the callee in the caller's object. Every function that takes one accepts NULL.
    Text is lower case, has no full stop, and says what was found and what was wanted: "rate is 0 Hz, want > 0". */
typedef struct quell_error {
    quell_status status;
    char file[256]; /**< "" if no file is concerned */
    size_t line;    /**< 1-based; 0 if unknown */
    size_t column;  /**< 1-based; 0 if unknown */
    char axis;      /**< 'x', 'y', 'z' or 0 */
    char text[512]; /**< longer text ends in "..." */
} quell_error;

/** Fills err (if not NULL) and returns status, so that `return quell_fail(...)` reads as one step.
    File and axis are kept if they were set; line and column become 0. */
quell_status quell_fail(quell_error *err, quell_status status, const char *format, ...) QUELL_PRINTF(3, 4);

/** As quell_fail, with a place in the file. line, column: 1-based, 0 if unknown. */
quell_status quell_fail_at(quell_error *err, quell_status status, size_t line, size_t column,
                           const char *format, ...) QUELL_PRINTF(5, 6);

/** As quell_fail_at, for functions that take a format themselves. */
quell_status quell_fail_list(quell_error *err, quell_status status, size_t line, size_t column,
                             const char *format, va_list arguments) QUELL_PRINTF(5, 0);

/** Names the file an error is about, unless one is named already; made plain as by quell_printable. */
void quell_error_set_file(quell_error *err, const char *file);

/** "file:line:column: axis x: text" into out (cut with "..." if it does not fit, size >= 8); returns out. */
const char *quell_error_format(const quell_error *err, char *out, size_t size);

/** Copies length bytes of hostile text into out for a message: a control character (C0, C1 or delete) and a byte that
    is not UTF-8 become '?', and what does not fit is marked by "...", no character split. size >= 8. Returns out. */
const char *quell_printable(char *out, size_t size, const char *text, size_t length);

/** Bytes of the UTF-8 character at the start of length (> 0) bytes of text; 1 for a byte that starts none. *plain is
    false for such a byte and for a control character (C0, C1 or delete). Source: The Unicode Standard, table 3-7. */
size_t quell_text_character(const char *text, size_t length, bool *plain);

/** Characters in length bytes of UTF-8: the columns they take on a terminal, double-width scripts apart. */
size_t quell_text_width(const char *text, size_t length);

/* ---------------------------------------------------------------- memory */

/** malloc, calloc, realloc and free of the project: the only calls of these, so that tests can make each one fail in
    turn. NULL if memory is out; 0 bytes count as 1. Free takes NULL. Pages of a large cleared block that are never
    used cost nothing. */
void *quell_memory_get(size_t bytes);
void *quell_memory_get_cleared(size_t bytes);
void *quell_memory_resize(void *old, size_t bytes);
void quell_memory_free(void *block);

/** Makes the n-th allocation from now on, and all after it, fail (n >= 1); 0 switches this off. For tests only. */
void quell_memory_fail_at(size_t n);

/** Makes room for at least `want` items of `size` bytes in a growing array: *items and *capacity (in items) are
    updated; the array grows by half at least. Contents are kept; new room is not cleared.
    Returns QUELL_OK; QUELL_E_MEMORY if want > limit or memory is out (the old array stays valid). */
quell_status quell_memory_grow(void **items, size_t *capacity, size_t want, size_t size, size_t limit,
                               quell_error *err);

/** Up to three rows of samples that grow together, and the places where some are missing. Start with zeros. */
typedef struct quell_samples {
    size_t count, capacity[3];
    double *value[3];
    size_t gaps, gap_capacity[2];
    size_t *gap_at, *gap_lost; /**< gap g: gap_lost[g] samples are missing before sample gap_at[g] */
} quell_samples;

/** Adds n samples to each of `axes` (1 to 3) rows. QUELL_OK; QUELL_E_MEMORY beyond 2^28 samples or if memory is out: the
    samples of before stay. */
quell_status quell_samples_add(quell_samples *samples, const double *const *value, size_t axes, size_t n,
                               quell_error *err);
/** `lost` samples are missing here. QUELL_OK; QUELL_E_MEMORY as above. */
quell_status quell_samples_gap(quell_samples *samples, size_t lost, quell_error *err);
/** Gives the memory back; the samples are zeros again. */
void quell_samples_free(quell_samples *samples);

/** An arena: objects that live and die together. */
typedef struct quell_arena quell_arena;

/** A new arena that will hold at most limit_bytes in all; NULL if memory is out. */
quell_arena *quell_arena_create(size_t limit_bytes);

/** Frees the arena and all that lives in it; NULL is allowed. */
void quell_arena_destroy(quell_arena *arena);

/** count objects of size bytes, cleared to zero and aligned for any type (to 64 bytes when larger than 4 KiB, so
    that FFTW may use its vector units); NULL if memory or the arena's limit is out, or count * size overflows. */
void *quell_arena_alloc(quell_arena *arena, size_t count, size_t size);
#define QUELL_NEW(arena, type, count) ((type *)quell_arena_alloc((arena), (count), sizeof(type)))

/** length bytes of text copied and terminated; NULL if memory is out. */
char *quell_arena_copy(quell_arena *arena, const char *text, size_t length);

/** Formatted text in the arena; NULL if memory is out. */
char *quell_arena_print(quell_arena *arena, const char *format, ...) QUELL_PRINTF(2, 3);
char *quell_arena_print_list(quell_arena *arena, const char *format, va_list arguments) QUELL_PRINTF(2, 0);

/* ---------------------------------------------------------------- numbers, whatever the locale */

/** Reads the decimal number at the start of text (sign, digits, decimal_point, exponent; no hexadecimal, no words
    such as inf or nan), correctly rounded. Returns the characters used, 0 if there is no number.
    A value beyond the range of double is read as infinity (callers check isfinite); underflow gives 0. */
size_t quell_number_read(const char *text, size_t length, char decimal_point, double *value);

/** The whole of text as one finite number with a decimal point; blanks around it are allowed.
    Returns QUELL_OK, or QUELL_E_USAGE with value found and wanted; out untouched on failure. */
quell_status quell_number_parse(const char *text, double *out, quell_error *err);

/** Prints value with `significant` digits (1-17) in the shortest of plain and exponent form; size >= 32.
    Not a number prints as "-", infinity as "inf". Returns out. */
const char *quell_number_print(char *out, size_t size, double value, int significant);

/** Prints value with a fixed number of decimals (0-12); size >= 64. Not a number prints as "-"; a magnitude of
    1e15 or more in exponent form. Returns out. */
const char *quell_number_print_fixed(char *out, size_t size, double value, int decimals);

/** The same as values, for sentences: quell_number_fixed(x, 1).text lives to the end of the full expression.
    A share prints in percent, with one decimal where it is not whole and below 99.5, and one digit below 0.1. */
typedef struct quell_number_text {
    char text[64];
} quell_number_text;
quell_number_text quell_number_fixed(double value, int decimals);
quell_number_text quell_number_short(double value, int significant);
quell_number_text quell_number_percent(double share);

/** A short text cut at each separator. */
enum { QUELL_PARTS_MAX = 8 };
typedef struct quell_parts {
    size_t count;
    char text[200];
    char *part[QUELL_PARTS_MAX]; /**< into text; may be empty */
} quell_parts;

/** Cuts it; false if it has over 199 bytes or more than QUELL_PARTS_MAX parts. out must not be copied afterwards. */
bool quell_split(quell_parts *out, const char *text, char separator);

/* ---------------------------------------------------------------- quantities with units */

typedef enum quell_dimension {
    QUELL_RATIO, /**< percent; a bare number is always allowed */
    QUELL_FREQUENCY,
    QUELL_TIME,
    QUELL_LENGTH,
    QUELL_SPEED,
    QUELL_ACCELERATION,
    QUELL_MASS,
    QUELL_ANGLE,
    QUELL_JERK
} quell_dimension;

typedef struct quell_unit {
    const char *name; /**< as written: "mm/s2", "Hz", "us" */
    quell_dimension dimension;
    double si; /**< value of one unit in SI */
} quell_unit;

/** The unit written as length bytes of name in that dimension; NULL if there is none. Upper and lower case
    differ, except that "hz" and "HZ" are read as Hz. Superscript two and "^2" are both taken as "2". */
const quell_unit *quell_unit_find(quell_dimension dimension, const char *name, size_t length);

/** A number and a unit, the blank between them optional, to SI: "6000 mm/s2" is 6.0.
    bare_unit: the unit of a bare number, or NULL if the unit must be written.
    Returns QUELL_OK, or QUELL_E_USAGE naming the value found and the units wanted; si untouched on failure. */
quell_status quell_quantity_parse(const char *text, quell_dimension dimension, const char *bare_unit,
                                  double *si, quell_error *err);

/** A range "10..150 Hz" (unit after the second number serves both; low <= high) to SI.
    Errors as quell_quantity_parse. */
quell_status quell_quantity_parse_range(const char *text, quell_dimension dimension, double *low_si,
                                        double *high_si, quell_error *err);

/* ---------------------------------------------------------------- small dense linear algebra (GSL's) */

enum { QUELL_LINEAR_MAX = 32 };

/** Sum of the n products a[i] b[i], added up in eight parts that the processor may run side by side. */
double quell_dot(const double *a, const double *b, size_t n);

/** Solves matrix * out = right for n unknowns (1 to QUELL_LINEAR_MAX), rows one after the other; matrix is overwritten,
    out must not be right. False if the matrix is singular or a number is not finite; out is then undefined. */
bool quell_linear_solve(double *matrix, const double *right, double *out, size_t n);

/** Eigenvalues of a symmetric 3 x 3 matrix, given row by row: largest first, with unit eigenvectors, vector[k] for
    value[k]. False if a number is not finite or memory is out. */
bool quell_symmetric_eigen(const double matrix[9], double value[3], double vector[3][3]);

/** The rotation nearest to a 3 x 3 matrix M, row by row: the R that makes the trace of R'M largest. M = U S V' gives
    U diag(1, 1, det UV') V'. False if M has rank below 2, a number is not finite or memory is out.
    Source: W. Kabsch, Acta Cryst. A 32, 1976; the singular values are GSL's. */
bool quell_rotation_nearest(const double matrix[9], double out[3][3]);

/* ---------------------------------------------------------------- random numbers */

/** A seeded generator (GSL's mt19937): the same seed gives the same numbers on every machine. Seeds below 2^32 are
    the generator's own (but its 0 is 4357); the higher bits of a larger one are folded into these 32.
    Source: M. Matsumoto and T. Nishimura, ACM Trans. Model. Comput. Simul. 8(1), 1998. */
typedef struct quell_random quell_random;

/** NULL if memory is out. Destroy takes NULL. */
quell_random *quell_random_create(uint64_t seed);
void quell_random_destroy(quell_random *random);

/** Uniform in [0, 1). */
double quell_random_uniform(quell_random *random);

/** Standard normal (mean 0, standard deviation 1). Source: G. Marsaglia and W. W. Tsang, J. Stat. Softw. 5(8), 2000. */
double quell_random_normal(quell_random *random);

#endif
