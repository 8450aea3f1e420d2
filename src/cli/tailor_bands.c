/* --band LO:HI[:ZLO:ZHI] of `quell tailor`. */
#include "cli/tailor_view.h"

#include <string.h>

static quell_status refuse(cli_run *run, const char *text)
{
    char shown[64];
    return quell_fail(&run->err, QUELL_E_USAGE,
                      "option --band: found '%s', want LO:HI or LO:HI:ZLO:ZHI such as 44:51:0.03:0.06, frequencies in Hz "
                      "from 0.01 to 10000 and damping ratios from 0 to 0.3",
                      quell_printable(shown, sizeof shown, text, strlen(text)));
}

static quell_status read_band(cli_run *run, const char *text, quell_band *out, bool *damping_unknown)
{
    quell_parts parts;
    if (!quell_split(&parts, text, ':') || (parts.count != 2 && parts.count != 4))
        return refuse(run, text);
    for (size_t i = 0; i < 2; i++)
        if (quell_quantity_parse(parts.part[i], QUELL_FREQUENCY, "Hz", &out->hz[i], NULL) != QUELL_OK)
            return refuse(run, text);
    *damping_unknown = *damping_unknown || parts.count == 2;
    out->damping_ratio[0] = 0;
    out->damping_ratio[1] = TAILOR_DAMPING_UNKNOWN;
    for (size_t i = 2; i < parts.count; i++)
        if (quell_quantity_parse(parts.part[i], QUELL_RATIO, "", &out->damping_ratio[i - 2], NULL) != QUELL_OK)
            return refuse(run, text);
    return QUELL_OK;
}

quell_status tailor_bands(cli_run *run, tailor_view *view)
{
    const cli_list *given = &run->given.tailor.band;
    if (given->count == 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "no band given, want --band LO:HI:ZLO:ZHI, such as 44:51:0.03:0.06");
    if (given->count > QUELL_TAILOR_BANDS_MAX)
        return quell_fail(&run->err, QUELL_E_USAGE, "%zu bands given, want at most %d", given->count, QUELL_TAILOR_BANDS_MAX);
    for (size_t k = 0; k < given->count; k++) {
        quell_status status = read_band(run, given->item[k], &view->bands.band[k], &view->damping_unknown);
        if (status != QUELL_OK)
            return status;
        view->bands.count++;
    }
    quell_status status = quell_bands_check(&view->bands, &run->err);
    if (status == QUELL_OK)
        view->merged = quell_bands_merge(&view->bands);
    return status;
}
