/* quell simulate: a synthetic recording of a machine with known modes. */
#include "cli/cli.h"
#include "cli/recording_write.h"
#include "cli/simulate_spec.h"

#include <math.h>
#include <string.h>

#define AT(field) offsetof(cli_options, simulate.field)

static const cli_option machine_rows[] = {
    {"--axis", "x|y", CLI_TEXT, AT(axis), "the driven axis"},
    {"--mode", "HZ:ZETA[:C]", CLI_REPEAT, AT(mode),
     "a mode: natural frequency, damping ratio, participation (ringing acceleration per driven acceleration: "
     "C along "
     "the driven axis, 1 if not given, or CX,CY,CZ); up to 8"},
    {"--excitation", "KIND:...", CLI_TEXT, AT(excitation),
     "sweep:START:END:RATE:ACCELERATION (strokes whose frequency rises, Hz, Hz and Hz/s); random:LEVEL "
     "(white "
     "acceleration, rms up to half the sampling rate); stops:LENGTH:SPEED:ACCELERATION:DWELL; or "
     "ambient:LEVEL (no "
     "motion, every mode shaken on its own)"},
    {"--motion", "PLAN", CLI_TEXT, AT(motion),
     "the plan of quell excite in the place of --axis, --excitation and --preamble: its moves, as a planner of constant "
     "acceleration runs them"},
    {"--seconds", "SECONDS", CLI_SECONDS, AT(seconds), "length of random, stops or ambient excitation"},
    {"--preamble", "none|WORD=VALUE,...", CLI_TEXT, AT(preamble),
     "what comes before commanded motion: rest, slow strokes towards + with returns, rest (default: "
     "\"rest=3s, strokes=2, length=60mm, speed=120mm/s, acceleration=400mm/s2, dwell=0.5s\")"},
    {"--shaper", "SPEC", CLI_TEXT, AT(shaper), "shaper in effect on the driven axis (default none)"},
    {0},
};
static const cli_group machine_group = {"The machine and its motion", machine_rows};

static const cli_option sensor_rows[] = {
    {"--rate", "HZ", CLI_HZ, AT(rate_hz), "nominal sampling rate (default 2000 Hz)"},
    {"--clock-error", "%", CLI_RATIO, AT(clock_error), "true rate over nominal rate, less 1 (default 0)"},
    {"--jitter", "%", CLI_RATIO, AT(jitter),
     "standard deviation of the stamps, in sample intervals (default 0)"},
    {"--lost", "%", CLI_RATIO, AT(lost), "share of samples that are lost (default 0)"},
    {"--rotation", "RX,RY,RZ UNIT", CLI_TEXT, AT(rotation),
     "how the sensor is turned against the machine: about x, then y, then z (default 0,0,0 deg)"},
    {"--noise", "DENSITY", CLI_TEXT, AT(noise), "white sensor noise such as 120ug/rtHz (default none)"},
    {"--step", "ACCELERATION", CLI_MPS2, AT(step_mps2), "quantisation step such as 4mg (default none)"},
    {"--range", "ACCELERATION", CLI_MPS2, AT(range_mps2),
     "largest value the sensor shows such as 2g (default no end)"},
    {"--line", "HZ:ACCELERATION:X,Y,Z", CLI_REPEAT, AT(line),
     "a tone from a fan or motor, its amplitude times a direction in machine axes; up to 4"},
    {"--oversample", "N", CLI_COUNT, AT(oversample),
     "random values per sample (default 1), straight lines between"},
    {"--seed", "N", CLI_COUNT, AT(seed),
     "of all that is random (default 1); the same seed gives the same recording"},
    {0},
};
static const cli_group sensor_group = {"The sensor and its logger", sensor_rows};

static const cli_option word_rows[] = {
    {"--json", NULL, CLI_FLAG, offsetof(cli_options, json),
     "print the true values as one JSON object; wants a FILE"},
    {"--quiet", NULL, CLI_FLAG, offsetof(cli_options, quiet), "no words, only data and errors"},
    {"--help", NULL, CLI_FLAG, offsetof(cli_options, help), "this text (also -h)"},
    {"--version", NULL, CLI_FLAG, offsetof(cli_options, version), "print the version"},
    {0},
};
static const cli_group word_group = {"Output", word_rows};

