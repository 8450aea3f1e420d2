/* The unit of the stamps and of the accelerations: as asked for, as the file states it, or by what is plausible. */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

/* A rate outside these, or a shorter recording, is not believed without being told. */
#define PLAUSIBLE_LOW_HZ 20.0
#define PLAUSIBLE_HIGH_HZ 50000.0

#define PLAUSIBLE_LENGTH_S 0.5

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

quell_status ingest_time_unit_settle(ingest_series *series, double step, double length,
                                     const ingest_settings *settings, quell_arena *arena, quell_error *err)
{
    if (settings->time_unit.name != NULL)
        series->time_unit = settings->time_unit;
    if (series->time_unit.name != NULL)
        return QUELL_OK;
    for (size_t i = 0; i < INGEST_COUNT(time_names); i++) {
        ingest_unit unit = {0};
        ingest_unit_read(&unit, QUELL_TIME, time_names[i], strlen(time_names[i]));
        double rate_hz = 1 / (step * unit.si);
        if (rate_hz < PLAUSIBLE_LOW_HZ || rate_hz > PLAUSIBLE_HIGH_HZ ||
            length * unit.si < PLAUSIBLE_LENGTH_S)
            continue;
        series->time_unit = unit;
        quell_status status = quell_findings_add(
            &series->findings, arena, "time-unit", QUELL_NOTE, rate_hz, NAN,
            "say --time-unit if that is wrong",
            "the file does not state the unit of time; %s makes it %.0f Hz", unit.name, rate_hz);
        return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
    }
    return quell_fail(
        err, QUELL_E_DATA,
        "the unit of time is not stated, and in none is a step of %.4g a rate of 20 Hz to 50 kHz over "
        "half a second or more, want --time-unit",
        step);
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

static double mean_length(const ingest_series *series)
{
    double square = 0;
    for (size_t k = 0; k < series->axes; k++) {
        double sum = 0;
        for (size_t i = 0; i < series->count; i++)
            sum += series->value[k][i];
        sum /= (double)series->count;
        square += sum * sum;
    }
    return sqrt(square);
}

/* Gravity is in almost every recording: the unit that makes the mean about 1 g. */
static quell_status guess_unit(ingest_unit *out, ingest_series *series, quell_arena *arena, quell_error *err)
{
    static const char *const names[] = {"g", "m/s2", "mg", "mm/s2"};
    double mean = mean_length(series);
    for (size_t i = 0; i < INGEST_COUNT(names); i++) {
        ingest_unit unit = {0};
        ingest_unit_read(&unit, QUELL_ACCELERATION, names[i], strlen(names[i]));
        double in_g = mean * unit.si / QUELL_STANDARD_GRAVITY_MPS2;
        if (in_g < 0.75 || in_g > 1.25)
            continue;
        *out = unit;
        quell_status status = quell_findings_add(
            &series->findings, arena, "unit", QUELL_NOTE, mean, NAN, "say --unit if that is wrong",
            "the file does not state the unit; taken as %s, which makes the mean %.2f g", unit.name, in_g);
        return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
    }
    return quell_fail(err, QUELL_E_DATA,
                      "the unit of acceleration is not stated and the mean of %.4g is not gravity in any, "
                      "want --unit g, mg, "
                      "m/s2, mm/s2 or counts:0.004g",
                      mean);
}

static quell_status choose_units(ingest_series *series, const ingest_settings *settings, quell_arena *arena,
                                 quell_error *err)
{
    ingest_unit unit = settings->unit;
    bool stated = true;
    for (size_t k = 0; k < series->axes && unit.name == NULL; k++) {
        if (series->unit[k].name != NULL && series->unit[k].si <= 0)
            return quell_fail(err, QUELL_E_DATA,
                              "'%s' is in counts, want --unit counts:VALUE such as counts:0.004g",
                              series->axis_name[k]);
        stated = stated && series->unit[k].name != NULL;
    }
    if (unit.name == NULL && stated)
        return QUELL_OK;
    quell_status status = unit.name != NULL ? QUELL_OK : guess_unit(&unit, series, arena, err);
    for (size_t k = 0; status == QUELL_OK && k < series->axes; k++)
        series->unit[k] = unit;
    return status;
}

/* A stated unit under which the mean is not 1 g, while another one would make it so. */
static quell_status question_unit(ingest_series *series, double mean_mps2, quell_arena *arena,
                                  quell_error *err)
{
    static const double factor[] = {1 / QUELL_STANDARD_GRAVITY_MPS2, QUELL_STANDARD_GRAVITY_MPS2, 1e-3, 1e3};
    double in_g = mean_mps2 / QUELL_STANDARD_GRAVITY_MPS2;
    for (size_t i = 0; i < INGEST_COUNT(factor); i++)
        if (fabs(in_g * factor[i] - 1) < 0.05) {
            quell_status status = quell_findings_add(&series->findings, arena, "unit", QUELL_WARN, in_g, NAN,
                                                     "check the unit; --unit overrides the file",
                                                     "in %s the mean is %.4g g; is that the right unit?",
                                                     series->unit[0].name, in_g);
            return status == QUELL_OK ? status : quell_fail(err, status, "out of memory for findings");
        }
    return QUELL_OK;
}

quell_status ingest_units_settle(ingest_series *series, const ingest_settings *settings, quell_arena *arena,
                                 quell_error *err)
{
    quell_status status = choose_units(series, settings, arena, err);
    if (status != QUELL_OK)
        return status;
    for (size_t k = 0; k < series->axes; k++)
        for (size_t i = 0; i < series->count; i++) {
            double accel_mps2 = series->value[k][i] * series->unit[k].si;
            if (!(fabs(accel_mps2) < ABSURD_MPS2))
                return quell_fail(err, QUELL_E_DATA,
                                  "found %.4g %s in '%s', want accelerations below 1e7 m/s2",
                                  series->value[k][i], series->unit[k].name, series->axis_name[k]);
            series->value[k][i] = accel_mps2;
        }
    return question_unit(series, mean_length(series), arena, err);
}
