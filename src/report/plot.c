/* Building of plots: panels, curves, notes. Everything given is copied; texts are made harmless here, once. */
#include "report/plot_private.h"

#include <math.h>
#include <string.h>

/* Copies text without control characters and broken UTF-8; a longer text ends in "...". An apostrophe becomes the
   typographic one: gnuplot 5.4 takes a doubled quote at the start of a single-quoted string for an empty string, so
   doubling would let text out of its quotes. */
static void copy_text(char out[PLOT_TEXT_MAX], const char *text)
{
    size_t used = 0, length = strlen(text);
    for (size_t i = 0, taken; i < length; i += taken) {
        bool plain;
        taken = quell_text_character(text + i, length - i, &plain);
        if (!plain)
            continue;
        if (used + taken + 4 > PLOT_TEXT_MAX) {
            memcpy(out + used, "...", 3);
            used += 3;
            break;
        }
        bool apostrophe = text[i] == '\'';
        memcpy(out + used, apostrophe ? "\xe2\x80\x99" : text + i, apostrophe ? 3 : taken);
        used += apostrophe ? 3 : taken;
    }
    out[used] = '\0';
}

quell_plot *quell_plot_create(const char *title)
{
    quell_plot *plot = quell_memory_get(sizeof *plot);
    if (plot == NULL)
        return NULL;
    *plot = (quell_plot){0};
    copy_text(plot->title, title);
    return plot;
}

void quell_plot_destroy(quell_plot *plot)
{
    if (plot == NULL)
        return;
    for (size_t p = 0; p < plot->panels; p++) {
        for (size_t c = 0; c < plot->panel[p]->curves; c++)
            quell_memory_free(plot->panel[p]->curve[c].x);
        quell_memory_free(plot->panel[p]);
    }
    quell_memory_free(plot);
}

void quell_plot_panel(quell_plot *plot, const char *title, const char *x_label, const char *y_label)
{
    plot_panel *panel = plot->panels < PLOT_PANELS_MAX ? quell_memory_get(sizeof *panel) : NULL;
    if (panel == NULL) {
        plot->failed = true;
        return;
    }
    *panel = (plot_panel){.height = 1};
    copy_text(panel->title, title);
    copy_text(panel->x.label, x_label);
    copy_text(panel->y.label, y_label);
    plot->panel[plot->panels++] = panel;
}

/* The panel under construction; NULL (and the plot failed) if there is none. */
static plot_panel *current(quell_plot *plot)
{
    if (plot->panels == 0)
        plot->failed = true;
    return plot->panels > 0 ? plot->panel[plot->panels - 1] : NULL;
}

void quell_plot_x_range(quell_plot *plot, double low, double high, bool log)
{
    plot_panel *panel = current(plot);
    if (panel != NULL) {
        panel->x.low = low;
        panel->x.high = high;
        panel->x.log = log;
    }
}

void quell_plot_y_range(quell_plot *plot, double low, double high)
{
    plot_panel *panel = current(plot);
    if (panel != NULL) {
        panel->y.low = low;
        panel->y.high = high;
    }
}

void quell_plot_height(quell_plot *plot, double share)
{
    plot_panel *panel = current(plot);
    if (panel != NULL)
        panel->height = share;
}

void quell_plot_curve(quell_plot *plot, quell_mark mark, quell_ink ink, double width, const double *x,
                      const double *y, const double *y2, size_t n, const char *label, double label_x)
{
    plot_panel *panel = current(plot);
    if (panel == NULL || panel->curves == PLOT_CURVES_MAX || n == 0 || n > SIZE_MAX / sizeof *x / 3) {
        plot->failed = plot->failed || n != 0;
        return;
    }
    double *copy = quell_memory_get(3 * n * sizeof *copy);
    if (copy == NULL) {
        plot->failed = true;
        return;
    }
    memcpy(copy, x, n * sizeof *x);
    memcpy(copy + n, y, n * sizeof *y);
    memcpy(copy + 2 * n, y2 != NULL ? y2 : y, n * sizeof *y);
    plot_curve *curve = &panel->curve[panel->curves++];
    *curve = (plot_curve){.mark = mark, .ink = ink, .width = width, .n = n, .label_x = label_x};
    curve->x = copy;
    curve->y = copy + n;
    curve->y2 = copy + 2 * n;
    copy_text(curve->label, label);
}

void quell_plot_note(quell_plot *plot, double x, double y, const char *text, bool marker)
{
    plot_panel *panel = current(plot);
    if (panel == NULL || panel->notes == PLOT_NOTES_MAX || !isfinite(x) || !isfinite(y))
        return;
    plot_note *note = &panel->note[panel->notes++];
    *note = (plot_note){.x = x, .y = y, .marker = marker};
    copy_text(note->text, text);
}

void quell_plot_stretch(quell_plot *plot, double low, double high, const char *label)
{
    plot_panel *panel = current(plot);
    if (panel == NULL || panel->stretches == PLOT_STRETCHES_MAX || !isfinite(low) || !isfinite(high))
        return;
    plot_stretch *stretch = &panel->stretch[panel->stretches++];
    *stretch = (plot_stretch){.low = low, .high = high};
    copy_text(stretch->label, label);
}

void quell_plot_level(quell_plot *plot, double y, const char *label)
{
    plot_panel *panel = current(plot);
    if (panel == NULL || panel->levels == sizeof panel->level / sizeof panel->level[0] || !isfinite(y))
        return;
    plot_note *level = &panel->level[panel->levels++];
    *level = (plot_note){.y = y};
    copy_text(level->text, label);
}

const char *plot_axis_words(char letter)
{
    static const char *const words[] = {"X axis", "Y axis", "Z axis"};
    return letter >= 'x' && letter <= 'z' ? words[letter - 'x'] : "axis that moves";
}
