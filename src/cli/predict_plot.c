/* The plot of `quell predict`: ripple against distance, and the wall as a relief, without the shaper above and with it below, all on one
   scale. */
#include "cli/predict_view.h"

#include <math.h>

enum { RELIEF_COLUMNS = 300, RELIEF_LAYERS = 5 };

/* The series at a distance, by straight lines; distances rise, but for negative impulses at the very corner. */
static double at_distance(const predict_view *view, const predict_wall *wall, double distance_m, size_t *from)
{
    while (*from + 1 < view->count && wall->distance_m[*from + 1] < distance_m)
        (*from)++;
    if (*from + 1 >= view->count)
        return wall->deflection_m[view->count - 1];
    double low = wall->distance_m[*from], high = wall->distance_m[*from + 1];
    double share = high > low ? fmin(fmax((distance_m - low) / (high - low), 0), 1) : 1;
    return wall->deflection_m[*from] + share * (wall->deflection_m[*from + 1] - wall->deflection_m[*from]);
}

/* Grey from 0 to 1 about the middle; layers are alike, as they are on a part. */
static quell_status add_relief(cli_run *run, quell_plot *plot, const predict_view *view, const predict_wall *wall, double end_m,
                               double most_m, const char *title)
{
    enum { CELLS = RELIEF_COLUMNS * RELIEF_LAYERS };
    double *x = QUELL_NEW(run->arena, double, CELLS), *y = QUELL_NEW(run->arena, double, CELLS),
           *grey = QUELL_NEW(run->arena, double, CELLS);
    if (x == NULL || y == NULL || grey == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the relief");
    size_t from = 0;
    for (size_t i = 0; i < RELIEF_COLUMNS; i++) {
        double distance_m = end_m * ((double)i + 0.5) / RELIEF_COLUMNS;
        double shade = 0.5 + 0.5 * at_distance(view, wall, distance_m, &from) / most_m;
        for (size_t layer = 0; layer < RELIEF_LAYERS; layer++) {
            size_t cell = layer * RELIEF_COLUMNS + i;
            x[cell] = 1e3 * distance_m;
            y[cell] = (double)layer + 1;
            grey[cell] = fmin(fmax(shade, 0), 1);
        }
    }
    quell_plot_panel(plot, title, "distance along the wall (mm)", "layer");
    quell_plot_height(plot, 0.5);
    quell_plot_x_range(plot, 0, 1e3 * end_m, false);
    quell_plot_y_range(plot, 0.5, RELIEF_LAYERS + 0.5);
    quell_plot_curve(plot, QUELL_MARK_SHADE, QUELL_INK_GREY, 1, x, y, grey, CELLS, "", (double)NAN);
    return QUELL_OK;
}

static quell_status add_ripple(cli_run *run, quell_plot *plot, const predict_view *view, const predict_wall *wall, double end_m,
                               double most_m, bool main, const char *title)
{
    size_t count = view->count;
    double *mm = QUELL_NEW(run->arena, double, count), *um = QUELL_NEW(run->arena, double, count),
           *above = QUELL_NEW(run->arena, double, count), *below = QUELL_NEW(run->arena, double, count);
    if (mm == NULL || um == NULL || above == NULL || below == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the ripple");
    double peak_m = 0; /* an envelope that cannot be told from the line has no name */
    for (size_t i = 0; i < count; i++) {
        bool rings = view->time_s[i] >= wall->settled_s; /* before, the envelope is about the deflection that acceleration holds */
        mm[i] = 1e3 * wall->distance_m[i];
        um[i] = 1e6 * wall->deflection_m[i];
        above[i] = rings ? 1e6 * wall->envelope_m[i] : (double)NAN;
        below[i] = -above[i];
        peak_m = rings ? fmax(peak_m, wall->envelope_m[i]) : peak_m;
    }
    quell_plot_panel(plot, title, "distance along the wall (mm)", "deflection (um)");
    quell_plot_x_range(plot, 0, 1e3 * end_m, false);
    quell_plot_y_range(plot, -1e6 * most_m, 1e6 * most_m);
    quell_plot_curve(plot, QUELL_MARK_DASHED, QUELL_INK_GREY, 1, mm, above, NULL, count, peak_m > 0.1 * most_m ? "envelope" : "", 0.3e3 * end_m);
    quell_plot_curve(plot, QUELL_MARK_DASHED, QUELL_INK_GREY, 1, mm, below, NULL, count, "", (double)NAN);
    quell_plot_curve(plot, QUELL_MARK_LINE, main ? QUELL_INK_MAIN : QUELL_INK_SECOND, 2, mm, um, NULL, count, "", (double)NAN);
    return QUELL_OK;
}

static const char *titled(cli_run *run, const char *what, const char *with)
{
    const char *title = quell_arena_print(run->arena, "%s, %s", what, with);
    return title != NULL ? title : what;
}

quell_status predict_plot(cli_run *run, const predict_view *view)
{
    if (!view->has_amplitude)
        return quell_fail(&run->err, QUELL_E_NOT_MET, "no lengths are known, so there is nothing to draw");
    const predict_wall *walls[] = {&view->unshaped, &view->shaped};
    const char *with[] = {"without a shaper", quell_arena_print(run->arena, "with %s", view->shaper_name)};
    size_t count = view->has_shaper ? 2 : 1;
    double end_m = 0, most_m = 0;
    for (size_t w = 0; w < count; w++) {
        end_m = fmax(end_m, walls[w]->distance_m[view->count - 1]);
        for (size_t i = 0; i < view->count; i++)
            most_m = fmax(most_m, fabs(walls[w]->deflection_m[i]));
    }
    quell_plot *plot = quell_plot_create("Ripple along the wall after a corner");
    if (plot == NULL || with[1] == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the plot");
    quell_status status = QUELL_OK;
    for (size_t w = 0; w < count && status == QUELL_OK; w++)
        status = add_ripple(run, plot, view, walls[w], end_m, 1.1 * most_m, w == 0, titled(run, "Ripple", with[w]));
    for (size_t w = 0; w < count && status == QUELL_OK; w++)
        status = add_relief(run, plot, view, walls[w], end_m, most_m,
                            titled(run, quell_arena_print(run->arena, "The wall, black %s um, white -%s um",
                                                          quell_number_short(1e6 * most_m, 3).text, quell_number_short(1e6 * most_m, 3).text), with[w]));
    if (status == QUELL_OK)
        status = quell_plot_draw(plot, run->given.plot, run->given.out, &run->err);
    quell_plot_destroy(plot);
    return status;
}
