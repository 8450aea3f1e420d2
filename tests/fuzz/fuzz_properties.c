/* What must hold of anything that was read, and of any refusal. */
#include "fuzz.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

_Noreturn void fuzz_stop(const char *file, int line, const char *property, const char *format, ...)
{
    va_list arguments;
    fprintf(stderr, "%s:%d: does not hold: %s: ", file, line, property);
    va_start(arguments, format);
    vfprintf(stderr, format, arguments);
    va_end(arguments);
    fputc('\n', stderr);
    abort();
}

/* Well-formed UTF-8 without control characters, written here from the standard's table and not with the project's own
   function. Source: The Unicode Standard, table 3-7. */
static bool is_plain_utf8(const char *text)
{
    static const struct {
        unsigned char first_low, first_high, second_low, second_high;
        int more;
    } row[] = {{0x20, 0x7e, 0, 0, 0},       {0xc2, 0xc2, 0xa0, 0xbf, 1}, {0xc3, 0xdf, 0x80, 0xbf, 1},
               {0xe0, 0xe0, 0xa0, 0xbf, 2}, {0xe1, 0xec, 0x80, 0xbf, 2}, {0xed, 0xed, 0x80, 0x9f, 2},
               {0xee, 0xef, 0x80, 0xbf, 2}, {0xf0, 0xf0, 0x90, 0xbf, 3}, {0xf1, 0xf3, 0x80, 0xbf, 3},
               {0xf4, 0xf4, 0x80, 0x8f, 3}};
    const unsigned char *at = (const unsigned char *)text;
    while (*at != '\0') {
        size_t r = 0;
        while (r < sizeof row / sizeof row[0] && (*at < row[r].first_low || *at > row[r].first_high))
            r++;
        if (r == sizeof row / sizeof row[0])
            return false;
        at++;
        for (int i = 0; i < row[r].more; i++, at++) {
            unsigned char low = i == 0 ? row[r].second_low : 0x80, high = i == 0 ? row[r].second_high : 0xbf;
            if (*at < low || *at > high)
                return false;
        }
    }
    return true;
}

void fuzz_check_text(const char *text, const char *what)
{
    FUZZ_CHECK(text != NULL, "%s", what);
    FUZZ_CHECK(is_plain_utf8(text), "%s: '%s'", what, text);
}

void fuzz_check_error(const quell_error *err, quell_status status, const char *file)
{
    FUZZ_CHECK(err->status == status, "status %d, error says %d: %s", (int)status, (int)err->status,
               err->text);
    FUZZ_CHECK(strlen(err->text) > 8, "'%s'", err->text);
    fuzz_check_text(err->text, "error");
    FUZZ_CHECK(status == QUELL_E_USAGE || file == NULL || strcmp(err->file, file) == 0, "file '%s': %s",
               err->file, err->text);
}

/* ---------------------------------------------------------------- recordings */

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z');
}

static bool has_word(const char *text, const char *word)
{
    size_t length = strlen(word);
    for (const char *at = strstr(text, word); at != NULL; at = strstr(at + 1, word))
        if (!is_letter(at[length]) && (at == text || !is_letter(at[-1])))
            return true;
    return false;
}

static void check_findings(const quell_findings *findings)
{
    FUZZ_CHECK(findings->count <= QUELL_FINDINGS_MAX, "%zu", findings->count);
    for (size_t i = 0; i < findings->count; i++) {
        const quell_finding *finding = &findings->item[i];
        fuzz_check_text(finding->kind, "kind");
        fuzz_check_text(finding->text, "finding");
        fuzz_check_text(finding->remedy, "remedy");
        FUZZ_CHECK(strlen(finding->text) > 8, "'%s'", finding->text);
        FUZZ_CHECK(!has_word(finding->text, "nan") && !has_word(finding->text, "inf"), "%s", finding->text);
        FUZZ_CHECK(!isinf(finding->value) && !isinf(finding->limit), "%s", finding->text);
    }
}

static void check_breaks(const quell_recording *recording)
{
    size_t missing = 0, before = 0;
    FUZZ_CHECK(recording->break_count <= recording->gaps, "%zu of %zu", recording->break_count,
               recording->gaps);
    FUZZ_CHECK((recording->gaps > 0) == (recording->lost_samples > 0), "%zu gaps", recording->gaps);
    FUZZ_CHECK(recording->filled_samples < recording->samples, "%zu filled", recording->filled_samples);
    if (recording->accel_mps2[0] == NULL) /* streamed: they were given to the sink */
        return;
    for (size_t b = 0; b < recording->break_count; b++) {
        FUZZ_CHECK(recording->break_at[b] > before && recording->break_at[b] < recording->samples,
                   "break %zu at %zu", b, recording->break_at[b]);
        FUZZ_CHECK(recording->break_lost[b] > 0, "break %zu", b);
        before = recording->break_at[b];
        missing += recording->break_lost[b];
    }
    FUZZ_CHECK(recording->filled_samples + missing == recording->lost_samples,
               "%zu filled, %zu not, %zu lost", recording->filled_samples, missing, recording->lost_samples);
}

