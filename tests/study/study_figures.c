/* What is told of a row's results: shares, medians, spreads, each with its own standard error. */
#include "study.h"

#include <math.h>
#include <stdlib.h>

static const study_words words[STUDY_FIGURES] = {
    [STUDY_RIGHT] = {"number of modes right", "%", 100, 1},
    [STUDY_KIND] = {"excitation told right", "%", 100, 1},
    [STUDY_F_ERROR] = {"f: median of abs. error", "%", 100, 3},
    [STUDY_ZETA_ERROR] = {"zeta: median of abs. error", "%", 100, 2},
    [STUDY_C_ERROR] = {"c: median of abs. error", "", 1, 3},
    [STUDY_F_BIAS] = {"f: median error", "%", 100, 3},
    [STUDY_ZETA_BIAS] = {"zeta: median error", "%", 100, 2},
    [STUDY_F_SPREAD] = {"f: spread by the bound", "", 1, 2},
    [STUDY_ZETA_SPREAD] = {"zeta: spread by the bound", "", 1, 2},
    [STUDY_F_COVERED] = {"f: 95 % intervals hold it", "%", 100, 1},
    [STUDY_ZETA_COVERED] = {"zeta: 95 % intervals hold it", "%", 100, 1},
    [STUDY_C_COVERED] = {"c: 95 % intervals hold it", "%", 100, 1},
    [STUDY_ZETA_WIDTH] = {"zeta: median half-width of its interval", "%", 100, 1},
    [STUDY_ZETA_CALIBRE] = {"zeta: that by 1.96 times the bound, median", "", 1, 2},
    [STUDY_FALSE] = {"false modes a recording", "%", 100, 1},
    [STUDY_PEAKS] = {"peaks a recording that are no modes", "%", 100, 1},
    [STUDY_FAILED] = {"recordings refused", "%", 100, 1},
    [STUDY_FIT_S] = {"one fit, processor time", "s", 1, 4},
    [STUDY_FIND_S] = {"modes of a spectrum, processor time", "s", 1, 3},
    [STUDY_MEASURE_S] = {"modes of a recording, processor time", "s", 1, 3},
};

const study_words *study_figure_words(study_figure figure)
{
    return &words[figure];
}

/* ---------------------------------------------------------------- statistics */

