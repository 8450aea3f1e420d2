/* quell predict: where the modes come from. */
#include "cli/predict_view.h"

#include <math.h>
#include <string.h>

#define HZ_MIN 0.01
#define HZ_MAX 1e6
#define PARTICIPATION_MAX 1e3

/* HZ:ZETA[:C]; *stated: with C. */
static quell_status read_mode(cli_run *run, const char *text, quell_mode *out, bool *stated)
{
    char shown[64];
    quell_parts parts;
    bool fits = quell_split(&parts, text, ':');
    const double unknown = (double)NAN;
    *out = (quell_mode){.participation = 1,
                        .frequency_ci95_hz = {unknown, unknown},
                        .damping_ratio_ci95 = {unknown, unknown},
                        .participation_ci95 = {unknown, unknown},
                        .direction = {unknown, unknown, unknown}};
    *stated = parts.count == 3;
    fits = fits && (parts.count == 2 || parts.count == 3) &&
           quell_quantity_parse(parts.part[0], QUELL_FREQUENCY, "Hz", &out->frequency_hz, NULL) == QUELL_OK &&
           quell_quantity_parse(parts.part[1], QUELL_RATIO, "", &out->damping_ratio, NULL) == QUELL_OK &&
           (parts.count == 2 || quell_number_parse(parts.part[2], &out->participation, NULL) == QUELL_OK) &&
           out->frequency_hz >= HZ_MIN && out->frequency_hz <= HZ_MAX && out->damping_ratio >= 0 && out->damping_ratio < 1 &&
           fabs(out->participation) <= PARTICIPATION_MAX;
    return fits ? QUELL_OK
                : quell_fail(&run->err, QUELL_E_USAGE,
                             "option --mode: found '%s', want HZ:ZETA or HZ:ZETA:C such as 47.3:0.046:1, HZ above 0, ZETA "
                             "from 0 to below 1, C from -1000 to 1000",
                             quell_printable(shown, sizeof shown, text, strlen(text)));
}

static quell_status from_options(cli_run *run, quell_modes *modes, bool *assumed_one)
{
    const cli_list *list = &run->given.predict.mode;
    if (list->count > QUELL_MODES_MAX)
        return quell_fail(&run->err, QUELL_E_USAGE, "%zu times --mode, want at most %d", list->count, QUELL_MODES_MAX);
    *modes = (quell_modes){.excitation = "stated", .participation_known = true};
    for (size_t i = 0; i < list->count; i++) {
        bool stated;
        quell_status status = read_mode(run, list->item[i], &modes->mode[modes->count++], &stated);
        if (status != QUELL_OK)
            return status;
        *assumed_one = *assumed_one || !stated;
    }
    return QUELL_OK;
}

quell_status predict_modes(cli_run *run, predict_view *view)
{
    const cli_list *files = &run->given.files;
    quell_modes *modes = QUELL_NEW(run->arena, quell_modes, 1);
    if (modes == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for modes");
    if ((files->count == 0) == (run->given.predict.mode.count == 0))
        return quell_fail(&run->err, QUELL_E_USAGE, "found %s, want one of them: recordings, a file of saved modes, or --mode HZ:ZETA[:C]",
                          files->count == 0 ? "no modes" : "both files and --mode");
    view->modes = modes;
    view->source = files->count > 0 ? files->item[0] : NULL;
    quell_status status = QUELL_OK;
    if (files->count == 0)
        status = from_options(run, modes, &view->assumed_one);
    else
        status = cli_modes_given(run, modes, &view->axis);
    if (status == QUELL_OK && files->count == 0)
        status = cli_driven_axis(run, &view->axis);
    if (status == QUELL_OK && modes->count == 0) {
        quell_error_set_file(&run->err, view->source);
        status = quell_fail(&run->err, QUELL_E_NOT_MET, "holds no mode, want one at least");
    }
    view->has_amplitude = true;
    for (size_t k = 0; k < modes->count; k++)
        view->has_amplitude = view->has_amplitude && isfinite(modes->mode[k].participation);
    return status;
}
