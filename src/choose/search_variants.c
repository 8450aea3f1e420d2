/* Shapers of a family as the controller would run them, in every reading that its machine file leaves open. */
#include "choose/search_private.h"

#include <math.h>

enum { OFF_GRID = SEARCH_DAMPING_STEPS + 1 };

/* How a controller may take what it is told. */
typedef struct reading {
    double damping_ratio;
    quell_reading frequency; /* natural or damped */
} reading;

/* Where the controller's damping ratio is not known, it is taken for each of these in turn. */
static const double damping_guesses[] = {0.05, 0, 0.1};
enum { DAMPING_GUESSES = sizeof damping_guesses / sizeof damping_guesses[0] };

static size_t list_readings(const quell_controller *controller, double damping_ratio, reading *out)
{
    size_t count = 0, guesses = controller->damping_unknown ? DAMPING_GUESSES : 1;
    for (size_t i = 0; i < guesses; i++) {
        double zeta = controller->damping_unknown ? damping_guesses[i] : damping_ratio;
        if (controller->frequency != QUELL_READING_UNKNOWN) {
            out[count++] = (reading){zeta, controller->frequency};
            continue;
        }
        out[count++] = (reading){zeta, QUELL_NATURAL};
        if (zeta > 0)
            out[count++] = (reading){zeta, QUELL_DAMPED};
    }
    return count;
}

double search_spread(const quell_shaper *shaper)
{
    return quell_shaper_measure(shaper).spread_s;
}

static bool design(const search_context *search, const search_family *family, double hz, double zeta,
                   quell_shaper *out)
{
    quell_design_point at = {hz, zeta, search->tolerance};
    if (family->own != NULL)
        return quell_own_family_design(out, family->own, &at, NULL) == QUELL_OK;
    return quell_shaper_design(out, family->built_in, &at, NULL) == QUELL_OK;
}

/* The family at 1 Hz, designed once for each damping ratio of the grid, and for the last one off it. NULL if there is
   none, or no memory. */
static const quell_shaper *unit_shaper(search_context *search, search_family *family, double zeta)
{
    double steps = zeta / SEARCH_DAMPING_STEP;
    size_t slot = fabs(steps - round(steps)) < 1e-9 ? (size_t)lround(steps) : OFF_GRID;
    const quell_shaper *held = family->unit[slot];
    if (slot != OFF_GRID && (held != NULL || family->absent[slot]))
        return held;
    if (slot == OFF_GRID && held != NULL && held->at.damping_ratio == zeta)
        return held;
    quell_shaper *made = QUELL_NEW(search->arena, quell_shaper, 1);
    if (made == NULL)
        search->out_of_memory = true;
    else if (design(search, family, 1, zeta, made))
        return family->unit[slot] = made;
    family->absent[slot] = true;
    return NULL;
}

bool search_make_variants(search_context *search, search_family *family, int damping, search_variants *out)
{
    const quell_controller *controller = &search->machine->controller;
    double zeta = isnan(controller->damping) ? damping * SEARCH_DAMPING_STEP : controller->damping;
    reading list[SEARCH_READINGS_MAX];
    out->count = list_readings(controller, zeta, list);
    for (size_t i = 0; i < out->count; i++) {
        out->unit[i] = unit_shaper(search, family, list[i].damping_ratio);
        if (out->unit[i] == NULL)
            return false;
        /* A controller known to read damped frequencies is told accordingly; only doubt makes a difference. */
        bool doubt = controller->frequency == QUELL_READING_UNKNOWN && list[i].frequency == QUELL_DAMPED;
        out->factor[i] = doubt ? 1 / sqrt(1 - list[i].damping_ratio * list[i].damping_ratio) : 1;
    }
    out->unit_spread_s = search_spread(out->unit[0]);
    return out->unit_spread_s > 0;
}

/* Impulse times as the controller's clock can place them; impulses that fall together are added. */
void search_round_to_ticks(quell_shaper *shaper, double tick_s)
{
    size_t kept = 0;
    for (size_t i = 0; i < shaper->count; i++) {
        double time_s = round(shaper->time_s[i] / tick_s) * tick_s;
        if (kept > 0 && time_s - shaper->time_s[kept - 1] < tick_s / 2) {
            shaper->amplitude[kept - 1] += shaper->amplitude[i];
            continue;
        }
        shaper->time_s[kept] = time_s;
        shaper->amplitude[kept++] = shaper->amplitude[i];
    }
    shaper->count = kept;
}

void search_place(quell_shaper *out, const quell_shaper *unit, double hz, double tick_s)
{
    out->family = unit->family;
    out->at = unit->at;
    out->at.frequency_hz = hz;
    out->count = unit->count;
    for (size_t i = 0; i < unit->count; i++) {
        out->amplitude[i] = unit->amplitude[i];
        out->time_s[i] = unit->time_s[i] / hz;
    }
    if (tick_s > 0)
        search_round_to_ticks(out, tick_s);
}

bool search_realise(search_context *search, search_family *family, const setting_told *told,
                    search_setting *out)
{
    const quell_controller *controller = &search->machine->controller;
    reading list[SEARCH_READINGS_MAX];
    out->told = *told;
    out->readings = list_readings(controller, setting_damping_ratio(controller, told), list);
    for (size_t i = 0; i < out->readings; i++) {
        const quell_shaper *unit = unit_shaper(search, family, list[i].damping_ratio);
        if (unit == NULL)
            return false;
        double hz = setting_natural_hz(controller, told, list[i].damping_ratio, list[i].frequency);
        search_place(&out->shaper[i], unit, hz, controller->tick_s);
    }
    return true;
}

double search_setting_residual(const axis_needs *needs, const search_setting *setting, double give_up_above)
{
    double worst = 0;
    for (size_t i = 0; i < setting->readings && worst <= give_up_above; i++)
        worst = fmax(worst, needs_residual_worst(needs, &setting->shaper[i], give_up_above));
    return worst;
}
