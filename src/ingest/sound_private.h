/* Sound files: what the two files that read them share. */
#ifndef QUELL_INGEST_SOUND_PRIVATE_H
#define QUELL_INGEST_SOUND_PRIVATE_H

#include "ingest/ingest_private.h"

#include <sndfile.h>

enum { SOUND_WINDOW = 256 << 10 }; /* bytes at the start that are kept */

/* A sound file that the library reads from front to back (sound_file.c). */
typedef struct sound_file {
    ingest_lines *lines;
    SNDFILE *handle;
    SF_INFO info;
    sf_count_t frames; /* read so far */
    const char *name;  /* "WAV sound" */
    int bits, bytes;   /* of a sample; bits 0: floating point */
    double data_bytes; /* of samples, as the chunk that holds them says; below 0 if that is not known */
    char *window;
    sf_count_t held, passed,
        at;              /* bytes kept, bytes that have come, where the library is: without chunks left out */
    sf_count_t end;      /* of the samples; of no bytes that come after */
    quell_status status; /* of the source */
    quell_error err;
} sound_file;

/* Reads the header into the window, up to the samples (sound_chunks.c). QUELL_E_DATA if they are coded in another way than
   plainly, or if there are none. */
quell_status sound_head_take(sound_file *sound, quell_error *err);
/* The next bytes of the file; fewer than size only at its end or after an error, which sound_source_failed returns. */
sf_count_t sound_pull(sound_file *sound, char *into, sf_count_t size);
quell_status sound_source_failed(const sound_file *sound, quell_error *err);

/* QUELL_E_DATA if the library cannot read it, or if its samples are stored with losses. Close it in any case. */
quell_status sound_open(sound_file *out, ingest_lines *lines, quell_error *err);
/* Up to `room` frames of all channels; *got = 0 at the end, or where the file is damaged: then *damage says how. */
quell_status sound_read(sound_file *file, double *into, size_t room, size_t *got, const char **damage,
                        quell_error *err);
void sound_close(sound_file *file);

#endif
