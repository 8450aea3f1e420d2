/* decays against free decays of real structures that others recorded (kept outside the project). Published answers: the
   folder's README. */
#include "ingest_help.h"

#include "quell/modes.h"

#include <stdlib.h>

static const struct {
    const char *name;
    quell_read_options options;
    size_t axis;
    double frequency_hz[2], damping_ratio[2];
} rows[] = {
    /* a beam after a hammer blow: 80.4 to 80.5 Hz; damping 0.16 to 0.23 %, falling with amplitude */
    {"modal/brb_hammer_12800Hz.csv", {0}, 0, {80.4, 80.5}, {0.0016, 0.0023}},
    {"modal/brb_hammer_12800Hz.csv", {0}, 2, {80.4, 80.5}, {0.0016, 0.0023}},
    /* published 212.09253 Hz, damping about 0.08 % */
    {"modal/vt_case1_time_1280Hz.tsv", {.unit = "m/s2"}, 0, {211.59, 212.59}, {0.0007, 0.001}},
};

START_TEST(one_blow_gives_the_published_mode)
{
    size_t length;
    char *bytes = test_recording_load(rows[_i].name, &length);
    if (bytes == NULL)
        return;
    quell_arena *arena = quell_arena_create((size_t)1 << 28);
    quell_recording recording;
    quell_error err = {0};
    quell_status status = test_read_bytes(&recording, bytes, length, &rows[_i].options, arena, &err);
    ck_assert_msg(status == QUELL_OK, "%s: %s", rows[_i].name, err.text);
    quell_decays decays;
    const double band_hz[2] = {0, 0};
    status =
        quell_decays_find(&recording, rows[_i].axis, 0, recording.samples, band_hz, arena, &decays, &err);
    ck_assert_msg(status == QUELL_OK, "%s: %s", rows[_i].name, err.text);
    ck_assert_msg(decays.count == 1, "%s: %zu modes, want one", rows[_i].name, decays.count);
    const quell_decay *mode = &decays.mode[0];
    ck_assert_msg(mode->frequency_hz >= rows[_i].frequency_hz[0] &&
                      mode->frequency_hz <= rows[_i].frequency_hz[1],
                  "%s: %.4f Hz", rows[_i].name, mode->frequency_hz);
    ck_assert_msg(mode->damping_ratio >= rows[_i].damping_ratio[0] &&
                      mode->damping_ratio <= rows[_i].damping_ratio[1],
                  "%s: damping ratio %.6f", rows[_i].name, mode->damping_ratio);
    ck_assert_uint_eq(decays.stops, 1);
    quell_arena_destroy(arena);
    free(bytes);
}
END_TEST

Suite *suite_decays_recordings(void)
{
    Suite *suite = suite_create("decays_recordings");
    TCase *cases = tcase_create("recordings");
    tcase_set_timeout(cases, 60);
    tcase_add_loop_test(cases, one_blow_gives_the_published_mode, 0, (int)(sizeof rows / sizeof rows[0]));
    suite_add_tcase(suite, cases);
    return suite;
}
