/* Sound files: the reader. Integer samples come as shares of full scale (-1 to 1), floating point as it is. */
#include "ingest/sound_private.h"

#include <math.h>
#include <string.h>

enum { BLOCK = 32 << 10 }; /* samples of all channels decoded at a time */

/* The state of an open file. */
typedef struct pass {
    sound_file file;
    size_t channel[3]; /* from 0 */
    double factor;     /* turns a sample into the unit */
    double *block;
    size_t frames, frame; /* in the block, and of them handed on */
    double rows, missing;
    bool ended;
    const char *damage; /* what the library says of a damaged place; NULL */
} pass;

/* ---------------------------------------------------------------- unit and channels */

/* What a sample is multiplied with: the full scale, or the counts in it. */
static quell_status settle_unit(ingest_reader *reader, const quell_read_options *options, ingest_unit *unit,
                                quell_error *err)
{
    pass *sound = reader->state;
    const int bits = sound->file.bits;
    double full_scale = 0;
    sound->factor = 1;
    if (options->unit == NULL)
        return bits == 0 ? QUELL_OK
                         : quell_fail(err, QUELL_E_DATA,
                                      "integer samples of a sound file have no unit of their own, want what "
                                      "full scale means: --unit g:FULLSCALE such as g:16");
    quell_status status = ingest_unit_option(unit, options, err);
    if (status != QUELL_OK)
        return status;
    bool scaled = ingest_full_scale_read(unit, &full_scale, options->unit);
    if (bits > 0 && scaled)
        sound->factor = full_scale;
    else if (bits > 0 && strcmp(unit->name, "counts") == 0)
        sound->factor = ldexp(1, bits - 1);
    else if (bits > 0)
        return quell_fail(err, QUELL_E_USAGE,
                          "--unit: found %s for integer samples of a sound file, want what full scale means "
                          "such as %s:16",
                          unit->name, unit->name);
    if (bits > 0 || !scaled)
        return QUELL_OK;
    status = quell_findings_add(reader->findings, reader->arena, "unit", QUELL_NOTE, full_scale, NAN, "",
                                "the samples are floating point and taken as %s: the full scale is not used",
                                unit->name);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

static quell_status choose_channels(ingest_reader *reader, const quell_read_options *options,
                                    quell_error *err)
{
    pass *sound = reader->state;
    size_t picked[3], channels = (size_t)sound->file.info.channels;
    quell_status status = ingest_channels_option(picked, options, "channel", err);
    if (status != QUELL_OK)
        return status;
    for (size_t k = 0; k < 3; k++) {
        if (picked[k] > channels)
            return quell_fail(err, QUELL_E_USAGE, "--columns: found %c=%zu, want a channel from 1 to %zu",
                              "xyz"[k], picked[k], channels);
        size_t number = options->columns != NULL ? picked[k] : k < channels ? k + 1 : 0;
        if (number == 0)
            continue;
        size_t axis = reader->stated.axes++;
        sound->channel[axis] = number - 1;
        reader->stated.axis_name[axis] = quell_arena_print(reader->arena, "channel %zu", number);
        if (reader->stated.axis_name[axis] == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for names");
    }
    if (options->columns != NULL || channels <= 3)
        return QUELL_OK;
    status = quell_findings_add(reader->findings, reader->arena, "channels", QUELL_WARN, (double)channels, 3,
                                "say --columns x=1,y=2,z=3 with the numbers of other channels to use those",
                                "the file has %zu channels; the first three are used", channels);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

static quell_status state(ingest_reader *reader, const quell_read_options *options, quell_error *err)
{
    pass *sound = reader->state;
    ingest_stated *out = &reader->stated;
    out->format = quell_arena_print(reader->arena, "%s%s", sound->file.name,
                                    sound->file.lines->bytes->packed ? ", gzip" : "");
    if (out->format == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for names");
    out->rate_hz = sound->file.info.samplerate;
    out->rate_exact = true;
    ingest_unit unit = {0};
    quell_status status = settle_unit(reader, options, &unit, err);
    if (status == QUELL_OK)
        status = choose_channels(reader, options, err);
    for (size_t k = 0; status == QUELL_OK && k < out->axes; k++)
        out->unit[k] = unit;
    return status;
}

/* ---------------------------------------------------------------- the end */

/* Sizes that stand in a header when its writer could not know them: nearly 2 or 4 GiB, or beyond all measure. */
static bool is_placeholder(const pass *sound)
{
    double bytes = (double)sound->file.info.frames * sound->file.info.channels * sound->file.bytes;
    return (bytes > 0x1p31 - 0x1p16 && bytes <= 0x1p31) || (bytes > 0x1p32 - 0x1p16 && bytes <= 0x1p32) ||
           bytes > 0x1p40;
}

static quell_status note_end(const ingest_reader *reader)
{
    const pass *sound = reader->state;
    double stated = (double)sound->file.info.frames;
    quell_status status = QUELL_OK;
    if (sound->damage != NULL)
        status = quell_findings_add(reader->findings, reader->arena, "cut-short", QUELL_WARN, sound->rows,
                                    stated, "copy the file again",
                                    "the file is damaged (%s); the %.15g samples before are used",
                                    sound->damage, sound->rows);
    else if (sound->rows < stated && is_placeholder(sound))
        status =
            quell_findings_add(reader->findings, reader->arena, "length", QUELL_NOTE, sound->rows, NAN, "",
                               "the header does not state the length; %.15g samples are there", sound->rows);
    else if (sound->rows < stated)
        status = quell_findings_add(
            reader->findings, reader->arena, "cut-short", QUELL_WARN, sound->rows / stated, NAN,
            "copy the file again if there is more of it",
            "the file is cut short: its header says %.15g samples and %.15g are there", stated, sound->rows);
    if (status == QUELL_OK && sound->missing > 0)
        status =
            quell_findings_add(reader->findings, reader->arena, "missing", QUELL_NOTE, sound->missing, NAN,
                               "", "%.15g samples are no numbers and count as lost", sound->missing);
    return status == QUELL_OK ? ingest_bytes_note(sound->file.lines->bytes, (size_t)sound->rows,
                                                  reader->arena, reader->findings)
                              : status;
}

static quell_status finish(ingest_reader *reader, quell_error *err)
{
    pass *sound = reader->state;
    sound->ended = true;
    if (sound->rows - sound->missing < INGEST_ROWS_MIN)
        return quell_fail(
            err, QUELL_E_DATA, "found %.15g samples%s, want %d at least", sound->rows - sound->missing,
            sound->rows < (double)sound->file.info.frames ? " (the file is cut short)" : "", INGEST_ROWS_MIN);
    quell_status status = note_end(reader);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

/* ---------------------------------------------------------------- rows */

/* Decodes the next block; none at the end. */
static quell_status decode(pass *sound, quell_error *err)
{
    sound->frame = 0;
    return sound_read(&sound->file, sound->block, BLOCK / (size_t)sound->file.info.channels, &sound->frames,
                      &sound->damage, err);
}

static void hand_on(pass *sound, size_t axes, ingest_batch *out)
{
    for (; sound->frame < sound->frames && out->rows < INGEST_BATCH; sound->frame++, out->rows++) {
        const double *frame = sound->block + sound->frame * (size_t)sound->file.info.channels;
        bool whole = true;
        for (size_t k = 0; k < axes; k++) {
            double value = frame[sound->channel[k]] * sound->factor;
            out->value[k][out->rows] = value;
            whole = whole && isfinite(value);
        }
        for (size_t k = 0; k < axes && !whole; k++)
            out->value[k][out->rows] = NAN;
        sound->rows++;
        sound->missing += whole ? 0 : 1;
    }
}

static quell_status next(ingest_reader *reader, ingest_batch *out, quell_error *err)
{
    pass *sound = reader->state;
    out->rows = 0;
    while (out->rows < INGEST_BATCH && !sound->ended) {
        quell_status status = QUELL_OK;
        if (sound->frame == sound->frames)
            status = decode(sound, err);
        if (status == QUELL_OK && sound->frames == 0)
            status = finish(reader, err);
        if (status != QUELL_OK)
            return status;
        hand_on(sound, reader->stated.axes, out);
    }
    return QUELL_OK;
}

/* ---------------------------------------------------------------- open and close */

static void close_file(ingest_reader *reader)
{
    pass *sound = reader->state;
    if (sound != NULL) {
        sound_close(&sound->file);
        quell_memory_free(sound->block);
    }
    quell_memory_free(sound);
    reader->state = NULL;
}

quell_status ingest_sound_open(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                               quell_arena *arena, quell_findings *findings, quell_error *err)
{
    *out = (ingest_reader){.arena = arena, .findings = findings, .next = next, .close = close_file};
    pass *sound = quell_memory_get(sizeof *sound);
    if (sound == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    memset(sound, 0, sizeof *sound);
    out->state = sound;
    sound->block = quell_memory_get(BLOCK * sizeof *sound->block);
    if (sound->block == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    quell_status status = sound_open(&sound->file, lines, err);
    if (status == QUELL_OK && sound->file.info.channels > BLOCK)
        status = quell_fail(err, QUELL_E_DATA, "found %d channels, want %d at most",
                            sound->file.info.channels, BLOCK);
    return status == QUELL_OK ? state(out, options, err) : status;
}
