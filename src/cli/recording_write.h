/* Writing a simulated recording as delimited text, plain or gzip. */
#ifndef QUELL_CLI_RECORDING_WRITE_H
#define QUELL_CLI_RECORDING_WRITE_H

#include "quell/quell.h"

/* Columns t_s;a1_mps2;a2_mps2;a3_mps2, with as many decimals as the stamps and the step_mps2 (0: none) call for.
   The gzip header holds no time, so the same recording gives the same bytes.
   Stops early when the stream fails: the caller checks it, as for all output. QUELL_OK or QUELL_E_MEMORY. */
quell_status cli_recording_write(const quell_simulated *made, double step_mps2, FILE *stream, bool gzip,
                                 quell_error *err);

#endif
