/* ingest: sound files made here, WAV byte by byte and the others by libsndfile. Expected values are those that were
   written, in the scale that the format defines: integers of n bits over 2^(n-1). */
#include "ingest_help.h"

#include <math.h>
#include <sndfile.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

enum { FRAMES = 200, RATE = 3200 };

/* ---------------------------------------------------------------- bytes */

static void add_bytes(test_text *text, const void *bytes, size_t length)
{
    if (text->length + length + 1 > text->capacity) {
        text->capacity = 2 * (text->length + length + 1);
        text->bytes = realloc(text->bytes, text->capacity);
        ck_assert_ptr_nonnull(text->bytes);
    }
    memcpy(text->bytes + text->length, bytes, length);
    text->length += length;
}

static void add_number(test_text *text, uint64_t value, size_t width)
{
    unsigned char bytes[8];
    for (size_t i = 0; i < width; i++)
        bytes[i] = (unsigned char)(value >> (8 * i));
    add_bytes(text, bytes, width);
}

/* A WAV file up to its samples. tag: 1 integers, 3 floating point; size: what the data chunk says. */
static void wav_head(test_text *text, unsigned tag, unsigned channels, unsigned bits, size_t size)
{
    add_bytes(text, "RIFF", 4);
    add_number(text, size + 36, 4);
    add_bytes(text, "WAVEfmt ", 8);
    add_number(text, 16, 4);
    add_number(text, tag, 2);
    add_number(text, channels, 2);
    add_number(text, RATE, 4);
    add_number(text, RATE * channels * bits / 8, 4);
    add_number(text, channels * bits / 8, 2);
    add_number(text, bits, 2);
    add_bytes(text, "data", 4);
    add_number(text, size, 4);
}

/* A sample of 16 bits, of high entropy. */
static int sample(size_t frame, size_t channel)
{
    return (int)((frame * 7919 + channel * 104729 + frame * frame * 31) % 60001) - 30000;
}

static void wav16(test_text *text, unsigned channels, size_t said, size_t held)
{
    wav_head(text, 1, channels, 16, said * channels * 2);
    for (size_t i = 0; i < held; i++)
        for (size_t c = 0; c < channels; c++)
            add_number(text, (uint64_t)sample(i, c), 2);
}

/* Axis k is channel `channel`, sample() times scale. */
static void check_axis(const test_reading *got, size_t axis, size_t channel, double scale)
{
    ck_assert_msg(got->status == QUELL_OK, "%s", got->err.text);
    for (size_t i = 0; i < got->recording.samples; i++)
        CHECK_NEAR(got->recording.accel_mps2[axis][i], scale * sample(i, channel), 1e-9 * scale);
}

/* ---------------------------------------------------------------- samples and units */

static const struct {
    const char *unit;
    double scale; /* m/s2 of one step of 16 bits */
    const char *read_as;
} scales[] = {
    {"g:16", 16 * 9.80665 / 32768, "g"},         {"g:16g", 16 * 9.80665 / 32768, "g"},
    {"g:19.6133m/s2", 2 * 9.80665 / 32768, "g"}, {"mg:2000", 2 * 9.80665 / 32768, "mg"},
    {"m/s2:50", 50.0 / 32768, "m/s2"},           {"counts:0.5mg", 0.5e-3 * 9.80665, "counts"},
};

START_TEST(integers_are_shares_of_full_scale)
{
    test_reading got = {0};
    wav16(&got.text, 3, FRAMES, FRAMES);
    test_reading_read(&got, &(quell_read_options){.unit = scales[_i].unit});
    for (size_t k = 0; k < 3; k++)
        check_axis(&got, k, k, scales[_i].scale);
    ck_assert_uint_eq(got.recording.axes, 3);
    ck_assert_uint_eq(got.recording.samples, FRAMES);
    ck_assert_double_eq(got.recording.rate_hz, RATE);
    ck_assert(!got.recording.has_time);
    ck_assert_str_eq(got.recording.format, "WAV sound");
    ck_assert_str_eq(got.recording.unit, scales[_i].read_as);
    ck_assert_str_eq(got.recording.axis_name[2], "channel 3");
    ck_assert_ptr_null(test_finding(&got.recording.findings, "cut-short"));
    ck_assert_ptr_null(test_finding(&got.recording.findings, "channels"));
    test_reading_end(&got);
}
END_TEST

