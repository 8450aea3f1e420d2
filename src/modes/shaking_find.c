/* What shook the machine, and during which samples: read off the stretches that the ingest stage found. */
#include "modes_private.h"

#include <math.h>

#define JOIN_S 5.0       /* dwells and lulls up to this lie within one excitation ... */
#define SWEEP_JOIN_S 0.5 /* ... but two sweeps are two */
#define NEXT_S 0.2       /* neighbouring stretches are a sample apart, and last 0.5 s or more */
#define BURST_S 2.0      /* a shorter motion is a knock: nothing can be measured with it */
#define GENTLE_MPS2 0.25 /* no machine shakes itself more gently: then the surroundings do */
#define MARGIN_S 2.0 /* of rest around a sweep: the longest segment that is chosen without being asked for */
#define LAST_REST_S 1.0 /* after the last stop, the ringing that stops are made for */
#define BEFORE_BURST_S 0.1 /* the motion begins at most this long before it is seen */

/* Motion of one kind, with the short rests within. */
typedef struct span {
    quell_stretch kind;
    double start_s, end_s;
    double moving_s; /* without the rests */
    double trend;
} span;

static bool shakes(const quell_segment *segment)
{
    return segment->kind == QUELL_SWEEP || segment->kind == QUELL_STOPS || segment->kind == QUELL_MOTION;
}

static quell_excitation excitation_of(quell_stretch kind)
{
    return kind == QUELL_SWEEP   ? QUELL_EXCITE_SWEEP
           : kind == QUELL_STOPS ? QUELL_EXCITE_STOPS
                                 : QUELL_EXCITE_RANDOM;
}

/* Does a segment go on with what the span holds? What is stated to be one excitation may have been taken for several; so may
   stops (mixed: where that is looked into). */
static bool goes_on(const span *with, const quell_segment *segment, const quell_shaking *stated, bool mixed)
{
    bool sweeps = stated != NULL ? stated->kind == QUELL_EXCITE_SWEEP : segment->kind == QUELL_SWEEP;
    bool swept = segment->kind == QUELL_SWEEP || with->kind == QUELL_SWEEP;
    bool alike = stated != NULL || segment->kind == with->kind || (mixed && !swept);
    return alike && segment->start_s - with->end_s < (sweeps ? SWEEP_JOIN_S : JOIN_S);
}

/* It keeps the kind of its longest part. */
static void lengthen(span *by, const quell_segment *segment)
{
    if (segment->end_s - segment->start_s > by->end_s - by->start_s) {
        by->kind = segment->kind;
        by->trend = segment->trend;
    }
    by->end_s = segment->end_s;
    by->moving_s += segment->end_s - segment->start_s;
}

static size_t gather(const quell_fitness *fitness, const quell_shaking *stated, bool mixed,
                     span out[QUELL_SEGMENTS_MAX])
{
    size_t count = 0;
    span *open = NULL; /* that may go on */
    for (size_t s = 0; s < fitness->segments; s++) {
        const quell_segment *segment = &fitness->segment[s];
        if (segment->kind == QUELL_STROKES)
            open = NULL;
        if (!shakes(segment))
            continue;
        if (open != NULL && goes_on(open, segment, stated, mixed)) {
            lengthen(open, segment);
            continue;
        }
        open = &out[count++];
        *open = (span){.kind = segment->kind, .start_s = segment->start_s, .end_s = segment->start_s};
        lengthen(open, segment);
    }
    return count;
}

/* The first sample that is not earlier than `time_s` from the file's first sample. */
static size_t sample_at(const quell_recording *recording, double time_s)
{
    double place = ceil((time_s - recording->offset_s) * recording->rate_hz - 1e-3);
    if (!(place > 0))
        return 0;
    double lost = 0;
    for (size_t b = 0; b < recording->break_count; b++) {
        double at = (double)recording->break_at[b];
        if (place - lost <= at)
            break;
        double more = (double)recording->break_lost[b]; /* a place within the gap is the sample after it */
        lost += fmin(more, place - lost - at);
    }
    double index = place - lost;
    return index < (double)recording->samples ? (size_t)index : recording->samples;
}

/* Seconds from the file's first sample to that one. */
static double time_of(const quell_recording *recording, size_t sample)
{
    double place = (double)sample;
    for (size_t b = 0; b < recording->break_count && recording->break_at[b] <= sample; b++)
        place += (double)recording->break_lost[b];
    return recording->offset_s + place / recording->rate_hz;
}

