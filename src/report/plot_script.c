/* Writing of a plot's data and gnuplot script. Only fixed file names and single-quoted, cleaned texts enter the script:
   gnuplot runs backquotes in double quotes and '< command' as a file name. */
#include "report/plot_private.h"

#include <math.h>
#include <string.h>

/* Inks differ in lightness as well as in hue, so that they stay apart in grey print and for the colour-blind. */
static const char *const inks[] = {
    [QUELL_INK_MAIN] = "#14305c",   [QUELL_INK_SECOND] = "#b4451b", [QUELL_INK_THIRD] = "#1b8a80",
    [QUELL_INK_FOURTH] = "#c98f1d", [QUELL_INK_FIFTH] = "#7d6aac",  [QUELL_INK_GREY] = "#8a8a8a",
};

static const char text_ink[] = "#404040";

/* Terminals by file ending; the canvas is PLOT_WIDTH pixels wide everywhere. */
static const struct {
    const char *kind, *terminal;
    double unit; /* pixels of the layout to the terminal's own unit */
} terminals[] = {
    {"png", "set terminal pngcairo noenhanced font 'sans,11' background rgb '#ffffff' size", 1},
    {"svg", "set terminal svg noenhanced font 'sans-serif,14' background rgb '#ffffff' size", 1},
    {"pdf", "set terminal pdfcairo noenhanced font 'sans,10' fontscale 0.72 background rgb '#ffffff' size",
     1 / 100.0},
};

static void write_number(FILE *stream, double value)
{
    char text[32];
    fputs(isfinite(value) ? quell_number_print(text, sizeof text, value, 9) : "NaN", stream);
}

/* Texts hold no apostrophe and no control character: plot.c saw to that. */
static void write_quoted(FILE *stream, const char *text)
{
    fprintf(stream, "'%s'", text);
}

void plot_write_data(const quell_plot *plot, FILE *stream)
{
    for (size_t p = 0; p < plot->panels; p++)
        for (size_t c = 0; c < plot->panel[p]->curves; c++) {
            const plot_curve *curve = &plot->panel[p]->curve[c];
            fprintf(stream, "# panel %zu curve %zu\n", p + 1, c + 1);
            for (size_t i = 0; i < curve->n; i++) {
                double row[3] = {curve->x[i], curve->y[i], curve->y2[i]};
                if (!isfinite(row[0]) || !isfinite(row[1]) || !isfinite(row[2])) {
                    fputc('\n', stream); /* a blank line breaks the curve */
                    while (i + 1 < curve->n && !(isfinite(curve->y[i + 1]) && isfinite(curve->x[i + 1])))
                        i++;
                    continue;
                }
                for (int k = 0; k < 3; k++) {
                    write_number(stream, row[k]);
                    fputc(k < 2 ? ' ' : '\n', stream);
                }
            }
            fputs("\n\n", stream);
        }
}

static void write_axis(const plot_axis *axis, const char *name, FILE *stream)
{
    fprintf(stream, "set %srange [", name);
    write_number(stream, axis->low);
    fputc(':', stream);
    write_number(stream, axis->high);
    fprintf(stream, "]\n%s %s\n", axis->log ? "set logscale" : "unset logscale", name);
}

/* On a log axis: a tick at 1, 2 and 5 of every decade, written as plain numbers. */
static void write_log_ticks(const plot_axis *axis, FILE *stream)
{
    fputs("set xtics (", stream);
    bool first = true;
    static const double step[] = {1, 2, 3, 5, 7};
    bool wide = axis->high > 30 * axis->low;
    for (double decade = pow(10, floor(log10(axis->low))); decade <= axis->high; decade *= 10)
        for (size_t i = 0; i < sizeof step / sizeof step[0]; i++) {
            double at = decade * step[i];
            if (at < axis->low * 0.999 || at > axis->high * 1.001 || (wide && (i == 2 || i == 4)))
                continue;
            char text[32];
            fprintf(stream, "%s'%s' %s", first ? "" : ", ", quell_number_print(text, sizeof text, at, 6),
                    text);
            first = false;
        }
    fputs(")\n", stream);
}

