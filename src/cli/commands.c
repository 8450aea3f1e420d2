/* The table of commands. */
#include "cli/cli.h"

static const cli_command *const table[] = {
    &cli_check,   &cli_spectrum, &cli_modes,    &cli_shaper, &cli_tailor, &cli_machine,  &cli_choose,
    &cli_predict, &cli_compare,  &cli_identify, &cli_excite, &cli_ripple, &cli_simulate, NULL,
};

const cli_command *const *cli_commands(size_t *count)
{
    *count = sizeof table / sizeof table[0] - 1;
    return table;
}