/* Standard deviation of samples first..end - 1, all axes together. */
static double deviation(const quell_recording *recording, size_t first, size_t end)
{
    double square = 0, n = (double)(end - first);
    for (size_t k = 0; k < recording->axes; k++) {
        const double *value = recording->accel_mps2[k];
        double sum = 0, sum_square = 0, origin = value[first];
        for (size_t i = first; i < end; i++) {
            sum += value[i] - origin;
            sum_square += (value[i] - origin) * (value[i] - origin);
        }
        square += fmax(sum_square / n - sum / n * (sum / n), 0);
    }
    return sqrt(square);
}

/* Knocks, and surroundings that are louder for a while, are not what the machine was shaken by. */
static bool is_excitation(const span *found, const quell_recording *recording)
{
    if (found->moving_s < BURST_S)
        return false;
    size_t first = sample_at(recording, found->start_s), end = sample_at(recording, found->end_s);
    return found->kind == QUELL_SWEEP || recording->accel_mps2[0] == NULL || end <= first ||
           deviation(recording, first, end) > GENTLE_MPS2;
}

/* The longest span; where a kind is stated, the longest of that kind, if there is one. *among: how many there are. */
static const span *choose(const span *found, size_t count, const quell_shaking *stated,
                          const quell_recording *recording, size_t *among)
{
    const span *best = NULL;
    bool best_fits = false;
    *among = 0;
    for (size_t i = 0; i < count; i++) {
        if (stated == NULL && !is_excitation(&found[i], recording))
            continue;
        ++*among;
        bool fits = stated == NULL || excitation_of(found[i].kind) == stated->kind;
        bool longer = best == NULL || found[i].end_s - found[i].start_s > best->end_s - best->start_s;
        if (fits == best_fits ? longer : fits) {
            best = &found[i];
            best_fits = fits;
        }
    }
    return best;
}

/* How far it rests before and after the motion, up to `most_s`: to the next motion or the recording's end. */
static void rests_around(const quell_fitness *fitness, const span *of, double most_s, double rest_s[2])
{
    rest_s[0] = rest_s[1] = 0;
    for (size_t s = 0; s < fitness->segments; s++) {
        const quell_segment *rest = &fitness->segment[s];
        if (rest->kind != QUELL_REST)
            continue;
        if (fabs(rest->end_s - of->start_s) < NEXT_S)
            rest_s[0] = fmin(rest->end_s - rest->start_s, most_s);
        if (fabs(rest->start_s - of->end_s) < NEXT_S)
            rest_s[1] = fmin(rest->end_s - rest->start_s, most_s);
    }
}

static quell_status bursts_of(quell_bursts *out, const span *of, const quell_recording *recording, quell_error *err)
{
    return quell_bursts_find(out, recording, sample_at(recording, of->start_s), sample_at(recording, of->end_s), err);
}

/* Where shaken surroundings or long ringing fill the pauses, stops look like random motion, and in parts like other stops:
   a span of motion that pauses is looked at together with what there is around it. */
static quell_status tell_stops(span *of, const quell_recording *recording, const quell_fitness *fitness, quell_error *err)
{
    span found[QUELL_SEGMENTS_MAX];
    quell_bursts bursts;
    size_t count = gather(fitness, NULL, true, found), i = 0;
    quell_status status = bursts_of(&bursts, of, recording, err);
    while (i < count && !(found[i].start_s <= of->start_s && found[i].end_s >= of->end_s))
        i++;
    if (status != QUELL_OK || bursts.paused < QUELL_PAUSED_LEAST || i == count)
        return status;
    status = bursts_of(&bursts, &found[i], recording, err);
    if (status != QUELL_OK || bursts.paused < QUELL_PAUSED_LEAST || bursts.count < QUELL_BURSTS_LEAST)
        return status;
    *of = found[i];
    of->kind = QUELL_STOPS;
    of->start_s = fmax(of->start_s, time_of(recording, bursts.first) - BEFORE_BURST_S);
    return QUELL_OK;
}

static const char *words(const span *of, size_t spans, quell_arena *arena)
{
    const char *others = "";
    if (spans > 1)
        others = quell_arena_print(arena, "; it is the longest of %zu stretches of motion", spans);
    if (others == NULL)
        return NULL;
    quell_number_text from = quell_number_fixed(of->start_s, 1), to = quell_number_fixed(of->end_s, 1);
    if (of->kind == QUELL_SWEEP)
        return quell_arena_print(arena, "the frequency of the motion %s steadily from %s s to %s s%s",
                                 of->trend < 0 ? "falls" : "rises", from.text, to.text, others);
    if (of->kind == QUELL_STOPS)
        return quell_arena_print(arena, "the motion comes in bursts with pauses from %s s to %s s%s",
                                 from.text, to.text, others);
    return quell_arena_print(arena,
                             "the motion from %s s to %s s neither changes its frequency steadily nor pauses "
                             "again and again: it is taken for random%s",
                             from.text, to.text, others);
}

