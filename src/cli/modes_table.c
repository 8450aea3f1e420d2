/* quell modes: the table. Below each value stands its 95 % interval. */
#include "cli/modes_view.h"

#include <math.h>
#include <string.h>

typedef struct estimate {
    double value;
    const double *ci95;
    int decimals; /* where there is no interval */
} estimate;

enum { ESTIMATES = 5, CHECKS = 3 };

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

/* How many columns: where the modes themselves come from the decays, nothing is left to check them by. */
static size_t columns_of(const quell_modes *modes)
{
    bool decays = false;
    for (size_t k = 0; k < modes->count; k++)
        decays = decays || isfinite(modes->mode[k].decay_damping_ratio);
    return modes->kind == QUELL_EXCITE_STOPS ? CHECKS : decays ? ESTIMATES : ESTIMATES - 1;
}

static void print_key(size_t columns)
{
    static const char *const checks[] = {"", "; half-power: the damping ratio by the peak's width, as a check",
                                         "; half-power, decay: the damping ratio by other ways, as checks"};
    char text[160];
    snprintf(text, sizeof text, "below each value: 95 %%%s", checks[columns - CHECKS]);
    quell_words_print(stdout, "  ", "  ", 79, text);
}

void modes_table_print(cli_run *run, const quell_modes *modes)
{
    static const quell_column columns[ESTIMATES] = {{"frequency", "natural, Hz", false},
                                                    {"damping", "ratio", false},
                                                    {"participation", "", false},
                                                    {"half-power", "ratio", false},
                                                    {"decay", "ratio", false}};
    size_t count = columns_of(modes);
    quell_table *table = quell_table_create(run->arena, columns, count);
    for (size_t k = 0; k < modes->count; k++) {
        estimate of[ESTIMATES];
        estimates_of(&modes->mode[k], of);
        for (size_t i = 0; i < count; i++)
            quell_table_value(table, of[i].value, of[i].ci95, of[i].decimals);
        for (size_t i = 0; i < count; i++)
            quell_table_interval(table, of[i].value, of[i].ci95, of[i].decimals);
    }
    putchar('\n');
    quell_table_print(table, stdout, 2);
    print_key(count);
}
