/* A recording from a source: the format is recognised, and its rows become evenly sampled acceleration. */
#include "ingest/ingest_private.h"

#include <string.h>

/* What a file that is no recording seems to be, by its first bytes. */
static const struct {
    const char *magic;
    size_t length;
    const char *what;
} strangers[] = {
    {"RIFF", 4, "a sound file"},
    {"fLaC", 4, "a sound file"},
    {"OggS", 4, "a sound file"},
    {"PK\3\4", 4, "a ZIP archive or spreadsheet"},
    {"%PDF", 4, "a PDF document"},
    {"\x89PNG", 4, "a picture"},
    {"\xff\xd8\xff", 3, "a picture"},
    {"\x7f"
     "ELF",
     4, "a program"},
    {"BZh", 3, "bzip2 data"},
    {"\xfd"
     "7zXZ",
     5, "xz data"},
    {"\x28\xb5\x2f\xfd", 4, "zstd data"},
    {"\x1f\x8b", 2, "gzip data inside gzip data"},
    {"\xff\xfe", 2, "UTF-16 text"},
    {"\xfe\xff", 2, "UTF-16 text"},
    {"SQLite format 3", 15, "a database"},
    {"\x89HDF", 4, "an HDF5 file"},
};

/* A universal file begins with a line of "    -1". */
static bool is_universal_file(const char *text, size_t length)
{
    size_t at = 0;
    while (at < length && text[at] == ' ')
        at++;
    return at > 0 && at + 2 < length && memcmp(text + at, "-1", 2) == 0 &&
           (text[at + 2] == '\r' || text[at + 2] == '\n' || text[at + 2] == ' ') && at + 2 < 8;
}

static quell_status refuse_strangers(ingest_lines *lines, quell_error *err)
{
    const char *text;
    size_t length;
    quell_status status = ingest_lines_peek(lines, &text, &length, err);
    if (status != QUELL_OK)
        return status;
    if (length == 0)
        return quell_fail(err, QUELL_E_DATA,
                          lines->bytes->cut_short ? "the gzip data are cut short before anything came out"
                                                  : "the file is empty, want rows of numbers");
    for (size_t i = 0; i < INGEST_COUNT(strangers); i++)
        if (length >= strangers[i].length && memcmp(text, strangers[i].magic, strangers[i].length) == 0)
            return quell_fail(err, QUELL_E_DATA, "found %s, want delimited text, plain or gzip",
                              strangers[i].what);
    if (is_universal_file(text, length))
        return quell_fail(err, QUELL_E_DATA,
                          "found a universal file (its first line is -1), want delimited text");
    const char *nul = memchr(text, '\0', length < INGEST_PEEK ? length : INGEST_PEEK);
    if (nul != NULL && memchr(text, '\n', (size_t)(nul - text)) == NULL)
        return quell_fail(err, QUELL_E_DATA,
                          "found binary data (a NUL byte after %zu bytes), want delimited text",
                          (size_t)(nul - text));
    return QUELL_OK;
}

/* ---------------------------------------------------------------- reading */

static quell_status read_from(quell_recording *out, ingest_bytes *bytes, const quell_source *source,
                              const quell_read_options *options, const ingest_settings *settings,
                              const quell_sink *sink, quell_arena *arena, quell_error *err)
{
    ingest_lines lines = {0};
    ingest_reader reader = {0};
    quell_status status = ingest_bytes_open(bytes, source, err);
    if (status == QUELL_OK)
        status = ingest_lines_open(&lines, bytes, err);
    if (status == QUELL_OK)
        status = refuse_strangers(&lines, err);
    if (status == QUELL_OK)
        status = ingest_text_open(&reader, &lines, options, arena, &out->findings, err);
    if (status == QUELL_OK)
        status = ingest_stream(out, &reader, settings, sink, arena, err);
    if (reader.state != NULL)
        reader.close(&reader);
    ingest_lines_close(&lines);
    ingest_bytes_close(bytes);
    return status;
}

quell_status quell_recording_stream(quell_recording *out, const quell_source *source,
                                    const quell_read_options *options, const quell_sink *sink,
                                    quell_arena *arena, quell_error *err)
{
    ingest_settings settings;
    quell_status status = ingest_settings_read(&settings, options, err);
    if (status != QUELL_OK)
        return status;
    ingest_bytes *bytes = quell_memory_get(sizeof *bytes);
    char *name = quell_arena_copy(arena, source->name, strlen(source->name));
    quell_recording *read = QUELL_NEW(arena, quell_recording, 1);
    if (bytes == NULL || name == NULL || read == NULL)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    else
        status = read_from(read, bytes, source, options, &settings, sink, arena, err);
    quell_memory_free(bytes);
    if (status != QUELL_OK) {
        /* a wrong option is not the file's fault */
        if (status != QUELL_E_USAGE)
            quell_error_set_file(err, source->name);
        return status;
    }
    read->file = name;
    *out = *read;
    return QUELL_OK;
}

quell_status quell_recording_read(quell_recording *out, const quell_source *source,
                                  const quell_read_options *options, quell_arena *arena, quell_error *err)
{
    ingest_keep keep = {0};
    const quell_sink sink = ingest_keep_sink(&keep);
    quell_recording read;
    quell_status status = quell_recording_stream(&read, source, options, &sink, arena, err);
    if (status == QUELL_OK)
        status = ingest_keep_lay(&read, &keep, arena, err);
    ingest_keep_free(&keep);
    if (status == QUELL_OK)
        *out = read;
    return status;
}