void fuzz_check_recording(const quell_recording *recording)
{
    FUZZ_CHECK(recording->axes >= 1 && recording->axes <= 3, "%zu axes", recording->axes);
    FUZZ_CHECK(recording->samples >= 1, "none");
    FUZZ_CHECK(isfinite(recording->rate_hz) && recording->rate_hz > 0, "%g", recording->rate_hz);
    FUZZ_CHECK(isfinite(recording->rate_ci95_hz[1]) && recording->rate_ci95_hz[0] >= 0 &&
                   recording->rate_ci95_hz[0] <= recording->rate_hz &&
                   recording->rate_hz <= recording->rate_ci95_hz[1],
               "%g in %g %g", recording->rate_hz, recording->rate_ci95_hz[0], recording->rate_ci95_hz[1]);
    FUZZ_CHECK(isfinite(recording->start_s) && isfinite(recording->offset_s) && recording->offset_s >= 0,
               "%g %g", recording->start_s, recording->offset_s);
    FUZZ_CHECK(isfinite(recording->jitter_fraction) && recording->jitter_fraction >= 0, "%g",
               recording->jitter_fraction);
    fuzz_check_text(recording->file, "file");
    fuzz_check_text(recording->format, "format");
    fuzz_check_text(recording->unit, "unit");
    for (size_t k = 0; k < recording->axes; k++) {
        fuzz_check_text(recording->axis_name[k], "axis name");
        FUZZ_CHECK(isfinite(recording->step_mps2[k]) && recording->step_mps2[k] >= 0, "%g",
                   recording->step_mps2[k]);
        FUZZ_CHECK(isfinite(recording->resolution_mps2[k]) && recording->resolution_mps2[k] >= 0, "%g",
                   recording->resolution_mps2[k]);
        FUZZ_CHECK(recording->clipped_fraction[k] >= 0 && recording->clipped_fraction[k] <= 1, "%g",
                   recording->clipped_fraction[k]);
        FUZZ_CHECK((recording->accel_mps2[k] == NULL) == (recording->accel_mps2[0] == NULL), "axis %zu", k);
        for (size_t i = 0; i < recording->samples && recording->accel_mps2[k] != NULL; i++)
            FUZZ_CHECK(isfinite(recording->accel_mps2[k][i]), "sample %zu of axis %zu", i, k);
    }
    check_breaks(recording);
    check_findings(&recording->findings);
}

/* A rotation: rows of length 1, square to each other, right-handed. */
void fuzz_check_mounting(const quell_mounting *mounting, const quell_recording *recording)
{
    const double(*map)[3] = mounting->map;
    fuzz_check_text(mounting->words, "words of the mounting");
    FUZZ_CHECK(isfinite(mounting->tilt_rad) && isfinite(mounting->gravity_mps2), "%g %g", mounting->tilt_rad,
               mounting->gravity_mps2);
    for (size_t i = 0; i < 3; i++)
        for (size_t j = 0; j < 3; j++) {
            double product = 0;
            for (size_t k = 0; k < 3; k++)
                product += map[i][k] * map[j][k];
            FUZZ_CHECK(fabs(product - (i == j)) < 1e-9, "rows %zu and %zu: %g, %zu axes", i, j, product,
                       recording->axes);
        }
    double turn = 0;
    for (size_t k = 0; k < 3; k++)
        turn += map[0][k] *
                (map[1][(k + 1) % 3] * map[2][(k + 2) % 3] - map[1][(k + 2) % 3] * map[2][(k + 1) % 3]);
    FUZZ_CHECK(turn > 0.99, "determinant %g", turn);
}

