/* The plot of `quell excite`: where the program drives the axis, how fast, and at which frequency. */
#include "cli/excite_view.h"

#include <math.h>

enum { TIMES = 1500 };

/* Envelopes: a sweep has thousands of strokes, and a plot a thousand dots. Each part of the time shows its lowest and highest. */
static void add_panel(quell_plot *plot, const double *time_s, const double *low, const double *high, size_t n, const char *title,
                      const char *label, const excite_view *view)
{
    quell_plot_panel(plot, title, "time (s)", label);
    quell_plot_x_range(plot, 0, view->program.duration_s, false);
    quell_plot_stretch(plot, view->program.start_s, view->program.end_s, quell_excitation_word(view->asked.kind));
    quell_plot_curve(plot, QUELL_MARK_BAND, QUELL_INK_MAIN, 1, time_s, low, high, n, "", (double)NAN);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1, time_s, high, NULL, n, "", (double)NAN);
    quell_plot_curve(plot, QUELL_MARK_LINE, QUELL_INK_MAIN, 1, time_s, low, NULL, n, "", (double)NAN);
}

typedef struct trace {
    double *time_s, *place_mm[2], *speed_mmps[2]; /* lowest, highest */
    size_t n;
} trace;

static void follow(trace *out, const quell_motion *motion, const quell_program *program)
{
    enum { FINE = 32 };
    quell_motion_cursor cursor = {.motion = motion};
    for (size_t i = 0; i < out->n; i++) {
        double low[2] = {HUGE_VAL, HUGE_VAL}, high[2] = {-HUGE_VAL, -HUGE_VAL};
        for (size_t k = 0; k < FINE; k++) {
            double at_s = program->duration_s * (double)(i * FINE + k) / (double)(out->n * FINE);
            quell_motion_state state = quell_motion_advance(&cursor, at_s);
            const double value[2] = {1e3 * state.position_m, 1e3 * state.velocity_mps};
            for (int v = 0; v < 2; v++) {
                low[v] = fmin(low[v], value[v]);
                high[v] = fmax(high[v], value[v]);
            }
        }
        out->time_s[i] = program->duration_s * ((double)i + 0.5) / (double)out->n;
        out->place_mm[0][i] = low[0];
        out->place_mm[1][i] = high[0];
        out->speed_mmps[0][i] = low[1];
        out->speed_mmps[1][i] = high[1];
    }
}

/* f = sqrt(a / (16 d)) of every stroke of the excitation. */
static void add_frequencies(cli_run *run, quell_plot *plot, const excite_view *view)
{
    const quell_program *program = &view->program;
    size_t n = program->last - program->first + 1;
    double *time_s = QUELL_NEW(run->arena, double, n), *hz = QUELL_NEW(run->arena, double, n), at_s = program->start_s;
    if (time_s == NULL || hz == NULL)
        return;
    for (size_t i = 0; i < n; i++) {
        double length_m = fabs(program->move[program->first + i].to_m - program->move[program->first + i - 1].to_m);
        hz[i] = sqrt(view->asked.acceleration_mps2 / (16 * length_m));
        time_s[i] = at_s + 1 / (4 * hz[i]);
        at_s += 1 / (2 * hz[i]);
    }
    quell_plot_panel(plot, "Frequency of each stroke", "time (s)", "frequency (Hz)");
    quell_plot_x_range(plot, 0, program->duration_s, false);
    quell_plot_curve(plot, QUELL_MARK_POINTS, QUELL_INK_MAIN, 0.5, time_s, hz, NULL, n, "", (double)NAN);
}

static quell_status draw(cli_run *run, quell_plot *plot, const excite_view *view, quell_motion_list *list)
{
    const quell_program *program = &view->program;
    trace made = {.n = TIMES};
    double *room = QUELL_NEW(run->arena, double, 5 * TIMES);
    if (room == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the plot");
    made.time_s = room;
    for (int v = 0; v < 2; v++) {
        made.place_mm[v] = room + (1 + v) * TIMES;
        made.speed_mmps[v] = room + (3 + v) * TIMES;
    }
    quell_motion_add_rest(list, program->before_s);
    quell_status status =
        quell_motion_add_moves(list, program->move, program->count, view->asked.acceleration_mps2, &run->err);
    if (status != QUELL_OK)
        return status;
    const quell_motion motion = quell_motion_view(list);
    follow(&made, &motion, program);
    add_panel(plot, made.time_s, made.place_mm[0], made.place_mm[1], TIMES, "Position along the path, from the start",
              "position (mm)", view);
    add_panel(plot, made.time_s, made.speed_mmps[0], made.speed_mmps[1], TIMES, "Speed", "speed (mm/s)", view);
    if (view->asked.kind != QUELL_EXCITE_STOPS)
        add_frequencies(run, plot, view);
    return quell_plot_draw(plot, run->given.plot, run->given.out, &run->err);
}

quell_status excite_plot(cli_run *run, const excite_view *view)
{
    char title[96];
    quell_motion_list list = {0};
    snprintf(title, sizeof title, "Test motion along %s", view->asked.path->id);
    quell_plot *plot = quell_plot_create(title);
    if (plot == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the plot");
    quell_status status = draw(run, plot, view, &list);
    quell_motion_list_free(&list);
    quell_plot_destroy(plot);
    return status;
}
