/* The regression of stamps on sample indices, in bounded memory while the rows pass.

   Every figure is a sum about the mean of its own block; blocks are joined by the parallel update of T. F.
   Chan, G. H. Golub and R. J. LeVeque, Am. Stat. 37(3), 1983, so that nothing cancels over 1e9 rows.
   Stamps enter as their distance from a reference line near the answer, so that small numbers are squared. */
#include "ingest/timeline_private.h"

#include <math.h>

enum { LEARNT = 1024 };

void ingest_slope_begin(ingest_slope *slope, double from, double step)
{
    slope->from = from;
    slope->step = step;
    slope->all = (ingest_cell){0};
    slope->late2 = slope->index2 = slope->both = 0;
    slope->blocks = slope->cells = slope->in_last = 0;
    slope->per_cell = 1;
}

static void join(ingest_cell *into, const ingest_cell *more)
{
    double rows = into->rows + more->rows, share = more->rows / rows;
    double index = more->index - into->index, late = more->late - into->late;
    into->index2 += more->index2 + index * index * into->rows * share;
    into->both += more->both + index * late * into->rows * share;
    into->index += index * share;
    into->late += late * share;
    into->rows = rows;
}

/* Halves the number of cells by joining neighbours. */
static void halve(ingest_slope *slope)
{
    for (size_t i = 0; i < INGEST_CELLS / 2; i++) {
        ingest_cell pair = slope->cell[2 * i];
        join(&pair, &slope->cell[2 * i + 1]);
        slope->cell[i] = pair;
    }
    slope->cells = INGEST_CELLS / 2;
    slope->per_cell *= 2;
}

void ingest_slope_add(ingest_slope *slope, const ingest_cell *block, double late2)
{
    slope->late2 += late2;
    slope->index2 += block->index2;
    slope->both += block->both;
    slope->blocks++;
    if (slope->blocks == 1)
        slope->all = *block;
    else
        join(&slope->all, block);
    if (slope->cells > 0 && slope->in_last < slope->per_cell) {
        join(&slope->cell[slope->cells - 1], block);
        slope->in_last++;
        return;
    }
    if (slope->cells == INGEST_CELLS)
        halve(slope);
    slope->cell[slope->cells++] = *block;
    slope->in_last = 1;
}

double ingest_slope_step(const ingest_slope *slope)
{
    return slope->all.rows > LEARNT ? slope->step * (1 + slope->all.both / slope->all.index2) : slope->step;
}

/* Mean square of what is left of each cell's mean, weighted by its rows: a slow wander of the clock shows
   here. */
static double between_cells(const ingest_slope *slope, double tilt)
{
    if (slope->cells <= 2)
        return 0;
    double sum = 0, cells = (double)slope->cells;
    for (size_t c = 0; c < slope->cells; c++) {
        const ingest_cell *cell = &slope->cell[c];
        double off = cell->late - slope->all.late - tilt * (cell->index - slope->all.index);
        sum += cell->rows * off * off;
    }
    return sum / slope->all.rows * cells / (cells - 2);
}

/* The jitter is what is left within blocks. The variance of a regression slope is that of one row by the
   sum of squares of the indices; the cells' means, or the jitter if that gives more, tell the former. */
bool ingest_slope_fit(const ingest_slope *slope, ingest_clock *out)
{
    const ingest_cell *all = &slope->all;
    if (!(all->index2 > 0))
        return false;
    double tilt = all->both / all->index2;
    double within = slope->late2 - 2 * tilt * slope->both + tilt * tilt * slope->index2;
    double freedom = all->rows - (double)slope->blocks;
    double by_rows = freedom > 0 && within > 0 ? within / freedom : 0;
    double by_cells = between_cells(slope, tilt) * all->rows / (double)(slope->cells > 0 ? slope->cells : 1);
    out->step = slope->step * (1 + tilt);
    out->origin = slope->from + slope->step * (all->late - tilt * all->index);
    out->jitter = sqrt(by_rows) / (1 + tilt);
    out->step_error = slope->step * sqrt(fmax(by_rows, by_cells) / all->index2);
    return out->step > 0 && isfinite(out->step) && isfinite(out->origin) && isfinite(out->step_error);
}