START_TEST(widths_differ_and_scale_does_not)
{
    static const unsigned widths[] = {8, 24, 32};
    unsigned bits = widths[_i];
    test_reading got = {0};
    wav_head(&got.text, 1, 1, bits, FRAMES * bits / 8);
    for (size_t i = 0; i < FRAMES; i++) {
        int value = bits == 8 ? sample(i, 0) / 256 + 128 : sample(i, 0); /* 8 bits are unsigned in WAV */
        add_number(&got.text, (uint64_t)(int64_t)value << (bits == 8 ? 0 : bits - 16), bits / 8);
    }
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:1"});
    ck_assert_msg(got.status == QUELL_OK, "%s", got.err.text);
    for (size_t i = 0; i < FRAMES; i++) {
        int want = bits == 8 ? sample(i, 0) / 256 * 256 : sample(i, 0);
        ck_assert_double_eq(got.recording.accel_mps2[0][i], want / 32768.0);
    }
    test_reading_end(&got);
}
END_TEST

static void wav_float(test_text *text, bool wide, double offset, double amplitude)
{
    wav_head(text, 3, 1, wide ? 64 : 32, FRAMES * (wide ? 8u : 4u));
    for (size_t i = 0; i < FRAMES; i++) {
        double value = offset + amplitude * sample(i, 0) / 32768;
        float narrow = (float)value;
        add_bytes(text, wide ? (const void *)&value : (const void *)&narrow, wide ? 8 : 4);
    }
}

/* Floating point is what it says, with --unit, or by gravity. */
static const struct {
    bool wide;
    double offset;
    const char *unit;
    double scale;
} floats[] = {{true, 0, "g", 9.80665},  {false, 0, "m/s2", 1}, {true, 0, "g:16", 9.80665},
              {true, 1, NULL, 9.80665}, {false, 9.8, NULL, 1}, {true, 0, "counts:0.5g", 0.5 * 9.80665}};

START_TEST(floating_point_is_not_scaled)
{
    test_reading got = {0};
    wav_float(&got.text, floats[_i].wide, floats[_i].offset, 0.25);
    test_reading_read(&got, &(quell_read_options){.unit = floats[_i].unit});
    ck_assert_msg(got.status == QUELL_OK, "%s", got.err.text);
    for (size_t i = 0; i < FRAMES; i++)
        CHECK_NEAR(got.recording.accel_mps2[0][i],
                   floats[_i].scale * (floats[_i].offset + 0.25 * sample(i, 0) / 32768),
                   floats[_i].wide ? 1e-12 : 1e-5);
    const quell_finding *unit = test_finding(&got.recording.findings, "unit");
    bool noted = floats[_i].unit == NULL || strchr(floats[_i].unit, ':') == &floats[_i].unit[1];
    ck_assert((unit != NULL) == noted);
    if (floats[_i].unit != NULL && noted)
        ck_assert_str_eq(unit->text,
                         "the samples are floating point and taken as g: the full scale is not used");
    test_reading_end(&got);
}
END_TEST

START_TEST(samples_that_are_no_numbers_are_lost)
{
    test_reading got = {0};
    const double nothing[] = {NAN, INFINITY};
    wav_float(&got.text, true, 0, 0.25);
    memcpy(got.text.bytes + 44 + 8 * 20, nothing, sizeof nothing);
    test_reading_read(&got, &(quell_read_options){.unit = "g"});
    ck_assert_msg(got.status == QUELL_OK, "%s", got.err.text);
    ck_assert_str_eq(test_finding(&got.recording.findings, "missing")->text,
                     "2 samples are no numbers and count as lost");
    ck_assert_uint_eq(got.recording.lost_samples, 2);
    test_reading_end(&got);
}
END_TEST

/* ---------------------------------------------------------------- channels */

START_TEST(of_many_channels_the_first_three_are_used)
{
    test_reading got = {0};
    wav16(&got.text, 6, FRAMES, FRAMES);
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    for (size_t k = 0; k < 3; k++)
        check_axis(&got, k, k, 1);
    ck_assert_uint_eq(got.recording.axes, 3);
    ck_assert_str_eq(test_finding(&got.recording.findings, "channels")->text,
                     "the file has 6 channels; the first three are used");
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768", .columns = "x=6,y=2,z=5"});
    check_axis(&got, 0, 5, 1);
    check_axis(&got, 1, 1, 1);
    check_axis(&got, 2, 4, 1);
    ck_assert_str_eq(got.recording.axis_name[0], "channel 6");
    ck_assert_ptr_null(test_finding(&got.recording.findings, "channels"));
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768", .columns = "z=4"});
    check_axis(&got, 0, 3, 1);
    ck_assert_uint_eq(got.recording.axes, 1);
    test_reading_end(&got);
}
END_TEST

