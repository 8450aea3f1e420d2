/* quell shaper: the impulses, moments, insensitivity and residuals of one shaper. */
#include "cli/shaper_view.h"

#include <math.h>
#include <string.h>

static quell_status read_spec(cli_run *run, shaper_view *view)
{
    if (run->given.files.count != 1)
        return quell_fail(&run->err, QUELL_E_USAGE, "%zu shapers given, want one such as zvd:47.2:0.05",
                          run->given.files.count);
    return quell_shaper_parse(&view->shaper, run->given.files.item[0], &run->err);
}

static quell_status refuse_point(cli_run *run, const char *text)
{
    char shown[64];
    return quell_fail(
        &run->err, QUELL_E_USAGE,
        "option --at: found '%s', want HZ:ZETA such as 47.3:0.05, HZ %g to %g and ZETA from 0 to "
        "below 1",
        quell_printable(shown, sizeof shown, text, strlen(text)), QUELL_DESIGN_HZ_MIN, QUELL_DESIGN_HZ_MAX);
}

/* HZ:ZETA. */
static quell_status read_point(cli_run *run, const char *text, shaper_point *out)
{
    quell_parts parts;
    if (!quell_split(&parts, text, ':') || parts.count != 2 ||
        quell_quantity_parse(parts.part[0], QUELL_FREQUENCY, "Hz", &out->frequency_hz, NULL) != QUELL_OK ||
        quell_quantity_parse(parts.part[1], QUELL_RATIO, "", &out->damping_ratio, NULL) != QUELL_OK ||
        !(out->frequency_hz >= QUELL_DESIGN_HZ_MIN && out->frequency_hz <= QUELL_DESIGN_HZ_MAX) ||
        !(out->damping_ratio >= 0 && out->damping_ratio < 1))
        return refuse_point(run, text);
    return QUELL_OK;
}

static void name_shaper(shaper_view *view)
{
    const quell_shaper *shaper = &view->shaper;
    char frequency[32], damping[32];
    if (shaper->family != NULL)
        snprintf(view->name, sizeof view->name, "%s for %s Hz, damping ratio %s", shaper->family->title,
                 quell_number_print(frequency, sizeof frequency, shaper->at.frequency_hz, 6),
                 quell_number_print(damping, sizeof damping, shaper->at.damping_ratio, 6));
    else if (shaper->count == 1)
        snprintf(view->name, sizeof view->name, "No shaper");
    else
        snprintf(view->name, sizeof view->name, "A shaper of %zu impulses", shaper->count);
}

/* The mode at which insensitivity is stated. */
static void choose_mode(shaper_view *view)
{
    const quell_shaper *shaper = &view->shaper;
    view->has_mode = shaper->family != NULL || view->points > 0;
    if (shaper->family != NULL) {
        view->frequency_hz = shaper->at.frequency_hz;
        view->damping_ratio = shaper->at.damping_ratio;
    } else if (view->points > 0) {
        view->frequency_hz = view->point[0].frequency_hz;
        view->damping_ratio = view->point[0].damping_ratio;
    } else {
        const double length_s = view->moments.duration_s;
        view->frequency_hz = length_s > 0 ? 0.5 * (double)(shaper->count - 1) / length_s : 1;
    }
    if (view->has_mode)
        view->insensitivity = quell_shaper_insensitivity(shaper, view->frequency_hz, view->damping_ratio,
                                                         quell_shaper_tolerance(shaper));
}

static quell_status gather(cli_run *run, shaper_view *view)
{
    quell_status status = read_spec(run, view);
    for (size_t i = 0; i < run->given.at.count && status == QUELL_OK; i++) {
        shaper_point *point = &view->point[view->points++];
        status = read_point(run, run->given.at.item[i], point);
        if (status == QUELL_OK)
            point->residual = quell_residual(&view->shaper, point->frequency_hz, point->damping_ratio);
    }
    if (status != QUELL_OK)
        return status;
    view->moments = quell_shaper_measure(&view->shaper);
    quell_shaper_format(&view->shaper, view->spec, sizeof view->spec);
    name_shaper(view);
    choose_mode(view);
    return QUELL_OK;
}

/* ---------------------------------------------------------------- tables */

static void print_impulses(cli_run *run, const shaper_view *view)
{
    static const quell_column columns[] = {
        {"impulse", "", false}, {"amplitude", "", false}, {"time", "ms", false}};
    quell_table *table = quell_table_create(run->arena, columns, 3);
    for (size_t i = 0; i < view->shaper.count; i++) {
        quell_table_cell(table, "%zu", i + 1);
        quell_table_number(table, view->shaper.amplitude[i], 6);
        quell_table_number(table, 1e3 * view->shaper.time_s[i], 4);
    }
    quell_table_print(table, stdout, 0);
}

