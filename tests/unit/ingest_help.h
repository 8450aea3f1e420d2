/* What the tests of the ingest stage share: recordings made in memory, and reading them. */
#ifndef QUELL_TESTS_INGEST_HELP_H
#define QUELL_TESTS_INGEST_HELP_H

#include "suites.h"

#include "quell/ingest.h"

/* Text that grows. */
typedef struct test_text {
    char *bytes;
    size_t length, capacity;
} test_text;

void test_text_add(test_text *text, const char *format, ...) QUELL_PRINTF(2, 3);
void test_text_free(test_text *text);

/* Reads length bytes as a recording called "log.csv". */
quell_status test_read_bytes(quell_recording *out, const void *bytes, size_t length,
                             const quell_read_options *options, quell_arena *arena, quell_error *err);
quell_status test_read(quell_recording *out, const test_text *text, const quell_read_options *options,
                       quell_arena *arena, quell_error *err);

/* length bytes packed as one gzip member; the caller frees it with free(). */
unsigned char *test_gzip(const void *bytes, size_t length, size_t *packed);

/* The finding of that kind, or NULL. */
const quell_finding *test_finding(const quell_findings *findings, const char *kind);

/* `rows` rows "time,x,y,z" of a tone on x, a slower one on y, and gravity on z, at rate_hz, in m/s2, under the head. */
void test_text_tone(test_text *text, const char *head, size_t rows, double rate_hz);

/* A recording read from text; test_reading_end frees the arena and the text. Start with zeros. */
typedef struct test_reading {
    test_text text;
    quell_arena *arena;
    quell_recording recording;
    quell_error err;
    quell_status status;
} test_reading;

/* Reads the text, again if it was read before. */
void test_reading_read(test_reading *out, const quell_read_options *options);
void test_reading_end(test_reading *done);

/* A file of the folder of others' recordings, such as "uff/x.unv", for free(); NULL where there is no such folder. */
char *test_recording_load(const char *name, size_t *length);

#endif