/* ---------------------------------------------------------------- length, and the way bytes come */

START_TEST(a_file_cut_short_gives_what_is_there)
{
    test_reading got = {0};
    wav16(&got.text, 3, FRAMES, 100);
    add_bytes(&got.text, "abc", 3); /* half a frame */
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    check_axis(&got, 2, 2, 1);
    ck_assert_uint_eq(got.recording.samples, 100);
    const quell_finding *cut = test_finding(&got.recording.findings, "cut-short");
    ck_assert_str_eq(cut->text, "the file is cut short: its header says 200 samples and 100 are there");
    ck_assert_int_eq(cut->severity, QUELL_WARN);
    CHECK_NEAR(cut->value, 0.5, 1e-12);
    test_reading_end(&got);
}
END_TEST

/* What stands in the header of a file that was written to a pipe. */
START_TEST(a_length_that_was_not_known_is_no_cut)
{
    static const uint64_t sizes[] = {0xffffffffu, 0x7fffffffu, 0x7ffff000u, 0xfffffff0u};
    test_reading got = {0};
    wav_head(&got.text, 1, 1, 16, sizes[_i]);
    for (size_t i = 0; i < FRAMES; i++)
        add_number(&got.text, (uint64_t)sample(i, 0), 2);
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    check_axis(&got, 0, 0, 1);
    ck_assert_uint_eq(got.recording.samples, FRAMES);
    ck_assert_ptr_null(test_finding(&got.recording.findings, "cut-short"));
    ck_assert_str_eq(test_finding(&got.recording.findings, "length")->text,
                     "the header does not state the length; 200 samples are there");
    test_reading_end(&got);
}
END_TEST

/* Chunks before and after the samples, larger than what is kept of a header. */
START_TEST(other_chunks_are_passed_over)
{
    test_reading got = {0}, plain = {0};
    static const size_t sizes[] = {100, 200000, 1000000};
    size_t junk = sizes[_i];
    wav16(&plain.text, 2, 70000, 70000);
    add_bytes(&got.text, plain.text.bytes, 36);
    add_bytes(&got.text, "JUNK", 4);
    add_number(&got.text, junk, 4);
    for (size_t i = 0; i < junk; i++)
        add_bytes(&got.text, "data", 1);
    add_bytes(&got.text, plain.text.bytes + 36, plain.text.length - 36);
    add_bytes(&got.text, "LIST\x04\0\0\0INFO", 12);
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    check_axis(&got, 0, 0, 1);
    check_axis(&got, 1, 1, 1);
    ck_assert_uint_eq(got.recording.samples, 70000);
    ck_assert_ptr_null(test_finding(&got.recording.findings, "cut-short"));
    test_text_free(&plain.text);
    test_reading_end(&got);
}
END_TEST

/* A source that gives a few bytes at a time, and may fail. */
typedef struct slow {
    const test_text *text;
    size_t at, fails_at;
} slow;

static quell_status read_slowly(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    slow *state = context;
    size_t left = state->text->length - state->at, some = 1 + state->at % 977;
    if (state->fails_at > 0 && state->at >= state->fails_at)
        return quell_fail(err, QUELL_E_IO, "the disk is gone");
    some = some < size ? some : size;
    *got = some < left ? some : left;
    memcpy(into, state->text->bytes + state->at, *got);
    state->at += *got;
    return QUELL_OK;
}

START_TEST(bytes_may_come_slowly)
{
    test_reading got = {0};
    wav16(&got.text, 3, 60000, 60000);
    slow state = {&got.text, 0, 0};
    quell_source source = {"slow.wav", read_slowly, &state};
    got.arena = quell_arena_create((size_t)1 << 26);
    got.status = quell_recording_read(&got.recording, &source, &(quell_read_options){.unit = "m/s2:32768"},
                                      got.arena, &got.err);
    check_axis(&got, 1, 1, 1);
    ck_assert_uint_eq(got.recording.samples, 60000);
    test_reading_end(&got);
}
END_TEST

