/* Sound files: a look at the header before the library takes it, which has decoders for many codings that are of no use
   here, and asks for as much memory as a chunk says that it has.

   Sources: Microsoft and IBM, Multimedia Programming Interface and Data Specifications 1.0 (RIFF); EBU Tech 3306 (RF64);
   Sony Wave-64; Apple, AIFF-C and CAF 1.0; Sun, audio file format (all from memory). */
#include "ingest/sound_private.h"

#include <math.h>
#include <string.h>

static double number_at(const char *bytes, size_t width, bool big_endian)
{
    double value = 0;
    for (size_t i = 0; i < width; i++)
        value = value * 256 + (unsigned char)bytes[big_endian ? i : width - 1 - i];
    return value;
}

/* ---------------------------------------------------------------- how samples are coded */

/* 1 is PCM, 3 floating point, 0xfffe one of those, told further down. */
static bool wave_is_plain(const char *content, size_t length, bool big_endian)
{
    double tag = length >= 16 ? number_at(content, 2, big_endian) : 1;
    if (tag == 0xfffe && length >= 26)
        tag = number_at(content + 24, 2, big_endian);
    return tag == 1 || tag == 3;
}

static bool is_one_of(const char *id, const char *ids)
{
    for (; *ids != '\0'; ids += 4)
        if (memcmp(id, ids, 4) == 0)
            return true;
    return false;
}

/* AIFF has no coding, AIFF-C one behind the 18 bytes of AIFF. */
static bool aiff_is_plain(const char *content, size_t length, bool big_endian)
{
    (void)big_endian;
    return length < 22 || is_one_of(content + 18, "NONEtwossowtraw fl32FL32fl64FL64in24in3242ni42n1");
}

static bool caf_is_plain(const char *content, size_t length, bool big_endian)
{
    (void)big_endian;
    return length < 12 || memcmp(content + 8, "lpcm", 4) == 0;
}

/* 2 to 5 are integers of 8 to 32 bits, 6 and 7 floating point. */
static bool au_is_plain(const char *content, size_t length, bool big_endian)
{
    double coding = length >= 16 ? number_at(content + 12, 4, big_endian) : 2;
    return coding >= 2 && coding <= 7;
}

/* ---------------------------------------------------------------- chunks */

/* How a file's chunks lie: an id, its length, and the next one behind, at a multiple of `align`. */
typedef struct chunk_form {
    const char *magic; /* the file's first bytes */
    size_t first;      /* where the first chunk lies; 0: the file has none */
    size_t id, number; /* bytes of the id and of the length */
    bool big_endian;
    size_t counted; /* bytes of id and length that the length includes */
    size_t align;
    const char *format, *samples; /* the first four bytes of these chunks' ids */
    bool (*is_plain)(const char *content, size_t length,
                     bool big_endian); /* of the format chunk, or of the file */
} chunk_form;

static const chunk_form forms[] = {
    {"RIFF", 12, 4, 4, false, 0, 2, "fmt ", "data", wave_is_plain},
    {"RIFX", 12, 4, 4, true, 0, 2, "fmt ", "data", wave_is_plain},
    {"RF64", 12, 4, 4, false, 0, 2, "fmt ", "data", wave_is_plain},
    {"riff", 40, 16, 8, false, 24, 8, "fmt ", "data", wave_is_plain},
    {"FORM", 12, 4, 4, true, 0, 2, "COMM", "SSND", aiff_is_plain},
    {"caff", 8, 4, 8, true, 0, 1, "desc", "data", caf_is_plain},
    {".snd", 0, 0, 0, true, 0, 1, "", "", au_is_plain},
    {"dns.", 0, 0, 0, false, 0, 1, "", "", au_is_plain},
};

static quell_status refuse_coding(quell_error *err)
{
    return quell_fail(err, QUELL_E_DATA,
                      "the samples are coded with losses or in an unknown way, want plain integers (PCM) or "
                      "floating point");
}

/* One chunk, of whose content `held` bytes are in the window. */
static quell_status check_chunk(sound_file *sound, const chunk_form *form, const char *chunk, double length,
                                size_t held, quell_error *err)
{
    const char *content = chunk + form->id + form->number;
    if (memcmp(chunk, form->samples, 4) == 0) {
        if (sound->data_bytes < 0)
            sound->data_bytes = length;
        return QUELL_OK;
    }
    if (length > SOUND_WINDOW) {
        char id[16];
        return quell_fail(err, QUELL_E_DATA,
                          "the sound file's chunk '%s' says that it has %.0f bytes, want %d at most",
                          quell_printable(id, sizeof id, chunk, 4), length, SOUND_WINDOW);
    }
    held = length < (double)held ? (size_t)length : held;
    if (memcmp(chunk, form->format, 4) == 0 && !form->is_plain(content, held, form->big_endian))
        return refuse_coding(err);
    return QUELL_OK;
}

quell_status sound_chunks_check(sound_file *sound, quell_error *err)
{
    const chunk_form *form = NULL;
    const size_t held = (size_t)sound->held;
    sound->data_bytes = -1;
    for (size_t i = 0; i < INGEST_COUNT(forms); i++)
        if (held >= 4 && memcmp(sound->window, forms[i].magic, 4) == 0)
            form = &forms[i];
    if (form == NULL)
        return QUELL_OK;
    if (form->first == 0)
        return form->is_plain(sound->window, held, form->big_endian) ? QUELL_OK : refuse_coding(err);
    const size_t head = form->id + form->number;
    for (double at = (double)form->first; at + (double)head <= (double)held;) {
        const char *chunk = sound->window + (size_t)at;
        double length = number_at(chunk + form->id, form->number, form->big_endian) - (double)form->counted;
        length = fmax(length, 0);
        quell_status status = check_chunk(sound, form, chunk, length, held - (size_t)at - head, err);
        if (status != QUELL_OK)
            return status;
        at += (double)form->align * ceil(((double)head + length) / (double)form->align);
    }
    return QUELL_OK;
}
