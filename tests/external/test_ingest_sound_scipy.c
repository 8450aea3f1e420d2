/* ingest: sound files that others made (kept outside the project), against scipy.io.wavfile, live; and what a user gets
   of them. */
#include "ingest_help.h"
#include "python_help.h"

#include "ingest/sound_private.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

static const char script[] = "tests/external/sound_by_scipy.py";

/* The files: what scipy does with them (seen with scipy 1.10), and what quell does. */
static const struct {
    const char *name;
    bool scipy_reads;
    quell_read_options options;
    quell_status status;
    size_t axes, samples;
    const char *text; /* of the refusal, or of the finding of that kind */
    const char *kind;
} files[] = {
    {"test-44100Hz-le-1ch-4bytes-early-eof.wav",
     true,
     {.unit = "g:16"},
     QUELL_OK,
     1,
     236,
     "the file is cut short: its header says 4410 samples and 236 are there", /* 0x44e8 bytes of 4 */
     "cut-short"},
    {"test-48000Hz-2ch-64bit-float-le-wavex.wav", true, {.unit = "g"}, QUELL_OK, 2, 480, NULL, "cut-short"},
    {"test-8000Hz-le-3ch-5S-24bit.wav",
     true,
     {.unit = "g:16"},
     QUELL_E_DATA,
     0,
     0,
     "found 5 samples, want 16 at least",
     NULL},
    {"test-8000Hz-le-3ch-5S-24bit.wav",
     true,
     {0},
     QUELL_E_DATA,
     0,
     0,
     "integer samples of a sound file have no unit of their own, want what full scale means: --unit "
     "g:FULLSCALE such as g:16",
     NULL},
    {"test-8000Hz-le-5ch-9S-5bit.wav",
     true,
     {.unit = "g:16"},
     QUELL_E_DATA,
     0,
     0,
     "found 9 samples, want 16 at least",
     NULL},
    {"test-8000Hz-le-3ch-5S-24bit-inconsistent.wav", /* its block size is wrong; the samples are whole */
     false,
     {.unit = "g:16"},
     QUELL_E_DATA,
     0,
     0,
     "found 5 samples, want 16 at least",
     NULL},
    {"test-44100Hz-le-1ch-4bytes-early-eof-no-data.wav",
     false,
     {.unit = "g:16"},
     QUELL_E_DATA,
     0,
     0,
     "the sound file has no data chunk, want samples",
     NULL},
    {"test-44100Hz-le-1ch-4bytes-incomplete-chunk.wav",
     false,
     {.unit = "g:16"},
     QUELL_E_DATA,
     0,
     0,
     "the sound file has no data chunk, want samples",
     NULL},
};
enum { FILES = sizeof files / sizeof files[0] };

static bool path_of(char *out, size_t size, size_t which)
{
    const char *folder = test_recordings_folder();
    if (folder == NULL)
        return false;
    snprintf(out, size, "%s/wav/%s", folder, files[which].name);
    return true;
}

static char *load(const char *path, size_t *length)
{
    FILE *file = fopen(path, "rb");
    ck_assert_msg(file != NULL, "%s is missing", path);
    size_t room = 1 << 20;
    char *bytes = malloc(room);
    ck_assert_ptr_nonnull(bytes);
    *length = fread(bytes, 1, room, file);
    fclose(file);
    return bytes;
}

/* An open sound file in memory. */
typedef struct opened {
    char *bytes;
    quell_memory_source state;
    quell_source source;
    ingest_bytes *plain;
    ingest_lines lines;
    sound_file sound;
} opened;

static void open_sound(opened *out, const char *path)
{
    quell_error err = {0};
    out->state.at = 0;
    out->bytes = load(path, &out->state.size);
    out->state.bytes = out->bytes;
    out->source = quell_source_memory(&out->state, path);
    out->plain = malloc(sizeof *out->plain);
    ck_assert_ptr_nonnull(out->plain);
    ck_assert_int_eq(ingest_bytes_open(out->plain, &out->source, &err), QUELL_OK);
    ck_assert_int_eq(ingest_lines_open(&out->lines, out->plain, &err), QUELL_OK);
    ck_assert_msg(sound_open(&out->sound, &out->lines, &err) == QUELL_OK, "%s: %s", path, err.text);
}

static void close_sound(opened *done)
{
    sound_close(&done->sound);
    ingest_lines_close(&done->lines);
    ingest_bytes_close(done->plain);
    free(done->plain);
    free(done->bytes);
}