START_TEST(a_failing_source_is_an_error_of_its_own)
{
    static const size_t places[] = {10, 40, 3000, 300000};
    test_reading got = {0};
    wav16(&got.text, 3, 60000, 60000);
    slow state = {&got.text, 0, places[_i]};
    quell_source source = {"slow.wav", read_slowly, &state};
    got.arena = quell_arena_create((size_t)1 << 26);
    ck_assert_int_eq(quell_recording_read(&got.recording, &source, &(quell_read_options){.unit = "g:2"},
                                          got.arena, &got.err),
                     QUELL_E_IO);
    ck_assert_str_eq(got.err.text, "the disk is gone");
    test_reading_end(&got);
}
END_TEST

START_TEST(gzip_is_unpacked_and_may_be_cut)
{
    test_reading got = {0}, plain = {0};
    size_t packed;
    wav16(&plain.text, 1, 40000, 40000);
    unsigned char *bytes = test_gzip(plain.text.bytes, plain.text.length, &packed);
    add_bytes(&got.text, bytes, packed);
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    check_axis(&got, 0, 0, 1);
    ck_assert_str_eq(got.recording.format, "WAV sound, gzip");
    got.text.length = packed / 2;
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    check_axis(&got, 0, 0, 1);
    ck_assert_uint_lt(got.recording.samples, 40000);
    ck_assert_ptr_nonnull(test_finding(&got.recording.findings, "gzip"));
    ck_assert_ptr_nonnull(test_finding(&got.recording.findings, "cut-short"));
    free(bytes);
    test_text_free(&plain.text);
    test_reading_end(&got);
}
END_TEST

/* ---------------------------------------------------------------- other formats */

typedef struct written {
    test_text *text;
    sf_count_t at;
} written;

static sf_count_t length_of(void *context)
{
    return (sf_count_t)((written *)context)->text->length;
}

static sf_count_t seek_to(sf_count_t offset, int whence, void *context)
{
    written *file = context;
    file->at = offset + (whence == SEEK_CUR ? file->at : whence == SEEK_END ? length_of(context) : 0);
    return file->at;
}

static sf_count_t read_back(void *into, sf_count_t size, void *context)
{
    written *file = context;
    sf_count_t left = length_of(context) - file->at;
    sf_count_t some = size < left ? size : left;
    memcpy(into, file->text->bytes + file->at, (size_t)some);
    file->at += some;
    return some;
}

static sf_count_t write_more(const void *bytes, sf_count_t size, void *context)
{
    written *file = context;
    size_t end = (size_t)(file->at + size);
    while (file->text->length < end)
        add_bytes(file->text, "", 1);
    memcpy(file->text->bytes + file->at, bytes, (size_t)size);
    file->at += size;
    return size;
}

static sf_count_t tell_place(void *context)
{
    return ((written *)context)->at;
}

/* `frames` frames of sample() in three channels, as libsndfile writes them. */
static void write_sound(test_text *out, int format, size_t frames)
{
    SF_VIRTUAL_IO access = {length_of, seek_to, read_back, write_more, tell_place};
    SF_INFO info = {.samplerate = RATE, .channels = 3, .format = format};
    written file = {out, 0};
    SNDFILE *sound = sf_open_virtual(&access, SFM_WRITE, &info, &file);
    ck_assert_msg(sound != NULL, "%x: %s", (unsigned)format, sf_strerror(NULL));
    for (size_t i = 0; i < frames; i++) {
        short frame[3];
        for (size_t c = 0; c < 3; c++)
            frame[c] = (short)sample(i, c);
        ck_assert_int_eq(sf_writef_short(sound, frame, 1), 1);
    }
    ck_assert_int_eq(sf_close(sound), 0);
}

static const struct {
    int format;
    const char *name;
} others[] = {
    {SF_FORMAT_WAVEX | SF_FORMAT_PCM_16, "WAV sound (extensible)"},
    {SF_FORMAT_WAV | SF_FORMAT_PCM_24 | SF_ENDIAN_BIG, "WAV sound"},
    {SF_FORMAT_RF64 | SF_FORMAT_PCM_16, "RF64 sound"},
    {SF_FORMAT_W64 | SF_FORMAT_PCM_16, "W64 sound"},
    {SF_FORMAT_AIFF | SF_FORMAT_PCM_16, "AIFF sound"},
    {SF_FORMAT_AIFF | SF_FORMAT_PCM_24 | SF_ENDIAN_LITTLE, "AIFF sound"},
    {SF_FORMAT_FLAC | SF_FORMAT_PCM_16, "FLAC sound"},
    {SF_FORMAT_FLAC | SF_FORMAT_PCM_24, "FLAC sound"},
    {SF_FORMAT_CAF | SF_FORMAT_PCM_16, "CAF sound"},
    {SF_FORMAT_AU | SF_FORMAT_PCM_16, "AU sound"},
    {SF_FORMAT_AU | SF_FORMAT_PCM_16 | SF_ENDIAN_LITTLE, "AU sound"},
};

