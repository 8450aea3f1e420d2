/* Values with their intervals in tables: the interval says how many digits are worth showing. */
#include "quell/report.h"

#include <math.h>

enum { DECIMALS_MOST = 6 };

/* Sides that differ by no more than this share of the larger are written as one number. */
#define EVEN 0.1

static bool has_interval(double value, const double ci95[2])
{
    return isfinite(value) && isfinite(ci95[0]) && isfinite(ci95[1]) && ci95[0] < ci95[1];
}

static double half_width(double value, const double ci95[2])
{
    return fmax(ci95[1] - value, value - ci95[0]);
}

static int decimals_of(double value, const double ci95[2], int otherwise)
{
    if (!has_interval(value, ci95))
        return otherwise;
    double places = 1 - floor(log10(1.005 * half_width(value, ci95))); /* 0.0996 is written as 0.10 */
    return (int)fmin(fmax(places, 0), DECIMALS_MOST);
}

quell_status quell_table_value(quell_table *table, double value, const double ci95[2], int decimals)
{
    return quell_table_number(table, value, decimals_of(value, ci95, decimals));
}

quell_status quell_table_interval(quell_table *table, double value, const double ci95[2], int decimals)
{
    if (!has_interval(value, ci95))
        return quell_table_cell(table, "%s", "");
    double down = value - ci95[0], up = ci95[1] - value, half = half_width(value, ci95);
    int shown = decimals_of(value, ci95, decimals);
    if (fabs(up - down) <= EVEN * half)
        return quell_table_cell(table, "\xc2\xb1 %s", quell_number_fixed(half, shown).text);
    return quell_table_cell(table, "%s..%s", quell_number_fixed(ci95[0], shown).text,
                            quell_number_fixed(ci95[1], shown).text);
}
