/* quell predict: the ripple that a move leaves on the part, without a shaper and with one. */
#include "cli/predict_view.h"

#include <math.h>
#include <string.h>

#define POINTS_A_CYCLE 24.0
#define CYCLES_MOST 60.0 /* of the lowest mode */
#define DECAYS_SHOWN 4.0 /* time constants: 2 % is left */

enum { POINTS_MOST = 6000 };

/* ---------------------------------------------------------------- the walls */

/* Times from the corner until the ringing is gone, or long enough to see. */
static quell_status choose_times(cli_run *run, predict_view *view)
{
    double longest_s = 0, highest_hz = 0;
    for (size_t k = 0; k < view->modes->count; k++) {
        const quell_mode *mode = &view->modes->mode[k];
        double gone_s = DECAYS_SHOWN / (mode->damping_ratio * QUELL_TAU * mode->frequency_hz);
        longest_s = fmax(longest_s, fmin(gone_s, CYCLES_MOST / mode->frequency_hz));
        highest_hz = fmax(highest_hz, mode->frequency_hz);
    }
    if (view->has_shaper)
        longest_s += view->shaper.time_s[view->shaper.count - 1];
    view->count = (size_t)fmin(POINTS_MOST, ceil(longest_s * highest_hz * POINTS_A_CYCLE) + 1);
    view->time_s = QUELL_NEW(run->arena, double, view->count);
    if (view->time_s == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the wall");
    for (size_t i = 0; i < view->count; i++)
        view->time_s[i] = longest_s * (double)i / (double)(view->count - 1);
    return QUELL_OK;
}

/* Modes whose participation is not known are taken with 1: for what a shaper leaves of them, not for lengths. */
static quell_mode taken(const quell_mode *mode)
{
    quell_mode out = *mode;
    if (!isfinite(out.participation)) {
        out.participation = 1;
        out.participation_ci95[0] = out.participation_ci95[1] = (double)NAN;
    }
    return out;
}

static void fill_wall(const predict_view *view, predict_wall *wall, const quell_motion *across, double held_mps2,
                      const quell_motion *along)
{
    quell_mode mode[QUELL_MODES_MAX];
    double step_s = view->time_s[1];
    for (size_t k = 0; k < view->modes->count; k++)
        mode[k] = taken(&view->modes->mode[k]);
    quell_ringing_series(mode, view->modes->count, across, held_mps2, 0, step_s, view->count, wall->deflection_m,
                         wall->envelope_m);
    quell_motion_cursor cursor = {.motion = along};
    wall->settled_s = across->count > 0 ? across->event[across->count - 1].time_s : 0;
    for (size_t i = 0; i < view->count; i++) {
        wall->distance_m[i] = quell_motion_advance(&cursor, view->time_s[i]).position_m;
        if (view->time_s[i] >= wall->settled_s)
            wall->largest_m = fmax(wall->largest_m, fabs(wall->deflection_m[i]));
    }
}

static quell_status make_wall(cli_run *run, const predict_view *view, const quell_shaper *shaper, predict_wall *wall)
{
    quell_motion_list across = {0}, along = {0}, shaped_across = {0}, shaped_along = {0};
    double held_mps2;
    wall->distance_m = QUELL_NEW(run->arena, double, view->count);
    wall->deflection_m = QUELL_NEW(run->arena, double, view->count);
    wall->envelope_m = QUELL_NEW(run->arena, double, view->count);
    quell_status status = wall->distance_m != NULL && wall->deflection_m != NULL && wall->envelope_m != NULL
                              ? quell_corner_move_build(&view->move, &across, &held_mps2, &along, &run->err)
                              : quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for the wall");
    quell_motion plain_across = quell_motion_view(&across), plain_along = quell_motion_view(&along);
    if (status == QUELL_OK)
        status = quell_motion_shape(&shaped_across, &plain_across, shaper, &run->err);
    if (status == QUELL_OK)
        status = quell_motion_shape(&shaped_along, &plain_along, shaper, &run->err);
    if (status == QUELL_OK) {
        quell_motion over = quell_motion_view(&shaped_across), past = quell_motion_view(&shaped_along);
        fill_wall(view, wall, &over, held_mps2, &past);
        for (size_t k = 0; k < view->modes->count; k++) {
            quell_mode mode = taken(&view->modes->mode[k]);
            wall->ripple[k] = quell_ripple_predict(&mode, &plain_across, shaper, view->move.wall_mps);
        }
    }
    quell_motion_list_free(&across);
    quell_motion_list_free(&along);
    quell_motion_list_free(&shaped_across);
    quell_motion_list_free(&shaped_along);
    return status;
}

/* ---------------------------------------------------------------- rounding */

/* Above this acceleration (m/s2) nothing limits. */
#define ACCELERATION_UNLIMITED 1000.0

static void judge_rounding(predict_view *view)
{
    quell_corner corner = {.speed_mps = view->move.corner_mps, .acceleration_mps2 = view->move.acceleration_mps2,
                           .cruise_mps = view->move.wall_mps, .angle_rad = QUELL_PI / 2};
    const quell_shaper *shaper = view->has_shaper ? &view->shaper : NULL;
    view->rounding_m = corner.acceleration_mps2 > 0 ? quell_rounding(&corner, shaper, shaper) : (double)NAN;
    view->acceleration_limit_mps2 = (double)NAN;
    if (isnan(view->rounding_limit_m) || shaper == NULL)
        return;
    view->acceleration_limit_mps2 =
        quell_acceleration_limit(&corner, shaper, shaper, view->rounding_limit_m, ACCELERATION_UNLIMITED);
    if (view->acceleration_limit_mps2 >= ACCELERATION_UNLIMITED)
        view->acceleration_limit_mps2 = HUGE_VAL;
}

/* ---------------------------------------------------------------- the command */

static quell_status read_shaper(cli_run *run, predict_view *view)
{
    const char *text = run->given.predict.shaper;
    view->has_shaper = text != NULL && strcmp(text, "none") != 0;
    if (!view->has_shaper)
        return QUELL_OK;
    quell_status status = quell_shaper_parse(&view->shaper, text, &run->err);
    if (status != QUELL_OK)
        return quell_fail(&run->err, status, "option --shaper: %s", run->err.text);
    const quell_shaper *shaper = &view->shaper;
    if (shaper->family != NULL)
        snprintf(view->shaper_name, sizeof view->shaper_name, "%s at %s Hz", shaper->family->title,
                 quell_number_short(shaper->at.frequency_hz, 5).text);
    else
        snprintf(view->shaper_name, sizeof view->shaper_name, "the shaper of %zu impulses", shaper->count);
    return QUELL_OK;
}

static quell_status gather(cli_run *run, predict_view *view)
{
    quell_status status = read_shaper(run, view);
    if (status == QUELL_OK)
        status = predict_modes(run, view);
    if (status == QUELL_OK)
        status = predict_move(run, view);
    if (status == QUELL_OK)
        status = choose_times(run, view);
    if (status == QUELL_OK)
        status = make_wall(run, view, NULL, &view->unshaped);
    if (status == QUELL_OK && view->has_shaper)
        status = make_wall(run, view, &view->shaper, &view->shaped);
    if (status == QUELL_OK)
        judge_rounding(view);
    return status;
}

static void say_meaning(const cli_run *run, const predict_view *view)
{
    if (view->assumed_one)
        cli_say(run, "A mode without C is taken to have a participation of 1, as a mass on one spring has.");
    if (!view->has_amplitude)
        cli_say(run, "How strongly the modes are driven is not known from these modes, so no length can be stated; what the shaper "
                     "leaves of them can. A sweep tells it, or --mode HZ:ZETA:C.");
    cli_say(run, "This is the motion of what carries the sensor against the command: nozzle, bead and extrusion smooth it further, and a single "
                 "sensor cannot tell it from motion of the whole machine. Amplitudes are those of the envelope when the last event of the "
                 "motion has come%s; what is plotted before that includes the deflection that the acceleration holds.",
            view->has_shaper ? ", through the shaper the last impulse" : "");
}

static quell_status run_predict(cli_run *run)
{
    predict_view *view = QUELL_NEW(run->arena, predict_view, 1);
    if (view == NULL)
        return quell_fail(&run->err, QUELL_E_MEMORY, "out of memory for a prediction");
    quell_status status = run->given.plot != NULL ? quell_plot_check_name(run->given.plot, &run->err) : QUELL_OK;
    if (status == QUELL_OK)
        status = gather(run, view);
    if (status != QUELL_OK)
        return status;
    if (run->given.json) {
        quell_json json = predict_json(view);
        status = cli_print_json(run, &json);
    } else {
        predict_print(run, view);
    }
    if (status == QUELL_OK && run->given.out != NULL) {
        quell_json json = predict_json(view);
        status = cli_keep_json(run, "predict", &json);
    }
    if (status == QUELL_OK && run->given.out != NULL)
        status = predict_write_values(run, view);
    if (status == QUELL_OK && run->given.plot != NULL)
        status = predict_plot(run, view);
    if (status != QUELL_OK)
        return status;
    say_meaning(run, view);
    if (view->has_shaper)
        cli_next(run, "set it, record again with it on, then quell compare BEFORE --after AFTER");
    else
        cli_next(run, "the same with --shaper SPEC, which is shown beside it");
    return QUELL_OK;
}

#define AT(field) offsetof(cli_options, field)

static const cli_option predict_rows[] = {
    {"--mode", "HZ:ZETA[:C]", CLI_REPEAT, AT(predict.mode),
     "a mode instead of a recording: natural frequency, damping ratio, participation (1 if not given); up to 8"},
    {"--corner", "SPEED", CLI_TEXT, AT(predict.corner), "the speed that is kept through a corner: the axis loses it in a step"},
    {"--acceleration", "ACCELERATION", CLI_MPS2, AT(predict.acceleration_mps2),
     "at which the axis has braked before --corner, since long before, and at which the wall begins"},
    {"--stop", "SPEED:ACCELERATION[:JERK]", CLI_TEXT, AT(predict.stop),
     "braking from this speed to rest, or to --corner; JERK: how fast the acceleration changes, such as 500m/s3"},
    {"--speed", "SPEED", CLI_TEXT, AT(predict.speed), "along the wall (default: that before the stop)"},
    {"--shaper", "SPEC", CLI_TEXT, AT(predict.shaper), "the shaper to show beside none"},
    {"--rounding-limit", "LENGTH", CLI_TEXT, AT(predict.rounding_limit), "states the acceleration that keeps it"},
    {"--machine", "FILE", CLI_TEXT, AT(machine), "acceleration, speed, corner speed and rounding limit that are not stated"},
    {"--axis", "x|y", CLI_TEXT, AT(axis), "the axis that rings"},
    {0},
};
static const cli_group predict_group = {"Modes, move and shaper", predict_rows};
static const cli_group *const groups[] = {&predict_group, &cli_reading_options, &cli_analysis_options, &cli_output_options,
                                          NULL};

const cli_command cli_predict = {
    "predict",
    "RECORDING...|MODES.json|--mode HZ:ZETA[:C]",
    "ringing in um along the wall, rounding, acceleration limit",
    "Computes what a move leaves ringing, mode by mode, in closed form: ripple amplitude with its 95 % interval, its spacing "
    "on the wall, the rounding of the corner and, for a rounding limit, the acceleration that keeps it. Modes are found in recordings, "
    "taken from what `quell modes --json` or --out wrote, or stated. One axis brakes and stops at a right-angled "
    "corner, the wall is drawn along the other, through the same shaper. --plot draws the ripple against distance, without "
    "and with the shaper, and the wall as a grey relief; --out keeps the points.",
    "  quell predict --mode 47.3:0.046 --corner 8mm/s --speed 100mm/s --shaper zv:47:0.05\n"
    "  quell predict x.csv --shaper-on none --axis x --machine machine.ini --shaper ei:60\n"
    "  quell predict modes.json --stop 100mm/s:10m/s2:500m/s3 --plot wall.png\n",
    groups,
    run_predict,
};