static quell_status take_motion(quell_shaking *out, const quell_shaking *stated, const span *of, size_t spans,
                                const quell_recording *recording, const quell_fitness *fitness,
                                quell_arena *arena)
{
    double rest_s[2], half_s = 0.5 / recording->rate_hz;
    size_t blow_at = 0;
    out->blow = stated == NULL && of->kind != QUELL_SWEEP &&
                quell_blow_find(recording, sample_at(recording, of->start_s), sample_at(recording, of->end_s), &blow_at);
    out->kind = stated != NULL ? stated->kind : out->blow ? QUELL_EXCITE_STOPS : excitation_of(of->kind);
    bool sweeps = out->kind == QUELL_EXCITE_SWEEP, stops = out->kind == QUELL_EXCITE_STOPS;
    rests_around(fitness, of, sweeps ? MARGIN_S : stops ? LAST_REST_S : 0, rest_s);
    size_t first = sample_at(recording, of->start_s), end = sample_at(recording, of->end_s + half_s);
    out->first = sweeps ? sample_at(recording, of->start_s - rest_s[0]) : first;
    out->end = sample_at(recording, of->end_s + rest_s[1] + half_s);
    out->margin[0] = first - out->first;
    out->margin[1] = out->end - end;
    double from_s = of->start_s + (double)(blow_at > first ? blow_at - first : 0) / recording->rate_hz;
    out->why = stated != NULL ? "as stated"
               : out->blow    ? quell_arena_print(arena, "the motion is loudest at %s s and dies away until %s s",
                                                  quell_number_fixed(from_s, 1).text, quell_number_fixed(of->end_s, 1).text)
                              : words(of, spans, arena);
    return out->why != NULL ? QUELL_OK : QUELL_E_MEMORY;
}

static quell_status take_all(quell_shaking *out, const quell_shaking *stated, size_t spans,
                             const quell_recording *recording, const quell_fitness *fitness,
                             quell_arena *arena)
{
    out->kind = stated != NULL ? stated->kind : QUELL_EXCITE_AMBIENT;
    out->first = 0;
    out->end = recording->samples;
    const char *what = spans > 0 ? "nothing but knocks or gentle shaking" : "no motion";
    out->why = stated != NULL ? "as stated"
                              : quell_arena_print(arena, "%s stands out in %s s", what,
                                                  quell_number_fixed(fitness->duration_s, 1).text);
    return out->why != NULL ? QUELL_OK : QUELL_E_MEMORY;
}

/* Of random motion and stops, without the rests around them. */
static quell_status count_bursts(quell_shaking *of, const quell_recording *recording, quell_error *err)
{
    quell_bursts bursts;
    if (of->kind != QUELL_EXCITE_RANDOM && of->kind != QUELL_EXCITE_STOPS)
        return QUELL_OK;
    quell_status status =
        quell_bursts_find(&bursts, recording, of->first + of->margin[0], of->end - of->margin[1], err);
    of->bursts = status == QUELL_OK ? bursts.count : 0;
    of->paused = status == QUELL_OK ? bursts.paused : 0;
    return status;
}

quell_status quell_shaking_find(quell_shaking *out, const quell_shaking *stated,
                                const quell_recording *recording, const quell_fitness *fitness,
                                quell_arena *arena, quell_error *err)
{
    span found[QUELL_SEGMENTS_MAX];
    quell_shaking made = stated != NULL ? *stated : (quell_shaking){0};
    made.stated = stated != NULL;
    size_t among, count = gather(fitness, stated, false, found);
    const span *best = choose(found, count, stated, recording, &among);
    bool still = stated != NULL ? stated->kind == QUELL_EXCITE_AMBIENT : best == NULL;
    span moved = best != NULL ? *best : (span){0};
    if (best == NULL && !still &&
        stated->kind != QUELL_EXCITE_RANDOM) /* gentle random motion may go unseen */
        return quell_fail(err, QUELL_E_DATA, "nothing moves in %s s, want %s, as stated",
                          quell_number_fixed(fitness->duration_s, 1).text,
                          stated->kind == QUELL_EXCITE_SWEEP ? "a sweep" : "strokes with stops");
    quell_status status = QUELL_OK;
    if (!still && best != NULL && stated == NULL && best->kind == QUELL_MOTION)
        status = tell_stops(&moved, recording, fitness, err);
    if (status == QUELL_OK)
        status = still || best == NULL ? take_all(&made, stated, count, recording, fitness, arena)
                                       : take_motion(&made, stated, &moved, among, recording, fitness, arena);
    if (status == QUELL_OK)
        status = count_bursts(&made, recording, err);
    if (status != QUELL_OK)
        return quell_fail(err, status, "out of memory for what shook the machine");
    *out = made;
    return QUELL_OK;
}
