/* The table of shaper families, and the design that serves all its rows. */
#include "shaping/shaping_private.h"

#include <math.h>
#include <string.h>

static const quell_family table[] = {
    {"zv", "ZV", "two impulses; cancels one mode, forgives little", 0, quell_design_zv},
    {"zvd", "ZVD", "three impulses; also flat at the mode", 0, quell_design_zvd},
    {"zvdd", "ZVDD", "four impulses; flatter still", 0, quell_design_zvdd},
    {"zvddd", "ZVDDD", "five impulses; the flattest", 0, quell_design_zvddd},
    {"ei", "EI", "three impulses; leaves V at the mode, covers a wider band", QUELL_FAMILY_TOLERANCE,
     quell_design_ei},
    {"ei-two-hump", "two-hump EI", "four impulses; two humps of height V", QUELL_FAMILY_TOLERANCE,
     quell_design_two_hump},
    {"ei-three-hump", "three-hump EI", "five impulses; three humps of height V", QUELL_FAMILY_TOLERANCE,
     quell_design_three_hump},
    {"um-zv", "UM-ZV",
     "impulses of 1, -1, 1; shorter than ZV, but asks more of the drives and can excite higher modes",
     QUELL_FAMILY_NEGATIVE, quell_design_um_zv},
    {"um-zvd", "UM-ZVD",
     "impulses of 1, -1, 1, -1, 1; also flat at the mode; asks more of the drives, can excite higher modes",
     QUELL_FAMILY_NEGATIVE, quell_design_um_zvd},
    {"um-ei", "UM-EI",
     "impulses of 1, -1, 1, -1, 1; leaves V at the mode; asks more of the drives, can excite higher modes",
     QUELL_FAMILY_NEGATIVE | QUELL_FAMILY_TOLERANCE, quell_design_um_ei},
    {"box", "box", "moving average of one period", QUELL_FAMILY_SMOOTH, quell_design_box},
    {"raised-cosine", "raised cosine", "smooth kernel of two periods", QUELL_FAMILY_SMOOTH,
     quell_design_raised_cosine},
    {"spline2", "B-spline 2", "two moving averages in a row: a triangle", QUELL_FAMILY_SMOOTH,
     quell_design_spline2},
    {"spline3", "B-spline 3", "three moving averages in a row", QUELL_FAMILY_SMOOTH, quell_design_spline3},
    {"spline4", "B-spline 4", "four moving averages in a row", QUELL_FAMILY_SMOOTH, quell_design_spline4},
};

const quell_family *quell_families(size_t *count)
{
    *count = sizeof table / sizeof table[0];
    return table;
}

const quell_family *quell_family_find(const char *id)
{
    for (size_t i = 0; i < sizeof table / sizeof table[0]; i++)
        if (strcmp(table[i].id, id) == 0)
            return &table[i];
    return NULL;
}

static quell_status check_range(const char *name, double found, double low, double high, bool low_included,
                                quell_error *err)
{
    char shown[32], from[32], to[32];
    if (found >= low && found <= high && (low_included || found > low))
        return QUELL_OK;
    return quell_fail(err, QUELL_E_USAGE, "%s is %s, want %s%s to %s", name,
                      isnan(found) ? "not a number" : quell_number_print(shown, sizeof shown, found, 6),
                      low_included ? "" : "above ", quell_number_print(from, sizeof from, low, 6),
                      quell_number_print(to, sizeof to, high, 7));
}

static quell_status check_point(const quell_design_point *at, quell_error *err)
{
    quell_status status =
        check_range("frequency in Hz", at->frequency_hz, QUELL_DESIGN_HZ_MIN, QUELL_DESIGN_HZ_MAX, true, err);
    if (status == QUELL_OK)
        status = check_range("damping ratio", at->damping_ratio, 0, QUELL_DAMPING_RATIO_MAX, true, err);
    if (status == QUELL_OK)
        status = check_range("tolerance", at->tolerance, 0, QUELL_TOLERANCE_MAX, false, err);
    return status;
}

quell_status quell_shaper_design(quell_shaper *out, const quell_family *family, const quell_design_point *at,
                                 quell_error *err)
{
    quell_status status = check_point(at, err);
    if (status != QUELL_OK)
        return status;
    quell_shaper unit;
    unit.family = family;
    unit.at = *at;
    unit.at.frequency_hz = 1;
    status = family->design(&unit, at, err);
    if (status == QUELL_OK)
        quell_shaper_scale(out, &unit, at->frequency_hz);
    return status;
}

void quell_shaper_scale(quell_shaper *out, const quell_shaper *in, double frequency_hz)
{
    const double ratio = in->at.frequency_hz / frequency_hz;
    out->family = in->family;
    out->at = in->at;
    out->at.frequency_hz = frequency_hz;
    out->count = in->count;
    for (size_t i = 0; i < in->count; i++) {
        out->amplitude[i] = in->amplitude[i];
        out->time_s[i] = in->time_s[i] * ratio;
    }
}

void quell_shaper_identity(quell_shaper *out)
{
    *out = (quell_shaper){.count = 1, .amplitude = {1}};
}
