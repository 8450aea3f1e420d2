/* What is recorded, and what is wanted of it: the goals of the design are marked there, and the others follow from them. */
#include "study.h"

#include <math.h>
#include <string.h>

#define NO_LIMIT ((double)NAN)
#define AT_MOST(figure, limit)                                                                               \
    {                                                                                                        \
        figure,                                                                                              \
        {                                                                                                    \
            NO_LIMIT, limit                                                                                  \
        }                                                                                                    \
    }
#define AT_LEAST(figure, limit)                                                                              \
    {                                                                                                        \
        figure,                                                                                              \
        {                                                                                                    \
            limit, NO_LIMIT                                                                                  \
        }                                                                                                    \
    }
#define WITHIN(figure, low, high)                                                                            \
    {                                                                                                        \
        figure,                                                                                              \
        {                                                                                                    \
            low, high                                                                                        \
        }                                                                                                    \
    }
#define COVERED(low, high)                                                                                   \
    WITHIN(STUDY_F_COVERED, low, high), WITHIN(STUDY_ZETA_COVERED, low, high),                               \
        WITHIN(STUDY_C_COVERED, low, high)

#define ONE                                                                                                  \
    1,                                                                                                       \
    {                                                                                                        \
        {                                                                                                    \
            {25, 90}, {0.02, 0.10},                                                                          \
            {                                                                                                \
                0.7, 1                                                                                       \
            }                                                                                                \
        }                                                                                                    \
    }
#define APART                                                                                                \
    2,                                                                                                       \
    {                                                                                                        \
        {{25, 45}, {0.02, 0.10}, {0.6, 1}},                                                                  \
        {                                                                                                    \
            {65, 90}, {0.02, 0.10},                                                                          \
            {                                                                                                \
                0.2, 0.5                                                                                     \
            }                                                                                                \
        }                                                                                                    \
    }
#define CLOSE                                                                                                \
    2,                                                                                                       \
    {                                                                                                        \
        {{52, 52}, {0.03, 0.03}, {0.6, 0.6}},                                                                \
        {                                                                                                    \
            {58, 58}, {0.03, 0.03},                                                                          \
            {                                                                                                \
                0.4, 0.4                                                                                     \
            }                                                                                                \
        }                                                                                                    \
    }
#define NEARER                                                                                               \
    2,                                                                                                       \
    {                                                                                                        \
        {{47, 47}, {0.02, 0.02}, {0.6, 0.6}},                                                                \
        {                                                                                                    \
            {50, 50}, {0.02, 0.02},                                                                          \
            {                                                                                                \
                0.4, 0.4                                                                                     \
            }                                                                                                \
        }                                                                                                    \
    }
#define OPPOSED                                                                                              \
    2,                                                                                                       \
    {                                                                                                        \
        {{35, 45}, {0.02, 0.06}, {0.8, 1}},                                                                  \
        {                                                                                                    \
            {65, 80}, {0.02, 0.06},                                                                          \
            {                                                                                                \
                -0.4, -0.2                                                                                   \
            }                                                                                                \
        }                                                                                                    \
    }
#define LOW_AND_SHARP                                                                                        \
    1,                                                                                                       \
    {                                                                                                        \
        {                                                                                                    \
            {20, 20}, {0.02, 0.02},                                                                          \
            {                                                                                                \
                1, 1                                                                                         \
            }                                                                                                \
        }                                                                                                    \
    }
#define DEMO                                                                                                 \
    2,                                                                                                       \
    {                                                                                                        \
        {{47.3, 47.3}, {0.046, 0.046}, {1, 1}},                                                              \
        {                                                                                                    \
            {83.5, 83.5}, {0.028, 0.028},                                                                    \
            {                                                                                                \
                0.22, 0.22                                                                                   \
            }                                                                                                \
        }                                                                                                    \
    }
#define FAN .line = {50.5, 0.3, {0.3, 0.2, 0.9}}
#define EIGHT_STOPS (7 * (0.06 / 0.2 + 0.2 / 6 + 1.5)) /* then back: eight strokes */

