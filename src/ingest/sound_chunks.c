/* Sound files: the header, cut down to what libsndfile needs of it.

   Most kinds are made of chunks. The library has decoders for many codings that are of no use here, asks for as much
   memory as a chunk of remarks says that it has, and loops without end over some that are damaged; so it gets to see the
   chunks with the format and the samples alone.

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

enum { FORMAT_MAX = 4096 }; /* bytes of a chunk that the library gets */

/* How a file's chunks lie: an id, its length, and the next one behind, at a multiple of `align`. */
typedef struct chunk_form {
    const char *magic; /* the file's first bytes */
    size_t first;      /* where the first chunk lies */
    size_t id, number; /* bytes of the id and of the length */
    bool big_endian;
    size_t counted; /* bytes of id and length that the length includes */
    size_t align;
    const char *format, *sizes,
        *samples; /* the first four bytes of these chunks' ids; sizes: "" if there are none */
    bool (*is_plain)(const char *content, size_t length, bool big_endian); /* of the format chunk */
} chunk_form;

static const chunk_form forms[] = {
    {"RIFF", 12, 4, 4, false, 0, 2, "fmt ", "", "data", wave_is_plain},
    {"RIFX", 12, 4, 4, true, 0, 2, "fmt ", "", "data", wave_is_plain},
    {"RF64", 12, 4, 4, false, 0, 2, "fmt ", "ds64", "data", wave_is_plain},
    {"riff", 40, 16, 8, false, 24, 8, "fmt ", "", "data", wave_is_plain},
    {"FORM", 12, 4, 4, true, 0, 2, "COMM", "", "SSND", aiff_is_plain},
    {"caff", 8, 4, 8, true, 0, 1, "desc", "", "data", caf_is_plain},
};

/* One pass over the chunks before the samples. */
typedef struct pass {
    sound_file *sound;
    const chunk_form *form;
    size_t used;          /* bytes of the window */
    size_t format, sizes; /* where these chunks' contents lie in it; 0: not seen */
} pass;

static quell_status refuse_coding(quell_error *err)
{
    return quell_fail(err, QUELL_E_DATA,
                      "the samples are coded with losses or in an unknown way, want plain integers (PCM) or "
                      "floating point");
}

static quell_status no_samples(const sound_file *sound, quell_error *err)
{
    return sound->status != QUELL_OK
               ? sound_source_failed(sound, err)
               : quell_fail(err, QUELL_E_DATA, "the sound file has no data chunk, want samples");
}

static bool is_id(const char *chunk, const char *id)
{
    return id[0] != '\0' && memcmp(chunk, id, 4) == 0;
}

/* False if the file ends before. */
static bool skip(pass *head, double bytes)
{
    char *scratch = head->sound->window + head->used;
    const double room = (double)(SOUND_WINDOW - head->used);
    while (bytes > 0) {
        sf_count_t want = (sf_count_t)fmin(bytes, room);
        if (sound_pull(head->sound, scratch, want) < want)
            return false;
        bytes -= (double)want;
    }
    return true;
}

/* A chunk that the library needs, with what fills it up to where the next begins. */
static quell_status keep_chunk(pass *head, char *chunk, double length, double filled, quell_error *err)
{
    const chunk_form *form = head->form;
    const size_t at = head->used + form->id + form->number;
    if (length > FORMAT_MAX) {
        char id[16];
        return quell_fail(err, QUELL_E_DATA,
                          "the sound file's chunk '%s' says that it has %.0f bytes, want %d at most",
                          quell_printable(id, sizeof id, chunk, 4), length, FORMAT_MAX);
    }
    char *content = head->sound->window + at;
    if (sound_pull(head->sound, content, (sf_count_t)filled) < (sf_count_t)filled)
        return no_samples(head->sound, err);
    *(is_id(chunk, form->format) ? &head->format : &head->sizes) = at;
    head->used = at + (size_t)filled;
    bool plain = !is_id(chunk, form->format) || form->is_plain(content, (size_t)length, form->big_endian);
    return plain ? QUELL_OK : refuse_coding(err);
}

/* The head of the chunk that holds the samples. Its length is not known where a writer left it for later: all ones, or
   nothing in a file that says that it holds nothing else. */
static quell_status begin_samples(pass *head, char *chunk, double length, quell_error *err)
{
    const chunk_form *form = head->form;
    sound_file *sound = head->sound;
    if (head->format == 0)
        return quell_fail(err, QUELL_E_DATA, "the sound file has no chunk '%s' before its samples, want one",
                          form->format);
    char *number = chunk + form->id;
    bool left = form->number == 4 && form->align == 2 && form->first == 12 && length == 0 &&
                number_at(sound->window + 4, 4, form->big_endian) <= 44 && is_id(chunk, "data");
    if (left)
        memset(number, 0xff, 4);
    sound->data_bytes = left ? -1 : length;
    if (head->sizes != 0 && length == 0xffffffffu)
        sound->data_bytes = number_at(sound->window + head->sizes + 8, 8, false);
    head->used += form->id + form->number;
    return QUELL_OK;
}

static quell_status read_chunks(pass *head, quell_error *err)
{
    const chunk_form *form = head->form;
    const sf_count_t size = (sf_count_t)(form->id + form->number);
    for (;;) {
        char *chunk = head->sound->window + head->used;
        if (sound_pull(head->sound, chunk, size) < size)
            return no_samples(head->sound, err);
        double length = number_at(chunk + form->id, form->number, form->big_endian) - (double)form->counted;
        length = fmax(length, 0);
        if (is_id(chunk, form->samples))
            return begin_samples(head, chunk, length, err);
        double filled =
            (double)form->align * ceil(((double)size + length) / (double)form->align) - (double)size;
        bool needed = (is_id(chunk, form->format) && head->format == 0) ||
                      (is_id(chunk, form->sizes) && head->sizes == 0 && length >= 16);
        quell_status status = needed ? keep_chunk(head, chunk, length, filled, err) : QUELL_OK;
        if (status != QUELL_OK)
            return status;
        if (!needed && !skip(head, filled))
            return no_samples(head->sound, err);
    }
}

quell_status sound_head_take(sound_file *sound, quell_error *err)
{
    enum { LEAST = 8 };
    pass head = {.sound = sound};
    sound->data_bytes = -1;
    sound->held = sound_pull(sound, sound->window, LEAST);
    for (size_t i = 0; i < INGEST_COUNT(forms); i++)
        if (sound->held == LEAST && memcmp(sound->window, forms[i].magic, 4) == 0)
            head.form = &forms[i];
    if (head.form == NULL) {
        sound->held += sound_pull(sound, sound->window + sound->held, LEAST);
        bool sun = is_id(sound->window, ".snd"), nus = is_id(sound->window, "dns.");
        if (sound->status != QUELL_OK)
            return sound_source_failed(sound, err);
        return (sun || nus) && !au_is_plain(sound->window, (size_t)sound->held, sun) ? refuse_coding(err)
                                                                                     : QUELL_OK;
    }
    sf_count_t more = (sf_count_t)head.form->first - LEAST;
    if (sound_pull(sound, sound->window + LEAST, more) < more)
        return no_samples(sound, err);
    head.used = head.form->first;
    quell_status status = read_chunks(&head, err);
    sound->held = sound->passed = (sf_count_t)head.used;
    return status;
}
