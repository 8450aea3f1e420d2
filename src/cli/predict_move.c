/* quell predict: the move, stated or as the machine file has it. */
#include "cli/predict_view.h"

#include <math.h>
#include <string.h>

static quell_status read_quantity(cli_run *run, const char *option, const char *text, quell_dimension dimension, double *out)
{
    if (text == NULL)
        return QUELL_OK;
    quell_status status = quell_quantity_parse(text, dimension, NULL, out, &run->err);
    if (status == QUELL_OK && *out < 0) {
        char shown[48];
        status = quell_fail(&run->err, QUELL_E_USAGE, "found '%s', want no less than 0",
                            quell_printable(shown, sizeof shown, text, strlen(text)));
    }
    return status == QUELL_OK ? status : quell_fail(&run->err, status, "option %s: %s", option, run->err.text);
}

/* SPEED:ACCELERATION[:JERK]. */
static quell_status read_stop(cli_run *run, quell_corner_move *move)
{
    const char *text = run->given.predict.stop;
    char shown[64];
    quell_parts parts;
    if (text == NULL)
        return QUELL_OK;
    bool jerk = quell_split(&parts, text, ':') && parts.count == 3;
    bool right = (jerk || parts.count == 2) &&
                 quell_quantity_parse(parts.part[0], QUELL_SPEED, NULL, &move->from_mps, NULL) == QUELL_OK &&
                 quell_quantity_parse(parts.part[1], QUELL_ACCELERATION, NULL, &move->acceleration_mps2, NULL) == QUELL_OK &&
                 (!jerk || quell_quantity_parse(parts.part[2], QUELL_JERK, NULL, &move->jerk_mps3, NULL) == QUELL_OK) &&
                 move->from_mps > 0 && move->acceleration_mps2 > 0 && (!jerk || move->jerk_mps3 > 0);
    return right ? QUELL_OK
                 : quell_fail(&run->err, QUELL_E_USAGE,
                              "option --stop: found '%s', want SPEED:ACCELERATION or SPEED:ACCELERATION:JERK such as "
                              "100mm/s:10m/s2 or 100mm/s:10m/s2:500m/s3, all above 0",
                              quell_printable(shown, sizeof shown, text, strlen(text)));
}

/* What is not stated is taken from the machine file, if it says so. */
static quell_status fill_in(cli_run *run, predict_view *view, double *speed_mps, double *corner_mps, double *acceleration_mps2)
{
    quell_machine *machine = QUELL_NEW(run->arena, quell_machine, 1);
    if (machine == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a machine");
    quell_status status = cli_machine_read(run, run->given.machine, machine);
    if (status != QUELL_OK || run->given.machine == NULL)
        return status;
    if (view->axis == 0)
        return quell_fail(&run->err, QUELL_E_USAGE, "which axis rings is not stated, want --axis x or --axis y beside --machine");
    const quell_axis_limits *limits = &machine->axis[view->axis == 'y'];
    bool stop = run->given.predict.stop != NULL;
    *speed_mps = isnan(*speed_mps) && !stop ? limits->speed_mps : *speed_mps;
    *acceleration_mps2 = isnan(*acceleration_mps2) && !stop ? limits->acceleration_mps2 : *acceleration_mps2;
    *corner_mps = isnan(*corner_mps) && !stop ? machine->corner_speed_mps : *corner_mps;
    view->rounding_limit_m = isnan(view->rounding_limit_m) ? machine->rounding_limit_m : view->rounding_limit_m;
    return QUELL_OK;
}

quell_status predict_move(cli_run *run, predict_view *view)
{
    double speed_mps = (double)NAN, corner_mps = (double)NAN, acceleration_mps2 = run->given.predict.acceleration_mps2;
    quell_corner_move *move = &view->move;
    *move = (quell_corner_move){0};
    view->rounding_limit_m = (double)NAN;
    quell_status status = read_stop(run, move);
    bool stop = move->from_mps > 0;
    if (status == QUELL_OK)
        status = read_quantity(run, "--corner", run->given.predict.corner, QUELL_SPEED, &corner_mps);
    if (status == QUELL_OK)
        status = read_quantity(run, "--speed", run->given.predict.speed, QUELL_SPEED, &speed_mps);
    if (status == QUELL_OK)
        status = read_quantity(run, "--rounding-limit", run->given.predict.rounding_limit, QUELL_LENGTH, &view->rounding_limit_m);
    if (status == QUELL_OK && stop && !isnan(acceleration_mps2))
        status = quell_fail(&run->err, QUELL_E_USAGE, "both --stop and --acceleration state an acceleration, want one of them");
    if (status == QUELL_OK)
        status = fill_in(run, view, &speed_mps, &corner_mps, &acceleration_mps2);
    if (status != QUELL_OK)
        return status;
    if (!stop && isnan(corner_mps))
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no move given%s, want --corner SPEED (kept through a corner) or --stop SPEED:ACCELERATION",
                          run->given.machine != NULL ? ", and the machine file's corner-speed is not known" : "");
    if (!stop)
        move->acceleration_mps2 = isnan(acceleration_mps2) ? 0 : acceleration_mps2;
    move->corner_mps = isnan(corner_mps) ? 0 : corner_mps;
    if (stop && move->corner_mps > move->from_mps)
        return quell_fail(&run->err, QUELL_E_USAGE, "--corner keeps %s mm/s, want no more than the %s mm/s that --stop brakes from",
                          quell_number_short(1e3 * move->corner_mps, 6).text, quell_number_short(1e3 * move->from_mps, 6).text);
    if (!stop && isnan(speed_mps) && move->acceleration_mps2 > 0)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "the speed that the wall is drawn at is not stated, want --speed: it is what --acceleration leads to");
    view->wall_assumed = isnan(speed_mps) && !stop;
    move->wall_mps = !isnan(speed_mps) ? speed_mps : stop ? move->from_mps : move->corner_mps;
    if (!(move->corner_mps > 0) && !(move->acceleration_mps2 > 0))
        return quell_fail(&run->err, QUELL_E_USAGE, "a corner speed of 0 and no acceleration leave nothing, want --acceleration or --stop");
    return QUELL_OK;
}
