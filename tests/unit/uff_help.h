/* Universal files made in memory, after the column widths of the format and not by the reader's own means. */
#ifndef QUELL_TESTS_UFF_HELP_H
#define QUELL_TESTS_UFF_HELP_H

#include "ingest_help.h"

#include <stdint.h>

/* One dataset 58. */
typedef struct test_uff {
    int function, kind; /* 2 4 5 6 */
    size_t points;      /* as the head says */
    bool uneven;
    double start, increment;
    int node, direction;
    int abscissa, ordinate;   /* data types */
    const char *label, *unit; /* of the ordinate; NULL: NONE */
    const char *time_unit;    /* NULL: s */
    const char *end;          /* of the lines; NULL: "\n" */
} test_uff;

/* A dataset 58 with the values of next(context, i): in order abscissa (if uneven), real, imaginary (if complex). */
typedef double (*test_uff_value)(size_t i, size_t part);

/* "    -1" and the eleven lines of head below the line of the dataset's number. */
void test_uff_head(test_text *text, const test_uff *set, const char *first_line);
/* A whole dataset in text, with `held` points of what the head says. */
void test_uff_text(test_text *text, const test_uff *set, size_t held, test_uff_value value);
/* The same in binary. */
void test_uff_binary(test_text *text, const test_uff *set, size_t held, test_uff_value value,
                     bool big_endian);
void test_bytes_add(test_text *text, const void *bytes, size_t length);

#endif
