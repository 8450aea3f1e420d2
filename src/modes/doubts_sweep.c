/* Does a mode's frequency fall with level in a sweep? A sweep of strokes passes a mode twice and more: with its third
   harmonic, of a third of its acceleration (a square wave's Fourier series), at a third of the mode's frequency, and then
   itself. Each pass is a linear chirp, whose spectrum is flat about the mode, so the rotation of the mode's ringing
   (ringing.c) over the pass is the middle of the response behind the filter, the same for both passes if the machine is
   linear. What noise does to it is foretold from the quietest tenth of the sweep. */
#include "modes_private.h"

#include <math.h>
#include <stdlib.h>

#define FALL_LEAST 0.005
#define FALL_MOST 0.1 /* what lies farther off is not the mode */
#define FALL_ERRORS 3.0
#define LASTS_WITHIN 0.1 /* of its plan, else it was another sweep and passes elsewhere */
#define SPREAD_WIDTHS 2.0 /* of the filter, in half-widths of the mode */
#define SPREAD_LEAST 0.02 /* of its frequency */
#define SPREAD_MOST 0.08
#define PASS_SPREADS 3.5   /* half of a pass, in spreads of the filter, by what the sweep covers meanwhile */
#define THIRD_REACH 0.06   /* of f / rate: half-way from the third harmonic's pass to the fifth's */
#define WITHIN_SPREADS 2.0 /* the sweep must begin and end that far from the mode */
#define NOISE_MOST 0.1     /* of the energy of a pass */
#define QUIET 0.1

enum { HARMONIC = 3 };

typedef struct pass {
    double rotation_hz, energy; /* energy: mean |z|^2 */
    double noise;               /* share of it that is noise */
    double error_hz;
} pass;

static double energy_at(const quell_ringing *ringing, size_t i)
{
    double e = creal(ringing->z[i] * conj(ringing->z[i]));
    return isfinite(e) ? e : 0;
}

static size_t clamp_to(const quell_ringing *ringing, double at)
{
    return (size_t)fmin(fmax(at, 0), (double)(ringing->count - 1));
}

/* Where the energy within `half` of `at` has its middle. All in samples of z. */
static double centre(const quell_ringing *ringing, double at, double half)
{
    double sum = 0, moment = 0;
    for (size_t i = clamp_to(ringing, at - half); i <= clamp_to(ringing, at + half); i++) {
        sum += energy_at(ringing, i);
        moment += energy_at(ringing, i) * (double)i;
    }
    return sum > 0 ? moment / sum : at;
}

/* Where the sweep itself passes: where the energy about has its largest middle. */
static double main_pass(const quell_ringing *ringing, double half)
{
    size_t most = 0;
    for (size_t i = 0; i < ringing->count; i++)
        most = energy_at(ringing, i) > energy_at(ringing, most) ? i : most;
    return centre(ringing, centre(ringing, (double)most, half), half);
}

