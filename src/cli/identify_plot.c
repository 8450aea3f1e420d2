/* The plot of `quell identify`: the measured ratio with its error band, the best explanation and the next one. */
#include "cli/identify_view.h"

#include <math.h>
#include <string.h>

#define FLOOR_DB (-45.0)

static double decibel(double ratio)
{
    return ratio > 0 ? fmax(10 * log10(ratio), FLOOR_DB) : FLOOR_DB;
}

typedef struct curves {
    double *measured, *low, *high, *best, *second;
} curves;

static quell_status make_curves(cli_run *run, const identify_view *view, const quell_ratio *ratio, const quell_identified *second,
                                curves *out)
{
    const quell_identified *best = &view->result.candidate[0];
    size_t n = ratio->bins;
    double *room = QUELL_NEW(run->arena, double, 5 * n);
    if (room == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the plot");
    *out = (curves){room, room + n, room + 2 * n, room + 3 * n, room + 4 * n};
    quell_status status = quell_ratio_predict(ratio, &best->shaper, best->gain, out->best, &run->err);
    if (status == QUELL_OK && second != NULL)
        status = quell_ratio_predict(ratio, &second->shaper, second->gain, out->second, &run->err);
    double relative = pow(10, view->result.scatter_db / 10) - 1;
    for (size_t i = 0; i < n && status == QUELL_OK; i++) {
        double reach = 1.96 * hypot(relative * ratio->ratio[i], QUELL_RATIO_FLOOR);
        out->measured[i] = decibel(ratio->ratio[i]);
        out->low[i] = decibel(ratio->ratio[i] - reach);
        out->high[i] = decibel(ratio->ratio[i] + reach);
        out->best[i] = decibel(out->best[i]);
        out->second[i] = second != NULL ? decibel(out->second[i]) : 0;
    }
    return status;
}

/* Where two curves lie furthest apart, within the inner part of the band. */
static double apart(const quell_ratio *ratio, const double *a, const double *b)
{
    size_t best = ratio->bins / 2;
    for (size_t i = ratio->bins / 10; i < ratio->bins * 9 / 10; i++)
        if (fabs(a[i] - b[i]) > fabs(a[best] - b[best]))
            best = i;
    return ratio->frequency_hz[best];
}

/* The next that is no list: lists explain anything. */
static const quell_identified *runner_up(const quell_identification *of)
{
    for (size_t i = 1; i < of->count; i++)
        if (strcmp(of->candidate[i].family_id, "impulses") != 0)
            return &of->candidate[i];
    return NULL;
}

static void add_panel(quell_plot *plot, const identify_view *view, const quell_ratio *ratio, const quell_identified *second,
                      const curves *of)
{
    const quell_identified *best = &view->result.candidate[0];
    const double *hz = ratio->frequency_hz;
    char title[120];
    snprintf(title, sizeof title, "Shaper on over shaper off, axis %c, with its 95 %% band", "xyz"[ratio->axis]);
    quell_plot_panel(plot, title, "frequency (Hz)", "energy on / off (dB)");
    quell_plot_x_range(plot, hz[0], hz[ratio->bins - 1], true);
    quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_GREY, 1, hz, of->low, of->high, ratio->bins, "", (double)NAN);
    quell_plot_curve(plot, QUELL_MARK_POINTS, QUELL_INK_GREY, 1, hz, of->measured, NULL, ratio->bins, "", (double)NAN);
    double place = second != NULL ? apart(ratio, of->best, of->second) : hz[ratio->bins / 2];
    if (second != NULL)
        quell_plot_curve(plot, QUELL_MARK_DASHED, QUELL_INK_SECOND, 1.5, hz, of->second, NULL, ratio->bins, second->title, place);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1.5, hz, of->best, NULL, ratio->bins, best->title, place);
}

quell_status identify_plot(cli_run *run, const identify_view *view)
{
    const quell_ratio *ratio = view->result.axis == view->ratio.axis ? &view->ratio : &view->other;
    const quell_identified *second = runner_up(&view->result);
    curves of = {0};
    quell_status status = make_curves(run, view, ratio, second, &of);
    if (status != QUELL_OK)
        return status;
    quell_plot *plot = quell_plot_create("Which shaper runs");
    if (plot == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the plot");
    add_panel(plot, view, ratio, second, &of);
    status = quell_plot_draw(plot, run->given.plot, run->given.out, &run->err);
    quell_plot_destroy(plot);
    return status;
}
