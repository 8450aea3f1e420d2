/* What the files of `quell simulate` share; its small languages: modes, lines, excitation, preamble, rotation and noise as text. */
#ifndef QUELL_CLI_SIMULATE_SPEC_H
#define QUELL_CLI_SIMULATE_SPEC_H

#include "cli/cli.h"

/* Each fills its part of the simulation, or returns QUELL_E_USAGE with what was found and wanted. */

/* HZ:ZETA, HZ:ZETA:C (along the driven axis) or HZ:ZETA:CX,CY,CZ; appended. The axis must be set. */
quell_status simulate_spec_mode(quell_simulation *setup, const char *text, quell_error *err);

/* HZ:ACCELERATION:X,Y,Z; appended. */
quell_status simulate_spec_line(quell_simulation *setup, const char *text, quell_error *err);

/* sweep:HZ:HZ:RATE:ACCELERATION, random:LEVEL, stops:LENGTH:SPEED:ACCELERATION:DWELL or ambient:LEVEL. */
quell_status simulate_spec_excitation(quell_simulation *setup, const char *text, quell_error *err);

/* none, or rest=3s,strokes=2,length=60mm,...; what is not named keeps its default. */
quell_status simulate_spec_preamble(quell_preamble *preamble, const char *text, quell_error *err);

/* RX,RY,RZ and a unit of angle. */
quell_status simulate_spec_rotation(double rotation_rad[3], const char *text, quell_error *err);

/* An acceleration and "/rtHz". */
quell_status simulate_spec_noise(double *noise_mps2_per_rthz, const char *text, quell_error *err);

/* --motion PLAN; planned->list is to be freed, also after a failure. */
quell_status simulate_motion(cli_run *run, quell_simulation *setup, quell_planned_motion *planned);

/* --json: the true values on standard output. */
quell_status simulate_print_truth(cli_run *run, const char *file, const quell_simulation *setup, const quell_simulated *made);

/* The preamble that is made unless told otherwise. */
extern const quell_preamble simulate_default_preamble;

#endif
