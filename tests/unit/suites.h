/* The list of Check suites: a suite is a function suite_<name> in tests/{unit,property,external}/ and a row here. */
#ifndef QUELL_TESTS_SUITES_H
#define QUELL_TESTS_SUITES_H

#include <check.h>

/* Check sends the place of every assertion that holds to the process that waits for the test, a system call and some
   memory each: millions in loops over samples. Only where a test crashes is the last place worth knowing, and there the
   sanitizers tell it. */
#define _mark_point(file, line) ((void)0)

#define SUITES(X)                                                                                            \
    X(base_linear)                                                                                           \
    X(base)                                                                                                  \
    X(base_memory)                                                                                           \
    X(base_number)                                                                                           \
    X(base_quantity)                                                                                         \
    X(base_random)                                                                                           \
    X(spectrum)                                                                                              \
    X(spectrum_properties)                                                                                   \
    X(spectrum_vectors)                                                                                      \
    X(spectrum_scipy)                                                                                        \
    X(modes)                                                                                                 \
    X(modes_idle)                                                                                            \
    X(modes_parts)                                                                                           \
    X(published_values)                                                                                      \
    X(modes_published)                                                                                       \
    X(modes_pool)                                                                                            \
    X(decays)                                                                                                \
    X(decays_recordings)                                                                                     \
    X(modes_recordings)                                                                                      \
    X(doubts)                                                                                                \
    X(shaking)                                                                                               \
    X(study_bound)                                                                                           \
    X(modes_study)                                                                                           \
    X(compare)                                                                                               \
    X(compare_modes)                                                                                         \
    X(identify)                                                                                              \
    X(ingest_clock)                                                                                          \
    X(ingest_timeline)                                                                                       \
    X(ingest_shift)                                                                                          \
    X(ingest_digest)                                                                                         \
    X(ingest_dialects)                                                                                       \
    X(ingest_faults)                                                                                         \
    X(ingest_good)                                                                                           \
    X(ingest_headers)                                                                                        \
    X(ingest_hostile)                                                                                        \
    X(ingest_joint)                                                                                          \
    X(ingest_judge)                                                                                          \
    X(ingest_levels)                                                                                         \
    X(ingest_quick)                                                                                          \
    X(ingest_mounting)                                                                                       \
    X(ingest_stream)                                                                                         \
    X(ingest_stamps)                                                                                         \
    X(ingest_text_recordings)                                                                                \
    X(ingest_refusals)                                                                                       \
    X(ingest_segments)                                                                                       \
    X(ingest_sound)                                                                                          \
    X(ingest_sound_scipy)                                                                                    \
    X(ingest_uff)                                                                                            \
    X(ingest_uff_recordings)                                                                                 \
    X(part)                                                                                                  \
    X(stops)                                                                                                 \
    X(tailor)                                                                                                \
    X(machine)                                                                                               \
    X(setting)                                                                                               \
    X(needs)                                                                                                 \
    X(search)                                                                                                \
    X(choose)                                                                                                \
    X(motion)                                                                                                \
    X(program)                                                                                               \
    X(planned_motion)                                                                                        \
    X(predict)                                                                                               \
    X(ripple)                                                                                                \
    X(simulate)                                                                                              \
    X(report)                                                                                                \
    X(report_modes)                                                                                          \
    X(shaping_design)                                                                                        \
    X(shaping_residual)                                                                                      \
    X(shaping_spec)                                                                                          \
    X(shaping_families)                                                                                      \
    X(shaping_scipy)                                                                                         \
    X(tailor_smooth)

#define DECLARE(name) Suite *suite_##name(void);
SUITES(DECLARE)
#undef DECLARE

/* Where ../shared/recordings lies, or NULL: a test that needs it says so and passes over. */
const char *test_recordings_folder(void);

/* |got - want| <= tolerance, with both printed to full precision. */
#define CHECK_NEAR(got, want, tolerance) ck_assert_double_eq_tol((got), (want), (tolerance))

#endif
