/* A program of test motion: what is asked for is checked, put on the grid of motor steps, and becomes moves. */
#include "motion/program_private.h"

#include <math.h>

#define REST_S 3.0          /* at the beginning, after the slow strokes and at the end */
#define SLOW_MPS 0.06       /* the slow strokes' speed ... */
#define SLOW_SHARE 0.3      /* ... or this much of the highest ... */
#define SLOW_S 0.7          /* ... and how long each takes: long enough to be told from ringing, without pauses that part them */
#define TRAVEL_LEAST_M 0.005
#define SLOW_DWELL_S 0.5
#define ROOT_TWO 1.41421356237309504880

enum { SLOW_STROKES = 2, ROOM_FIRST = 256 };

/* Feeds are written with one decimal of mm/min, downwards: no speed is exceeded. */
static double written_speed(double speed_mps)
{
    return floor(speed_mps * 60000 * 10 * (1 + 1e-12)) / 10 / 60000;
}

static quell_status check_travel(const quell_test_motion *asked, quell_error *err)
{
    for (int k = 0; k < 2; k++) {
        double low = asked->travel_m[k][0], high = asked->travel_m[k][1];
        if (asked->path->sign[k] == 0)
            continue;
        if (!(low >= -10 && high <= 10 && high - low >= TRAVEL_LEAST_M))
            return quell_fail(err, QUELL_E_USAGE, "travel of %c is %s mm to %s mm, want at least %g mm, within 10 m of 0",
                              "XY"[k], quell_number_short(1e3 * low, 8).text, quell_number_short(1e3 * high, 8).text,
                              1e3 * TRAVEL_LEAST_M);
    }
    return QUELL_OK;
}

static quell_status check(const quell_test_motion *asked, quell_error *err)
{
    static const struct {
        const char *name, *unit;
        size_t offset;
        double least, most, scale;
    } limits[] = {
        {"speed", "mm/s", offsetof(quell_test_motion, speed_mps), 1e-3, 10, 1e3},
        {"acceleration", "mm/s2", offsetof(quell_test_motion, acceleration_mps2), 1e-2, 1000, 1e3},
        {"motor step", "mm", offsetof(quell_test_motion, step_m), 1e-8, 1e-2, 1e3},
    };
    for (size_t i = 0; i < sizeof limits / sizeof limits[0]; i++) {
        double value = *(const double *)(const void *)((const char *)asked + limits[i].offset), scale = limits[i].scale;
        if (!(value >= limits[i].least && value <= limits[i].most))
            return quell_fail(err, QUELL_E_USAGE, "%s is %s %s, want %s to %s", limits[i].name,
                              quell_number_short(scale * value, 6).text, limits[i].unit,
                              quell_number_short(scale * limits[i].least, 6).text,
                              quell_number_short(scale * limits[i].most, 6).text);
    }
    if (asked->kind != QUELL_EXCITE_SWEEP && !(asked->seconds >= 1 && asked->seconds <= QUELL_MOVES_MAX_S))
        return quell_fail(err, QUELL_E_USAGE, "length is %s s, want 1 to %d s", quell_number_short(asked->seconds, 6).text,
                          QUELL_MOVES_MAX_S);
    return check_travel(asked, err);
}

quell_status program_begin(program_builder *out, const quell_test_motion *asked, quell_arena *arena, quell_error *err)
{
    quell_status status = check(asked, err);
    if (status != QUELL_OK)
        return status;
    const int *sign = asked->path->sign;
    bool diagonal = sign[0] != 0 && sign[1] != 0;
    /* On a diagonal one motor turns while both coordinates change: half a step of each for every step of the motor. */
    double unit_m = fmax(diagonal ? asked->step_m / 2 : asked->step_m, QUELL_WRITTEN_M), room = HUGE_VAL;
    for (int k = 0; k < 2; k++)
        if (sign[k] != 0)
            room = fmin(room, (asked->travel_m[k][1] - asked->travel_m[k][0]) / unit_m);
    *out = (program_builder){.arena = arena,
                             .unit_m = unit_m,
                             .step_m = diagonal ? ROOT_TWO * unit_m : unit_m,
                             .room = (int32_t)floor(room) - 2}; /* the start is rounded, too */
    out->made.asked = *asked;
    out->made.asked.speed_mps = written_speed(asked->speed_mps);
    if (out->room < 2 * QUELL_STROKE_STEPS_MIN)
        return quell_fail(err, QUELL_E_USAGE, "travel holds %d motor steps, want %d or more", (int)out->room + 2,
                          2 * QUELL_STROKE_STEPS_MIN + 2);
    return QUELL_OK;
}

static double slow_speed(const program_builder *builder)
{
    return written_speed(fmin(SLOW_SHARE * builder->made.asked.speed_mps, SLOW_MPS));
}

/* Steps of the slow strokes. */
static int32_t slow_steps(const program_builder *builder)
{
    double steps = ceil(SLOW_S * slow_speed(builder) / builder->step_m);
    return (int32_t)fmin(fmax(steps, QUELL_STROKE_STEPS_MIN), (double)builder->room);
}

/* ---------------------------------------------------------------- moves */

static int32_t written(const program_builder *builder, int32_t units)
{
    return (int32_t)floor((double)units * builder->unit_m / QUELL_WRITTEN_M + 0.5);
}

/* The way from the start is rounded once for both coordinates, so that a diagonal stays one. */
static void write_place(const program_builder *builder, int32_t place, int32_t at[2])
{
    const int *sign = builder->made.asked.path->sign;
    for (int k = 0; k < 2; k++)
        at[k] = sign[k] != 0 ? written(builder, builder->corner[k]) + sign[k] * written(builder, place) : 0;
}