START_TEST(other_formats_hold_the_same_samples)
{
    test_reading got = {0};
    write_sound(&got.text, others[_i].format, 30000);
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    for (size_t k = 0; k < 3; k++)
        check_axis(&got, k, k, 1);
    ck_assert_uint_eq(got.recording.samples, 30000);
    ck_assert_str_eq(got.recording.format, others[_i].name);
    ck_assert_double_eq(got.recording.rate_hz, RATE);
    ck_assert_ptr_null(test_finding(&got.recording.findings, "cut-short"));
    ck_assert_ptr_null(test_finding(&got.recording.findings, "length"));
    test_reading_end(&got);
}
END_TEST

/* What comes behind the samples of a W64 file is not taken for samples. */
START_TEST(a_w64_file_ends_where_its_chunk_ends)
{
    static const unsigned char chunk[] = {'l', 'i',  's',  't',  0xf3, 0xac, 0xd3, 0x11, 0x8c, 0xd1,
                                          0,   0xc0, 0x4f, 0x8e, 0xdb, 0x8a, 40,   0,    0,    0,
                                          0,   0,    0,    0,    1,    2,    3,    4,    5,    6,
                                          7,   8,    9,    10,   11,   12,   13,   14,   15,   16};
    test_reading got = {0};
    write_sound(&got.text, SF_FORMAT_W64 | SF_FORMAT_PCM_16, 400);
    add_bytes(&got.text, chunk, sizeof chunk);
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    check_axis(&got, 2, 2, 1);
    ck_assert_uint_eq(got.recording.samples, 400);
    got.text.length = 1000;
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    check_axis(&got, 2, 2, 1);
    ck_assert_uint_eq(got.recording.samples, (1000 - 104) / 6); /* its head has 104 bytes */
    ck_assert_ptr_nonnull(test_finding(&got.recording.findings, "cut-short"));
    test_reading_end(&got);
}
END_TEST

START_TEST(damaged_flac_gives_the_samples_before)
{
    test_reading got = {0};
    write_sound(&got.text, SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 60000);
    for (size_t i = 0; i < 64; i++)
        got.text.bytes[got.text.length / 2 + i] ^= 0x5a;
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    check_axis(&got, 0, 0, 1);
    ck_assert_uint_lt(got.recording.samples, 60000);
    ck_assert_uint_gt(got.recording.samples, 10000);
    ck_assert_ptr_nonnull(
        strstr(test_finding(&got.recording.findings, "cut-short")->text, "the file is damaged"));
    test_reading_end(&got);
}
END_TEST

/* ---------------------------------------------------------------- refusals */

static const struct {
    const char *unit, *columns;
    quell_status status;
    const char *text;
} options[] = {
    {NULL, NULL, QUELL_E_DATA,
     "integer samples of a sound file have no unit of their own, want what full scale means: --unit "
     "g:FULLSCALE such as g:16"},
    {"g", NULL, QUELL_E_USAGE,
     "--unit: found g for integer samples of a sound file, want what full scale means such as g:16"},
    {"g:", NULL, QUELL_E_USAGE, "--unit: found 'g:', want g, mg, m/s2, mm/s2 or counts:0.004g"},
    {"g:0", NULL, QUELL_E_USAGE, "--unit: found 'g:0', want g, mg, m/s2, mm/s2 or counts:0.004g"},
    {"g:-2", NULL, QUELL_E_USAGE, "--unit: found 'g:-2', want g, mg, m/s2, mm/s2 or counts:0.004g"},
    {"g:1e300", NULL, QUELL_E_USAGE, "--unit: found 'g:1e300', want g, mg, m/s2, mm/s2 or counts:0.004g"},
    {"g:2s", NULL, QUELL_E_USAGE, "--unit: found 'g:2s', want g, mg, m/s2, mm/s2 or counts:0.004g"},
    {"g:2", "x=4", QUELL_E_USAGE, "--columns: found x=4, want a channel from 1 to 3"},
    {"g:2", "x=0", QUELL_E_USAGE,
     "--columns: found 'x=0', want x=, y= and z= with the numbers of channels such as x=1,y=2,z=3"},
    {"g:2", "left", QUELL_E_USAGE,
     "--columns: found 'left', want x=, y= and z= with the numbers of channels such as x=1,y=2,z=3"},
};

