/* --machine FILE. */
#include "cli/cli.h"

quell_status cli_machine_read(cli_run *run, const char *path, quell_machine *machine)
{
    quell_machine_unknown(machine);
    if (path == NULL)
        return QUELL_OK;
    quell_file file;
    quell_source source;
    quell_status status = quell_file_open(&file, path, &source, &run->err);
    if (status != QUELL_OK)
        return status;
    status = quell_machine_read(machine, &source, &run->err);
    quell_file_close(&file);
    return status;
}
