/* Layout of plots: ranges from the data, panels on the canvas, labels that do not cover each other. */
#include "report/plot_private.h"

#include <math.h>
#include <string.h>

enum {
    TITLE_PX = 44,
    PANEL_TITLE_PX = 24,
    AXIS_PX = 66,
    PANEL_PX = 270,
    LEFT_PX = 78,
    RIGHT_PX = 28,
    FOOT_PX = 6
};

/* Mean advance and line height of the plot's 11-point sans font, rounded up. */
static const double CHARACTER_PX = 8.3, LINE_PX = 15.0;

static double text_width(const char *text)
{
    return CHARACTER_PX * (double)quell_text_width(text, strlen(text));
}

static void widen(double *low, double *high, double value)
{
    if (!isfinite(value))
        return;
    *low = fmin(*low, value);
    *high = fmax(*high, value);
}

static void fill_axis(plot_axis *axis, double low, double high, double margin)
{
    if (axis->low < axis->high)
        return;
    if (!(low <= high)) {
        low = axis->log ? 1 : 0;
        high = axis->log ? 10 : 1;
    }
    double span = high > low ? high - low : fmax(fabs(high), 1) * 0.1;
    axis->low = axis->log ? low : low - margin * span;
    axis->high = axis->log ? fmax(high, low * 1.01) : high + margin * span;
}

/* A logarithm has no place for 0 and below, and no axis one for what is not finite: such a range is left to the data. */
static void drop_impossible(plot_axis *axis)
{
    if (!isfinite(axis->low) || !isfinite(axis->high) || (axis->log && !(axis->low > 0)))
        axis->low = axis->high = 0;
}

void plot_fill_ranges(plot_panel *panel)
{
    drop_impossible(&panel->x);
    drop_impossible(&panel->y);
    double x_low = INFINITY, x_high = -INFINITY, y_low = INFINITY, y_high = -INFINITY;
    for (size_t c = 0; c < panel->curves; c++)
        for (size_t i = 0; i < panel->curve[c].n; i++)
            if (!panel->x.log || panel->curve[c].x[i] > 0)
                widen(&x_low, &x_high, panel->curve[c].x[i]);
    for (size_t i = 0; i < panel->notes; i++)
        widen(&x_low, &x_high, panel->note[i].x);
    /* points and stems need room at the sides; a curve may run from edge to edge */
    bool curves_run_through = panel->notes == 0 && panel->curves > 0;
    for (size_t c = 0; c < panel->curves; c++)
        curves_run_through = curves_run_through && panel->curve[c].mark != QUELL_MARK_STEMS;
    fill_axis(&panel->x, x_low, x_high, curves_run_through ? 0.0 : 0.12);
    for (size_t c = 0; c < panel->curves; c++) {
        const plot_curve *curve = &panel->curve[c];
        for (size_t i = 0; i < curve->n; i++)
            if (curve->x[i] >= panel->x.low && curve->x[i] <= panel->x.high) {
                widen(&y_low, &y_high, curve->y[i]);
                widen(&y_low, &y_high, curve->y2[i]);
            }
    }
    for (size_t i = 0; i < panel->notes; i++)
        widen(&y_low, &y_high, panel->note[i].y);
    for (size_t i = 0; i < panel->levels; i++)
        widen(&y_low, &y_high, panel->level[i].y);
    fill_axis(&panel->y, y_low, y_high, 0.08);
}

static bool labelled_at_end(const plot_curve *curve)
{
    return curve->label[0] != '\0' && !isfinite(curve->label_x);
}

double plot_arrange(const quell_plot *plot, plot_box box[PLOT_PANELS_MAX])
{
    double right = RIGHT_PX, height = TITLE_PX + FOOT_PX;
    for (size_t p = 0; p < plot->panels; p++) {
        height += PANEL_TITLE_PX + AXIS_PX + PANEL_PX * plot->panel[p]->height;
        for (size_t c = 0; c < plot->panel[p]->curves; c++)
            if (labelled_at_end(&plot->panel[p]->curve[c]))
                right = fmax(right, text_width(plot->panel[p]->curve[c].label) + 16);
    }
    double top = height - TITLE_PX;
    for (size_t p = 0; p < plot->panels; p++) {
        top -= PANEL_TITLE_PX;
        box[p] = (plot_box){.left = LEFT_PX, .right = PLOT_WIDTH - fmin(right, PLOT_WIDTH / 3.0), .top = top};
        top -= PANEL_PX * plot->panel[p]->height;
        box[p].bottom = top;
        top -= AXIS_PX;
    }
    return height;
}