START_TEST(missing_and_wrong_options_are_named)
{
    test_reading got = {0};
    wav16(&got.text, 3, FRAMES, FRAMES);
    test_reading_read(&got, &(quell_read_options){.unit = options[_i].unit, .columns = options[_i].columns});
    ck_assert_int_eq(got.status, options[_i].status);
    ck_assert_str_eq(got.err.text, options[_i].text);
    test_reading_end(&got);
}
END_TEST

START_TEST(text_has_no_full_scale)
{
    test_reading got = {0};
    test_text_tone(&got.text, "t_s,ax,ay,az\n", 100, 100);
    test_reading_read(&got, &(quell_read_options){.unit = "g:16"});
    ck_assert_int_eq(got.status, QUELL_E_USAGE);
    ck_assert_str_eq(got.err.text, "--unit: found a full scale, which the samples of sound files have, and "
                                   "delimited text, want --unit g");
    test_reading_end(&got);
}
END_TEST

START_TEST(what_is_no_whole_sound_file_is_refused)
{
    test_reading got = {0};
    const quell_read_options unit = {.unit = "g:2"};
    wav16(&got.text, 3, FRAMES, FRAMES);
    size_t whole = got.text.length;
    for (size_t length = 12; length < 44 + 6 * 15; length++) { /* 15 frames at most */
        got.text.length = length;
        test_reading_read(&got, &unit);
        ck_assert_int_eq(got.status, QUELL_E_DATA);
        ck_assert_uint_gt(strlen(got.err.text), 20);
    }
    ck_assert_str_eq(got.err.text, "found 14 samples (the file is cut short), want 16 at least");
    got.text.length = 36;
    test_reading_read(&got, &unit);
    ck_assert_str_eq(got.err.text, "the sound file has no data chunk, want samples");
    got.text.length = whole;
    got.text.bytes[20] = 2; /* Microsoft ADPCM */
    test_reading_read(&got, &unit);
    ck_assert_int_eq(got.status, QUELL_E_DATA);
    memcpy(got.text.bytes + 8, "AVI ", 4);
    test_reading_read(&got, &unit);
    ck_assert_str_eq(got.err.text,
                     "found RIFF data other than WAVE sound, want delimited text, plain or gzip, "
                     "a universal file or a sound file");
    test_reading_end(&got);
}
END_TEST

/* A chunk that says it is large is not given the memory: an info chunk of CAF, a format in WAV. */
START_TEST(large_chunks_beside_the_samples_are_not_believed)
{
    static const char caf[] = "caff\0\1\0\0desc\0\0\0\0\0\0\0\x20\x40\x9f\x40\0\0\0\0\0lpcm\0\0\0\0\0\0\0\2"
                              "\0\0\0\1\0\0\0\1\0\0\0\x10info\0\0\0\0\xfe\xff\0\0\0\0\0\1title";
    test_reading got = {0};
    add_bytes(&got.text, caf, sizeof caf);
    test_reading_read(&got, &(quell_read_options){.unit = "g:2"});
    ck_assert_int_eq(got.status, QUELL_E_DATA);
    ck_assert_str_eq(got.err.text, "the sound file has no data chunk, want samples");
    test_text_free(&got.text);
    wav16(&got.text, 1, FRAMES, FRAMES);
    memcpy(got.text.bytes + 12, "fmt \x01\x10\0\0", 8);
    test_reading_read(&got, &(quell_read_options){.unit = "g:2"});
    ck_assert_str_eq(got.err.text,
                     "the sound file's chunk 'fmt ' says that it has 4097 bytes, want 4096 at most");
    test_reading_end(&got);
}
END_TEST

START_TEST(samples_want_their_format_before_them)
{
    test_reading got = {0};
    wav16(&got.text, 1, FRAMES, FRAMES);
    memcpy(got.text.bytes + 12, "JUNK", 4);
    test_reading_read(&got, &(quell_read_options){.unit = "g:2"});
    ck_assert_int_eq(got.status, QUELL_E_DATA);
    ck_assert_str_eq(got.err.text, "the sound file has no chunk 'fmt ' before its samples, want one");
    test_reading_end(&got);
}
END_TEST

