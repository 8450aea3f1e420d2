/* The machine: motion through its shaper shakes the modes, whose answer to every event is known in closed form.

   With s = -z w + j wd, a step of velocity g, acceleration a and jerk b adds -(g + a/s + b/s^2) / (j wd) to the phasor
   R, which turns by exp(s h) in h seconds; q = Re R - a/w^2 + 2 z b/w^3, so q' = Re(s R) - b/w^2. Derived. */
#include "simulate/simulate_private.h"

#include <math.h>

/* The cast keeps -Wdouble-promotion quiet: the library's I is a float. */
static const double complex j = (double complex)I;

static void start_mode(simulate_mode *out, const quell_simulated_mode *mode, double interval_s)
{
    double w = QUELL_TAU * mode->frequency_hz, z = mode->damping_ratio, damped = w * sqrt((1 - z) * (1 + z));
    out->pole = -z * w + j * damped;
    out->per_velocity = j / damped;
    out->sample_turn = cexp(out->pole * interval_s);
    out->stiffness = w * w;
    for (size_t k = 0; k < 3; k++)
        out->participation[k] = mode->participation[k];
}

void simulate_machine_start(simulate_machine *out, const quell_simulation *setup, const simulate_plan *plan)
{
    static const quell_shaper none = {.count = 1, .amplitude = {1}};
    bool ambient = setup->excitation == QUELL_EXCITE_AMBIENT && setup->motion == NULL;
    *out = (simulate_machine){
        .drives = plan->drives, .modes = setup->modes, .interval_s = simulate_interval(setup)};
    for (size_t i = 0; i < out->modes; i++) {
        start_mode(&out->mode[i], &setup->mode[i], out->interval_s);
        out->mode[i].drive = ambient ? i : 0;
    }
    for (size_t i = 0; i < out->drives; i++) {
        simulate_drive *drive = &out->drive[i];
        drive->motion = quell_motion_view(&plan->drive[i]);
        drive->shaper = setup->shaper != NULL && !ambient ? setup->shaper : &none;
        for (size_t k = 0; k < 3; k++)
            drive->axis[k] = setup->motion != NULL ? setup->motion->path->along[k] : ambient ? setup->mode[i].participation[k] : (size_t)(setup->axis - 'x') == k;
    }
}

/* The drive's next event through its shaper, if it comes before until_s. */
static bool next_event(simulate_drive *drive, double until_s, quell_event *out)
{
    size_t first = 0;
    double time = until_s;
    bool found = false;
    for (size_t i = 0; i < drive->shaper->count; i++) {
        if (drive->next[i] == drive->motion.count)
            continue;
        double due = drive->motion.event[drive->next[i]].time_s + drive->shaper->time_s[i];
        if (due < time) {
            time = due;
            first = i;
            found = true;
        }
    }
    if (!found)
        return false;
    const quell_event *event = &drive->motion.event[drive->next[first]++];
    double share = drive->shaper->amplitude[first];
    *out = (quell_event){time, share * event->velocity_mps, share * event->acceleration_mps2,
                         share * event->jerk_mps3};
    return true;
}

/* One drive and its modes without events for some seconds; `whole`: exactly one sample interval. */
static void coast(simulate_machine *machine, size_t index, double seconds, bool whole)
{
    simulate_drive *drive = &machine->drive[index];
    drive->velocity_mps += seconds * (drive->acceleration_mps2 + seconds * drive->jerk_mps3 / 2);
    drive->acceleration_mps2 += seconds * drive->jerk_mps3;
    for (size_t i = 0; i < machine->modes; i++) {
        simulate_mode *mode = &machine->mode[i];
        if (mode->drive == index)
            mode->phasor *= whole ? mode->sample_turn : cexp(mode->pole * seconds);
    }
}

static void kick(simulate_machine *machine, size_t index, const quell_event *event)
{
    simulate_drive *drive = &machine->drive[index];
    drive->velocity_mps += event->velocity_mps;
    drive->acceleration_mps2 += event->acceleration_mps2;
    drive->jerk_mps3 += event->jerk_mps3;
    for (size_t i = 0; i < machine->modes; i++) {
        simulate_mode *mode = &machine->mode[i];
        double complex steps = (event->acceleration_mps2 + event->jerk_mps3 / mode->pole) / mode->pole;
        if (mode->drive == index)
            mode->phasor += mode->per_velocity * (event->velocity_mps + steps);
    }
}

static void advance_drive(simulate_machine *machine, size_t index, double until_s)
{
    double now = machine->time_s;
    quell_event event;
    while (next_event(&machine->drive[index], until_s, &event)) {
        if (event.time_s > now)
            coast(machine, index, event.time_s - now, false);
        now = fmax(now, event.time_s);
        kick(machine, index, &event);
    }
    coast(machine, index, until_s - now, now == machine->time_s);
}

/* The velocity of the sensor's place: the drives' own share and the modes'. */
static void velocity_of(const simulate_machine *machine, double out[3])
{
    out[0] = out[1] = out[2] = 0;
    for (size_t i = 0; i < machine->drives; i++)
        for (size_t k = 0; k < 3; k++)
            out[k] += machine->drive[i].axis[k] * machine->drive[i].velocity_mps;
    for (size_t i = 0; i < machine->modes; i++) {
        const simulate_mode *mode = &machine->mode[i];
        double rate =
            creal(mode->pole * mode->phasor) - machine->drive[mode->drive].jerk_mps3 / mode->stiffness;
        for (size_t k = 0; k < 3; k++)
            out[k] += mode->participation[k] * rate;
    }
}

void simulate_machine_advance(simulate_machine *machine, double until_s, double mean_mps2[3])
{
    double seconds = until_s - machine->time_s;
    for (size_t i = 0; i < machine->drives; i++)
        advance_drive(machine, i, until_s);
    double velocity[3];
    velocity_of(machine, velocity);
    for (size_t k = 0; k < 3; k++) {
        mean_mps2[k] = (velocity[k] - machine->velocity_mps[k]) / seconds;
        machine->velocity_mps[k] = velocity[k];
    }
    machine->time_s = until_s;
}