/* Axis labels at fixed places: terminals differ in where their own would go, and cut them off. */
static void write_axis_labels(const plot_panel *panel, const plot_box *box, double height, FILE *stream)
{
    const plot_axis *axis[] = {&panel->x, &panel->y};
    const double x[] = {(box->left + box->right) / 2, 14},
                 y[] = {box->bottom - 47, (box->bottom + box->top) / 2};
    for (int i = 0; i < 2; i++) {
        fputs("set label ", stream);
        write_quoted(stream, axis[i]->label);
        fputs(" at screen ", stream);
        write_number(stream, x[i] / PLOT_WIDTH);
        fputs(", screen ", stream);
        write_number(stream, y[i] / height);
        fprintf(stream, " center noenhanced%s\n", i == 1 ? " rotate by 90" : "");
    }
}

static void write_stretches(const plot_panel *panel, FILE *stream)
{
    for (size_t i = 0; i < panel->stretches; i++) {
        const plot_stretch *stretch = &panel->stretch[i];
        if (stretch->high < panel->x.low || stretch->low > panel->x.high)
            continue;
        bool line = !(stretch->high > stretch->low);
        fputs(line ? "set arrow from " : "set object rectangle from ", stream);
        write_number(stream, fmax(stretch->low, panel->x.low));
        fputs(", graph 0 to ", stream);
        write_number(stream, line ? stretch->low : fmin(stretch->high, panel->x.high));
        fputs(line ? ", graph 1 nohead linewidth 1 dashtype 3 linecolor rgb '#707070' back\n"
                   : ", graph 1 behind fillcolor rgb '#e4e4e4' fillstyle solid noborder\n",
              stream);
    }
    for (size_t i = 0; i < panel->levels; i++) {
        fputs("set arrow from graph 0, first ", stream);
        write_number(stream, panel->level[i].y);
        fputs(" to graph 1, first ", stream);
        write_number(stream, panel->level[i].y);
        fputs(" nohead linewidth 1.2 dashtype 2 linecolor rgb '#505050' back\n", stream);
    }
}

static void write_labels(const plot_panel *panel, const plot_box *box, double height, FILE *stream)
{
    plot_label label[PLOT_LABELS_MAX];
    size_t count = plot_place_labels(panel, box, label);
    for (size_t i = 0; i < count; i++) {
        fputs("set label ", stream);
        write_quoted(stream, label[i].text);
        fputs(" at screen ", stream);
        write_number(stream, label[i].x / PLOT_WIDTH);
        fputs(", screen ", stream);
        write_number(stream, label[i].y / height);
        fprintf(stream, " left noenhanced front textcolor rgb '%s'\n",
                label[i].ink < 0 ? text_ink : inks[label[i].ink]);
        if (label[i].dot) {
            fputs("set label '' at screen ", stream);
            write_number(stream, label[i].dot_x / PLOT_WIDTH);
            fputs(", screen ", stream);
            write_number(stream, label[i].dot_y / height);
            fprintf(stream, " point pointtype 7 pointsize 0.8 linecolor rgb '%s' front\n",
                    inks[QUELL_INK_SECOND]);
        }
    }
}

