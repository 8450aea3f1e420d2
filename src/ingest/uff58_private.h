/* Universal files, dataset 58: what the files that read them share.

   A file is a row of datasets, each between two lines "    -1". A dataset 58 holds eleven lines of text about one
   function, then its values: in text of fixed width, or (58b) in binary.
   Source: Structural Dynamics Research Corporation, Universal File Formats for Modal Analysis Testing, dataset types
   58, 58b and 164 (from memory), and the files of others that the tests read. */
#ifndef QUELL_INGEST_UFF58_PRIVATE_H
#define QUELL_INGEST_UFF58_PRIVATE_H

#include "ingest/ingest_private.h"

/* Stated maxima. */
enum {
    UFF58_VALUES_MAX = 1 << 25, /* values kept in memory: channels follow one another in the file (256 MiB) */
    UFF58_HELD = 6,             /* channels kept until all have been seen */
    UFF58_OTHERS = 8,           /* numbers of other datasets that a message names */
    UFF58_HEAD_LINES = 11,
    UFF58_HEAD_LINES_MAX = 1000
};

enum { UFF58_TIME_RESPONSE = 1, UFF58_FUNCTIONS = 29 };

/* Ordinate and abscissa data types that are told apart. */
enum { UFF58_UNKNOWN = 0, UFF58_GENERAL = 1, UFF58_ACCELERATION = 12, UFF58_TIME = 17 };

/* What one of the two axes shows. Texts are UTF-8 and plain; "" where the file says NONE. */
typedef struct uff58_axis {
    long type;
    char label[64], unit[64];
} uff58_axis;

/* The head of one dataset 58. */
typedef struct uff58_head {
    size_t number; /* among the datasets 58, from 1 */
    size_t line;   /* on which it begins */
    bool binary, big_endian;
    double bytes; /* of the values, if binary */
    long function;
    char entity[32]; /* response entity */
    long node, direction;
    long kind; /* ordinate data type: 2 4 5 6 */
    bool is_double, is_complex, even;
    double points, start, increment; /* as the file says: not to be trusted */
    uff58_axis abscissa, ordinate;
} uff58_head;

/* One point: abscissa is 0 if the spacing is even. A value that is missing or not finite is NaN. */
typedef struct uff58_point {
    double abscissa, real, imaginary;
} uff58_point;

/* Takes one point after the other. */
typedef quell_status (*uff58_take)(void *context, const uff58_point *point, quell_error *err);

/* What was found behind the head. */
typedef struct uff58_held {
    double points; /* handed on */
    bool ended;    /* the closing line was there */
} uff58_held;

/* The datasets of a file, one after the other. */
typedef struct uff58_file {
    ingest_lines *lines;
    size_t count;              /* datasets 58 so far */
    long other[UFF58_OTHERS];  /* numbers of the first other datasets */
    size_t others;             /* how many of these numbers there are */
    bool more_others;          /* not all fitted */
    size_t stray_lines, stray; /* lines between datasets, and the first of them */
    bool cut;                  /* the file ends within a dataset that is no 58 */
    double length_per_m;       /* dataset 164: units of length in a metre; 0 if there is none */
} uff58_file;

/* Begins; lines stand before the first dataset. */
void uff58_open(uff58_file *out, ingest_lines *lines);
/* The head of the next dataset 58; *found is false at the end of the file. QUELL_E_DATA if the head is malformed. */
quell_status uff58_next(uff58_file *file, uff58_head *out, bool *found, quell_error *err);
/* Its values, up to its end; take may be NULL to pass over them. */
quell_status uff58_values(uff58_file *file, const uff58_head *head, uff58_take take, void *context,
                          uff58_held *out, quell_error *err);

/* ---------------------------------------------------------------- parts (uff58_head.c, uff58_text.c, uff58_binary.c) */

/* A line that opens or closes a dataset. */
bool uff58_is_marker(const char *text, size_t length);
/* The number and letter of a dataset from the line behind the opening one; false if it is none. */
bool uff58_number(const char *text, size_t length, long *number, char *letter);

/* What follows "58" or "58b" on its line (letter 'b'), and the eleven lines below. */
quell_status uff58_head_read(uff58_head *out, ingest_lines *lines, const char *text, size_t length,
                             char letter, quell_error *err);
