/* What a file is, by its first bytes: one of the formats that are read, or something else, which is refused by its
   name. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

static bool always(const char *text, size_t length)
{
    (void)text;
    (void)length;
    return true;
}

/* The formats that are read. Text has no mark of its own and comes last. */
static const ingest_format formats[] = {
    {"a sound file", ingest_sound_recognise, ingest_sound_open, true},
    {"a universal file", ingest_uff58_recognise, ingest_uff58_open, false},
    {"delimited text", always, ingest_text_open, false},
};

/* What a file that is no recording seems to be. */
static const struct {
    const char *magic;
    size_t length;
    const char *what;
} strangers[] = {
    {"RIFF", 4, "RIFF data other than WAVE sound"},
    {"OggS", 4, "Ogg sound, which is stored with losses"},
    {"ID3", 3, "MPEG sound, which is stored with losses"},
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
    {"SQLite format 3", 15, "a database"},
    {"\x89HDF", 4, "an HDF5 file"},
    {"MATLAB 5.0 MAT-file", 19, "a MATLAB file"},
};

static const char wanted[] = "want delimited text, plain or gzip, a universal file or a sound file";

/* Text has no NUL byte before its first line ends. */
static quell_status refuse_strangers(const char *text, size_t length, quell_error *err)
{
    for (size_t i = 0; i < INGEST_COUNT(strangers); i++)
        if (length >= strangers[i].length && memcmp(text, strangers[i].magic, strangers[i].length) == 0)
            return quell_fail(err, QUELL_E_DATA, "found %s, %s", strangers[i].what, wanted);
    const char *nul = memchr(text, '\0', length < INGEST_PEEK ? length : INGEST_PEEK);
    if (nul != NULL && memchr(text, '\n', (size_t)(nul - text)) == NULL)
        return quell_fail(err, QUELL_E_DATA, "found binary data (a NUL byte after %zu bytes), %s",
                          (size_t)(nul - text), wanted);
    return QUELL_OK;
}

quell_status ingest_format_open(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                                quell_arena *arena, quell_findings *findings, quell_error *err)
{
    const char *text;
    size_t length, row = 0;
    quell_status status = ingest_lines_peek(lines, &text, &length, err);
    if (status != QUELL_OK)
        return status;
    if (length == 0)
        return quell_fail(err, QUELL_E_DATA,
                          lines->bytes->cut_short ? "the gzip data are cut short before anything came out"
                                                  : "the file is empty, want rows of numbers");
    while (!formats[row].recognise(text, length))
        row++;
    const ingest_format *format = &formats[row];
    if (row + 1 == INGEST_COUNT(formats))
        status = refuse_strangers(text, length, err);
    ingest_unit unit;
    double full_scale;
    if (status == QUELL_OK && options->unit != NULL && !format->full_scale &&
        ingest_full_scale_read(&unit, &full_scale, options->unit))
        return quell_fail(err, QUELL_E_USAGE,
                          "--unit: found a full scale, which the samples of sound files have, and %s, want "
                          "--unit %s",
                          format->title, unit.name);
    return status == QUELL_OK ? format->open(out, lines, options, arena, findings, err) : status;
}

quell_status ingest_bytes_note(const ingest_bytes *bytes, size_t rows, quell_arena *arena,
                               quell_findings *findings)
{
    quell_status status = QUELL_OK;
    if (bytes->cut_short)
        status = quell_findings_add(findings, arena, "gzip", QUELL_WARN, (double)rows, NAN,
                                    "copy the file again if there is more of it",
                                    "the gzip data end before their end mark, after %zu rows", rows);
    if (status == QUELL_OK && bytes->trailing)
        status = quell_findings_add(findings, arena, "gzip", QUELL_WARN, NAN, NAN, "",
                                    "something that is not gzip follows the gzip data and was left out");
    return status;
}
