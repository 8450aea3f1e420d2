/* The check of a proof that no non-negative shaper of a duration or less meets a residual limit. It shares no code with the
   design: any shaper's R is at least sum over its impulses of A_i f(t_i), thus at least the least f over [0, T]; and f,
   whose second derivative is at most sum u_j w_j^2, is nowhere lower than the lowest of even samples less a bound. */
#include "quell/shaping.h"

#include <math.h>

#define SLACK 5e-5    /* of the limit, left to what lies between samples */
#define SHARES 1e-9   /* rounding allowed in sums of weights */
#define INSIDE 1e-9   /* and in an atom's place */
#define WORK_MOST 2e7 /* samples times atoms: under a second. Real proofs need a tenth; beyond, h is wider and the bound less */

static quell_status refuse_atom(quell_error *err, size_t j, const char *what, double found, const char *wanted)
{
    char text[32];
    return quell_fail(err, QUELL_E_DATA, "atom %zu of the proof: its %s is %s, want %s", j + 1, what,
                      isnan(found) ? "not a number" : quell_number_print(text, sizeof text, found, 6), wanted);
}

static quell_status check_atom(const quell_atom *atom, size_t j, const quell_bands *bands, quell_error *err)
{
    if (atom->band >= bands->count)
        return refuse_atom(err, j, "mode", (double)atom->band + 1, "one of the bands");
    const quell_band *band = &bands->band[atom->band];
    if (!(atom->frequency_hz >= band->hz[0] * (1 - INSIDE) && atom->frequency_hz <= band->hz[1] * (1 + INSIDE)))
        return refuse_atom(err, j, "frequency", atom->frequency_hz, "one in its band");
    if (!(atom->damping_ratio >= band->damping_ratio[0] - INSIDE && atom->damping_ratio <= band->damping_ratio[1] + INSIDE))
        return refuse_atom(err, j, "damping ratio", atom->damping_ratio, "one in its band");
    if (!(atom->weight >= 0 && atom->weight <= 1 + SHARES))
        return refuse_atom(err, j, "weight", atom->weight, "0 to 1");
    if (!(fabs(atom->angle_rad) <= 1e6))
        return refuse_atom(err, j, "angle", atom->angle_rad, "a number of radians");
    return QUELL_OK;
}

static quell_status check_weights(const quell_certificate *proof, const quell_bands *bands, quell_error *err)
{
    double held[QUELL_TAILOR_BANDS_MAX] = {0}, all = 0;
    for (size_t j = 0; j < proof->count; j++) {
        held[proof->atom[j].band] += proof->atom[j].weight;
        all += proof->atom[j].weight;
    }
    for (size_t k = 0; k < bands->count && bands->weighted; k++)
        if (held[k] > bands->band[k].weight + SHARES)
            return quell_fail(err, QUELL_E_DATA, "the proof's weights of band %zu sum to %.6g, want at most %.6g", k + 1,
                              held[k], bands->band[k].weight);
    if (all > 1 + SHARES)
        return quell_fail(err, QUELL_E_DATA, "the proof's weights sum to %.6g, want at most 1", all);
    return QUELL_OK;
}

/* f at time t. */
static double tell(const quell_certificate *proof, double t)
{
    double sum = 0, end_s = proof->duration_s;
    for (size_t j = 0; j < proof->count; j++) {
        const quell_atom *atom = &proof->atom[j];
        double omega = 2 * QUELL_PI * atom->frequency_hz, z = atom->damping_ratio;
        double shrunk = exp(-z * omega * (end_s - t));
        sum += atom->weight * shrunk * cos(omega * sqrt(1 - z * z) * (t - end_s / 2) - atom->angle_rad);
    }
    return sum;
}

quell_status quell_certificate_verify(const quell_certificate *certificate, const quell_bands *bands, double *bound,
                                      quell_error *err)
{
    quell_status status = quell_bands_check(bands, err);
    if (status != QUELL_OK)
        return status;
    if (certificate->count < 1 || certificate->count > QUELL_ATOMS_MAX)
        return quell_fail(err, QUELL_E_DATA, "the proof has %zu atoms, want 1 to %d", certificate->count, QUELL_ATOMS_MAX);
    if (!(certificate->duration_s > 0 && certificate->duration_s <= 1e4))
        return quell_fail(err, QUELL_E_DATA, "the proof's duration is %g s, want above 0", certificate->duration_s);
    if (!(certificate->residual_limit > 0 && certificate->residual_limit < 1))
        return quell_fail(err, QUELL_E_DATA, "the proof's residual limit is %g, want between 0 and 1",
                          certificate->residual_limit);
    for (size_t j = 0; j < certificate->count && status == QUELL_OK; j++)
        status = check_atom(&certificate->atom[j], j, bands, err);
    if (status == QUELL_OK)
        status = check_weights(certificate, bands, err);
    if (status != QUELL_OK)
        return status;
    double curve = 0, weights = 0;
    for (size_t j = 0; j < certificate->count; j++) {
        double omega = 2 * QUELL_PI * certificate->atom[j].frequency_hz;
        curve += certificate->atom[j].weight * omega * omega;
        weights += certificate->atom[j].weight;
    }
    double wanted_s = sqrt(8 * SLACK * certificate->residual_limit / fmax(curve, 1e-300));
    double steps = fmin(fmax(ceil(certificate->duration_s / wanted_s), 2), WORK_MOST / (double)certificate->count);
    double step_s = certificate->duration_s / steps, between = step_s * step_s / 8 * curve;
    double lowest = weights; /* f is nowhere more */
    if (lowest - between > certificate->residual_limit) /* else no sample can help */
        for (double i = 0; i <= steps; i++)
            lowest = fmin(lowest, tell(certificate, i * step_s));
    *bound = lowest - between;
    if (*bound > certificate->residual_limit)
        return QUELL_OK;
    return quell_fail(err, QUELL_E_DATA, "the proof holds for a residual below %.6g, want above the limit of %.6g", *bound,
                      certificate->residual_limit);
}
