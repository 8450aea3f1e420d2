/* The plot of `quell compare`: both densities with their confidence bands; below, the change in every 1/3 octave with its
   interval over that bin by bin. */
#include "cli/compare_view.h"

#include <math.h>

/* The bins shown, of both sides: frequency, level with its 95 % band, and their ratio, in dB; and the 1/3 octaves, each from
   its lower to its upper edge, with a break behind. */
typedef struct curves {
    size_t n;
    double low_hz, high_hz;
    double *hz[2], *level_db[2], *low_db[2], *high_db[2];
    double *ratio_db;
    size_t steps;
    double step_hz[3 * QUELL_BANDS_MAX], step_db[3][3 * QUELL_BANDS_MAX]; /* change, lower and upper end */
} curves;

static void make_steps(const quell_comparison *result, curves *out)
{
    for (size_t i = 0; i < result->bands; i++) {
        const quell_level_change *band = &result->band[i];
        const double hz[3] = {band->low_hz, band->high_hz, (double)NAN};
        for (size_t k = 0; k < 3; k++, out->steps++) {
            out->step_hz[out->steps] = hz[k];
            out->step_db[0][out->steps] = band->change_db;
            out->step_db[1][out->steps] = band->ci95_db[0];
            out->step_db[2][out->steps] = band->ci95_db[1];
        }
    }
}

static quell_status make_curves(cli_run *run, const compare_view *view, curves *out)
{
    const quell_spectrum *side[2] = {&view->result.spectrum[0], &view->result.spectrum[1]};
    const quell_comparison *result = &view->result;
    out->low_hz = result->band[0].low_hz;
    out->high_hz = result->band[result->bands - 1].high_hz;
    size_t first = (size_t)ceil(out->low_hz / side[0]->bin_hz),
           end = (size_t)(out->high_hz / side[0]->bin_hz) + 1;
    end = end < side[0]->bins ? end : side[0]->bins;
    end = end < side[1]->bins ? end : side[1]->bins;
    out->n = end - first;
    double *room = QUELL_NEW(run->arena, double, 9 * out->n);
    if (room == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the plot");
    for (size_t s = 0; s < 2; s++) {
        double *const at = room + 4 * s * out->n, low = 10 * log10(side[s]->ci95_factor[0]),
                      high = 10 * log10(side[s]->ci95_factor[1]);
        out->hz[s] = at;
        out->level_db[s] = at + out->n;
        out->low_db[s] = at + 2 * out->n;
        out->high_db[s] = at + 3 * out->n;
        for (size_t i = 0; i < out->n; i++) {
            out->hz[s][i] = (double)(first + i) * side[s]->bin_hz;
            out->level_db[s][i] = 10 * log10(side[s]->asd_m2ps3[view->index][first + i]);
            out->low_db[s][i] = out->level_db[s][i] + low;
            out->high_db[s][i] = out->level_db[s][i] + high;
        }
    }
    out->ratio_db = room + 8 * out->n;
    for (size_t i = 0; i < out->n; i++)
        out->ratio_db[i] = out->level_db[1][i] - out->level_db[0][i];
    make_steps(result, out);
    return QUELL_OK;
}

/* Where the two curves lie furthest apart: there their names are told apart best. */
static double name_place(const curves *of)
{
    double place = of->hz[0][of->n / 2], most = 0;
    for (size_t i = 0; i < of->n; i++)
        if (isfinite(of->ratio_db[i]) && fabs(of->ratio_db[i]) > most) {
            most = fabs(of->ratio_db[i]);
            place = of->hz[0][i];
        }
    return place;
}

static void mark_modes(quell_plot *plot, const quell_comparison *result, bool with_names)
{
    for (size_t k = 0; k < result->modes; k++) {
        char label[80], hz[64];
        quell_number_print_fixed(hz, sizeof hz, result->mode[k].level.nominal_hz, 1);
        snprintf(label, sizeof label, "%s Hz", hz);
        quell_plot_stretch(plot, result->mode[k].level.nominal_hz, result->mode[k].level.nominal_hz,
                           with_names ? label : "");
    }
}

static void add_panels(quell_plot *plot, const compare_view *view, const curves *of)
{
    char title[160];
    snprintf(title, sizeof title, "Acceleration spectral density along %s", view->axis_words);
    quell_plot_panel(plot, title, "frequency (Hz)", "density (dB re 1 (m/s\xc2\xb2)\xc2\xb2/Hz)");
    quell_plot_x_range(plot, of->low_hz, of->high_hz, true);
    quell_plot_height(plot, 1.3);
    mark_modes(plot, &view->result, true);
    for (size_t s = 0; s < 2; s++)
        quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_GREY, 1, of->hz[s], of->low_db[s], of->high_db[s],
                         of->n, "", (double)NAN);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_SECOND, 1.5, of->hz[1], of->level_db[1], NULL, of->n,
                     "after", name_place(of));
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1.5, of->hz[0], of->level_db[0], NULL, of->n,
                     "before", name_place(of));
    quell_plot_panel(plot,
                     "Change in 1/3-octave bands and its 95 % interval; thin: bin by bin; dashed: no change",
                     "frequency (Hz)", "after / before (dB)");
    quell_plot_x_range(plot, of->low_hz, of->high_hz, true);
    mark_modes(plot, &view->result, false);
    quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_GREY, 1, of->step_hz, of->step_db[1], of->step_db[2],
                     of->steps, "", (double)NAN);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_THIRD, 0.5, of->hz[0], of->ratio_db, NULL, of->n, "",
                     (double)NAN);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 2.5, of->step_hz, of->step_db[0], NULL, of->steps,
                     "", (double)NAN);
    quell_plot_level(plot, 0, "");
}

quell_status compare_plot(cli_run *run, const compare_view *view)
{
    curves of = {0};
    quell_status status = make_curves(run, view, &of);
    if (status != QUELL_OK)
        return status;
    quell_plot *plot = quell_plot_create("Before and after");
    if (plot == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the plot");
    add_panels(plot, view, &of);
    compare_applied_panel(plot, &view->applied);
    status = quell_plot_draw(plot, run->given.plot, run->given.out, &run->err);
    quell_plot_destroy(plot);
    return status;
}
