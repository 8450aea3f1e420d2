/* The unit of the stamps and of the accelerations: as asked for, as the file states it, or by what is plausible. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

/* A rate outside these, or a shorter recording, is not believed without being told. */
#define PLAUSIBLE_LOW_HZ 20.0
#define PLAUSIBLE_HIGH_HZ 50000.0

#define PLAUSIBLE_LENGTH_S 0.5

/* Slower recordings are no use here, but may be shown as what they are. */
#define SLOWEST_HZ 1.0
#define SLOW_LENGTH_S 5.0
#define SLOW_TOLERANCE 0.02

/* How far the mean, and what is felt in a still moment, may be off 1 g. */
#define MEAN_OFF 0.25
#define LEVEL_OFF 0.05

/* Faster than this no machine shakes: a wrong unit, or no acceleration. */
#define ABSURD_MPS2 1e7

/* ---------------------------------------------------------------- time */

static const char *const time_names[] = {"s", "ms", "us", "ns"};

quell_status ingest_time_unit_option(ingest_unit *out, const quell_read_options *options, quell_error *err)
{
    const char *text = options->time_unit;
    if (text == NULL || ingest_unit_read(out, QUELL_TIME, text, strlen(text)))
        return QUELL_OK;
    char shown[48];
    return quell_fail(err, QUELL_E_USAGE, "--time-unit: found '%s', want s, ms, us or ns",
                      quell_printable(shown, sizeof shown, text, strlen(text)));
}

/* A unit in which the step makes a plausible rate and the recording is not over at once. */
static bool is_plausible(ingest_unit unit, double step, double length, double low_hz, double least_s)
{
    double rate_hz = 1 / (step * unit.si);
    return rate_hz >= low_hz && rate_hz <= PLAUSIBLE_HIGH_HZ && length * unit.si >= least_s;
}

/* The unit by magnitude; the first of several, and how many. */
static size_t guess_time_unit(ingest_unit *out, double step, double length, double low_hz, double least_s)
{
    size_t found = 0;
    for (size_t i = INGEST_COUNT(time_names); i-- > 0;) {
        ingest_unit unit = {0};
        ingest_unit_read(&unit, QUELL_TIME, time_names[i], strlen(time_names[i]));
        if (!is_plausible(unit, step, length, low_hz, least_s))
            continue;
        *out = unit;
        found++;
    }
    return found;
}

