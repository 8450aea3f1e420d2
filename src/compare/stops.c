/* Ringing after stops, before and after: the part's view of a change. */
#include "compare/stops_private.h"

#include <math.h>

/* Where the strokes are, if there are any. A machine that hardly rings makes strokes that are not always told from other motion,
   or even from a sweep: what nobody stated is tried as strokes, and kept if it turns out like the sure ones. */
static quell_status find_strokes(stops_recording *of, const quell_shaking *stated, quell_arena *arena, bool *found,
                                 quell_error *err)
{
    const quell_shaking as_stops = {.kind = QUELL_EXCITE_STOPS, .stated = true};
    quell_shaking shaking;
    quell_error own = {0};
    quell_status status = quell_shaking_find(&shaking, stated, of->from->recording, of->from->fitness, arena, &own);
    of->sure = status == QUELL_OK && shaking.kind == QUELL_EXCITE_STOPS && !shaking.blow;
    bool try = status == QUELL_OK && !of->sure && stated == NULL && !shaking.blow;
    if (try)
        status = quell_shaking_find(&shaking, &as_stops, of->from->recording, of->from->fitness, arena, &own);
    *found = status == QUELL_OK && (of->sure || try);
    of->first = *found ? shaking.first : 0;
    of->end = *found ? shaking.end : 0;
    return status == QUELL_OK || status == QUELL_E_DATA ? QUELL_OK : quell_fail(err, status, "%s", own.text);
}

static quell_status look(stops_recording *of, size_t axis, const quell_shaking *stated, const double band_hz[2],
                         quell_arena *arena, bool *found, quell_error *err)
{
    quell_status status = find_strokes(of, stated, arena, found, err);
    if (status == QUELL_OK && *found)
        status = quell_decays_find(of->from->recording, axis, of->first, of->end, band_hz, arena, &of->decays, err);
    return status;
}

