/* Recordings made in memory for the tests of the ingest stage. */
#include "ingest_help.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

void test_text_add(test_text *text, const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    int need = vsnprintf(NULL, 0, format, arguments);
    va_end(arguments);
    if (need < 0) /* an assertion that holds costs a system call, too much for each of many rows */
        ck_abort_msg("cannot print %s", format);
    if (text->length + (size_t)need + 1 > text->capacity) {
        text->capacity = 2 * (text->length + (size_t)need + 1);
        text->bytes = realloc(text->bytes, text->capacity);
        ck_assert_ptr_nonnull(text->bytes);
    }
    va_start(arguments, format);
    vsnprintf(text->bytes + text->length, (size_t)need + 1, format, arguments);
    va_end(arguments);
    text->length += (size_t)need;
}

void test_text_free(test_text *text)
{
    free(text->bytes);
    *text = (test_text){0};
}

quell_status test_read_bytes(quell_recording *out, const void *bytes, size_t length,
                             const quell_read_options *options, quell_arena *arena, quell_error *err)
{
    quell_memory_source state = {bytes, length, 0};
    quell_source source = quell_source_memory(&state, "log.csv");
    quell_read_options none = {0};
    return quell_recording_read(out, &source, options != NULL ? options : &none, arena, err);
}

quell_status test_read(quell_recording *out, const test_text *text, const quell_read_options *options,
                       quell_arena *arena, quell_error *err)
{
    return test_read_bytes(out, text->bytes, text->length, options, arena, err);
}

unsigned char *test_gzip(const void *bytes, size_t length, size_t *packed)
{
    size_t room = length + length / 10 + 128;
    unsigned char *out = malloc(room), *in = malloc(length + 1);
    ck_assert_ptr_nonnull(out);
    ck_assert_ptr_nonnull(in);
    memcpy(in, bytes, length);
    z_stream stream = {
        .next_in = in, .avail_in = (unsigned)length, .next_out = out, .avail_out = (unsigned)room};
    ck_assert_int_eq(deflateInit2(&stream, 6, Z_DEFLATED, 16 + MAX_WBITS, 8, Z_DEFAULT_STRATEGY), Z_OK);
    ck_assert_int_eq(deflate(&stream, Z_FINISH), Z_STREAM_END);
    *packed = room - stream.avail_out;
    deflateEnd(&stream);
    free(in);
    return out;
}

const quell_finding *test_finding(const quell_findings *findings, const char *kind)
{
    for (size_t i = 0; i < findings->count; i++)
        if (strcmp(findings->item[i].kind, kind) == 0)
            return &findings->item[i];
    return NULL;
}

void test_text_tone(test_text *text, const char *head, size_t rows, double rate_hz)
{
    test_text_add(text, "%s", head);
    for (size_t i = 0; i < rows; i++) {
        double t = (double)i / rate_hz;
        test_text_add(text, "%.7f,%.5f,%.5f,%.5f\n", t, 1.5 * sin(2 * 3.14159265358979 * 31 * t),
                      0.25 * cos(2 * 3.14159265358979 * 7 * t),
                      9.80665 + 0.01 * sin(2 * 3.14159265358979 * 3 * t));
    }
}

void test_reading_read(test_reading *out, const quell_read_options *options)
{
    if (out->arena != NULL)
        quell_arena_destroy(out->arena);
    out->arena = quell_arena_create((size_t)1 << 26);
    out->err = (quell_error){0};
    out->status = test_read(&out->recording, &out->text, options, out->arena, &out->err);
}

void test_reading_end(test_reading *done)
{
    quell_arena_destroy(done->arena);
    test_text_free(&done->text);
}

char *test_recording_load(const char *name, size_t *length)
{
    enum { ROOM = 4 << 20 };
    const char *folder = test_recordings_folder();
    if (folder == NULL)
        return NULL;
    char path[512];
    snprintf(path, sizeof path, "%s/%s", folder, name);
    FILE *file = fopen(path, "rb");
    ck_assert_msg(file != NULL, "%s is missing", path);
    char *bytes = malloc(ROOM);
    ck_assert_ptr_nonnull(bytes);
    *length = fread(bytes, 1, ROOM, file);
    ck_assert_msg(*length < ROOM, "%s is longer than a test takes", path);
    fclose(file);
    return bytes;
}