static const study_row rows[] = {
    {"one-60", "one mode, random motion, 60 s", ONE, QUELL_EXCITE_RANDOM, 60, .count = 400,
     .goal = {AT_MOST(STUDY_ZETA_ERROR, 0.04), AT_MOST(STUDY_F_SPREAD, 1.15),
              AT_MOST(STUDY_ZETA_SPREAD, 1.15), COVERED(0.92, 0.97), AT_LEAST(STUDY_RIGHT, 0.95)},
     .goals = 7},
    {"one-10", "one mode, random motion, 10 s", ONE, QUELL_EXCITE_RANDOM, 10, .count = 1000,
     .goal = {AT_MOST(STUDY_ZETA_ERROR, 0.09), AT_MOST(STUDY_F_SPREAD, 1.25),
              AT_MOST(STUDY_ZETA_SPREAD, 1.25), COVERED(0.90, 0.97), AT_LEAST(STUDY_RIGHT, 0.95)},
     .goals = 7},
    {"close-60", "52 and 58 Hz, random motion, 60 s", CLOSE, QUELL_EXCITE_RANDOM, 60, .count = 200,
     .goal = {AT_MOST(STUDY_ZETA_ERROR, 0.08), AT_MOST(STUDY_F_ERROR, 0.0025), AT_LEAST(STUDY_RIGHT, 0.95)},
     .goals = 3},
    {"close-10", "52 and 58 Hz, random motion, 10 s", CLOSE, QUELL_EXCITE_RANDOM, 10, .count = 400,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95)}, .goals = 1},
    {"apart-60", "two modes apart, random motion, 60 s", APART, QUELL_EXCITE_RANDOM, 60, .count = 200,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95)}, .goals = 1},
    {"apart-10", "two modes apart, random motion, 10 s", APART, QUELL_EXCITE_RANDOM, 10, .count = 400,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95)}, .goals = 1},
    {"none-60",
     "no mode, random motion, 60 s",
     0,
     {{{0, 0}, {0, 0}, {0, 0}}},
     QUELL_EXCITE_RANDOM,
     60,
     .count = 100,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95), AT_MOST(STUDY_PEAKS, 0.05)},
     .goals = 2},
    {"none-10",
     "no mode, random motion, 10 s",
     0,
     {{{0, 0}, {0, 0}, {0, 0}}},
     QUELL_EXCITE_RANDOM,
     10,
     .count = 400,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95), AT_MOST(STUDY_PEAKS, 0.05)},
     .goals = 2},
    {"noise-60",
     "coloured noise, 60 s",
     0,
     {{{0, 0}, {0, 0}, {0, 0}}},
     QUELL_EXCITE_AMBIENT,
     60,
     .noise = true,
     .count = 200,
     .goal = {AT_MOST(STUDY_FALSE, 0.05), AT_MOST(STUDY_PEAKS, 0.05)},
     .goals = 2},
    {"noise-10",
     "coloured noise, 10 s",
     0,
     {{{0, 0}, {0, 0}, {0, 0}}},
     QUELL_EXCITE_AMBIENT,
     10,
     .noise = true,
     .count = 400,
     .goal = {AT_MOST(STUDY_FALSE, 0.05), AT_MOST(STUDY_PEAKS, 0.05)},
     .goals = 2},
    {"sweep-known", "one mode, sweep of 61 s, command known", ONE, QUELL_EXCITE_SWEEP, 60,
     .command_known = true, .count = 400,
     .goal = {AT_MOST(STUDY_ZETA_ERROR, 0.01), AT_MOST(STUDY_F_ERROR, 5e-4), COVERED(0.92, NO_LIMIT),
              AT_LEAST(STUDY_RIGHT, 0.95)},
     .goals = 6},
    {"sweep", "one mode, sweep of 61 s, command unknown", ONE, QUELL_EXCITE_SWEEP, 60, .count = 400,
     .goal = {AT_MOST(STUDY_ZETA_ERROR, 0.02), AT_MOST(STUDY_F_ERROR, 1e-3), COVERED(0.92, NO_LIMIT),
              AT_LEAST(STUDY_RIGHT, 0.95)},
     .goals = 6},
    {"demo-sweep", "47.3 and 83.5 Hz, sweep, command unknown", DEMO, QUELL_EXCITE_SWEEP, 60, .count = 100,
     .goal = {AT_MOST(STUDY_ZETA_ERROR, 0.02), AT_MOST(STUDY_F_ERROR, 1e-3), AT_LEAST(STUDY_RIGHT, 0.95)},
     .goals = 3},
    {"stops-quiet", "one mode, eight stops", ONE, QUELL_EXCITE_STOPS, EIGHT_STOPS, .count = 200,
     .goal = {AT_MOST(STUDY_ZETA_ERROR, 0.01), AT_LEAST(STUDY_RIGHT, 0.95), AT_MOST(STUDY_FALSE, 0.01)},
     .goals = 3},
    {"stops-background", "one mode, eight stops, shaken by 0.2 m/s2 besides", ONE, QUELL_EXCITE_STOPS,
     EIGHT_STOPS, .background_mps2 = 0.2, .count = 200,
     .goal = {AT_MOST(STUDY_ZETA_ERROR, 0.04), AT_LEAST(STUDY_RIGHT, 0.95), AT_MOST(STUDY_FALSE, 0.01)},
     .goals = 3},
    {"two-stops", "47.3 and 83.5 Hz, eight stops, shaken by 0.2 m/s2 besides", DEMO, QUELL_EXCITE_STOPS,
     EIGHT_STOPS, .background_mps2 = 0.2, .count = 200,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95), AT_MOST(STUDY_FALSE, 0.01)}, .goals = 2},
    {"close-stops", "52 and 58 Hz, eight stops, shaken by 0.2 m/s2 besides", CLOSE, QUELL_EXCITE_STOPS,
     EIGHT_STOPS, .background_mps2 = 0.2, .count = 200,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95), AT_MOST(STUDY_FALSE, 0.01)}, .goals = 2},
    {"ambient-60", "one mode, ambient, 60 s", ONE, QUELL_EXCITE_AMBIENT, 60, .count = 400,
     .goal = {AT_MOST(STUDY_F_SPREAD, 1.15), AT_MOST(STUDY_ZETA_SPREAD, 1.15),
              WITHIN(STUDY_F_COVERED, 0.92, 0.97), WITHIN(STUDY_ZETA_COVERED, 0.92, 0.97),
              AT_LEAST(STUDY_RIGHT, 0.95)},
     .goals = 5},
    {"low-60", "20 Hz of damping ratio 0.02, random motion, 60 s", LOW_AND_SHARP, QUELL_EXCITE_RANDOM, 60,
     .count = 100,
     .goal = {AT_MOST(STUDY_F_SPREAD, 1.15), AT_MOST(STUDY_ZETA_SPREAD, 1.15), AT_LEAST(STUDY_RIGHT, 0.95)},
     .goals = 3},
    {"3hz-sweep", "47 and 50 Hz of damping ratio 0.02, sweep", NEARER, QUELL_EXCITE_SWEEP, 60, .count = 100,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95)}, .goals = 1},
    {"3hz-60", "47 and 50 Hz of damping ratio 0.02, random motion, 60 s", NEARER, QUELL_EXCITE_RANDOM, 60,
     .count = 100, .goal = {AT_LEAST(STUDY_RIGHT, 0.95)}, .goals = 1},
    {"opposed-60", "two modes of opposite sign, random motion, 60 s", OPPOSED, QUELL_EXCITE_RANDOM, 60,
     .count = 100, .goal = {AT_LEAST(STUDY_RIGHT, 0.95)}, .goals = 1},
    {"opposed-sweep", "two modes of opposite sign, sweep", OPPOSED, QUELL_EXCITE_SWEEP, 60, .count = 100,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95)}, .goals = 1},
    {"fan-60",
     "one mode at 50 Hz, fan at 50.5 Hz, random motion, 60 s",
     1,
     {{{50, 50}, {0.04, 0.04}, {1, 1}}},
     QUELL_EXCITE_RANDOM,
     60,
     FAN,
     .count = 100,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95)},
     .goals = 1},
    {"time", "47.3 and 83.5 Hz, random motion, 60 s at 3.2 kHz", DEMO, QUELL_EXCITE_RANDOM, 60,
     .rate_hz = 3200, .timed = true, .count = 40,
     .goal = {AT_LEAST(STUDY_RIGHT, 0.95), AT_MOST(STUDY_FIT_S, 0.1)}, .goals = 2},
};

const study_row *study_rows(size_t *count)
{
    *count = sizeof rows / sizeof rows[0];
    return rows;
}

const study_row *study_row_find(const char *name)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (strcmp(rows[i].name, name) == 0)
            return &rows[i];
    return NULL;
}
