/* quell.simulate/1: what is true of a recording that was made. */
#include "cli/simulate_spec.h"

static void json_modes(quell_json *json, json_t *truth, const quell_simulation *setup)
{
    json_t *modes = quell_json_array(json, truth, "modes");
    for (size_t i = 0; i < setup->modes; i++) {
        json_t *mode = quell_json_item(json, modes);
        quell_json_number(json, mode, "frequency_hz", setup->mode[i].frequency_hz, "");
        quell_json_number(json, mode, "damping_ratio", setup->mode[i].damping_ratio, "");
        quell_json_numbers(json, mode, "participation", setup->mode[i].participation, 3);
    }
}

static void json_rotation(quell_json *json, json_t *truth, const quell_simulation *setup)
{
    json_t *rotation = quell_json_object(json, truth, "rotation");
    double matrix[3][3];
    quell_simulated_rotation(setup->rotation_rad, matrix);
    quell_json_numbers(json, rotation, "angles_rad", setup->rotation_rad, 3);
    quell_json_text(json, rotation, "meaning", "sensor = Rz Ry Rx machine");
    quell_json_numbers(json, rotation, "sensor_x_in_machine", matrix[0], 3);
    quell_json_numbers(json, rotation, "sensor_y_in_machine", matrix[1], 3);
    quell_json_numbers(json, rotation, "sensor_z_in_machine", matrix[2], 3);
}

static void json_excitation(quell_json *json, json_t *truth, const quell_simulation *setup,
                            const quell_simulated *made)
{
    json_t *excitation = quell_json_object(json, truth, "excitation");
    char axis[2] = {setup->axis, '\0'};
    const char *path = setup->motion != NULL ? setup->motion->path->id : axis;
    quell_json_text(json, excitation, "kind", quell_excitation_word(setup->excitation));
    quell_json_text(json, excitation, "axis", path);
    quell_json_number(json, excitation, "start_s", made->start_s, "");
    quell_json_number(json, excitation, "end_s", made->end_s, "");
    if (setup->motion != NULL)
        return; /* the plan has its numbers */
    if (setup->excitation == QUELL_EXCITE_SWEEP) {
        quell_json_number(json, excitation, "start_hz", setup->sweep.start_hz, "");
        quell_json_number(json, excitation, "end_hz", setup->sweep.end_hz, "");
        quell_json_number(json, excitation, "rate_hz_per_s", setup->sweep.rate_hz_per_s, "");
        quell_json_number(json, excitation, "acceleration_mps2", setup->sweep.acceleration_mps2, "");
    } else if (setup->excitation == QUELL_EXCITE_STOPS) {
        quell_json_number(json, excitation, "stroke_m", setup->stroke_m, "");
        quell_json_number(json, excitation, "speed_mps", setup->speed_mps, "");
        quell_json_number(json, excitation, "acceleration_mps2", setup->acceleration_mps2, "");
        quell_json_number(json, excitation, "dwell_s", setup->dwell_s, "");
    } else {
        quell_json_number(json, excitation, "level_mps2", setup->random_rms_mps2, "");
    }
}

quell_status simulate_print_truth(cli_run *run, const char *file, const quell_simulation *setup, const quell_simulated *made)
{
    quell_json json = quell_json_begin("quell.simulate/1");
    quell_json_text(&json, json.root, "file", file);
    quell_json_integer(&json, json.root, "seed", (long long)setup->seed);
    quell_json_integer(&json, json.root, "samples", (long long)made->count);
    quell_json_integer(&json, json.root, "lost_samples", (long long)made->lost);
    json_t *truth = quell_json_object(&json, json.root, "truth");
    json_modes(&json, truth, setup);
    quell_json_number(&json, truth, "rate_hz", made->rate_hz, "");
    json_rotation(&json, truth, setup);
    json_excitation(&json, truth, setup, made);
    if (run->given.simulate.shaper != NULL)
        quell_json_text(&json, truth, "shaper", run->given.simulate.shaper);
    else
        quell_json_null(&json, truth, "shaper", "none is in effect");
    quell_json_number(&json, truth, "noise_mps2_per_rthz", setup->noise_mps2_per_rthz, "");
    quell_json_number(&json, truth, "step_mps2", setup->step_mps2, "");
    return cli_print_json(run, &json);
}