/* A writer that was stopped leaves nothing as the length of the file and of the samples. */
START_TEST(a_file_that_was_not_closed_is_read_to_its_end)
{
    test_reading got = {0};
    wav16(&got.text, 1, FRAMES, FRAMES);
    memset(got.text.bytes + 4, 0, 4);
    memset(got.text.bytes + 40, 0, 4);
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    check_axis(&got, 0, 0, 1);
    ck_assert_uint_eq(got.recording.samples, FRAMES);
    ck_assert_str_eq(test_finding(&got.recording.findings, "length")->text,
                     "the header does not state the length; 200 samples are there");
    test_reading_end(&got);
}
END_TEST

/* libsndfile 1.2 does not come back from a list of remarks that is damaged like this one. */
START_TEST(damaged_remarks_do_no_harm)
{
    static const char head[] =
        "RIFX\0\0\1\xa2WAVEfmt \0\0\0\x10\0\1\0\3\0\0\7\xd0\0\0\x2e\xe0\0\6\0\x10LIST\0\0\0\x0eINFO"
        "\xb7\xb1\xbe\xb2\xff\xff\xff\xf3x\0data\0\0\1\0";
    test_reading got = {0};
    add_bytes(&got.text, head, sizeof head - 1);
    for (size_t i = 0; i < 256; i++)
        add_number(&got.text, 0x40, 1);
    test_reading_read(&got, &(quell_read_options){.unit = "m/s2:32768"});
    ck_assert_msg(got.status == QUELL_OK, "%s", got.err.text);
    ck_assert_uint_eq(got.recording.samples, 42); /* 256 bytes in frames of 6 */
    ck_assert_double_eq(got.recording.accel_mps2[2][41], 0x4040);
    test_reading_end(&got);
}
END_TEST

/* libsndfile 1.2 looks for chunks up to the length it was told, growing a list of them, where the file ends within a
   chunk's length. */
START_TEST(a_chunk_cut_short_is_not_looked_for_endlessly)
{
    test_reading got = {0};
    wav_head(&got.text, 1, 1, 16, 0);
    got.text.length = 36;
    memset(got.text.bytes + 4, 0xff, 4);
    add_bytes(&got.text, "fact\4\0\0\0<\0\0\0LIST\x0e\0\0", 19);
    test_reading_read(&got, &(quell_read_options){.unit = "g:2"});
    ck_assert_str_eq(got.err.text, "the sound file has no data chunk, want samples");
    test_reading_end(&got);
}
END_TEST

START_TEST(samples_coded_with_losses_are_refused)
{
    static const int formats[] = {SF_FORMAT_WAV | SF_FORMAT_ULAW, SF_FORMAT_AIFF | SF_FORMAT_ALAW,
                                  SF_FORMAT_AU | SF_FORMAT_ULAW};
    test_reading got = {0};
    write_sound(&got.text, formats[_i], 400);
    test_reading_read(&got, &(quell_read_options){.unit = "g:2"});
    ck_assert_int_eq(got.status, QUELL_E_DATA);
    ck_assert_ptr_nonnull(strstr(got.err.text, "the samples are coded with losses"));
    test_reading_end(&got);
}
END_TEST

START_TEST(each_failing_allocation_is_an_error)
{
    test_reading got = {0};
    wav16(&got.text, 6, FRAMES, 100);
    size_t failed = 0;
    for (size_t n = 1;; n++) {
        quell_arena *arena = quell_arena_create((size_t)1 << 24);
        quell_recording recording = {.samples = 4711};
        quell_error err = {0};
        quell_memory_fail_at(n);
        quell_status status =
            test_read(&recording, &got.text, &(quell_read_options){.unit = "g:2"}, arena, &err);
        quell_memory_fail_at(0);
        quell_arena_destroy(arena);
        if (status == QUELL_OK)
            break;
        ck_assert_msg(status == QUELL_E_MEMORY, "allocation %zu: %s", n, err.text);
        ck_assert_uint_eq(recording.samples, 4711);
        failed++;
    }
    ck_assert_uint_gt(failed, 8);
    test_text_free(&got.text);
}
END_TEST

static size_t below(quell_random *random, size_t n)
{
    size_t pick = (size_t)(quell_random_uniform(random) * (double)n);
    return pick < n ? pick : n - 1;
}

