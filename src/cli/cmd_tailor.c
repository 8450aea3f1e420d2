/* quell tailor: the shortest shaper for given bands, with its proof. */
#include "cli/tailor_view.h"

#include <math.h>
#include <string.h>

#define WORTH_A_LIST 0.03 /* shorter by less than this is not worth entering a list of impulses: our own judgement */

#define KNOT_SHARE 0.035  /* of a smooth kernel's length: the shortest kernels of the study had 4 of 121 steps */

enum { PRODUCTS_MOST = 3, ROWS_MOST = 32 };

static quell_status read_limits(cli_run *run, tailor_view *view)
{
    const cli_options *given = &run->given;
    double limit = given->residual_limit, tick_s = given->tailor.tick_s, impulses = given->tailor.impulses;
    if (isnan(limit))
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "the residual limit is not stated; how much may be left is yours to say: want --residual-limit 5%%");
    if (!(limit >= QUELL_RESIDUAL_LIMIT_MIN && limit < 1))
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "option --residual-limit: found %s %%, want 0.1 %% or more, and less than 100 %%",
                          quell_number_short(100 * limit, 4).text);
    if (!isnan(impulses) && !(impulses >= 2 && impulses <= QUELL_SHAPER_MAX))
        return quell_fail(&run->err, QUELL_E_USAGE, "option --impulses: found %g, want 2 to %d: one impulse shapes nothing",
                          impulses, QUELL_SHAPER_MAX);
    double lowest_hz = HUGE_VAL;
    for (size_t k = 0; k < view->bands.count; k++)
        lowest_hz = fmin(lowest_hz, view->bands.band[k].hz[0]);
    if (!isnan(tick_s) && !(tick_s > 0 && tick_s <= 0.25 / lowest_hz))
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "option --tick: found %s ms, want more than 0 and at most %s ms, a quarter of the longest period",
                          quell_number_short(1e3 * tick_s, 4).text, quell_number_short(250 / lowest_hz, 4).text);
    double smooth = given->tailor.smooth;
    if (!isnan(smooth) && !(smooth >= 1 && smooth <= 4))
        return quell_fail(&run->err, QUELL_E_USAGE, "option --smooth: found %g, want the order of the splines, 1 to 4", smooth);
    if (!isnan(smooth) && (!isnan(tick_s) || !isnan(impulses)))
        return quell_fail(&run->err, QUELL_E_USAGE, "option --smooth: a smooth kernel has no ticks and no count of impulses");
    view->smooth = isnan(smooth) ? 0 : (size_t)smooth;
    view->limits = (quell_tailor_limits){limit, isnan(tick_s) ? 0 : tick_s, isnan(impulses) ? 0 : (size_t)impulses};
    return QUELL_OK;
}

/* With no more digits than a controller takes; the frequency downwards, as the limit is met from below. */
static void name_textbook(tailor_view *view)
{
    char spec[128];
    view->textbook_name[0] = '\0';
    for (size_t p = 0; p < view->textbook.parts; p++) {
        quell_shaper part = view->textbook.part[p];
        part.at.frequency_hz = fmax(floor(1e3 * part.at.frequency_hz) / 1e3, QUELL_DESIGN_HZ_MIN);
        part.at.damping_ratio = round(1e4 * part.at.damping_ratio) / 1e4;
        part.at.tolerance = fmax(round(1e4 * part.at.tolerance), 1) / 1e4;
        size_t used = strlen(view->textbook_name);
        snprintf(view->textbook_name + used, sizeof view->textbook_name - used, "%s%s", p > 0 ? "*" : "",
                 quell_shaper_format(&part, spec, sizeof spec));
    }
}

static quell_status design(cli_run *run, tailor_view *view)
{
    quell_status status = view->smooth > 0 ? quell_tailor_smooth(&view->made, &view->bands, &view->limits, view->smooth,
                                                                 KNOT_SHARE, &run->err)
                                           : quell_tailor(&view->made, &view->bands, &view->limits, &run->err);
    if (status != QUELL_OK)
        return status;
    view->moments = quell_shaper_measure(&view->made.shaper);
    const quell_textbook_limits limits = {
        .residual_limit = view->limits.residual_limit,
        .parts = view->bands.count < PRODUCTS_MOST ? view->bands.count : PRODUCTS_MOST};
    cli_progress(run, "textbook shapers", 0.5, false);
    status = quell_textbook_best(&view->textbook, &view->bands, &limits, &run->err);
    cli_progress(run, "textbook shapers", 1, true);
    view->has_textbook = status == QUELL_OK;
    if (status != QUELL_OK)
        return status == QUELL_E_NO_SHAPER ? QUELL_OK : status;
    view->textbook_moments = quell_shaper_measure(&view->textbook.shaper);
    name_textbook(view);
    return QUELL_OK;
}