static void write_curve(const plot_curve *curve, size_t index, FILE *stream)
{
    static const char *const style[] = {
        [QUELL_MARK_LINE] = "lines dashtype 1",      [QUELL_MARK_DASHED] = "lines dashtype 2",
        [QUELL_MARK_DOTTED] = "lines dashtype 3",    [QUELL_MARK_POINTS] = "points pointtype 7 pointsize 0.7",
        [QUELL_MARK_STEMS] = "impulses dashtype 1",  [QUELL_MARK_BAND] = "filledcurves",
        [QUELL_MARK_SHADE] = "image pixels notitle",
    };
    bool band = curve->mark == QUELL_MARK_BAND, shade = curve->mark == QUELL_MARK_SHADE;
    fprintf(stream, "'data.txt' index %zu using %s with %s ", index, band || shade ? "1:2:3" : "1:2",
            style[curve->mark]);
    if (shade)
        return;
    if (band)
        fprintf(stream, "fillcolor rgb '%s' fillstyle transparent solid 0.22 noborder notitle",
                inks[curve->ink]);
    else {
        fputs("linewidth ", stream);
        write_number(stream, curve->width);
        fprintf(stream, " linecolor rgb '%s' notitle", inks[curve->ink]);
    }
    if (curve->mark == QUELL_MARK_STEMS) /* heads on the stems */
        fprintf(stream,
                ", '' index %zu using 1:2 with points pointtype 7 pointsize 0.7 linecolor rgb '%s' notitle",
                index, inks[curve->ink]);
}

static void write_panel(const plot_panel *panel, const plot_box *box, double height, size_t first_curve,
                        FILE *stream)
{
    fputs("\nunset label\nunset arrow\nunset object\nset xtics autofreq\n", stream);
    write_axis(&panel->x, "x", stream);
    write_axis(&panel->y, "y", stream);
    if (panel->x.log)
        write_log_ticks(&panel->x, stream);
    const double edge[] = {box->left / PLOT_WIDTH, box->right / PLOT_WIDTH, box->bottom / height,
                           box->top / height};
    static const char *const margin[] = {"lmargin", "rmargin", "bmargin", "tmargin"};
    for (int i = 0; i < 4; i++) {
        fprintf(stream, "set %s at screen ", margin[i]);
        write_number(stream, edge[i]);
        fputc('\n', stream);
    }
    fputs("set label ", stream);
    write_quoted(stream, panel->title);
    fputs(" at graph 0, graph 1 offset 0, 0.7 left noenhanced\n", stream);
    write_axis_labels(panel, box, height, stream);
    write_stretches(panel, stream);
    write_labels(panel, box, height, stream);
    fputs("plot ", stream);
    for (size_t c = 0; c < panel->curves; c++) {
        if (c > 0)
            fputs(", \\\n     ", stream);
        write_curve(&panel->curve[c], first_curve + c, stream);
    }
    if (panel->curves == 0)
        fputs("NaN notitle", stream);
    fputc('\n', stream);
}

void plot_write_script(const quell_plot *plot, const char *kind, FILE *stream)
{
    plot_box box[PLOT_PANELS_MAX];
    double height = plot_arrange(plot, box);
    fputs("# Draws plot.* from data.txt; run as: gnuplot -d plot.gnuplot\n", stream);
    for (size_t i = 0; i < sizeof terminals / sizeof terminals[0]; i++)
        if (strcmp(kind, terminals[i].kind) == 0) {
            fprintf(stream, "%s ", terminals[i].terminal);
            write_number(stream, PLOT_WIDTH * terminals[i].unit);
            fputs(", ", stream);
            write_number(stream, ceil(height) * terminals[i].unit);
            fprintf(stream, "\nset output 'plot.%s'\n", kind);
        }
    fputs("set encoding utf8\nset tics nomirror out\nset border 3 linecolor rgb '#505050'\n"
          "set grid linewidth 0.6 linecolor rgb '#d8d8d8' dashtype 1\nunset key\nset palette gray "
          "negative\nset cbrange [0:1]\nunset colorbox\n"
          "set multiplot title ",
          stream);
    write_quoted(stream, plot->title);
    fputs(" noenhanced\n", stream);
    size_t curve = 0;
    for (size_t p = 0; p < plot->panels; p++) {
        write_panel(plot->panel[p], &box[p], height, curve, stream);
        curve += plot->panel[p]->curves;
    }
    fputs("\nunset multiplot\nset output\n", stream);
}
