/* Sound files: what libsndfile reads, as far as it is stored without losses.

   The library wants to seek; a pipe cannot. It gets a window: the first bytes, which hold the header, are kept, and from
   there on the file is read once from front to back. The length is given out as endless, since it is not known before
   the end has come: so the library believes the header, and fewer samples than that are seen here.
   Integer samples come as shares of full scale (-1 to 1), floating point as it is. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <sndfile.h>
#include <string.h>

enum {
    WINDOW = 256 << 10, /* bytes at the start in which a header must lie */
    BLOCK = 32 << 10    /* samples of all channels decoded at a time */
};

#define ENDLESS ((sf_count_t)1 << 60)

/* The state of an open file. */
typedef struct pass {
    ingest_lines *lines;
    SNDFILE *file;
    SF_INFO info;
    char *window;
    sf_count_t held, passed, at; /* bytes kept, bytes that have come, where the library is */
    quell_status status;         /* of the source */
    quell_error err;
    size_t channel[3]; /* from 0 */
    double factor;     /* turns a sample into the unit */
    double *block;
    size_t frames, frame; /* in the block, and of them handed on */
    double rows, missing;
    bool ended;
    const char *damage; /* what the library says of a damaged place; NULL */
} pass;

/* ---------------------------------------------------------------- kinds of file and of samples */

static const struct {
    int major;
    const char *name;
    const char *magic;
    size_t type_at; /* of the type within the file; 0 if the magic is all */
    const char *type;
} kinds[] = {
    {SF_FORMAT_WAV, "WAV sound", "RIFF", 8, "WAVE"},
    {SF_FORMAT_WAVEX, "WAV sound (extensible)", "RIFX", 8, "WAVE"},
    {SF_FORMAT_RF64, "RF64 sound", "RF64", 8, "WAVE"},
    {SF_FORMAT_W64, "W64 sound", "riff\x2e\x91\xcf\x11", 0, ""},
    {SF_FORMAT_AIFF, "AIFF sound", "FORM", 8, "AIFF"},
    {SF_FORMAT_AIFF, "AIFF sound", "FORM", 8, "AIFC"},
    {SF_FORMAT_FLAC, "FLAC sound", "fLaC", 0, ""},
    {SF_FORMAT_CAF, "CAF sound", "caff", 0, ""},
    {SF_FORMAT_AU, "AU sound", ".snd", 0, ""},
    {SF_FORMAT_AU, "AU sound", "dns.", 0, ""},
};

bool ingest_sound_recognise(const char *text, size_t length)
{
    for (size_t i = 0; i < INGEST_COUNT(kinds); i++) {
        size_t magic = strlen(kinds[i].magic), type = strlen(kinds[i].type), need = kinds[i].type_at + type;
        if (length >= magic && length >= need && memcmp(text, kinds[i].magic, magic) == 0 &&
            memcmp(text + kinds[i].type_at, kinds[i].type, type) == 0)
            return true;
    }
    return false;
}

/* Samples that are stored without losses; all else is refused. bits 0: floating point. */
static const struct {
    int subtype;
    int bits, bytes;
} samples[] = {
    {SF_FORMAT_PCM_S8, 8, 1},  {SF_FORMAT_PCM_U8, 8, 1}, {SF_FORMAT_PCM_16, 16, 2}, {SF_FORMAT_PCM_24, 24, 3},
    {SF_FORMAT_PCM_32, 32, 4}, {SF_FORMAT_FLOAT, 0, 4},  {SF_FORMAT_DOUBLE, 0, 8},
};

static size_t sample_kind(const pass *sound)
{
    size_t i = 0;
    while (i < INGEST_COUNT(samples) && samples[i].subtype != (sound->info.format & SF_FORMAT_SUBMASK))
        i++;
    return i;
}

/* ---------------------------------------------------------------- bytes for the library */

static sf_count_t tell_length(void *context)
{
    (void)context;
    return ENDLESS;
}

static sf_count_t tell(void *context)
{
    return ((const pass *)context)->at;
}

static sf_count_t seek(sf_count_t offset, int whence, void *context)
{
    pass *sound = context;
    sf_count_t from = whence == SEEK_SET ? 0 : whence == SEEK_CUR ? sound->at : ENDLESS;
    if (offset < -from || offset > ENDLESS - from)
        return -1;
    sound->at = from + offset;
    return sound->at;
}

/* The next bytes of the file; fewer than size only at its end or after an error. */
static sf_count_t pull(pass *sound, char *into, sf_count_t size)
{
    sf_count_t done = 0;
    while (done < size && sound->status == QUELL_OK) {
        size_t got;
        sound->status =
            ingest_lines_bytes(sound->lines, into + done, (size_t)(size - done), &got, &sound->err);
        if (sound->status != QUELL_OK || got == 0)
            break;
        done += (sf_count_t)got;
    }
    sound->passed += done;
    return done;
}

static sf_count_t read_bytes(void *into, sf_count_t size, void *context)
{
    pass *sound = context;
    sf_count_t done = 0;
    if (size > 0 && sound->at < sound->held) {
        done = sound->held - sound->at < size ? sound->held - sound->at : size;
        memcpy(into, sound->window + sound->at, (size_t)done);
        sound->at += done;
    }
    if (done < size && sound->at == sound->passed) { /* elsewhere is what is gone, or has not come */
        sf_count_t more = pull(sound, (char *)into + done, size - done);
        done += more;
        sound->at += more;
    }
    return done;
}

static sf_count_t write_bytes(const void *from, sf_count_t size, void *context)
{
    (void)from;
    (void)size;
    (void)context;
    return 0;
}

/* ---------------------------------------------------------------- unit and channels */

