/* quell modes: what a person reads: the head, the table of modes, and a paragraph for each. */
#include "cli/modes_view.h"

#include <math.h>
#include <string.h>

char modes_axis_letter(const modes_view *view)
{
    const modes_recording *first = &view->recording[0];
    bool fixed = view->mount_given && first->loaded.recording.axes == 3;
    return fixed ? "xyz"[first->axis] : first->loaded.driven;
}

/* ---------------------------------------------------------------- head */

/* What was taken for the excitation, whether it was said or found, and what speaks for it. `whose`: "" or " of FILE". */
static void print_excitation(const modes_recording *of, const char *whose)
{
    const quell_shaking *shaking = &of->how.shaking;
    const char *how = shaking->stated ? ", as stated" : shaking->why != NULL ? ", found: " : "";
    char text[2048], clean[2048], run[MODES_SWEEP_WORDS];
    modes_sweep_words(of, false, run);
    snprintf(text, sizeof text, "excitation%s: %s%s%s%s%s", whose, of->modes.excitation, how,
             shaking->stated || shaking->why == NULL ? "" : shaking->why, run[0] != '\0' ? "; " : "", run);
    quell_words_print(stdout, "  ", "    ", 79, quell_printable(clean, sizeof clean, text, strlen(text)));
}

static bool shaken_alike(const modes_recording *a, const modes_recording *b)
{
    const char *why[2] = {a->how.shaking.why != NULL ? a->how.shaking.why : "",
                          b->how.shaking.why != NULL ? b->how.shaking.why : ""};
    return a->how.shaking.stated == b->how.shaking.stated && strcmp(why[0], why[1]) == 0 &&
           strcmp(a->modes.excitation, b->modes.excitation) == 0;
}

/* Recordings that were shaken alike are told of together. */
static void print_excitations(const modes_view *view)
{
    bool alike = true;
    for (size_t i = 1; i < view->recordings; i++)
        alike = alike && shaken_alike(&view->recording[0], &view->recording[i]);
    for (size_t i = 0; i < (alike ? 1 : view->recordings); i++) {
        char whose[320];
        snprintf(whose, sizeof whose, " of %s", view->recording[i].file);
        print_excitation(&view->recording[i], alike ? "" : whose);
    }
}

static void print_name(const modes_recording *of)
{
    char name[320];
    printf("%s%s%s\n", quell_printable(name, sizeof name, of->file, strlen(of->file)),
           of->label != NULL ? "  " : "", of->label != NULL ? of->label : "");
}

/* Chance plays no part in a sweep. */
static void print_fit(const modes_view *view, const char *from_hz, const char *to_hz)
{
    const quell_modes *modes = &view->modes;
    double chance = quell_modes_chance_misfit(modes, &view->recording[0].spectrum), db = 10 / log(10);
    printf("  fitted from %s to %s Hz, misfit %s dB rms", from_hz, to_hz,
           quell_number_fixed(modes->fit.rms_log_misfit * db, 2).text);
    if (chance > 0)
        printf(" (chance alone: %s dB)", quell_number_fixed(chance * db, 2).text);
    putchar('\n');
}

/* What the fit came to, of free decays: of the first recording, as the pictures are. */
static void print_decays(const modes_view *view)
{
    const quell_decays *decays = &view->recording[0].how.decays;
    if (decays->count == 0)
        return;
    double seconds = (double)decays->window / view->recording[0].loaded.recording.rate_hz;
    printf("  fitted to %zu decay%s of %s s, misfit %s m/s2 rms (noise alone: %s m/s2)\n", decays->stops,
           decays->stops == 1 ? "" : "s", quell_number_fixed(seconds, 2).text,
           quell_number_short(decays->rms_misfit_mps2, 2).text, quell_number_short(decays->noise_mps2, 2).text);
}

bool modes_fits_density(const quell_modes *modes)
{
    return modes->fit.parameters > 0 && modes->kind != QUELL_EXCITE_STOPS;
}

