/* The most likely indices of rows whose stamps jitter so much that rounding errs: the path of least cost
   through a trellis of offsets (A. J. Viterbi, IEEE Trans. Inf. Theory 13(2), 1967).

   A row's index is its number plus an offset that never falls: samples may be lost, but none comes twice.
   The cost of a path is the sum of squared distances by twice the variance, and for each place where
   samples are lost minus the logarithm of how often that happens. A constant 1/2 ln(variance) and the cost
   of no loss, near 0, are the same for all paths and left out. */
#include "ingest/timeline_private.h"

#include <math.h>
#include <string.h>

enum { STATES = 7 };

/* Costs of the paths that end in each state of one row. */
typedef struct front {
    int low; /* offset of state 0 */
    double cost[STATES];
    signed char root[STATES]; /* the state that the path had at the last row to be decided */
} front;

/* How far a row is from its place. A stamp may come late by any number of steps when the logger was busy:
   that tells no more than one step does. */
static double distance(double place, int offset)
{
    double off = place - offset;
    return off < 1 ? off : 1;
}

/* Moves the front on to a row: from[] is the state each path comes from. */
static void advance(front *at, int low, double place, const ingest_costs *costs, signed char *from)
{
    const int shift = low - at->low;
    double jump = INFINITY, before[STATES];
    signed char jumper = 0, root[STATES];
    memcpy(before, at->cost, sizeof before);
    memcpy(root, at->root, sizeof root);
    /* the cheapest jump to offset `low` from below it: one more lost sample for each offset passed */
    for (int s = 0; s < shift && s < STATES; s++) {
        bool new = before[s] + costs->gap < jump + costs->more;
        jump = new ? before[s] + costs->gap : jump + costs->more;
        jumper = new ? (signed char)s : jumper;
    }
    if (shift > STATES)
        jump += costs->more * (shift - STATES);
    for (int s = 0; s < STATES; s++) {
        double stay = s + shift < STATES ? before[s + shift] : (double)INFINITY;
        double off = distance(place, low + s);
        from[s] = stay <= jump ? (signed char)(s + shift) : jumper;
        at->cost[s] = (stay <= jump ? stay : jump) + costs->weight * off * off;
        at->root[s] = root[from[s]];
        bool new = stay + costs->gap < jump + costs->more;
        jump = new ? stay + costs->gap : jump + costs->more;
        jumper = new ? (signed char)(s + shift) : jumper;
    }
    at->low = low;
}

static int cheapest(const front *at)
{
    int best = 0;
    for (int s = 1; s < STATES; s++)
        if (at->cost[s] < at->cost[best])
            best = s;
    return best;
}

/* Do all paths share their root? Those are out of the running that are worse by a factor of e^40 and by
   more than a few rows that come late can make up for. */
static bool agreed(const front *at, double weight)
{
    int best = cheapest(at);
    for (int s = 0; s < STATES; s++)
        if (at->root[s] != at->root[best] && at->cost[s] < at->cost[best] + 40 + 3 * weight)
            return false;
    return true;
}

static front start(double place, int low, const int *before, const ingest_costs *costs, signed char *from)
{
    front at = {.low = low};
    for (int s = 0; s < STATES; s++)
        at.cost[s] = before != NULL && s > 0 ? INFINITY : 0;
    if (before != NULL) {
        at.low = *before;
        advance(&at, low, place, costs, from);
        return at;
    }
    for (int s = 0; s < STATES; s++)
        at.cost[s] = costs->weight * distance(place, low + s) * distance(place, low + s);
    return at;
}

void ingest_viterbi(const double *place, const int *low, size_t n, size_t least, size_t decide,
                    const int *before, const ingest_costs *costs, int *offset)
{
    signed char from[INGEST_BLOCK][STATES] = {{0}}, unused[STATES];
    front at = start(place[0], low[0], before, costs, from[0]);
    for (size_t j = 1; j < decide; j++)
        advance(&at, low[j], place[j] - (double)j, costs, from[j]);
    for (int s = 0; s < STATES; s++)
        at.root[s] = (signed char)s;
    least = (least > decide ? least : decide) + STATES;
    for (size_t j = decide; j < n && (j < least || !agreed(&at, costs->weight)); j++)
        advance(&at, low[j], place[j] - (double)j, costs, unused);
    int state = at.root[cheapest(&at)];
    for (size_t j = decide; j-- > 0; state = from[j][state])
        offset[j] = low[j] + state;
}