/* Names the option in a specification's error. */
static quell_status of_option(cli_run *run, const char *option, quell_status status)
{
    return status == QUELL_OK ? status
                              : quell_fail(&run->err, status, "option %s: %s", option, run->err.text);
}

static double or_default(double given, double otherwise)
{
    return isnan(given) ? otherwise : given;
}

/* The axis and what moves it, in words. */
static quell_status read_excitation(cli_run *run, quell_simulation *setup)
{
    const char *axis = run->given.simulate.axis;
    if (axis == NULL)
        return quell_fail(&run->err, QUELL_E_USAGE, "no driven axis given, want --axis x or --axis y");
    if (strcmp(axis, "x") != 0 && strcmp(axis, "y") != 0) {
        char shown[32];
        return quell_fail(&run->err, QUELL_E_USAGE, "option --axis: found '%s', want x or y",
                          quell_printable(shown, sizeof shown, axis, strlen(axis)));
    }
    setup->axis = axis[0];
    if (run->given.simulate.excitation == NULL)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "no excitation given, want --excitation sweep:..., random:..., "
                          "stops:... or ambient:..., or --motion PLAN");
    quell_status status = of_option(
        run, "--excitation", simulate_spec_excitation(setup, run->given.simulate.excitation, &run->err));
    setup->preamble = simulate_default_preamble;
    if (status == QUELL_OK && run->given.simulate.preamble != NULL)
        status = of_option(run, "--preamble",
                           simulate_spec_preamble(&setup->preamble, run->given.simulate.preamble, &run->err));
    return status;
}

static quell_status read_machine(cli_run *run, quell_simulation *setup, quell_planned_motion *planned, quell_shaper *shaper)
{
    quell_status status =
        run->given.simulate.motion != NULL ? simulate_motion(run, setup, planned) : read_excitation(run, setup);
    for (size_t i = 0; i < run->given.simulate.mode.count && status == QUELL_OK; i++)
        status =
            of_option(run, "--mode", simulate_spec_mode(setup, run->given.simulate.mode.item[i], &run->err));
    if (status == QUELL_OK && run->given.simulate.shaper != NULL) {
        status =
            of_option(run, "--shaper", quell_shaper_parse(shaper, run->given.simulate.shaper, &run->err));
        setup->shaper = shaper;
    }
    return status;
}

static quell_status read_sensor(cli_run *run, quell_simulation *setup)
{
    setup->rate_hz = or_default(run->given.simulate.rate_hz, 2000);
    setup->clock_error = or_default(run->given.simulate.clock_error, 0);
    setup->jitter = or_default(run->given.simulate.jitter, 0);
    setup->lost = or_default(run->given.simulate.lost, 0);
    setup->step_mps2 = or_default(run->given.simulate.step_mps2, 0);
    setup->clip_mps2 = or_default(run->given.simulate.range_mps2, 0);
    setup->oversample = (size_t)or_default(run->given.simulate.oversample, 0);
    setup->seed = (uint64_t)or_default(run->given.simulate.seed, 1);
    quell_status status = QUELL_OK;
    if (run->given.simulate.noise != NULL)
        status =
            of_option(run, "--noise",
                      simulate_spec_noise(&setup->noise_mps2_per_rthz, run->given.simulate.noise, &run->err));
    if (status == QUELL_OK && run->given.simulate.rotation != NULL)
        status =
            of_option(run, "--rotation",
                      simulate_spec_rotation(setup->rotation_rad, run->given.simulate.rotation, &run->err));
    for (size_t i = 0; i < run->given.simulate.line.count && status == QUELL_OK; i++)
        status =
            of_option(run, "--line", simulate_spec_line(setup, run->given.simulate.line.item[i], &run->err));
    return status;
}

/* A sweep has its own length; everything else must be told one. */
static quell_status read_length(cli_run *run, quell_simulation *setup)
{
    bool given = !isnan(run->given.simulate.seconds), is_sweep = setup->excitation == QUELL_EXCITE_SWEEP;
    if (setup->motion != NULL)
        return QUELL_OK;
    if (given && is_sweep)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "option --seconds does not go with a sweep, which has its own length");
    if (!given && !is_sweep)
        return quell_fail(&run->err, QUELL_E_USAGE, "no length given, want --seconds with this excitation");
    setup->seconds = or_default(run->given.simulate.seconds, 0);
    return QUELL_OK;
}

static bool ends_in(const char *text, const char *ending)
{
    size_t length = strlen(text), tail = strlen(ending);
    return length > tail && strcmp(text + length - tail, ending) == 0;
}

