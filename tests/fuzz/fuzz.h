/* What the fuzz targets share. A target is fuzz_<name>.c: with libFuzzer it is fed by `make fuzz-<name>`; linked with
   replay.c it reads files (the corpus, and every input that ever failed), under any compiler and checker.

   An input of the recording targets begins with FUZZ_SETUP bytes that choose how it is read, as below; a corpus file has
   "0" in each place where nothing special is asked, and a line's end after them, which is one of them. */
#ifndef QUELL_TESTS_FUZZ_H
#define QUELL_TESTS_FUZZ_H

#include "quell/choose.h"
#include "quell/ingest.h"

enum {
    FUZZ_SETUP = 10,
    FUZZ_ARENA = 128 << 20 /* no input of a few KiB may need more */
};

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

/* Ends the process, as libFuzzer and replay.c want it, if a property does not hold. */
#define FUZZ_CHECK(holds, ...)                                                                               \
    do {                                                                                                     \
        if (!(holds))                                                                                        \
            fuzz_stop(__FILE__, __LINE__, #holds, __VA_ARGS__);                                              \
    } while (0)
_Noreturn void fuzz_stop(const char *file, int line, const char *property, const char *format, ...)
    QUELL_PRINTF(4, 5);

/* ---------------------------------------------------------------- how an input is read (fuzz_setup.c) */

typedef enum fuzz_trouble {
    FUZZ_NONE,
    FUZZ_NO_MEMORY,    /* allocation number `amount` and all after it fail */
    FUZZ_SOURCE_FAILS, /* the source fails after `amount` bytes */
    FUZZ_TROUBLES
} fuzz_trouble;

typedef struct fuzz_setup {
    quell_read_options read; /* bytes 0 to 5: columns unit rate time-unit span mount */
    size_t piece;            /* byte 6: the source gives 1, 2, ... piece bytes at a time, and again from 1 */
    size_t threads;          /* that read: byte 6 as well */
    fuzz_trouble trouble;    /* byte 7: its kind, and ten times its amount */
    size_t amount;
    size_t
        lead; /* byte 8, units: rows made here that come after the first line, so that small inputs reach what */
    bool
        packed; /* lies behind the first blocks; and whether the whole is packed as gzip (byte 8, upper half) */
    char text[64]; /* an option asked for with '?': the first line of what follows */
} fuzz_setup;

/* Takes the setup off the front of an input; what is missing counts as '0'. Not to be moved: read points into it. */
void fuzz_setup_take(fuzz_setup *setup, const uint8_t **data, size_t *size);

/* The bytes of the recording as they are to be read: with the lead put in, packed. Freed with free(). */
uint8_t *fuzz_bytes_make(const fuzz_setup *setup, const uint8_t *data, size_t size, size_t *made);

/* A source over bytes in memory that gives them piece by piece, and may fail. */
typedef struct fuzz_source {
    const uint8_t *bytes;
    size_t size, at;
    size_t piece, turn; /* piece 0: as much as is asked for */
    bool fails;
    size_t fail_after;
    bool failed; /* it did */
} fuzz_source;
quell_source fuzz_source_open(fuzz_source *state);

/* ---------------------------------------------------------------- reading (fuzz_recording.c) */

/* Reads, mounts and judges, checks what must hold of the outcome, and that pieces change nothing.
    may_be_large: the format packs long recordings into few bytes. */
void fuzz_recording(const fuzz_setup *setup, const uint8_t *data, size_t size, bool may_be_large);

/* ---------------------------------------------------------------- what must hold (fuzz_properties.c) */

void fuzz_check_text(const char *text, const char *what);
/* file: that must be named, if the status is the file's fault; NULL: none. */
void fuzz_check_error(const quell_error *err, quell_status status, const char *file);
void fuzz_check_recording(const quell_recording *recording);
void fuzz_check_mounting(const quell_mounting *mounting, const quell_recording *recording);
void fuzz_check_fitness(const quell_fitness *fitness, const quell_recording *recording);
/* Both say the same, to the bit. */
void fuzz_check_same_recording(const quell_recording *a, const quell_recording *b);
void fuzz_check_same_error(const quell_error *a, const quell_error *b);

#endif