double plot_pixel(const plot_axis *axis, double value, double from, double to)
{
    double share = axis->log ? log(value / axis->low) / log(axis->high / axis->low)
                             : (value - axis->low) / (axis->high - axis->low);
    return from + share * (to - from);
}

static bool covers(const plot_label *a, const plot_label *b)
{
    return a->x < b->x + text_width(b->text) + 4 && b->x < a->x + text_width(a->text) + 4 &&
           fabs(a->y - b->y) < LINE_PX;
}

/* A label must not hide a marker either. */
static bool hides_dot(const plot_label *a, double dot_x, double dot_y)
{
    return dot_x > a->x - 5 && dot_x < a->x + text_width(a->text) + 5 && fabs(a->y - dot_y) < LINE_PX * 0.7;
}

/* The value at a pixel: plot_pixel the other way. */
static double value_at(const plot_axis *axis, double pixel, double from, double to)
{
    double share = (pixel - from) / (to - from);
    return axis->log ? axis->low * pow(axis->high / axis->low, share)
                     : axis->low + share * (axis->high - axis->low);
}

/* How many lines and bands run through a label. */
static size_t lines_under(const plot_label *label, const plot_panel *panel, const plot_box *box)
{
    double left = value_at(&panel->x, label->x - 2, box->left, box->right);
    double right = value_at(&panel->x, label->x + text_width(label->text), box->left, box->right);
    double low = value_at(&panel->y, label->y - LINE_PX / 2, box->bottom, box->top);
    double high = value_at(&panel->y, label->y + LINE_PX / 2, box->bottom, box->top);
    size_t count = 0;
    for (size_t c = 0; c < panel->curves; c++) {
        const plot_curve *curve = &panel->curve[c];
        bool under = false;
        if (curve->mark == QUELL_MARK_SHADE || curve->mark == QUELL_MARK_STEMS)
            continue;
        for (size_t i = 0; i < curve->n && !under; i++) /* y2 is y but for bands */
            under = curve->x[i] >= left && curve->x[i] <= right && fmax(curve->y[i], curve->y2[i]) >= low &&
                    fmin(curve->y[i], curve->y2[i]) <= high;
        count += under;
    }
    return count;
}

/* Puts the label at the first of many places round its anchor where it covers nothing and stays in the box, if it can
   on no line either. */
static void place(plot_label *label, const plot_label *others, size_t count, const plot_panel *panel,
                  const plot_box *box, double x, double y)
{
    double width = text_width(label->text);
    plot_label best = *label;
    double best_cost = INFINITY;
    for (int ring = 0; ring < 8; ring++)
        for (int side = 0; side < 6; side++) {
            double dx = side % 3 == 0 ? 9 : side % 3 == 1 ? -width - 9 : -width / 2;
            double dy = (side < 3 ? 1 : -1) * (ring * LINE_PX + (side % 3 == 2 ? LINE_PX : 2));
            plot_label tried = *label;
            tried.x = x + dx;
            tried.y = y + dy;
            double cost = ring * 10.0 + side + 25.0 * (double)lines_under(&tried, panel, box);
            if (tried.x < box->left + 3 || tried.x + width > box->right - 3 ||
                tried.y > box->top - LINE_PX / 2 || tried.y < box->bottom + LINE_PX / 2)
                cost += 1e4;
            for (size_t i = 0; i < count; i++) {
                cost += covers(&tried, &others[i]) ? 1e3 : 0;
                cost += others[i].dot && hides_dot(&tried, others[i].dot_x, others[i].dot_y) ? 1e3 : 0;
            }
            if (cost < best_cost) {
                best_cost = cost;
                best = tried;
            }
        }
    *label = best;
}

/* The curve's value at x by its nearest point. */
static size_t nearest_point(const plot_curve *curve, double x)
{
    size_t best = 0;
    double distance = INFINITY;
    for (size_t i = 0; i < curve->n; i++)
        if (isfinite(curve->y[i]) && fabs(curve->x[i] - x) < distance) {
            distance = fabs(curve->x[i] - x);
            best = i;
        }
    return best;
}