/* To the FILE, written beside its place and renamed; or to standard output. */
static quell_status write_recording(cli_run *run, const char *file, const quell_simulation *setup,
                                    const quell_simulated *made)
{
    if (file == NULL)
        return cli_recording_write(made, setup->step_mps2, stdout, false, &run->err);
    quell_output output;
    quell_status status = quell_output_open(&output, file, &run->err);
    if (status != QUELL_OK)
        return status;
    status = cli_recording_write(made, setup->step_mps2, output.stream, ends_in(file, ".gz"), &run->err);
    if (status != QUELL_OK) {
        quell_output_abandon(&output);
        return status;
    }
    return quell_output_commit(&output, &run->err);
}

static void say_what_was_made(const cli_run *run, const char *file, const quell_simulation *setup,
                              const quell_simulated *made)
{
    char rate[32], start[32], end[32];
    quell_number_print(rate, sizeof rate, made->rate_hz, 7);
    quell_number_print_fixed(start, sizeof start, made->start_s, 1);
    quell_number_print_fixed(end, sizeof end, made->end_s, 1);
    char axis[2] = {setup->axis, '\0'};
    cli_say(run, "%zu samples at %s Hz, %zu lost; %s along %s from %s to %s s; shaper %s; seed %llu",
            made->count, rate, made->lost, quell_excitation_word(setup->excitation),
            setup->motion != NULL ? setup->motion->path->id : axis, start, end,
            run->given.simulate.shaper != NULL ? run->given.simulate.shaper : "none",
            (unsigned long long)setup->seed);
    cli_next(run, file != NULL ? "quell check %s" : "save it to a file, or pipe it into: quell check %s",
             file != NULL ? cli_word(run, file) : "-");
}

static quell_status make(cli_run *run, const char *file, quell_planned_motion *planned)
{
    quell_simulation setup = {0};
    quell_shaper shaper;
    quell_simulated made;
    quell_status status = read_machine(run, &setup, planned, &shaper);
    if (status == QUELL_OK)
        status = read_sensor(run, &setup);
    if (status == QUELL_OK)
        status = read_length(run, &setup);
    if (status == QUELL_OK)
        status = quell_simulate(&setup, run->arena, &made, &run->err);
    if (status == QUELL_OK)
        status = write_recording(run, file, &setup, &made);
    if (status != QUELL_OK)
        return status;
    if (run->given.json)
        status = simulate_print_truth(run, file, &setup, &made);
    if (fflush(stdout) == 0 && !ferror(stdout)) /* else main tells of the failure, and nothing was made */
        say_what_was_made(run, file, &setup, &made);
    return status;
}

static quell_status run_simulate(cli_run *run)
{
    const char *file = run->given.files.count > 0 ? run->given.files.item[0] : NULL;
    if (run->given.files.count > 1)
        return quell_fail(&run->err, QUELL_E_USAGE, "%zu files named, want at most one to write",
                          run->given.files.count);
    if (file != NULL && strcmp(file, "-") == 0)
        file = NULL;
    if (run->given.json && file == NULL)
        return quell_fail(&run->err, QUELL_E_USAGE,
                          "--json prints the true values on standard output, want a FILE for "
                          "the recording");
    quell_planned_motion planned = {0};
    quell_status status = make(run, file, &planned);
    quell_motion_list_free(&planned.list);
    return status;
}

static const cli_group *const groups[] = {&machine_group, &sensor_group, &word_group, NULL};

const cli_command cli_simulate = {
    "simulate",
    "[FILE]",
    "a synthetic recording of a machine with known modes",
    "Makes a recording of a machine whose modes are known: to try the other commands on, and to see how well "
    "they do. "
    "Writes delimited text (t_s;a1_mps2;a2_mps2;a3_mps2) to FILE, gzip if its name ends in .gz, or to "
    "standard output. "
    "Motion and ringing are computed in closed form; a sample is the mean acceleration over its interval.",
    "  quell simulate --axis x --mode 47.3:0.046 --mode 83.5:0.028:0.22 \\\n"
    "    --excitation sweep:12:115:2.5:5m/s2 --rotation \"12,-7,31 deg\" \\\n"
    "    --noise 120ug/rtHz --step 4mg --seed 7 x.csv.gz\n",
    groups,
    run_simulate,
};