/* ---------------------------------------------------------------- tables */

static void print_impulses(cli_run *run, const quell_shaper *shaper)
{
    if (shaper->count > ROWS_MOST) {
        printf("%zu impulses at even steps of %s ms: --json and --out write them\n", shaper->count,
               quell_number_fixed(1e3 * shaper->time_s[shaper->count - 1] / (double)(shaper->count - 1), 4).text);
        return;
    }
    static const quell_column columns[] = {{"impulse", "", false}, {"amplitude", "", false}, {"time", "ms", false}};
    quell_table *table = quell_table_create(run->arena, columns, 3);
    for (size_t i = 0; i < shaper->count; i++) {
        quell_table_cell(table, "%zu", i + 1);
        quell_table_number(table, shaper->amplitude[i], 6);
        quell_table_number(table, 1e3 * shaper->time_s[i], 4);
    }
    quell_table_print(table, stdout, 0);
}

static void print_bands(cli_run *run, const tailor_view *view)
{
    static const quell_column columns[] = {{"band", "Hz", false},
                                           {"damping", "ratio", false},
                                           {"tailored leaves", "%", false},
                                           {"textbook leaves", "%", false}};
    quell_table *table = quell_table_create(run->arena, columns, 4);
    for (size_t k = 0; k < view->bands.count; k++) {
        const quell_band *band = &view->bands.band[k];
        quell_table_cell(table, "%s to %s", quell_number_short(band->hz[0], 5).text, quell_number_short(band->hz[1], 5).text);
        quell_table_cell(table, "%s to %s", quell_number_short(band->damping_ratio[0], 3).text,
                         quell_number_short(band->damping_ratio[1], 3).text);
        quell_table_number(table, 100 * quell_band_residual(band, &view->made.shaper, NULL), 2);
        quell_table_number(table, view->has_textbook ? 100 * quell_band_residual(band, &view->textbook.shaper, NULL)
                                                     : (double)NAN, 2);
    }
    putchar('\n');
    quell_table_print(table, stdout, 0);
}

static void print_both(cli_run *run, const tailor_view *view)
{
    static const quell_column columns[] = {{"shaper", "", true},       {"impulses", "", false}, {"duration", "ms", false},
                                           {"spread", "ms", false}, {"mean delay", "ms", false}};
    quell_table *table = quell_table_create(run->arena, columns, 5);
    quell_table_cell(table, "%s", view->smooth > 0 ? "tailored, smooth" : "tailored");
    quell_table_cell(table, "%zu", view->made.shaper.count);
    quell_table_number(table, 1e3 * view->moments.duration_s, 3);
    quell_table_number(table, 1e3 * view->moments.spread_s, 3);
    quell_table_number(table, 1e3 * view->moments.mean_s, 3);
    if (view->has_textbook) {
        quell_table_cell(table, "best textbook");
        quell_table_cell(table, "%zu", view->textbook.shaper.count);
        quell_table_number(table, 1e3 * view->textbook_moments.duration_s, 3);
        quell_table_number(table, 1e3 * view->textbook_moments.spread_s, 3);
        quell_table_number(table, 1e3 * view->textbook_moments.mean_s, 3);
    }
    putchar('\n');
    quell_table_print(table, stdout, 0);
    if (view->has_textbook)
        printf("\nbest textbook: %s\n", view->textbook_name);
    if (view->made.proved)
        printf("proof: every non-negative shaper of %s ms or less leaves more than %s %%\n",
               quell_number_fixed(1e3 * view->made.certificate.duration_s, 3).text,
               quell_number_short(100 * view->limits.residual_limit, 4).text);
}

/* ---------------------------------------------------------------- words */

static void say_gain(const cli_run *run, const tailor_view *view)
{
    if (!view->has_textbook) {
        cli_say(run, "No textbook shaper, nor a product of them, keeps the limit over these bands.");
        return;
    }
    double gain = 1 - view->moments.duration_s / view->textbook_moments.duration_s;
    quell_number_text percent = quell_number_percent(fabs(gain));
    if (view->smooth > 0)
        cli_say(run, "It is %s %% %s than the best textbook shaper of impulses under the same guarantee.", percent.text,
                gain >= 0 ? "shorter" : "longer");
    else if (gain >= WORTH_A_LIST)
        cli_say(run, "It is %s %% shorter than the best textbook shaper under the same guarantee.", percent.text);
    else
        cli_say(run,
                "It is %s %% %s than the best textbook shaper under the same guarantee: not worth a list of impulses of its "
                "own; use the textbook one.",
                percent.text, gain >= 0 ? "shorter" : "longer");
}