static int order(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* Mean energy of noise, at most: were all noise, |z|^2 would be exponential and a tenth of it below -ln(0.9) of the mean.
   NaN if memory is out. */
static double noise_energy(const quell_ringing *ringing)
{
    double *energy = quell_memory_get(ringing->count * sizeof *energy), at;
    if (energy == NULL)
        return (double)NAN;
    for (size_t i = 0; i < ringing->count; i++)
        energy[i] = energy_at(ringing, i);
    qsort(energy, ringing->count, sizeof *energy, order);
    at = energy[(size_t)(QUIET * (double)ringing->count)] / -log1p(-QUIET);
    quell_memory_free(energy);
    return at;
}

static pass rotate(const quell_ringing *ringing, double at, double half, double noise)
{
    double complex pair = 0;
    pass out = {0};
    size_t first = clamp_to(ringing, at - half), last = clamp_to(ringing, at + half);
    for (size_t i = first; i < last; i++) {
        double complex one = conj(ringing->z[i]) * ringing->z[i + 1];
        pair += isfinite(creal(one)) ? one : 0;
        out.energy += energy_at(ringing, i) / (double)(last - first);
    }
    double seconds = (double)(last - first) / ringing->rate_hz;
    out.rotation_hz = carg(pair) * ringing->rate_hz / QUELL_TAU;
    out.noise = noise / out.energy;
    /* noise of share s turns the mean by a normal variable of variance 2 s spread^2 over the independent values */
    out.error_hz = ringing->spread_hz * sqrt(2 * out.noise / fmax(seconds * ringing->spread_hz, 1));
    return out;
}

static const char *judge(quell_doubter *in, const quell_mode *mode, const quell_ringing *ringing)
{
    double rate = in->shaking->sweep.rate_hz_per_s, spread = ringing->spread_hz;
    double half = PASS_SPREADS * spread / rate * ringing->rate_hz;
    double third_half = fmin(half / HARMONIC, THIRD_REACH * mode->frequency_hz / rate * ringing->rate_hz);
    double at = main_pass(ringing, half);
    double earlier = at - (1 - 1.0 / HARMONIC) * mode->frequency_hz / rate * ringing->rate_hz;
    if (earlier - third_half < 0)
        return NULL;
    double noise = noise_energy(ringing);
    in->failed = in->failed || isnan(noise);
    pass strong = rotate(ringing, at, half, noise);
    pass weak = rotate(ringing, centre(ringing, earlier, third_half), third_half, noise);
    double share = quell_ringing_share(in->modes, mode, spread);
    double fall = (weak.rotation_hz - strong.rotation_hz) / share;
    double errors = fall * share / hypot(weak.error_hz, strong.error_hz);
    if (!(share > RINGING_SHARE_LEAST && weak.noise < NOISE_MOST && fall > FALL_LEAST * mode->frequency_hz &&
          fall < FALL_MOST * mode->frequency_hz && errors > FALL_ERRORS))
        return NULL;
    return quell_doubt_print(
        in,
        "its frequency falls with level: %s Hz where the sweep's third harmonic passes, %s Hz where the "
        "sweep does "
        "and it rings %s times as much, %s standard errors apart: a joint that slips? check the screws and "
        "belt "
        "clamps",
        quell_number_fixed(mode->frequency_hz + fall, 1).text, quell_number_fixed(mode->frequency_hz, 1).text,
        quell_number_fixed(sqrt(strong.energy / weak.energy), 1).text, quell_doubt_errors(errors).text);
}

/* Did the sweep last as long as its plan? */
static bool lasted(const quell_doubter *in)
{
    const quell_shaking *shaking = in->shaking;
    double plan_s = shaking->duration_s > 0
                        ? shaking->duration_s
                        : (shaking->sweep.end_hz - shaking->sweep.start_hz) / shaking->sweep.rate_hz_per_s;
    double samples = (double)(in->end - in->first) - (double)(shaking->margin[0] + shaking->margin[1]);
    return fabs(samples / in->recording->rate_hz / plan_s - 1) <= LASTS_WITHIN;
}

const char *quell_doubt_sweep(quell_doubter *in, const quell_mode *mode)
{
    const quell_recording *recording = in->recording;
    if (recording == NULL || recording->accel_mps2[mode->seen_on] == NULL || in->shaking == NULL ||
        in->shaking->kind != QUELL_EXCITE_SWEEP || !in->shaking->sweep_known || !lasted(in))
        return NULL;
    const quell_sweep *sweep = &in->shaking->sweep;
    double f = mode->frequency_hz;
    double spread_hz = f * fmin(fmax(SPREAD_WIDTHS * mode->damping_ratio, SPREAD_LEAST), SPREAD_MOST);
    double margin_hz = WITHIN_SPREADS * spread_hz;
    if (sweep->start_hz > (f - margin_hz) / HARMONIC || sweep->end_hz < f + margin_hz)
        return NULL;
    quell_ringing ringing;
    if (quell_ringing_get(&ringing, recording, mode->seen_on, in->first, in->end, f, spread_hz) != QUELL_OK) {
        in->failed = true;
        return NULL;
    }
    const char *text = ringing.count > 1 ? judge(in, mode, &ringing) : NULL;
    quell_memory_free(ringing.z);
    return text;
}