void fuzz_check_fitness(const quell_fitness *fitness, const quell_recording *recording)
{
    quell_severity worst = QUELL_NOTE;
    for (size_t i = 0; i < recording->findings.count; i++)
        worst = recording->findings.item[i].severity > worst ? recording->findings.item[i].severity : worst;
    static const char *const verdict[] = {"fit", "care", "unfit"};
    FUZZ_CHECK(strcmp(fitness->verdict, verdict[worst]) == 0, "verdict %s, worst finding %d",
               fitness->verdict, (int)worst);
    fuzz_check_text(fitness->reason, "reason");
    fuzz_check_text(fitness->remedy, "remedy");
    FUZZ_CHECK(worst == QUELL_NOTE || fitness->reason[0] != '\0', "%s", fitness->verdict);
    FUZZ_CHECK(isfinite(fitness->duration_s) && fitness->duration_s >= 0, "%g", fitness->duration_s);
    FUZZ_CHECK(isnan(fitness->dominant_hz) ||
                   (fitness->dominant_hz > 0 && fitness->dominant_hz <= 0.5001 * recording->rate_hz),
               "%g at a rate of %g", fitness->dominant_hz, recording->rate_hz);
    for (size_t k = 0; k < recording->axes; k++) {
        FUZZ_CHECK(isfinite(fitness->mean_mps2[k]), "axis %zu", k);
        FUZZ_CHECK(isnan(fitness->noise_mps2_per_rthz[k]) ||
                       (isfinite(fitness->noise_mps2_per_rthz[k]) && fitness->noise_mps2_per_rthz[k] >= 0),
                   "%g", fitness->noise_mps2_per_rthz[k]);
    }
    FUZZ_CHECK(fitness->segments <= sizeof fitness->segment / sizeof fitness->segment[0], "%zu",
               fitness->segments);
    for (size_t s = 0; s < fitness->segments; s++) {
        const quell_segment *segment = &fitness->segment[s];
        fuzz_check_text(quell_stretch_word(segment->kind), "kind of a segment");
        FUZZ_CHECK(isfinite(segment->start_s) && isfinite(segment->end_s) && segment->start_s >= 0 &&
                       segment->end_s >= segment->start_s,
                   "%g to %g", segment->start_s, segment->end_s);
    }
}

/* ---------------------------------------------------------------- sameness */

static bool same_bits(const double *a, const double *b, size_t n)
{
    return memcmp(a, b, n * sizeof *a) == 0;
}

static void check_same_findings(const quell_findings *a, const quell_findings *b)
{
    FUZZ_CHECK(a->count == b->count, "%zu and %zu", a->count, b->count);
    for (size_t i = 0; i < a->count; i++) {
        FUZZ_CHECK(strcmp(a->item[i].text, b->item[i].text) == 0, "%s; %s", a->item[i].text, b->item[i].text);
        FUZZ_CHECK(strcmp(a->item[i].kind, b->item[i].kind) == 0, "%s; %s", a->item[i].kind, b->item[i].kind);
        FUZZ_CHECK(a->item[i].severity == b->item[i].severity, "%s", a->item[i].text);
    }
}

void fuzz_check_same_recording(const quell_recording *a, const quell_recording *b)
{
    FUZZ_CHECK(a->axes == b->axes && a->samples == b->samples, "%zu x %zu, %zu x %zu", a->axes, a->samples,
               b->axes, b->samples);
    FUZZ_CHECK(same_bits(&a->rate_hz, &b->rate_hz, 1) && same_bits(a->rate_ci95_hz, b->rate_ci95_hz, 2),
               "%.17g %.17g", a->rate_hz, b->rate_hz);
    FUZZ_CHECK(same_bits(&a->start_s, &b->start_s, 1) && same_bits(&a->offset_s, &b->offset_s, 1),
               "%.17g %.17g", a->start_s, b->start_s);
    FUZZ_CHECK(same_bits(&a->jitter_fraction, &b->jitter_fraction, 1), "%.17g %.17g", a->jitter_fraction,
               b->jitter_fraction);
    FUZZ_CHECK(a->lost_samples == b->lost_samples && a->filled_samples == b->filled_samples &&
                   a->gaps == b->gaps,
               "%zu and %zu lost", a->lost_samples, b->lost_samples);
    FUZZ_CHECK(strcmp(a->format, b->format) == 0 && strcmp(a->unit, b->unit) == 0, "%s; %s", a->format,
               b->format);
    for (size_t k = 0; k < a->axes; k++) {
        bool held = a->accel_mps2[k] != NULL && b->accel_mps2[k] != NULL;
        FUZZ_CHECK(!held || same_bits(a->accel_mps2[k], b->accel_mps2[k], a->samples), "axis %zu", k);
        FUZZ_CHECK(strcmp(a->axis_name[k], b->axis_name[k]) == 0, "%s; %s", a->axis_name[k], b->axis_name[k]);
    }
    FUZZ_CHECK(same_bits(a->step_mps2, b->step_mps2, 3) &&
                   same_bits(a->resolution_mps2, b->resolution_mps2, 3) &&
                   same_bits(a->clipped_fraction, b->clipped_fraction, 3),
               "levels");
    check_same_findings(&a->findings, &b->findings);
}

void fuzz_check_same_error(const quell_error *a, const quell_error *b)
{
    FUZZ_CHECK(strcmp(a->text, b->text) == 0, "%s; %s", a->text, b->text);
    FUZZ_CHECK(a->line == b->line && a->column == b->column, "%zu:%zu and %zu:%zu: %s", a->line, a->column,
               b->line, b->column, a->text);
}