static double along(const program_builder *builder, const int32_t at[2])
{
    const quell_program *made = &builder->made;
    double sum = 0;
    for (int k = 0; k < 2; k++)
        sum += made->asked.path->along[k] * (double)(at[k] - made->start[k]);
    return sum * QUELL_WRITTEN_M;
}

static quell_status make_room(program_builder *builder, quell_error *err)
{
    quell_program *made = &builder->made;
    if (made->count < builder->capacity)
        return QUELL_OK;
    if (made->count == QUELL_MOVES_MAX)
        return quell_fail(err, QUELL_E_USAGE, "the program has more than %d moves, which is the most made: ask for a shorter one",
                          QUELL_MOVES_MAX);
    size_t capacity = builder->capacity > 0 ? 2 * builder->capacity : ROOM_FIRST;
    capacity = capacity < QUELL_MOVES_MAX ? capacity : QUELL_MOVES_MAX;
    quell_move *move = QUELL_NEW(builder->arena, quell_move, capacity);
    int32_t(*at)[2] = quell_arena_alloc(builder->arena, capacity, sizeof *at);
    if (move == NULL || at == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu moves", capacity);
    for (size_t i = 0; i < made->count; i++) {
        move[i] = made->move[i];
        at[i][0] = made->at[i][0];
        at[i][1] = made->at[i][1];
    }
    made->move = move;
    made->at = at;
    builder->capacity = capacity;
    return QUELL_OK;
}

/* Seconds of a stroke from rest to rest. */
static double stroke_s(double length_m, double speed, double acceleration)
{
    double distance = fabs(length_m);
    return distance * acceleration > speed * speed ? distance / speed + speed / acceleration : 2 * sqrt(distance / acceleration);
}

quell_status program_go(program_builder *builder, int32_t place, double speed_mps, double rest_s, quell_error *err)
{
    quell_program *made = &builder->made;
    quell_status status = make_room(builder, err);
    if (status != QUELL_OK)
        return status;
    size_t i = made->count++;
    write_place(builder, place, made->at[i]);
    made->move[i] = (quell_move){along(builder, made->at[i]), written_speed(speed_mps), ceil(1e3 * rest_s - 1e-6) / 1e3};
    double length_m = made->move[i].to_m - (i > 0 ? made->move[i - 1].to_m : 0);
    builder->time_s += stroke_s(length_m, made->move[i].speed_mps, made->asked.acceleration_mps2) + made->move[i].rest_s;
    builder->place = place;
    if (builder->time_s > QUELL_MOVES_MAX_S)
        return quell_fail(err, QUELL_E_USAGE, "the program lasts more than %d s, which is the most made: ask for a shorter one",
                          QUELL_MOVES_MAX_S);
    return QUELL_OK;
}

quell_status program_preamble(program_builder *builder, int32_t reach, quell_error *err)
{
    quell_program *made = &builder->made;
    int32_t slow = slow_steps(builder);
    builder->reach = slow > reach ? slow : reach;
    for (int k = 0; k < 2; k++) {
        const double *travel = made->asked.travel_m[k];
        double middle = (travel[0] + travel[1]) / 2 / builder->unit_m;
        builder->corner[k] = (int32_t)floor(middle - made->asked.path->sign[k] * (double)builder->reach / 2 + 0.5);
    }
    write_place(builder, 0, made->start);
    builder->time_s = made->before_s = REST_S;
    quell_status status = QUELL_OK;
    for (int half = 0; half < 2 * SLOW_STROKES && status == QUELL_OK; half++)
        status = program_go(builder, half % 2 == 0 ? slow : 0, slow_speed(builder),
                            half + 1 < 2 * SLOW_STROKES ? SLOW_DWELL_S : REST_S, err);
    made->first = made->count;
    made->start_s = builder->time_s;
    return status;
}

quell_status program_end(program_builder *builder, int32_t place, double speed_mps, double rest_s, quell_error *err)
{
    quell_status status = program_go(builder, place, speed_mps, fmax(rest_s, REST_S), err);
    builder->made.last = builder->made.count - 1;
    builder->made.end_s = builder->time_s - fmax(REST_S - rest_s, 0);
    return status;
}

/* ---------------------------------------------------------------- the whole */

static void look_back(program_builder *builder)
{
    quell_program *made = &builder->made;
    double low = 0, high = 0, acceleration = made->asked.acceleration_mps2;
    for (size_t i = made->first; i <= made->last; i++) {
        double length_m = fabs(made->move[i].to_m - made->move[i - 1].to_m);
        low = fmin(low, made->move[i].to_m);
        high = fmax(high, made->move[i].to_m);
        made->peak_speed_mps = fmax(made->peak_speed_mps, fmin(sqrt(acceleration * length_m), made->move[i].speed_mps));
    }
    made->extent_m = high - low;
    made->duration_s = builder->time_s;
}

quell_status quell_program_make(quell_program *out, const quell_test_motion *asked, quell_arena *arena, quell_error *err)
{
    program_builder builder;
    quell_status status = program_begin(&builder, asked, arena, err);
    if (status != QUELL_OK)
        return status;
    switch (asked->kind) {
    case QUELL_EXCITE_SWEEP:
        status = program_sweep(&builder, err);
        break;
    case QUELL_EXCITE_RANDOM:
        status = program_random(&builder, err);
        break;
    case QUELL_EXCITE_STOPS:
        status = program_stops(&builder, err);
        break;
    case QUELL_EXCITE_AMBIENT:
        status = quell_fail(err, QUELL_E_USAGE, "ambient shaking has no program, want stops, sweep or random");
        break;
    }
    if (status != QUELL_OK)
        return status;
    look_back(&builder);
    *out = builder.made;
    return QUELL_OK;
}