static void print_head(const modes_view *view)
{
    char letter = modes_axis_letter(view), a[64], b[64];
    const quell_modes *modes = &view->modes;
    for (size_t i = 0; i < view->recordings; i++)
        print_name(&view->recording[i]);
    if (letter != 0)
        printf("  %c axis\n", letter);
    else
        printf("  the axis that moves, called X here (--axis names it)\n");
    print_excitations(view);
    for (size_t i = 0; i < view->recordings; i++)
        cli_print_cautions(&view->recording[i].loaded.recording.findings, "  ");
    quell_number_print_fixed(a, sizeof a, modes->band_hz[0], 1);
    quell_number_print_fixed(b, sizeof b, modes->band_hz[1], 1);
    if (modes->count == 0) {
        printf("  searched %s to %s Hz: no mode found\n", a, b);
        return;
    }
    if (modes->kind == QUELL_EXCITE_STOPS)
        print_decays(view);
    else if (modes_fits_density(modes))
        print_fit(view, a, b);
}

/* ---------------------------------------------------------------- each mode */

static void print_place(const modes_view *view, const quell_mode *mode)
{
    char direction[64];
    quell_number_text f = quell_number_fixed(mode->frequency_hz, 2);
    quell_direction_words(mode->direction, direction, sizeof direction);
    if (mode->seen_on != view->recording[0].axis && mode->seen_on < 3)
        printf("  %s Hz moves along %c, seen only there%s%s%s\n", f.text, "XYZ"[mode->seen_on],
               direction[0] != '\0' ? " (" : "", direction, direction[0] != '\0' ? ")" : "");
    else
        printf("  %s Hz %s\n", f.text,
               direction[0] != '\0' ? direction : "in a direction not known: three axes are needed");
}

static void print_remarks(const modes_view *view)
{
    for (size_t k = 0; k < view->modes.count; k++) {
        const quell_mode *mode = &view->modes.mode[k];
        print_place(view, mode);
        modes_print_spread(view, k);
        for (size_t d = 0; d < mode->doubts; d++)
            quell_words_print(stdout, "    doubt: ", "           ", 79, mode->doubt[d]);
    }
    bool known = true;
    for (size_t k = 0; k < view->modes.count; k++)
        known = known && isfinite(view->modes.mode[k].participation);
    if (known)
        return;
    char text[200];
    snprintf(text, sizeof text, "participation: %s", modes_why_no_participation(&view->modes));
    quell_words_print(stdout, "  ", "    ", 79, text);
}

static void print_ignored(const modes_view *view)
{
    for (size_t i = 0; i < view->ignored_count; i++) {
        char text[256];
        snprintf(text, sizeof text, "ignored: %s Hz, %s",
                 quell_number_short(view->ignored[i].frequency_hz, 6).text, view->ignored[i].reason);
        quell_words_print(stdout, "  ", "    ", 79, text);
    }
    for (size_t i = 0; i < view->idle->count; i++)
        printf("  ignored: %s Hz, " CLI_IDLE_REASON " (%s m/s2)\n",
               quell_number_fixed(view->idle->line[i].frequency_hz, 1).text,
               quell_number_short(view->idle->line[i].amplitude_mps2, 2).text);
}

const char *modes_why_no_participation(const quell_modes *modes)
{
    if (modes->kind == QUELL_EXCITE_STOPS)
        return "not known: a free decay does not tell how hard it was driven; a sweep does";
    if (modes->kind == QUELL_EXCITE_AMBIENT)
        return "not known: what shakes a machine at rest is not measured; a sweep tells it";
    return "not known";
}

void modes_print(cli_run *run, const modes_view *view)
{
    print_head(view);
    if (view->modes.count > 0)
        modes_table_print(run, &view->modes);
    if (view->modes.count > 0 || view->ignored_count > 0 || view->idle->count > 0)
        putchar('\n');
    print_remarks(view);
    print_ignored(view);
}