static quell_status note_time_unit(const ingest_stated *stated, double step, quell_findings *findings,
                                   quell_arena *arena, quell_error *err)
{
    double rate_hz = 1 / (step * stated->time_unit.si);
    quell_status status = quell_findings_add(
        findings, arena, "time-unit", QUELL_NOTE, rate_hz, NAN, "say --time-unit if that is wrong",
        "the file does not state the unit of time; %s makes it %.4g Hz", stated->time_unit.name, rate_hz);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

static quell_status note_slow(const ingest_stated *stated, double step, quell_findings *findings,
                              quell_arena *arena, quell_error *err)
{
    double rate_hz = 1 / (step * stated->time_unit.si);
    if (rate_hz >= PLAUSIBLE_LOW_HZ * (1 - SLOW_TOLERANCE))
        return QUELL_OK;
    quell_status status = quell_findings_add(
        findings, arena, "slow", QUELL_REFUSE, rate_hz, PLAUSIBLE_LOW_HZ, "record at 200 Hz or more",
        "%.4g samples a second show nothing above %.3g Hz: no log for resonances", rate_hz, rate_hz / 2);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

bool ingest_time_unit_expect(ingest_unit *out, const ingest_stated *stated, double step,
                             const ingest_settings *settings)
{
    if (settings->time_unit.name != NULL || stated->time_unit.name != NULL) {
        *out = settings->time_unit.name != NULL ? settings->time_unit : stated->time_unit;
        return true;
    }
    /* any length may still come; of several the largest, which an end soon may leave as the only one */
    return guess_time_unit(out, step, HUGE_VAL, PLAUSIBLE_LOW_HZ, PLAUSIBLE_LENGTH_S) > 0 ||
           guess_time_unit(out, step, HUGE_VAL, SLOWEST_HZ, SLOW_LENGTH_S) > 0;
}

quell_status ingest_time_unit_settle(ingest_stated *stated, double step, double length,
                                     const ingest_settings *settings, quell_findings *findings,
                                     quell_arena *arena, quell_error *err)
{
    if (settings->time_unit.name != NULL)
        stated->time_unit = settings->time_unit;
    if (stated->time_unit.name != NULL)
        return note_slow(stated, step, findings, arena, err);
    ingest_unit unit = {0}, slow = {0};
    size_t found = guess_time_unit(&unit, step, length, PLAUSIBLE_LOW_HZ, PLAUSIBLE_LENGTH_S);
    if (found > 1)
        return quell_fail(
            err, QUELL_E_DATA,
            "the unit of time is not stated, and a step of %.4g may be %.4g Hz in %s or a thousand times "
            "that in the next smaller one, want --time-unit",
            step, 1 / (step * unit.si), unit.name);
    if (found == 0 && guess_time_unit(&slow, step, length, SLOWEST_HZ, SLOW_LENGTH_S) == 1)
        unit = slow;
    if (unit.name == NULL)
        return quell_fail(
            err, QUELL_E_DATA,
            "the unit of time is not stated, and in none is a step of %.4g a rate of 20 Hz to 50 kHz over "
            "half a second or more, want --time-unit",
            step);
    stated->time_unit = unit;
    quell_status status = note_time_unit(stated, step, findings, arena, err);
    return status == QUELL_OK ? note_slow(stated, step, findings, arena, err) : status;
}

/* ---------------------------------------------------------------- acceleration */

/* "counts:0.004g": what one count is worth. */
static bool read_counts(ingest_unit *out, const char *text)
{
    double si;
    if (strncmp(text, "counts:", 7) != 0 ||
        quell_quantity_parse(text + 7, QUELL_ACCELERATION, NULL, &si, NULL) != QUELL_OK || si <= 0)
        return false;
    *out = (ingest_unit){"counts", QUELL_ACCELERATION, si};
    return true;
}

bool ingest_full_scale_read(ingest_unit *unit, double *full_scale, const char *text)
{
    ingest_unit read = {0};
    size_t length = strcspn(text, ":");
    double si;
    if (text[length] == '\0' || !ingest_unit_read(&read, QUELL_ACCELERATION, text, length) || read.si <= 0 ||
        quell_quantity_parse(text + length + 1, QUELL_ACCELERATION, read.name, &si, NULL) != QUELL_OK ||
        !(si > 0 && si / read.si < ABSURD_MPS2))
        return false;
    *unit = read;
    *full_scale = si / read.si;
    return true;
}

quell_status ingest_unit_option(ingest_unit *out, const quell_read_options *options, quell_error *err)
{
    const char *text = options->unit;
    double full_scale;
    if (text == NULL || read_counts(out, text) || ingest_full_scale_read(out, &full_scale, text))
        return QUELL_OK;
    ingest_unit unit;
    if (ingest_unit_read(&unit, QUELL_ACCELERATION, text, strlen(text)) && unit.si > 0) {
        *out = unit;
        return QUELL_OK;
    }
    char shown[48];
    return quell_fail(err, QUELL_E_USAGE, "--unit: found '%s', want g, mg, m/s2, mm/s2 or counts:0.004g",
                      quell_printable(shown, sizeof shown, text, strlen(text)));
}

/* The unit in which a level is gravity, within `off`. */
static bool find_gravity(ingest_unit *out, double level, double off)
{
    static const char *const names[] = {"g", "m/s2", "mg", "mm/s2"};
    for (size_t i = 0; i < INGEST_COUNT(names); i++) {
        ingest_unit unit = {0};
        ingest_unit_read(&unit, QUELL_ACCELERATION, names[i], strlen(names[i]));
        if (fabs(level * unit.si / QUELL_STANDARD_GRAVITY_MPS2 - 1) <= off) {
            *out = unit;
            return true;
        }
    }
    return false;
}

/* What one count may be worth: sensors have 2^n counts in 1 g, or else the level is what there is to go by. */
static double likely_count_g(double level)
{
    double power = exp2(round(log2(level)));
    return fabs(level / power - 1) < 0.06 ? 1 / power : 1 / level;
}

static quell_status refuse_counts(const ingest_stated *stated, const char *what, quell_error *err)
{
    if (stated->level > 1)
        return quell_fail(
            err, QUELL_E_DATA,
            "%s, want --unit counts:VALUE; at rest they come to %.4g, and if that is gravity, it is "
            "--unit counts:%sg",
            what, stated->level, quell_number_short(likely_count_g(stated->level), 5).text);
    return quell_fail(err, QUELL_E_DATA, "%s, want --unit counts:VALUE such as counts:0.004g", what);
}

/* Gravity is in almost every recording: the unit that makes the mean about 1 g, or what is felt at rest just 1 g. */
static quell_status guess_unit(ingest_unit *out, const ingest_stated *stated, double mean,
                               quell_findings *findings, quell_arena *arena, quell_error *err)
{
    bool by_mean = find_gravity(out, mean, MEAN_OFF);
    if (!by_mean && !find_gravity(out, stated->level, LEVEL_OFF)) {
        if (stated->whole_numbers)
            return refuse_counts(
                stated,
                "the unit of acceleration is not stated, and the values are whole numbers, as "
                "of counts",
                err);
        return quell_fail(
            err, QUELL_E_DATA,
            "the unit of acceleration is not stated and the mean of %.4g is not gravity in any, "
            "want --unit g, mg, m/s2, mm/s2 or counts:0.004g",
            mean);
    }
    double level = by_mean ? mean : stated->level;
    quell_status status = quell_findings_add(
        findings, arena, "unit", QUELL_NOTE, level, NAN, "say --unit if that is wrong",
        "the file does not state the unit; taken as %s, which makes %s %.2f g", out->name,
        by_mean ? "the mean" : "the level at rest", level * out->si / QUELL_STANDARD_GRAVITY_MPS2);
    return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
}

static quell_status refuse_headed_counts(const ingest_stated *stated, const char *name, quell_error *err)
{
    char what[96], shown[64];
    quell_error words = {0};
    quell_fail(&words, QUELL_OK, "'%s' is in counts",
               quell_printable(shown, sizeof shown, name, strlen(name)));
    quell_printable(what, sizeof what, words.text, strlen(words.text));
    return refuse_counts(stated, what, err);
}

static quell_status choose_units(ingest_stated *stated, double mean, const ingest_settings *settings,
                                 quell_findings *findings, quell_arena *arena, quell_error *err)
{
    ingest_unit unit = settings->unit;
    bool all_stated = true;
    for (size_t k = 0; k < stated->axes && unit.name == NULL; k++) {
        if (stated->unit[k].name != NULL && stated->unit[k].si <= 0)
            return refuse_headed_counts(stated, stated->axis_name[k], err);
        all_stated = all_stated && stated->unit[k].name != NULL;
    }
    if (unit.name == NULL && all_stated)
        return QUELL_OK;
    quell_status status =
        unit.name != NULL ? QUELL_OK : guess_unit(&unit, stated, mean, findings, arena, err);
    for (size_t k = 0; status == QUELL_OK && k < stated->axes; k++)
        stated->unit[k] = unit;
    return status;
}

/* A stated unit under which the mean is not 1 g, while another one would make it so. */
static quell_status question_unit(const ingest_stated *stated, double mean_mps2, quell_findings *findings,
                                  quell_arena *arena, quell_error *err)
{
    static const double factor[] = {1 / QUELL_STANDARD_GRAVITY_MPS2, QUELL_STANDARD_GRAVITY_MPS2, 1e-3, 1e3};
    double in_g = mean_mps2 / QUELL_STANDARD_GRAVITY_MPS2;
    for (size_t i = 0; i < INGEST_COUNT(factor); i++)
        if (fabs(in_g * factor[i] - 1) < 0.05) {
            quell_status status = quell_findings_add(
                findings, arena, "unit", QUELL_WARN, in_g, NAN, "check the unit; --unit overrides the file",
                "in %s the mean is %.4g g; is that the right unit?", stated->unit[0].name, in_g);
            return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
        }
    return QUELL_OK;
}

quell_status ingest_units_settle(ingest_stated *stated, const double mean[3], const double extreme[3],
                                 const ingest_settings *settings, quell_findings *findings,
                                 quell_arena *arena, quell_error *err)
{
    double square = 0, square_mps2 = 0;
    for (size_t k = 0; k < stated->axes; k++)
        square += mean[k] * mean[k];
    quell_status status = choose_units(stated, sqrt(square), settings, findings, arena, err);
    if (status != QUELL_OK)
        return status;
    for (size_t k = 0; k < stated->axes; k++) {
        const ingest_unit *unit = &stated->unit[k];
        if (!(fabs(extreme[k] * unit->si) < ABSURD_MPS2))
            return quell_fail(err, QUELL_E_DATA, "found %.4g %s in '%s', want accelerations below 1e7 m/s2",
                              extreme[k], unit->name, stated->axis_name[k]);
        square_mps2 += mean[k] * unit->si * (mean[k] * unit->si);
    }
    return question_unit(stated, sqrt(square_mps2), findings, arena, err);
}