static void print_moments(cli_run *run, const shaper_view *view)
{
    static const quell_column columns[] = {{"mean delay", "ms", false},
                                           {"spread", "ms", false},
                                           {"mean abs. deviation", "ms", false},
                                           {"duration", "ms", false}};
    quell_table *table = quell_table_create(run->arena, columns, 4);
    quell_table_number(table, 1e3 * view->moments.mean_s, 4);
    quell_table_number(table, 1e3 * view->moments.spread_s, 4);
    quell_table_number(table, 1e3 * view->moments.mean_abs_deviation_s, 4);
    quell_table_number(table, 1e3 * view->moments.duration_s, 4);
    putchar('\n');
    quell_table_print(table, stdout, 0);
}

static void print_insensitivity(cli_run *run, const shaper_view *view)
{
    static const quell_column columns[] = {{"residual up to", "%", false},
                                           {"from", "Hz", false},
                                           {"to", "Hz", false},
                                           {"insensitivity", "width / frequency", false}};
    char tolerance[32];
    const bool none = view->insensitivity.width <= 0; /* more than the tolerance is left at the mode itself */
    quell_table *table = quell_table_create(run->arena, columns, 4);
    quell_table_cell(table, "%s",
                     quell_number_print(tolerance, sizeof tolerance, 100 * view->insensitivity.tolerance, 4));
    quell_table_number(table, none ? (double)NAN : view->insensitivity.low_hz, 3);
    quell_table_number(table, none ? (double)NAN : view->insensitivity.high_hz, 3);
    quell_table_number(table, view->insensitivity.width, 4);
    putchar('\n');
    quell_table_print(table, stdout, 0);
}

static void print_points(cli_run *run, const shaper_view *view)
{
    static const quell_column columns[] = {
        {"at", "Hz", false}, {"damping ratio", "", false}, {"residual", "%", false}};
    quell_table *table = quell_table_create(run->arena, columns, 3);
    for (size_t i = 0; i < view->points; i++) {
        quell_table_number(table, view->point[i].frequency_hz, 3);
        quell_table_number(table, view->point[i].damping_ratio, 4);
        quell_table_number(table, 100 * view->point[i].residual, 3);
    }
    putchar('\n');
    quell_table_print(table, stdout, 0);
}

static void print_tables(cli_run *run, const shaper_view *view)
{
    print_impulses(run, view);
    print_moments(run, view);
    if (view->has_mode)
        print_insensitivity(run, view);
    if (view->points > 0)
        print_points(run, view);
}

/* ---------------------------------------------------------------- JSON */

static quell_json build_json(const shaper_view *view)
{
    quell_json json = quell_json_begin("quell.shaper/1");
    cli_json_shaper(&json, json.root, "shaper", &view->shaper);
    quell_json_number(&json, json.root, "mean_s", view->moments.mean_s, "");
    quell_json_number(&json, json.root, "spread_s", view->moments.spread_s, "");
    quell_json_number(&json, json.root, "mean_abs_deviation_s", view->moments.mean_abs_deviation_s, "");
    quell_json_number(&json, json.root, "duration_s", view->moments.duration_s, "");
    if (view->has_mode) {
        json_t *band = quell_json_object(&json, json.root, "insensitivity");
        quell_json_number(&json, band, "tolerance", view->insensitivity.tolerance, "");
        quell_json_number(&json, band, "low_hz", view->insensitivity.low_hz, "");
        quell_json_number(&json, band, "high_hz", view->insensitivity.high_hz, "");
        quell_json_number(&json, band, "width", view->insensitivity.width, "");
    } else {
        quell_json_null(&json, json.root, "insensitivity", "no design mode, and none given with --at");
    }
    json_t *residual = quell_json_array(&json, json.root, "residual");
    for (size_t i = 0; i < view->points; i++) {
        json_t *item = quell_json_item(&json, residual);
        quell_json_number(&json, item, "frequency_hz", view->point[i].frequency_hz, "");
        quell_json_number(&json, item, "damping_ratio", view->point[i].damping_ratio, "");
        quell_json_number(&json, item, "residual", view->point[i].residual, "");
    }
    return json;
}

/* ---------------------------------------------------------------- words */

static bool has_negative_impulses(const quell_shaper *shaper)
{
    for (size_t i = 0; i < shaper->count; i++)
        if (shaper->amplitude[i] < 0)
            return true;
    return false;
}