static void say_meaning(const cli_run *run, const tailor_view *view)
{
    if (view->merged > 0)
        cli_say(run, "%zu band%s that overlapped %s made one with another.", view->merged, view->merged > 1 ? "s" : "",
                view->merged > 1 ? "were" : "was");
    if (view->damping_unknown)
        cli_say(run,
                "The damping ratio is not stated: every one from 0 to %g is designed for, which makes the shaper longer. "
                "`quell modes` measures it: --band LO:HI:ZLO:ZHI.",
                TAILOR_DAMPING_UNKNOWN);
    say_gain(run, view);
    bool restricted = view->limits.tick_s > 0 || view->limits.impulses > 0;
    if (restricted)
        cli_say(run, "The proof is of shapers without ticks and of any number of impulses; with them%s a shorter one may "
                     "exist.",
                view->limits.impulses > 0 ? "" : ", by less than two ticks,");
    if (view->smooth > 0)
        cli_say(run, "A smooth kernel bends the command less sharply than impulses do and leaves less of high modes. It is not "
                     "proved to be the shortest of its kind.");
    else if (!view->made.proved)
        cli_say(run, "No proof was found that nothing shorter exists; the shaper keeps the limit all the same.");
}

static quell_status show(cli_run *run, const tailor_view *view)
{
    quell_status status = QUELL_OK;
    if (run->given.json) {
        quell_json json = tailor_json(view);
        status = cli_print_json(run, &json);
    } else {
        print_impulses(run, &view->made.shaper);
        print_bands(run, view);
        print_both(run, view);
    }
    if (status == QUELL_OK && run->given.out != NULL) {
        quell_json json = tailor_json(view);
        status = cli_keep_json(run, "tailor", &json);
    }
    if (status == QUELL_OK && run->given.plot != NULL)
        status = tailor_plot(run, view);
    return status;
}

static quell_status run_tailor(cli_run *run)
{
    tailor_view *view = QUELL_NEW(run->arena, tailor_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a design");
    if (run->given.files.count > 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "found '%.80s', want --band LO:HI:ZLO:ZHI", run->given.files.item[0]);
    if (run->given.tailor.verify != NULL)
        return tailor_verify(run);
    quell_status status = tailor_bands(run, view);
    if (status == QUELL_OK)
        status = read_limits(run, view);
    if (status == QUELL_OK)
        status = design(run, view);
    if (status == QUELL_OK)
        status = show(run, view);
    if (status != QUELL_OK)
        return status;
    say_meaning(run, view);
    cli_next(run, "quell tailor ... --out DIR keeps the proof, quell tailor --verify DIR/tailor.json checks it");
    return QUELL_OK;
}

static const cli_option tailor_rows[] = {
    {"--band", "LO:HI[:ZLO:ZHI]", CLI_REPEAT, offsetof(cli_options, tailor.band),
     "where a mode may lie: natural frequency in Hz and damping ratio; up to 8 of them"},
    {"--residual-limit", "5%", CLI_RATIO, offsetof(cli_options, residual_limit),
     "what may be left of any of these modes"},
    {"--tick", "0.05ms", CLI_SECONDS, offsetof(cli_options, tailor.tick_s), "times are multiples of this"},
    {"--impulses", "N", CLI_COUNT, offsetof(cli_options, tailor.impulses), "at most so many impulses"},
    {"--smooth", "ORDER", CLI_COUNT, offsetof(cli_options, tailor.smooth),
     "a smooth kernel of B-splines of this order (2 or 3) instead of impulses"},
    {"--verify", "FILE", CLI_TEXT, offsetof(cli_options, tailor.verify),
     "check the proof in a file that --json or --out wrote"},
    {0},
};
static const cli_group tailor_group = {"Design", tailor_rows};

static const cli_group *const groups[] = {&tailor_group, &cli_output_options, NULL};

const cli_command cli_tailor = {
    "tailor",
    "",
    "the shortest shaper for given bands, with its proof",
    "Designs the shortest shaper without negative impulses that leaves at most the residual limit of every mode in the "
    "bands, whatever its natural frequency and damping ratio there, and proves that none shorter than 0.999 of it does. "
    "Beside it stands the best textbook shaper, or product of them, under the same guarantee, with the gain there is.\n"
    "The proof is a handful of modes with weights; --verify checks one by a routine that shares no code with the design.",
    "  quell tailor --band 38:46:0.03:0.1 --band 64:78:0.03:0.1 --residual-limit 5%\n"
    "  quell tailor --band 44:51:0.03:0.06 --residual-limit 10% --tick 0.05ms --out result\n",
    groups,
    run_tailor,
};