/* What a sample is multiplied with: the full scale, or the counts in it. */
static quell_status settle_unit(ingest_reader *reader, const quell_read_options *options, ingest_unit *unit,
                                quell_error *err)
{
    pass *sound = reader->state;
    const int bits = samples[sample_kind(sound)].bits;
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
    size_t picked[3], channels = (size_t)sound->info.channels;
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
    const char *name = "sound";
    for (size_t i = 0; i < INGEST_COUNT(kinds); i++)
        if ((sound->info.format & SF_FORMAT_TYPEMASK) == kinds[i].major)
            name = kinds[i].name;
    out->format = quell_arena_print(reader->arena, "%s%s", name, sound->lines->bytes->packed ? ", gzip" : "");
    if (out->format == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for names");
    out->rate_hz = sound->info.samplerate;
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
    double bytes = (double)sound->info.frames * sound->info.channels * samples[sample_kind(sound)].bytes;
    return (bytes > 0x1p31 - 0x1p16 && bytes <= 0x1p31) || (bytes > 0x1p32 - 0x1p16 && bytes <= 0x1p32) ||
           bytes > 0x1p40;
}

static quell_status note_end(const ingest_reader *reader)
{
    const pass *sound = reader->state;
    double stated = (double)sound->info.frames;
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
    return status == QUELL_OK
               ? ingest_bytes_note(sound->lines->bytes, (size_t)sound->rows, reader->arena, reader->findings)
               : status;
}

static quell_status finish(ingest_reader *reader, quell_error *err)
{
    pass *sound = reader->state;
    sound->ended = true;
    if (sound->rows - sound->missing < INGEST_ROWS_MIN)
        return quell_fail(
            err, QUELL_E_DATA, "found %.15g samples%s, want %d at least", sound->rows - sound->missing,
            sound->rows < (double)sound->info.frames ? " (the file is cut short)" : "", INGEST_ROWS_MIN);
    quell_status status = note_end(reader);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

/* ---------------------------------------------------------------- rows */

static quell_status source_failed(const pass *sound, quell_error *err)
{
    if (err != NULL)
        *err = sound->err;
    return sound->status;
}

/* Decodes the next block; none at the end. Where the library finds damage the block is not to be trusted. */
static quell_status decode(pass *sound, quell_error *err)
{
    sf_count_t room = BLOCK / sound->info.channels;
    sf_count_t got = sf_readf_double(sound->file, sound->block, room);
    if (sound->status != QUELL_OK)
        return source_failed(sound, err);
    if (sf_error(sound->file) != SF_ERR_NO_ERROR) {
        sound->damage = sf_strerror(sound->file);
        got = 0;
    }
    sound->frames = got > 0 && got <= room ? (size_t)got : 0;
    sound->frame = 0;
    return QUELL_OK;
}

static void hand_on(pass *sound, size_t axes, ingest_batch *out)
{
    for (; sound->frame < sound->frames && out->rows < INGEST_BATCH; sound->frame++, out->rows++) {
        const double *frame = sound->block + sound->frame * (size_t)sound->info.channels;
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
        if (sound->file != NULL)
            sf_close(sound->file);
        quell_memory_free(sound->window);
        quell_memory_free(sound->block);
    }
    quell_memory_free(sound);
    reader->state = NULL;
}

static quell_status refuse(const pass *sound, quell_error *err)
{
    char said[160];
    const char *text = sf_strerror(NULL);
    if (sound->status != QUELL_OK)
        return source_failed(sound, err);
    if (strstr(text, "'data'") != NULL)
        return quell_fail(err, QUELL_E_DATA, "the sound file has no data chunk%s, want samples",
                          sound->passed < WINDOW ? "" : " near its start");
    return quell_fail(err, QUELL_E_DATA, "the sound file cannot be read (%s), want a whole header",
                      quell_printable(said, sizeof said, text, strlen(text)));
}

static quell_status open_file(ingest_reader *reader, quell_error *err)
{
    pass *sound = reader->state;
    SF_VIRTUAL_IO access = {tell_length, seek, read_bytes, write_bytes, tell};
    sound->window = quell_memory_get(WINDOW);
    sound->block = quell_memory_get(BLOCK * sizeof *sound->block);
    if (sound->window == NULL || sound->block == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    sound->held = pull(sound, sound->window, WINDOW);
    if (sound->status != QUELL_OK)
        return source_failed(sound, err);
    sound->file = sf_open_virtual(&access, SFM_READ, &sound->info, sound);
    if (sound->file == NULL || sound->status != QUELL_OK)
        return refuse(sound, err);
    if (sample_kind(sound) == INGEST_COUNT(samples))
        return quell_fail(err, QUELL_E_DATA,
                          "the samples are coded with losses or in an unknown way (format %#x), want plain "
                          "integers (PCM) or floating point",
                          (unsigned)sound->info.format);
    if (sound->info.channels < 1 || sound->info.channels > BLOCK || sound->info.samplerate < 1)
        return quell_fail(err, QUELL_E_DATA, "found %d channels at %d Hz, want 1 or more of both",
                          sound->info.channels, sound->info.samplerate);
    return QUELL_OK;
}

quell_status ingest_sound_open(ingest_reader *out, ingest_lines *lines, const quell_read_options *options,
                               quell_arena *arena, quell_findings *findings, quell_error *err)
{
    *out = (ingest_reader){.arena = arena, .findings = findings, .next = next, .close = close_file};
    pass *sound = quell_memory_get(sizeof *sound);
    if (sound == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    memset(sound, 0, sizeof *sound);
    sound->lines = lines;
    out->state = sound;
    quell_status status = open_file(out, err);
    return status == QUELL_OK ? state(out, options, err) : status;
}
