/* quell tailor --verify FILE: a tailored shaper and its proof from a file, checked anew. */
#include "cli/tailor_view.h"

#include <math.h>
#include <string.h>

static quell_status print_verdict(cli_run *run, const quell_proof *proof, bool valid, double bound)
{
    const quell_certificate *certificate = &proof->certificate;
    if (run->given.json) {
        quell_json json = quell_json_begin("quell.tailor/1");
        quell_json_bool(&json, json.root, "valid", valid);
        quell_json_number(&json, json.root, "bound", bound, "the check ended before it was found");
        quell_json_text(&json, json.root, "why", valid ? "the proof holds" : run->err.text);
        return cli_print_json(run, &json);
    }
    if (valid)
        printf("The proof holds: every non-negative shaper of %s ms or less leaves more than %s %%\n"
               "of some mode of the bands, and the limit is %s %%. The shaper itself takes %s ms\n"
               "and leaves %s %% at most.\n",
               quell_number_fixed(1e3 * certificate->duration_s, 3).text, quell_number_short(100 * bound, 5).text,
               quell_number_short(100 * certificate->residual_limit, 4).text,
               quell_number_fixed(1e3 * proof->shaper.time_s[proof->shaper.count - 1], 3).text,
               quell_number_short(100 * quell_bands_residual(&proof->bands, &proof->shaper), 4).text);
    return QUELL_OK;
}

quell_status tailor_verify(cli_run *run)
{
    quell_file file;
    quell_source source;
    quell_proof *proof = QUELL_NEW(run->arena, quell_proof, 1);
    double bound = (double)NAN;
    if (proof == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a proof");
    quell_status status = quell_file_open(&file, run->given.tailor.verify, &source, &run->err);
    if (status != QUELL_OK)
        return status;
    status = quell_proof_read(proof, &source, &run->err);
    quell_file_close(&file);
    if (status != QUELL_OK)
        return status;
    status = quell_proof_verify(proof, &bound, &run->err);
    if (status != QUELL_OK)
        quell_error_set_file(&run->err, run->given.tailor.verify);
    quell_status printed = print_verdict(run, proof, status == QUELL_OK, bound);
    return status != QUELL_OK ? status : printed;
}