static void say_meaning(const cli_run *run, const shaper_view *view)
{
    const quell_shaper *shaper = &view->shaper;
    cli_say(run,
            "%s. The commanded motion is convolved with these impulses: it comes later by the mean delay, "
            "takes longer by "
            "the duration, and where it accelerates steadily at a it is displaced by a * spread^2 / 2. The "
            "residual "
            "is the vibration left after the last impulse, relative to that of one unshaped impulse.",
            view->name);
    if (shaper->family == NULL && shaper->count > 1 && view->points == 0)
        cli_say(run, "A list or a product has no one design mode: its insensitivity is stated at the first "
                     "--at HZ:ZETA.");
    if (has_negative_impulses(shaper))
        cli_say(run, "It has negative impulses: it asks more of the drives than the command without a shaper does, and "
                     "can excite higher modes; look at those with --at.");
    if (shaper->family != NULL && (shaper->family->flags & QUELL_FAMILY_SMOOTH) != 0)
        cli_say(run, "It is a smooth kernel as a controller with a fixed clock runs it, sampled in the middle of %zu equal "
                     "parts; its first zero is at the design frequency, or, damped, its length is the one that leaves "
                     "the design mode least.",
                shaper->count);
    char held[32], hump[32];
    if (shaper->family != NULL && view->insensitivity.tolerance > 1.001 * shaper->at.tolerance)
        cli_say(run,
                "It leaves %s %% at its design mode; the hump beside it reaches %s %%, which the band counts "
                "as inside.",
                quell_number_print(held, sizeof held, 100 * shaper->at.tolerance, 4),
                quell_number_print(hump, sizeof hump, 100 * view->insensitivity.tolerance, 4));
}

static void say_next(const cli_run *run, const shaper_view *view)
{
    if (view->points == 0)
        cli_next(run, "quell shaper %s --at HZ:ZETA for what it leaves of another mode",
                 view->shaper.family != NULL ? view->spec : "SPEC");
    else
        cli_next(run, "quell choose --x RECORDING --y RECORDING --machine FILE to see it beside the others");
}

static quell_status run_shaper(cli_run *run)
{
    shaper_view view = {0};
    quell_status status = gather(run, &view);
    if (status != QUELL_OK)
        return status;
    if (run->given.json) {
        quell_json json = build_json(&view);
        status = cli_print_json(run, &json);
    } else {
        print_tables(run, &view);
    }
    if (status == QUELL_OK && run->given.out != NULL) {
        quell_json json = build_json(&view);
        status = cli_keep_json(run, "shaper", &json);
    }
    if (status == QUELL_OK && run->given.plot != NULL)
        status = cli_shaper_plot(run, &view);
    if (status != QUELL_OK)
        return status;
    say_meaning(run, &view);
    say_next(run, &view);
    return QUELL_OK;
}

static const cli_option shaper_rows[] = {
    {"--at", "HZ:ZETA", CLI_REPEAT, offsetof(cli_options, at),
     "a mode (natural frequency and damping ratio) to state the residual at; may be repeated"},
    {0},
};
static const cli_group shaper_group = {"Modes", shaper_rows};

static const cli_group *const groups[] = {&shaper_group, &cli_output_options, NULL};

const cli_command cli_shaper = {
    "shaper",
    "SPEC",
    "impulses, moments, residual and insensitivity of one shaper",
    "Designs one input shaper and prints its impulses, its moments, the band of natural frequencies over "
    "which it "
    "keeps the residual vibration within its tolerance (5 % where it has none of its own), and what it "
    "leaves of the "
    "modes given with --at.\n"
    "SPEC is FAMILY:HZ[:ZETA[:V]] with the natural frequency, the damping ratio (0 if not given) and the "
    "tolerance "
    "(0.05 if not given); or impulses:A@T,A@T,... with times in s; or several of these joined by `*`. "
    "Families: zv, "
    "zvd, zvdd, zvddd, ei, ei-two-hump, ei-three-hump. With negative impulses, which ask more of the drives and can "
    "excite "
    "higher modes: um-zv, um-zvd, um-ei. Smooth kernels, as lists of 60 impulses: box, raised-cosine, spline2, "
    "spline3, "
    "spline4.",
    "  quell shaper zvd:47.2:0.05 --at 47.2:0.05 --at 52:0.05\n"
    "  quell shaper 'zv:40:0.05*zv:65:0.02' --at 40:0.05 --plot shaper.png\n",
    groups,
    run_shaper,
};