/* Only recordings with strokes and stops are kept, also those that may be such. */
static quell_status look_at_side(stops_side *out, const quell_side *side, size_t count, size_t axis,
                                 const quell_shaking *stated, const double band_hz[2], quell_arena *arena,
                                 quell_error *err)
{
    out->count = 0;
    out->each = QUELL_NEW(arena, stops_recording, count);
    if (out->each == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu recordings", count);
    for (size_t r = 0; r < count; r++) {
        stops_recording *at = &out->each[out->count];
        bool found;
        *at = (stops_recording){.from = &side[r]};
        if (axis >= side[r].recording->axes || side[r].recording->accel_mps2[axis] == NULL)
            return quell_fail(err, QUELL_E_USAGE, "axis %zu of recording %zu is missing", axis + 1, r + 1);
        quell_status status = look(at, axis, stated, band_hz, arena, &found, err);
        if (status != QUELL_OK)
            return status;
        out->count += found;
    }
    return QUELL_OK;
}

/* A mode that a slow recording cannot hold is no mode to look for in any. */
static void drop_too_high(stops_job *job)
{
    double rate_hz = (double)INFINITY;
    for (size_t s = 0; s < 2; s++)
        for (size_t r = 0; r < job->side[s].count; r++)
            rate_hz = fmin(rate_hz, job->side[s].each[r].from->recording->rate_hz);
    while (job->modes > 0) {
        double highest = 0;
        for (size_t s = 0; s < 2; s++)
            for (size_t r = 0; r < job->side[s].count; r++)
                highest = fmax(highest, job->side[s].each[r].mode[job->modes - 1].frequency_hz);
        if (highest < 0.45 * rate_hz)
            return;
        job->modes--;
    }
}

/* Amplitudes of every recording; those without a stop that can be measured are left out. */
static quell_status measure_side(stops_job *job, stops_side *side, quell_arena *arena, quell_error *err)
{
    size_t kept = 0;
    for (size_t r = 0; r < side->count; r++) {
        stops_recording *at = &side->each[r];
        quell_status status = quell_stops_measure(at->from->recording, job->axis, at->first, at->end, at->mode,
                                                  job->modes, arena, &at->stops, err);
        if (status != QUELL_OK)
            return status;
        if (at->stops.count == 0)
            continue;
        at->group = QUELL_NEW(arena, size_t, at->stops.count);
        if (at->group == NULL)
            return quell_fail(err, QUELL_E_MEMORY, "out of memory for %zu stops", at->stops.count);
        side->each[kept++] = *at;
    }
    side->count = kept;
    return QUELL_OK;
}

/* both: both sides had strokes before they were measured. */
static const char *lacking(const stops_job *job, bool both)
{
    if (both && job->modes == 0)
        return "no mode is seen to ring after the stops, before or after";
    if (both && (job->side[0].count == 0 || job->side[1].count == 0))
        return "the rests between the strokes are too short to measure the ringing in them";
    if (job->side[0].count == 0 && job->side[1].count == 0)
        return "no recording has strokes with stops in it: the amplitude on the part is not stated; record strokes with "
               "stops for that";
    if (job->side[0].count == 0)
        return "no recording before has strokes with stops in it: the amplitude on the part is not stated";
    if (job->side[1].count == 0)
        return "no recording after has strokes with stops in it: the amplitude on the part is not stated";
    return "";
}

/* The mode as a side takes it to be: the first recording's. */
static void name_mode(quell_stops_amplitude *out, const stops_side *side, size_t mode)
{
    out->frequency_hz = side->each[0].mode[mode].frequency_hz;
    out->damping_ratio = side->each[0].mode[mode].damping_ratio;
}

static void compare_one(const stops_job *job, size_t mode, quell_stops_change *out)
{
    stops_mean before = stops_side_mean(job, 0, mode), after = stops_side_mean(job, 1, mode);
    stops_change_make(out, &before, &after);
    out->before.frequency_hz = out->before.damping_ratio = (double)NAN;
    out->after.frequency_hz = out->after.damping_ratio = (double)NAN;
    if (mode != SIZE_MAX) {
        name_mode(&out->before, &job->side[0], mode);
        name_mode(&out->after, &job->side[1], mode);
    }
}

/* Holm's correction over all modes together and each; single stops have no p value. */
static quell_status judge(quell_stops_comparison *out, quell_error *err)
{
    double p[QUELL_MODES_MAX + 1];
    quell_stops_change *change[QUELL_MODES_MAX + 1];
    size_t count = 0;
    for (size_t k = 0; k <= out->modes; k++) {
        quell_stops_change *at = k == 0 ? &out->all : &out->mode[k - 1];
        at->p_holm = (double)NAN;
        if (k == 1 && out->modes == 1) /* the one mode is all there is */
            break;
        if (isfinite(at->p_value)) {
            change[count] = at;
            p[count++] = at->p_value;
        }
    }
    quell_status status = quell_holm(p, p, count, err);
    for (size_t i = 0; i < count && status == QUELL_OK; i++) {
        change[i]->p_holm = p[i];
        change[i]->counts =
            out->alike && p[i] < QUELL_CHANGE_ALPHA && fabs(change[i]->change_m) >= QUELL_CHANGE_MIN_M;
    }
    if (out->modes == 1) {
        out->mode[0].p_holm = out->all.p_holm;
        out->mode[0].counts = out->all.counts;
    }
    return status;
}

static size_t stops_of(const stops_side *side)
{
    size_t sum = 0;
    for (size_t r = 0; r < side->count; r++)
        sum += side->each[r].stops.count;
    return sum;
}

static bool any_short(const stops_side *side)
{
    for (size_t r = 0; r < side->count; r++)
        if (side->each[r].stops.short_rests)
            return true;
    return false;
}

static quell_status finish(stops_job *job, quell_stops_comparison *out, quell_error *err)
{
    stops_group(job);
    out->measured = true;
    out->modes = job->modes;
    out->groups = job->groups;
    out->alike = job->alike;
    out->short_rests = any_short(&job->side[0]) || any_short(&job->side[1]);
    out->before_recordings = job->side[0].count;
    out->after_recordings = job->side[1].count;
    out->before_stops = stops_of(&job->side[0]);
    out->after_stops = stops_of(&job->side[1]);
    out->before_stroke_m = stops_mean_stroke(&job->side[0], false);
    out->after_stroke_m = stops_mean_stroke(&job->side[1], false);
    out->before_speed_mps = stops_mean_stroke(&job->side[0], true);
    out->after_speed_mps = stops_mean_stroke(&job->side[1], true);
    compare_one(job, SIZE_MAX, &out->all);
    for (size_t k = 0; k < job->modes; k++)
        compare_one(job, k, &out->mode[k]);
    return judge(out, err);
}

/* Keeps those recordings of which `keep` is true. */
static void keep_those(stops_job *job, bool (*keep)(const stops_job *, const stops_recording *))
{
    for (size_t s = 0; s < 2; s++) {
        size_t kept = 0;
        bool kept_of[QUELL_RECORDINGS_MAX];
        for (size_t r = 0; r < job->side[s].count; r++)
            kept_of[r] = job->side[s].each[r].sure || keep(job, &job->side[s].each[r]);
        for (size_t r = 0; r < job->side[s].count; r++)
            if (kept_of[r])
                job->side[s].each[kept++] = job->side[s].each[r];
        job->side[s].count = kept;
    }
}

static bool never(const stops_job *job, const stops_recording *recording)
{
    (void)job;
    (void)recording;
    return false;
}

static size_t count_sure(const stops_job *job, bool sure)
{
    size_t count = 0;
    for (size_t s = 0; s < 2; s++)
        for (size_t r = 0; r < job->side[s].count; r++)
            count += job->side[s].each[r].sure == sure;
    return count;
}

static quell_status measure(stops_job *job, const quell_modes *known, quell_arena *arena, quell_error *err)
{
    quell_status status = QUELL_OK;
    stops_choose_modes(job, known);
    drop_too_high(job);
    for (size_t s = 0; s < 2 && status == QUELL_OK && job->modes > 0; s++)
        status = measure_side(job, &job->side[s], arena, err);
    return status;
}

static quell_status run(stops_job *job, const quell_side *const side[2], const size_t count[2],
                        const quell_shaking *stated, const double band_hz[2], const quell_modes *known,
                        quell_arena *arena, quell_stops_comparison *out, quell_error *err)
{
    quell_status status = QUELL_OK;
    for (size_t s = 0; s < 2 && status == QUELL_OK; s++)
        status = look_at_side(&job->side[s], side[s], count[s], job->axis, stated, band_hz, arena, err);
    if (status != QUELL_OK)
        return status;
    if (count_sure(job, true) == 0)
        keep_those(job, never);
    else if (count_sure(job, false) > 0) {
        status = measure(job, known, arena, err);
        keep_those(job, stops_are_like_sure);
    }
    bool both = job->side[0].count > 0 && job->side[1].count > 0;
    if (status == QUELL_OK && both)
        status = measure(job, known, arena, err);
    out->why = lacking(job, both);
    if (status == QUELL_OK && *out->why == '\0')
        status = finish(job, out, err);
    return status;
}

quell_status quell_stops_compare(const quell_side *before, size_t befores, const quell_side *after, size_t afters,
                                 size_t axis, const quell_shaking *stated, const double band_hz[2],
                                 const quell_modes *known, quell_arena *arena, quell_stops_comparison *out,
                                 quell_error *err)
{
    const quell_side *const side[2] = {before, after};
    const size_t count[2] = {befores, afters};
    for (size_t s = 0; s < 2; s++)
        if (count[s] == 0 || count[s] > QUELL_RECORDINGS_MAX)
            return quell_fail(err, QUELL_E_USAGE, "found %zu recordings %s, want 1 to %d", count[s],
                              s == 0 ? "before" : "after", (int)QUELL_RECORDINGS_MAX);
    quell_stops_comparison made = {0};
    stops_job *job = QUELL_NEW(arena, stops_job, 1);
    if (job == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for a comparison");
    *job = (stops_job){.axis = axis};
    quell_status status = run(job, side, count, stated, band_hz, known, arena, &made, err);
    if (status != QUELL_OK)
        return status;
    made.text = made.measured ? stops_words(&made, arena) : made.why;
    if (made.text == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory for the words");
    *out = made;
    return QUELL_OK;
}
