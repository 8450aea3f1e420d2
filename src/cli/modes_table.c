/* quell modes: the table. Below each value stands its 95 % interval. */
#include "cli/modes_view.h"

#include <math.h>
#include <string.h>

typedef struct estimate {
    double value;
    const double *ci95;
    int decimals; /* where there is no interval */
} estimate;

enum { ESTIMATES = 5 };

/* Frequency, damping, participation, and the checks: half-power width, free decays. */
static void estimates_of(const quell_mode *mode, estimate out[ESTIMATES])
{
    static const double none[2] = {(double)NAN, (double)NAN};
    out[0] = (estimate){mode->frequency_hz, mode->frequency_ci95_hz, 2};
    out[1] = (estimate){mode->damping_ratio, mode->damping_ratio_ci95, 4};
    out[2] = (estimate){mode->participation, mode->participation_ci95, 2};
    out[3] = (estimate){mode->half_power_damping_ratio, none, 4};
    out[4] = (estimate){mode->decay_damping_ratio, mode->decay_damping_ratio_ci95, 4};
}

/* Where the modes themselves come from the decays, these are no check. */
static bool decays_check(const quell_modes *modes)
{
    bool known = false;
    for (size_t k = 0; k < modes->count; k++)
        known = known || isfinite(modes->mode[k].decay_damping_ratio);
    return known && modes->kind != QUELL_EXCITE_STOPS;
}

static void print_key(bool provisional, bool decays)
{
    char text[320];
    snprintf(text, sizeof text, "below each value: 95 %%%s; %s",
             provisional ? ", set and not estimated: 1 % of the frequency, 20 % of the rest" : "",
             decays ? "half-power, decay: the damping ratio by other ways, as checks"
                    : "half-power: the damping ratio by the peak's width, as a check");
    quell_words_print(stdout, "  ", "  ", 79, text);
}

void modes_table_print(cli_run *run, const quell_modes *modes)
{
    static const quell_column columns[ESTIMATES] = {{"frequency", "natural, Hz", false},
                                                    {"damping", "ratio", false},
                                                    {"participation", "", false},
                                                    {"half-power", "ratio", false},
                                                    {"decay", "ratio", false}};
    bool decays = decays_check(modes), provisional = false;
    size_t count = decays ? ESTIMATES : ESTIMATES - 1;
    quell_table *table = quell_table_create(run->arena, columns, count);
    for (size_t k = 0; k < modes->count; k++) {
        estimate of[ESTIMATES];
        estimates_of(&modes->mode[k], of);
        for (size_t i = 0; i < count; i++)
            quell_table_value(table, of[i].value, of[i].ci95, of[i].decimals);
        for (size_t i = 0; i < count; i++)
            quell_table_interval(table, of[i].value, of[i].ci95, of[i].decimals);
        provisional = provisional || modes->mode[k].interval_is_provisional;
    }
    putchar('\n');
    quell_table_print(table, stdout, 2);
    print_key(provisional, decays);
}