static int order(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Linear between the sorted values, each of which stands for the middle of its n-th part. */
static double quantile(const double *sorted, size_t n, double p)
{
    double at = fmin(fmax(p * (double)n - 0.5, 0), (double)(n - 1));
    size_t below = (size_t)at;
    double share = at - (double)below;
    return below + 1 < n ? (1 - share) * sorted[below] + share * sorted[below + 1] : sorted[n - 1];
}

/* Its standard error from where the ranks of a 95 % interval fall. */
static study_value median(double *value, size_t n)
{
    if (n == 0)
        return (study_value){(double)NAN, (double)NAN};
    qsort(value, n, sizeof *value, order);
    double reach = 0.98 / sqrt((double)n);
    return (study_value){quantile(value, n, 0.5),
                         (quantile(value, n, 0.5 + reach) - quantile(value, n, 0.5 - reach)) / (2 * 1.96)};
}

/* Half the width of the middle 86 %, by that of a normal distribution: up to a fourteenth of gross errors either way do not
   matter, and for normal errors it needs 1.5 times the recordings of the ordinary standard deviation. */
static study_value spread(double *value, size_t n)
{
    if (n < 2)
        return (study_value){(double)NAN, (double)NAN};
    qsort(value, n, sizeof *value, order);
    double sd = (quantile(value, n, 0.93) - quantile(value, n, 0.07)) / (2 * 1.4757910281791706);
    return (study_value){sd, sd / sqrt(2 * 0.65 * (double)n)};
}

/* A share's standard error, of (k + 2) of (n + 4): not 0 for shares of 0 and 1. */
static study_value share(double sum, size_t n)
{
    if (n == 0)
        return (study_value){(double)NAN, (double)NAN};
    double p = (sum + 2) / ((double)n + 4);
    return (study_value){sum / (double)n, sqrt(fmax(p * (1 - p), 0) / ((double)n + 4))};
}

static study_value mean_count(double sum, size_t n)
{
    return n == 0 ? (study_value){(double)NAN, (double)NAN}
                  : (study_value){sum / (double)n, sqrt(fmax(sum, 1)) / (double)n};
}

/* ---------------------------------------------------------------- what is counted */

/* Of a recording. */
static double of_result(study_figure figure, const study_result *result)
{
    bool complete = result->found == result->modes && result->wrong == 0;
    switch (figure) {
    case STUDY_RIGHT:
        return complete;
    case STUDY_KIND:
        return result->kind_right;
    case STUDY_FALSE:
        return (double)result->wrong;
    case STUDY_PEAKS:
        return (double)result->peaks;
    case STUDY_FIT_S:
        return result->fit_s;
    case STUDY_FIND_S:
        return result->find_s;
    default:
        return result->measure_s;
    }
}

/* Of a mode that was found. */
static double of_match(study_figure figure, const study_match *match)
{
    switch (figure) {
    case STUDY_F_ERROR:
        return fabs(expm1(match->ln_f));
    case STUDY_ZETA_ERROR:
        return fabs(expm1(match->ln_zeta));
    case STUDY_C_ERROR:
        return fabs(match->c_error);
    case STUDY_F_BIAS:
        return match->ln_f;
    case STUDY_ZETA_BIAS:
        return match->ln_zeta;
    case STUDY_F_SPREAD:
        return match->ln_f / match->sd_ln_f;
    case STUDY_ZETA_SPREAD:
        return match->ln_zeta / match->sd_ln_zeta;
    case STUDY_F_COVERED:
        return match->f_covered;
    case STUDY_ZETA_COVERED:
        return match->zeta_covered;
    case STUDY_C_COVERED:
        return isnan(match->c_error) ? (double)NAN : match->c_covered;
    case STUDY_ZETA_WIDTH:
        return match->zeta_half_width;
    default:
        return match->zeta_half_width / (1.96 * match->sd_ln_zeta);
    }
}

static bool is_of_match(study_figure figure)
{
    return figure >= STUDY_F_ERROR && figure <= STUDY_ZETA_CALIBRE;
}

/* The values that are numbers, into out (count * STUDY_MODES_MAX). */
static size_t gather(double *out, study_figure figure, const study_result *result, size_t count)
{
    size_t n = 0;
    for (size_t i = 0; i < count; i++) {
        if (result[i].status != QUELL_OK)
            continue;
        double of_all = is_of_match(figure) ? (double)NAN : of_result(figure, &result[i]);
        if (isfinite(of_all))
            out[n++] = of_all;
        for (size_t k = 0; is_of_match(figure) && k < result[i].modes; k++) {
            const study_match *match = &result[i].match[k];
            double value = match->found ? of_match(figure, match) : (double)NAN;
            if (isfinite(value))
                out[n++] = value;
        }
    }
    return n;
}

static double sum(const double *value, size_t n)
{
    double out = 0;
    for (size_t i = 0; i < n; i++)
        out += value[i];
    return out;
}

study_value study_figure_value(study_figure figure, const study_result *result, size_t count)
{
    size_t failed = 0;
    for (size_t i = 0; i < count; i++)
        failed += result[i].status != QUELL_OK;
    if (figure == STUDY_FAILED)
        return share((double)failed, count);
    double *value = calloc(count * STUDY_MODES_MAX + 1, sizeof *value);
    if (value == NULL)
        return (study_value){(double)NAN, (double)NAN};
    size_t n = gather(value, figure, result, count);
    study_value out;
    switch (figure) {
    case STUDY_RIGHT: /* what failed is not right */
    case STUDY_KIND:
        out = share(sum(value, n), count);
        break;
    case STUDY_F_COVERED:
    case STUDY_ZETA_COVERED:
    case STUDY_C_COVERED:
        out = share(sum(value, n), n);
        break;
    case STUDY_FALSE:
    case STUDY_PEAKS:
        out = mean_count(sum(value, n), n);
        break;
    case STUDY_F_SPREAD:
    case STUDY_ZETA_SPREAD:
        out = spread(value, n);
        break;
    default:
        out = median(value, n);
    }
    free(value);
    return out;
}

bool study_figure_meets(double value, const study_range *within)
{
    return !isnan(value) && !(value < within->low) && !(value > within->high);
}