/* Labels at the right ends, in the margin: sorted by height, then pushed apart. */
static size_t place_end_labels(const plot_panel *panel, const plot_box *box, plot_label *label)
{
    size_t count = 0;
    for (size_t c = 0; c < panel->curves; c++) {
        const plot_curve *curve = &panel->curve[c];
        if (!labelled_at_end(curve))
            continue;
        size_t end = nearest_point(curve, panel->x.high);
        double y = plot_pixel(&panel->y, curve->y[end], box->bottom, box->top);
        plot_label made = {.x = box->right + 8, .text = curve->label, .ink = (int)curve->ink};
        made.y = fmin(fmax(y, box->bottom + LINE_PX / 2), box->top - LINE_PX / 2);
        size_t at = count++;
        for (; at > 0 && label[at - 1].y > made.y; at--)
            label[at] = label[at - 1];
        label[at] = made;
    }
    for (size_t i = 1; i < count; i++)
        label[i].y = fmax(label[i].y, label[i - 1].y + LINE_PX);
    double ceiling = box->top;
    for (size_t i = count; i-- > 0; ceiling = label[i].y - LINE_PX)
        label[i].y = fmin(label[i].y, ceiling);
    return count;
}

/* Labels at the top of stretches, each lowered until it covers none of the others. */
static size_t place_stretch_labels(const plot_panel *panel, const plot_box *box, plot_label *label,
                                   size_t count)
{
    for (size_t i = 0; i < panel->stretches; i++) {
        const plot_stretch *stretch = &panel->stretch[i];
        if (stretch->label[0] == '\0' || stretch->high < panel->x.low || stretch->low > panel->x.high)
            continue;
        double x = plot_pixel(&panel->x, fmax(stretch->low, panel->x.low), box->left, box->right);
        plot_label made = {.x = x + 4, .y = box->top - LINE_PX * 0.7, .text = stretch->label, .ink = -1};
        if (made.x + text_width(made.text) > box->right)
            made.x = box->right - text_width(made.text) - 4;
        for (size_t k = 0; k < count; k++)
            if (covers(&made, &label[k])) {
                made.y -= LINE_PX;
                k = (size_t)-1; /* look at all again from the new place */
                if (made.y < box->bottom)
                    break;
            }
        label[count++] = made;
    }
    return count;
}

size_t plot_place_labels(const plot_panel *panel, const plot_box *box, plot_label label[PLOT_LABELS_MAX])
{
    size_t count = place_end_labels(panel, box, label);
    count = place_stretch_labels(panel, box, label, count);
    for (size_t i = 0; i < panel->levels; i++)
        if (panel->level[i].text[0] != '\0') {
            double y = plot_pixel(&panel->y, panel->level[i].y, box->bottom, box->top);
            label[count++] = (plot_label){
                .x = box->left + 6, .y = y + LINE_PX * 0.6, .text = panel->level[i].text, .ink = -1};
        }
    size_t first_note = count; /* all dots first, so that no label hides a later dot */
    for (size_t i = 0; i < panel->notes; i++) {
        const plot_note *note = &panel->note[i];
        if (note->x < panel->x.low || note->x > panel->x.high)
            continue;
        plot_label made = {.text = note->text, .ink = -1, .dot = note->marker, .x = -1e6};
        made.dot_x = plot_pixel(&panel->x, note->x, box->left, box->right);
        made.dot_y = plot_pixel(&panel->y, note->y, box->bottom, box->top);
        label[count++] = made;
    }
    for (size_t i = first_note; i < count; i++)
        place(&label[i], label, count, panel, box, label[i].dot_x, label[i].dot_y);
    for (size_t c = 0; c < panel->curves; c++) {
        const plot_curve *curve = &panel->curve[c];
        if (curve->label[0] == '\0' || !isfinite(curve->label_x))
            continue;
        size_t at = nearest_point(curve, curve->label_x);
        plot_label made = {.text = curve->label, .ink = (int)curve->ink};
        place(&made, label, count, panel, box, plot_pixel(&panel->x, curve->x[at], box->left, box->right),
              plot_pixel(&panel->y, curve->y[at], box->bottom, box->top));
        label[count++] = made;
    }
    return count;
}