/* Is the head of a function whose values are to be read sound? */
quell_status uff58_head_check(const uff58_head *head, quell_error *err);

quell_status uff58_text_values(const uff58_head *head, ingest_lines *lines, uff58_take take, void *context,
                               uff58_held *out, quell_error *err);
quell_status uff58_binary_values(const uff58_head *head, ingest_lines *lines, uff58_take take, void *context,
                                 uff58_held *out, quell_error *err);

/* ---------------------------------------------------------------- what a dataset is (uff58_kinds.c) */

/* "time response", "coherence"; "unknown function" beyond the table. */
const char *uff58_function_name(long function);
/* "excitation force"; "unknown data" beyond the table. */
const char *uff58_data_name(long type);

typedef enum uff58_fitness {
    UFF58_FITS,
    UFF58_NO_TIME,         /* another function type, or over another abscissa */
    UFF58_NO_ACCELERATION, /* a time record of something else */
    UFF58_NO_UNIT          /* the file does not say of what */
} uff58_fitness;

/* asked: the unit was given by option; picked: the dataset was named by option. */
uff58_fitness uff58_judge(const uff58_head *head, bool asked, bool picked);
/* A unit of time or acceleration as labels write it: "(Sec)", "m/s2". */
bool uff58_unit(ingest_unit *out, quell_dimension dimension, const char *label);
/* "dataset 3: 'Force' in N (excitation force)" */
const char *uff58_describe(const uff58_head *head, char *out, size_t size);

/* ---------------------------------------------------------------- channels (uff58_channels.c, uff58_axes.c) */

/* Values that grow without being copied. */
enum { UFF58_BLOCK = 4094 };
typedef struct uff58_block {
    struct uff58_block *next;
    size_t taken;
    double value[UFF58_BLOCK];
} uff58_block;
typedef struct uff58_series {
    uff58_block *first, *last;
    size_t count;
} uff58_series;

quell_status uff58_series_add(uff58_series *series, double value, quell_error *err);
/* The next n values after those taken already, freeing what has been taken. */
void uff58_series_take(uff58_series *series, double *out, size_t n);
void uff58_series_free(uff58_series *series);

typedef struct uff58_channel {
    uff58_head head;
    uff58_series value, stamp; /* stamps only if the spacing is not even */
    double found;              /* points behind the head */
    double imaginary;          /* largest size of an imaginary part */
    size_t missing;            /* points without a number */
} uff58_channel;

/* What a file holds, as far as it matters. */
typedef struct uff58_content {
    uff58_channel channel[UFF58_HELD];
    size_t channels;
    size_t candidates; /* channels that fit, held or not */
    size_t functions
        [UFF58_FUNCTIONS]; /* datasets 58 by function type that are no time record; the last: others */
    size_t misfits;        /* time records of something else */
    uff58_head misfit;     /* the first of them */
    uff58_fitness why;
    size_t values; /* held in all */
    size_t picked[3];
    bool has_picked;
    uff58_head first; /* of the channels that fit */
} uff58_content;

/* Reads the whole file; keeps the channels that may be used. */
quell_status uff58_gather(uff58_content *out, uff58_file *file, const quell_read_options *options,
                          quell_error *err);
void uff58_content_free(uff58_content *content);

/* Which channels are the axes: channel[k] of content, all of the same points in time. */
typedef struct uff58_choice {
    size_t axes, channel[3];
    size_t rows;
} uff58_choice;

/* QUELL_E_DATA if there is none, with what there is instead. Findings say what is left out. */
quell_status uff58_choose(uff58_choice *out, const uff58_content *content, quell_arena *arena,
                          quell_findings *findings, quell_error *err);

/* ---------------------------------------------------------------- words (uff58_words.c) */

/* Why there is nothing to read: no dataset 58, no time record, or none of acceleration. */
quell_status uff58_refuse(const uff58_content *content, const uff58_file *file, quell_error *err);
/* Findings on the file as a whole: other functions, other records, lines between datasets. */
quell_status uff58_note_file(const uff58_content *content, const uff58_file *file, quell_arena *arena,
                             quell_findings *findings);
/* Findings on the channels that are used. */
quell_status uff58_note_choice(const uff58_choice *choice, const uff58_content *content, quell_arena *arena,
                               quell_findings *findings);

#endif
