/* quell check: the tables. */
#include "cli/check_view.h"

#include <math.h>
#include <stdarg.h>
#include <string.h>

#define UG_PER_MPS2 (1e6 / QUELL_STANDARD_GRAVITY_MPS2)
#define DEG_PER_RAD (180 / QUELL_PI)

enum { LABEL = 12, WIDTH = 79 };

/* A labelled line, wrapped under itself. */
static void print_line(const char *label, const char *format, ...) QUELL_PRINTF(2, 3);

static void print_line(const char *label, const char *format, ...)
{
    char text[1024], first[LABEL + 4], indent[LABEL + 4];
    va_list arguments;
    va_start(arguments, format);
    vsnprintf(text, sizeof text, format, arguments);
    va_end(arguments);
    snprintf(first, sizeof first, "  %-*s", LABEL, label);
    snprintf(indent, sizeof indent, "%*s", LABEL + 2, "");
    quell_words_print(stdout, first, indent, WIDTH, text);
}

static void print_rate(const quell_recording *recording)
{
    char rate[64], half[64];
    double half_hz = 0.5 * (recording->rate_ci95_hz[1] - recording->rate_ci95_hz[0]);
    quell_number_print_fixed(rate, sizeof rate, recording->rate_hz, 3);
    quell_number_print(half, sizeof half, fmax(half_hz, 1e-6), 2); /* no stamps tell more */
    if (recording->has_time)
        print_line("rate", "%s Hz +-%s Hz (95 %%) from the stamps, which jitter by %.1f %% of a sample", rate,
                   half, 100 * recording->jitter_fraction);
    else if (half_hz > 0)
        print_line("rate", "%s Hz +-%s Hz, as given", rate, half);
    else
        print_line("rate", "%s Hz, as given", rate);
}

static void print_losses(const check_view *view)
{
    const quell_recording *recording = &view->recording;
    char lost[96] = "none lost";
    size_t missing = recording->lost_samples;
    if (missing > 0)
        snprintf(lost, sizeof lost, "%zu lost (%.2g %%), %s%zu filled", missing,
                 100 * (double)missing / (double)(missing + recording->samples - recording->filled_samples),
                 recording->filled_samples == missing ? "all " : "", recording->filled_samples);
    print_line("length", "%.2f s, %zu samples, %s", view->fitness.duration_s, recording->samples, lost);
}

static void print_mounting(const quell_mounting *mounting)
{
    if (mounting->up_known)
        print_line("gravity", "%.3f m/s2; up is %.1f deg from an axis of the sensor", mounting->gravity_mps2,
                   DEG_PER_RAD * mounting->tilt_rad);
    print_line("mounting", "from %s", mounting->words);
}

/* What the length is good for. */
static void print_precision(const quell_fitness *fitness)
{
    if (!isfinite(fitness->dominant_hz))
        return;
    print_line("most motion", "near %.1f Hz", fitness->dominant_hz);
    if (!isfinite(fitness->damping_ci95_share))
        return;
    bool enough = fitness->damping_ci95_share <= 0.05;
    print_line("precision",
               "%.0f s of motion tell a damping ratio of 0.05 at %.0f Hz to about +-%.0f %% (95 %%)%s%s%s; "
               "optimistic by up to a third",
               fitness->motion_s, fitness->dominant_hz, 100 * fitness->damping_ci95_share, enough ? "" : ", ",
               enough ? "" : quell_number_fixed(fitness->wanted_s, 0).text, enough ? "" : " s to +-5 %");
}

static void print_axes(cli_run *run, const check_view *view)
{
    static const quell_column columns[] = {{"axis", "", true},
                                           {"mean", "m/s2", false},
                                           {"noise", "ug/rtHz", false},
                                           {"step", "mg", false},
                                           {"clipped", "%", false}};
    const quell_recording *recording = &view->recording;
    quell_table *table = quell_table_create(run->arena, columns, 5);
    for (size_t k = 0; k < recording->axes; k++) {
        char name[40];
        double step =
            recording->resolution_mps2[k] > 0 ? recording->resolution_mps2[k] : recording->step_mps2[k];
        quell_table_cell(
            table, "%s",
            quell_printable(name, sizeof name, recording->axis_name[k], strlen(recording->axis_name[k])));
        quell_table_number(table, view->fitness.mean_mps2[k], 3);
        quell_table_number(table, UG_PER_MPS2 * view->fitness.noise_mps2_per_rthz[k], 0);
        quell_table_number(table, 1e-3 * UG_PER_MPS2 * step, 3);
        quell_table_number(table, 100 * recording->clipped_fraction[k], 2);
    }
    putchar('\n');
    quell_table_print(table, stdout, 2);
}

static void print_segments(cli_run *run, const quell_fitness *fitness)
{
    static const quell_column columns[] = {
        {"stretch", "", true}, {"from", "s", false}, {"to", "s", false}, {"use it with", "", true}};
    quell_table *table = quell_table_create(run->arena, columns, 4);
    for (size_t s = 0; s < fitness->segments; s++) {
        const quell_segment *segment = &fitness->segment[s];
        quell_table_cell(table, "%s", quell_stretch_word(segment->kind));
        quell_table_number(table, segment->start_s, 2);
        quell_table_number(table, segment->end_s, 2);
        quell_table_cell(table, "--span %.2f:%.2f", segment->start_s, segment->end_s);
    }
    putchar('\n');
    quell_table_print(table, stdout, 2);
}

static void print_verdict(const quell_fitness *fitness)
{
    putchar('\n');
    bool care = strcmp(fitness->verdict, "care") == 0;
    print_line("verdict", "%s%s%s%s%s", care ? "usable with care" : fitness->verdict,
               fitness->reason[0] != '\0' ? ": " : "", fitness->reason,
               fitness->remedy[0] != '\0' ? "; " : "", fitness->remedy);
}

void check_print(cli_run *run, const check_view *view)
{
    char name[200];
    printf("%s\n", quell_printable(name, sizeof name, view->path, strlen(view->path)));
    if (!view->readable) {
        print_line("verdict", "unfit: %s", view->why);
        return;
    }
    const quell_recording *recording = &view->recording;
    print_line("format", "%s, %zu ax%s in %s", recording->format, recording->axes,
               recording->axes == 1 ? "is" : "es", recording->unit);
    print_rate(recording);
    print_losses(view);
    print_mounting(&view->mounting);
    print_precision(&view->fitness);
    if (view->idle->file != NULL)
        print_line("at rest", "%s (%s)", cli_idle_words(run, view->idle), view->idle->file);
    print_axes(run, view);
    print_segments(run, &view->fitness);
    print_verdict(&view->fitness);
}