START_TEST(mutated_files_give_a_result_or_a_refusal)
{
    static const quell_read_options how[] = {
        {.unit = "g:2"}, {.unit = "counts:1mg"}, {0}, {.unit = "g", .columns = "y=2"}};
    quell_random *random = quell_random_create(4600 + (uint64_t)_i);
    size_t read = 0;
    test_text seed = {0};
    write_sound(&seed, others[_i].format, 40);
    for (size_t n = 0; n < 400; n++) {
        test_reading got = {0};
        size_t length = below(random, 4) == 0 ? below(random, seed.length) : seed.length;
        char *exact = malloc(length + 1); /* of its own, so that a step past the end shows */
        ck_assert_ptr_nonnull(exact);
        memcpy(exact, seed.bytes, length);
        for (size_t c = 0, changes = below(random, 5); length > 4 && c < changes; c++)
            exact[4 + below(random, length < 120            ? length - 4
                                    : below(random, 2) == 0 ? 100
                                                            : length - 4)] =
                (char)(below(random, 3) == 0 ? below(random, 2) * 255 : below(random, 256));
        got.arena = quell_arena_create((size_t)1 << 26);
        got.status = test_read_bytes(&got.recording, exact, length, &how[n % 4], got.arena, &got.err);
        free(exact);
        if (got.status == QUELL_OK) {
            read++;
            for (size_t k = 0; k < got.recording.axes; k++)
                for (size_t i = 0; i < got.recording.samples; i++)
                    ck_assert(isfinite(got.recording.accel_mps2[k][i]));
        } else {
            ck_assert_msg(got.status == QUELL_E_DATA || got.status == QUELL_E_USAGE, "%d: %s",
                          (int)got.status, got.err.text);
            ck_assert_uint_gt(strlen(got.err.text), 8);
        }
        test_reading_end(&got);
    }
    ck_assert_uint_gt(read, 20);
    test_text_free(&seed);
    quell_random_destroy(random);
}
END_TEST

Suite *suite_ingest_sound(void)
{
    const int formats = (int)(sizeof others / sizeof others[0]);
    Suite *suite = suite_create("ingest sound");
    TCase *cases = tcase_create("sound");
    tcase_set_timeout(cases, 120);
    tcase_add_loop_test(cases, integers_are_shares_of_full_scale, 0, (int)(sizeof scales / sizeof scales[0]));
    tcase_add_loop_test(cases, widths_differ_and_scale_does_not, 0, 3);
    tcase_add_loop_test(cases, floating_point_is_not_scaled, 0, (int)(sizeof floats / sizeof floats[0]));
    tcase_add_test(cases, samples_that_are_no_numbers_are_lost);
    tcase_add_test(cases, of_many_channels_the_first_three_are_used);
    tcase_add_test(cases, a_file_cut_short_gives_what_is_there);
    tcase_add_loop_test(cases, a_length_that_was_not_known_is_no_cut, 0, 4);
    tcase_add_loop_test(cases, other_chunks_are_passed_over, 0, 3);
    tcase_add_test(cases, bytes_may_come_slowly);
    tcase_add_loop_test(cases, a_failing_source_is_an_error_of_its_own, 0, 4);
    tcase_add_test(cases, gzip_is_unpacked_and_may_be_cut);
    tcase_add_loop_test(cases, other_formats_hold_the_same_samples, 0, formats);
    tcase_add_test(cases, a_w64_file_ends_where_its_chunk_ends);
    tcase_add_test(cases, damaged_flac_gives_the_samples_before);
    tcase_add_loop_test(cases, missing_and_wrong_options_are_named, 0,
                        (int)(sizeof options / sizeof options[0]));
    tcase_add_test(cases, text_has_no_full_scale);
    tcase_add_test(cases, what_is_no_whole_sound_file_is_refused);
    tcase_add_test(cases, large_chunks_beside_the_samples_are_not_believed);
    tcase_add_test(cases, samples_want_their_format_before_them);
    tcase_add_test(cases, a_file_that_was_not_closed_is_read_to_its_end);
    tcase_add_test(cases, damaged_remarks_do_no_harm);
    tcase_add_test(cases, a_chunk_cut_short_is_not_looked_for_endlessly);
    tcase_add_loop_test(cases, samples_coded_with_losses_are_refused, 0, 3);
    tcase_add_test(cases, each_failing_allocation_is_an_error);
    tcase_add_loop_test(cases, mutated_files_give_a_result_or_a_refusal, 0, formats);
    suite_add_tcase(suite, cases);
    return suite;
}