static void compare(FILE *answers, const char *path, int rate, int channels, size_t frames)
{
    opened file;
    open_sound(&file, path);
    ck_assert_int_eq(file.sound.info.samplerate, rate);
    ck_assert_int_eq(file.sound.info.channels, channels);
    double value[64];
    size_t got = 1, seen = 0;
    const char *damage = NULL;
    while (got > 0) {
        ck_assert_int_eq(sound_read(&file.sound, value, 64 / (size_t)channels, &got, &damage, NULL),
                         QUELL_OK);
        for (size_t i = 0; i < got * (size_t)channels; i++) {
            char line[64];
            ck_assert_msg(fgets(line, sizeof line, answers) != NULL, "%s: more than scipy's samples", path);
            ck_assert_double_eq(value[i], strtod(line, NULL));
        }
        seen += got;
    }
    ck_assert_ptr_null(damage);
    ck_assert_uint_eq(seen, frames);
    close_sound(&file);
}

START_TEST(samples_are_those_of_scipy)
{
    test_python python;
    char path[512], line[64];
    if (!path_of(path, sizeof path, 0) || !test_python_begin(&python, script, "samples against scipy"))
        return;
    for (size_t i = 0; i < FILES; i++) {
        path_of(path, sizeof path, i);
        fprintf(python.questions, "%s\n", path);
    }
    test_python_ask(&python);
    for (size_t i = 0; i < FILES; i++) {
        int rate, channels, frames;
        path_of(path, sizeof path, i);
        ck_assert_ptr_nonnull(fgets(line, sizeof line, python.answers));
        bool read = sscanf(line, "%d %d %d", &rate, &channels, &frames) == 3;
        ck_assert_msg(read == files[i].scipy_reads, "%s: scipy says %s", files[i].name, line);
        if (read)
            compare(python.answers, path, rate, channels, (size_t)frames);
    }
    test_python_end(&python);
}
END_TEST

/* The two files differ in one byte of the head, the block size, which is wrong in one of them. */
START_TEST(a_wrong_block_size_does_not_matter)
{
    char path[512];
    if (!path_of(path, sizeof path, 2))
        return;
    opened right, wrong;
    open_sound(&right, path);
    path_of(path, sizeof path, 5);
    open_sound(&wrong, path);
    double a[15], b[15];
    size_t got = 0, same = 0;
    const char *damage = NULL;
    ck_assert_int_eq(sound_read(&right.sound, a, 5, &got, &damage, NULL), QUELL_OK);
    ck_assert_uint_eq(got, 5);
    ck_assert_int_eq(sound_read(&wrong.sound, b, 5, &got, &damage, NULL), QUELL_OK);
    ck_assert_uint_eq(got, 5);
    for (size_t i = 0; i < 15; i++)
        same += a[i] == b[i] ? 1 : 0;
    ck_assert_uint_eq(same, 15);
    close_sound(&right);
    close_sound(&wrong);
}
END_TEST

START_TEST(files_are_read_or_refused_for_what_they_are)
{
    char path[512];
    if (!path_of(path, sizeof path, (size_t)_i))
        return;
    size_t length;
    char *bytes = load(path, &length);
    quell_arena *arena = quell_arena_create((size_t)1 << 24);
    quell_recording recording;
    quell_error err = {0};
    quell_status status = test_read_bytes(&recording, bytes, length, &files[_i].options, arena, &err);
    ck_assert_msg(status == files[_i].status, "%s: %s", files[_i].name, err.text);
    if (status == QUELL_OK) {
        const quell_finding *finding = test_finding(&recording.findings, files[_i].kind);
        ck_assert_uint_eq(recording.axes, files[_i].axes);
        ck_assert_uint_eq(recording.samples, files[_i].samples);
        ck_assert((finding == NULL) == (files[_i].text == NULL));
        if (finding != NULL)
            ck_assert_str_eq(finding->text, files[_i].text);
    } else {
        ck_assert_str_eq(err.text, files[_i].text);
    }
    quell_arena_destroy(arena);
    free(bytes);
}
END_TEST

Suite *suite_ingest_sound_scipy(void)
{
    Suite *suite = suite_create("ingest sound scipy");
    TCase *cases = tcase_create("recordings");
    tcase_set_timeout(cases, 60);
    tcase_add_test(cases, samples_are_those_of_scipy);
    tcase_add_test(cases, a_wrong_block_size_does_not_matter);
    tcase_add_loop_test(cases, files_are_read_or_refused_for_what_they_are, 0, FILES);
    suite_add_tcase(suite, cases);
    return suite;
}
