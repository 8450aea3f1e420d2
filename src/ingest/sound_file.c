/* Sound files: libsndfile on a source that cannot seek, for samples that are stored without losses.

   The library wants to seek; a pipe cannot. It gets a window: the header (sound_chunks.c) and what it may read ahead are
   kept, and from there on the file is read once from front to back. The length is given out as endless, since it is not
   known before the end has come: so the library believes the header, and whoever reads sees if there is less. */
#include "ingest/sound_private.h"

#include <math.h>
#include <string.h>

#define ENDLESS ((sf_count_t)1 << 60)

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

/* ---------------------------------------------------------------- bytes for the library */

static sf_count_t tell_length(void *context)
{
    (void)context;
    return ENDLESS;
}

static sf_count_t tell(void *context)
{
    return ((const sound_file *)context)->at;
}

static sf_count_t seek(sf_count_t offset, int whence, void *context)
{
    sound_file *sound = context;
    sf_count_t from = whence == SEEK_SET ? 0 : whence == SEEK_CUR ? sound->at : ENDLESS;
    if (offset < -from || offset > ENDLESS - from)
        return -1;
    sound->at = from + offset;
    return sound->at;
}

/* The next bytes of the file; fewer than size only at its end or after an error. */
sf_count_t sound_pull(sound_file *sound, char *into, sf_count_t size)
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
    sound_file *sound = context;
    sf_count_t done = 0, left = sound->end - sound->at;
    size = left <= 0 ? 0 : left < size ? left : size;
    if (size > 0 && sound->at < sound->held) {
        done = sound->held - sound->at < size ? sound->held - sound->at : size;
        memcpy(into, sound->window + sound->at, (size_t)done);
        sound->at += done;
    }
    if (done < size && sound->at == sound->passed) { /* elsewhere is what is gone, or has not come */
        sf_count_t more = sound_pull(sound, (char *)into + done, size - done);
        done += more;
        sound->at += more;
    }
    if (done == 0) /* or the library looks for further chunks up to the end that it was told of */
        sound->at = ENDLESS;
    return done;
}

static sf_count_t write_bytes(const void *from, sf_count_t size, void *context)
{
    (void)from;
    (void)size;
    (void)context;
    return 0;
}

/* ---------------------------------------------------------------- open, read, close */

quell_status sound_source_failed(const sound_file *sound, quell_error *err)
{
    if (err != NULL)
        *err = sound->err;
    return sound->status;
}

static quell_status refuse(const sound_file *sound, quell_error *err)
{
    char said[160];
    const char *text = sf_strerror(NULL);
    if (sound->status != QUELL_OK)
        return sound_source_failed(sound, err);
    return quell_fail(err, QUELL_E_DATA, "the sound file cannot be read (%s), want a whole header",
                      quell_printable(said, sizeof said, text, strlen(text)));
}

static quell_status take_kind(sound_file *sound, quell_error *err)
{
    const int format = sound->info.format;
    sound->name = "sound";
    for (size_t i = 0; i < INGEST_COUNT(kinds); i++)
        if ((format & SF_FORMAT_TYPEMASK) == kinds[i].major)
            sound->name = kinds[i].name;
    for (size_t i = 0; i < INGEST_COUNT(samples); i++)
        if ((format & SF_FORMAT_SUBMASK) == samples[i].subtype) {
            sound->bits = samples[i].bits;
            sound->bytes = samples[i].bytes;
        }
    if (sound->bytes == 0)
        return quell_fail(
            err, QUELL_E_DATA,
            "the samples are coded in an unknown way (format %#x), want plain integers (PCM) or "
            "floating point",
            (unsigned)format);
    if (sound->info.channels < 1 || sound->info.samplerate < 1)
        return quell_fail(err, QUELL_E_DATA, "found %d channels at %d Hz, want 1 or more of both",
                          sound->info.channels, sound->info.samplerate);
    double width = (double)sound->info.channels * sound->bytes;
    if ((format & SF_FORMAT_TYPEMASK) == SF_FORMAT_W64 && sound->data_bytes >= 0)
        sound->info.frames = (sf_count_t)(fmin(sound->data_bytes, 1e18) / width);
    return QUELL_OK;
}

quell_status sound_open(sound_file *out, ingest_lines *lines, quell_error *err)
{
    SF_VIRTUAL_IO access = {tell_length, seek, read_bytes, write_bytes, tell};
    *out = (sound_file){.lines = lines, .window = quell_memory_get(SOUND_WINDOW)};
    if (out->window == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for reading");
    quell_status status = sound_head_take(out, err);
    if (status != QUELL_OK)
        return status;
    out->end = out->data_bytes >= 0 ? out->held + (sf_count_t)fmin(out->data_bytes, 0x1p59) : ENDLESS;
    sf_count_t room = SOUND_WINDOW - out->held, follow = out->end - out->held;
    out->held += sound_pull(out, out->window + out->held, follow < room ? follow : room);
    if (out->status != QUELL_OK)
        return sound_source_failed(out, err);
    out->handle = sf_open_virtual(&access, SFM_READ, &out->info, out);
    if (out->handle == NULL || out->status != QUELL_OK)
        return refuse(out, err);
    return take_kind(out, err);
}

quell_status sound_read(sound_file *file, double *into, size_t room, size_t *got, const char **damage,
                        quell_error *err)
{
    sf_count_t left = file->info.frames - file->frames;
    sf_count_t wanted = left < (sf_count_t)room ? left : (sf_count_t)room;
    sf_count_t frames = wanted > 0 ? sf_readf_double(file->handle, into, wanted) : 0;
    *got = frames > 0 && (size_t)frames <= room ? (size_t)frames : 0;
    if (file->status != QUELL_OK)
        return sound_source_failed(file, err);
    file->frames += (sf_count_t)*got;
    if (sf_error(file->handle) == SF_ERR_NO_ERROR)
        return QUELL_OK;
    *damage = sf_strerror(file->handle); /* what came with it is not to be trusted */
    *got = 0;
    return QUELL_OK;
}

void sound_close(sound_file *file)
{
    if (file->handle != NULL)
        sf_close(file->handle);
    quell_memory_free(file->window);
    file->handle = NULL;
    file->window = NULL;
}
