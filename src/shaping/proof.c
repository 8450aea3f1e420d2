/* A tailored shaper and its proof as they were written out: read, hostile like any file, and checked anew. */
#include "quell/shaping.h"
#include "quell/ingest.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#define SCHEMA "quell.tailor/1"
#define SUM_WITHIN 1e-6
#define LIMIT_WITHIN 1e-3   /* of the limit, by which R may exceed it */
#define PROVED_WITHIN 1.1e-3 /* the proof is of a duration no more than this below the shaper's */

static quell_status read_list(const json_t **out, const json_t *in, const char *key, size_t most, quell_error *err)
{
    const json_t *list = json_object_get(in, key);
    char wanted[64];
    snprintf(wanted, sizeof wanted, "a list of 1 to %zu", most);
    *out = list;
    bool fits = json_is_array(list) && json_array_size(list) >= 1 && json_array_size(list) <= most;
    return fits ? QUELL_OK : quell_value_refuse(key, list, wanted, err);
}

static quell_status read_bands(quell_bands *out, const json_t *root, quell_error *err)
{
    const json_t *list;
    quell_status status = read_list(&list, root, "bands", QUELL_TAILOR_BANDS_MAX, err);
    out->count = status == QUELL_OK ? json_array_size(list) : 0;
    for (size_t k = 0; k < out->count && status == QUELL_OK; k++) {
        const json_t *item = json_array_get(list, k);
        quell_band *band = &out->band[k];
        char place[32];
        snprintf(place, sizeof place, "bands[%zu].", k);
        const struct {
            const char *key;
            double *into, low, high;
        } number[] = {{"low_hz", &band->hz[0], QUELL_BAND_HZ_MIN, QUELL_BAND_HZ_MAX},
                      {"high_hz", &band->hz[1], QUELL_BAND_HZ_MIN, QUELL_BAND_HZ_MAX},
                      {"damping_ratio_low", &band->damping_ratio[0], 0, QUELL_DAMPING_RATIO_MAX},
                      {"damping_ratio_high", &band->damping_ratio[1], 0, QUELL_DAMPING_RATIO_MAX}};
        for (size_t i = 0; i < sizeof number / sizeof number[0] && status == QUELL_OK; i++)
            status = quell_value_number(number[i].into, item, number[i].key, place, number[i].low, number[i].high, err);
    }
    return status;
}

/* `weights`: null where the largest residual counts, else the share of each band. */
static quell_status read_weights(quell_bands *bands, const json_t *proof, quell_error *err)
{
    const json_t *list = json_object_get(proof, "weights");
    bands->weighted = list != NULL && !json_is_null(list);
    if (!bands->weighted)
        return QUELL_OK;
    if (!json_is_array(list) || json_array_size(list) != bands->count)
        return quell_value_refuse("certificate.weights", list, "null, or a number for each band", err);
    for (size_t k = 0; k < bands->count; k++) {
        const json_t *value = json_array_get(list, k);
        bands->band[k].weight = json_number_value(value);
        if (!json_is_number(value) || !(bands->band[k].weight >= 0 && bands->band[k].weight <= 1))
            return quell_value_refuse("certificate.weights", value, "numbers from 0 to 1", err);
    }
    return QUELL_OK;
}

static quell_status read_atom(quell_atom *out, const json_t *item, size_t j, quell_error *err)
{
    char place[48];
    double band;
    snprintf(place, sizeof place, "certificate.atoms[%zu].", j);
    const struct {
        const char *key;
        double *into, low, high;
    } number[] = {{"mode", &band, 1, QUELL_TAILOR_BANDS_MAX},
                  {"frequency_hz", &out->frequency_hz, QUELL_BAND_HZ_MIN, QUELL_BAND_HZ_MAX},
                  {"damping_ratio", &out->damping_ratio, 0, QUELL_DAMPING_RATIO_MAX},
                  {"angle_rad", &out->angle_rad, -1e6, 1e6},
                  {"weight", &out->weight, 0, 1}};
    quell_status status = QUELL_OK;
    for (size_t i = 0; i < sizeof number / sizeof number[0] && status == QUELL_OK; i++)
        status = quell_value_number(number[i].into, item, number[i].key, place, number[i].low, number[i].high, err);
    if (status == QUELL_OK && band != floor(band))
        status = quell_value_refuse("mode of an atom", json_object_get(item, "mode"), "a whole number", err);
    if (status == QUELL_OK)
        out->band = (size_t)band - 1;
    return status;
}

static quell_status read_certificate(quell_proof *out, const json_t *root, quell_error *err)
{
    const json_t *proof = json_object_get(root, "certificate"), *atoms;
    quell_certificate *made = &out->certificate;
    if (!json_is_object(proof))
        return quell_value_refuse("certificate", proof, "an object", err);
    quell_status status = quell_value_number(&made->duration_s, proof, "duration_s", "certificate.", 1e-9, 1e4, err);
    if (status == QUELL_OK)
        status = quell_value_number(&made->bound, proof, "bound", "certificate.", 0, 1, err);
    if (status == QUELL_OK)
        status = quell_value_number(&made->residual_limit, proof, "residual_limit", "certificate.", 0, 1, err);
    if (status == QUELL_OK)
        status = read_weights(&out->bands, proof, err);
    if (status == QUELL_OK)
        status = read_list(&atoms, proof, "atoms", QUELL_ATOMS_MAX, err);
    made->count = status == QUELL_OK ? json_array_size(atoms) : 0;
    for (size_t j = 0; j < made->count && status == QUELL_OK; j++)
        status = read_atom(&made->atom[j], json_array_get(atoms, j), j, err);
    return status;
}

static quell_status read_shaper(quell_shaper *out, const json_t *root, quell_error *err)
{
    const json_t *shaper = json_object_get(root, "shaper"), *amplitudes, *times;
    if (!json_is_object(shaper))
        return quell_value_refuse("shaper", shaper, "an object", err);
    quell_status status = read_list(&amplitudes, shaper, "amplitudes", QUELL_SHAPER_MAX, err);
    if (status == QUELL_OK)
        status = read_list(&times, shaper, "times_s", QUELL_SHAPER_MAX, err);
    if (status != QUELL_OK)
        return status;
    if (json_array_size(times) != json_array_size(amplitudes))
        return quell_fail(err, QUELL_E_DATA, "shaper: %zu amplitudes and %zu times, want as many", json_array_size(amplitudes),
                          json_array_size(times));
    out->count = json_array_size(times);
    for (size_t i = 0; i < out->count; i++) {
        const json_t *a = json_array_get(amplitudes, i), *t = json_array_get(times, i);
        out->amplitude[i] = json_number_value(a);
        out->time_s[i] = json_number_value(t);
        if (!json_is_number(a) || !(out->amplitude[i] >= 0 && out->amplitude[i] <= 1))
            return quell_value_refuse("shaper.amplitudes", a, "numbers from 0 to 1", err);
        bool follows = i == 0 ? out->time_s[0] == 0 : out->time_s[i] > out->time_s[i - 1];
        if (!json_is_number(t) || !follows || !(out->time_s[i] <= QUELL_IMPULSE_TIME_MAX_S))
            return quell_value_refuse("shaper.times_s", t, i == 0 ? "0 first" : "times that increase", err);
    }
    return QUELL_OK;
}

quell_status quell_proof_read(quell_proof *out, const quell_source *source, quell_error *err)
{
    json_t *root;
    quell_status status = quell_object_read(&root, source, "proof", err);
    if (status != QUELL_OK)
        return status;
    quell_proof made = {.certificate.count = 0};
    if (!quell_value_is(json_object_get(root, "schema"), SCHEMA))
        status = quell_value_refuse("schema", json_object_get(root, "schema"), "\"" SCHEMA "\"", err);
    if (status == QUELL_OK)
        status = read_bands(&made.bands, root, err);
    if (status == QUELL_OK)
        status = read_certificate(&made, root, err);
    if (status == QUELL_OK)
        status = read_shaper(&made.shaper, root, err);
    json_decref(root);
    if (status == QUELL_OK)
        *out = made;
    else
        quell_error_set_file(err, source->name);
    return status;
}

quell_status quell_proof_verify(const quell_proof *proof, double *bound, quell_error *err)
{
    const quell_shaper *shaper = &proof->shaper;
    const quell_certificate *certificate = &proof->certificate;
    double sum = 0, duration_s = shaper->count > 0 ? shaper->time_s[shaper->count - 1] : 0;
    quell_status status = quell_bands_check(&proof->bands, err);
    if (status != QUELL_OK)
        return quell_fail(err, QUELL_E_DATA, "%s", err != NULL ? err->text : "");
    for (size_t i = 0; i < shaper->count; i++) {
        if (!(shaper->amplitude[i] >= 0))
            return quell_fail(err, QUELL_E_DATA, "impulse %zu has the amplitude %g, want 0 or more", i + 1, shaper->amplitude[i]);
        sum += shaper->amplitude[i];
    }
    if (!(fabs(sum - 1) <= SUM_WITHIN))
        return quell_fail(err, QUELL_E_DATA, "the amplitudes sum to %.9g, want 1", sum);
    double residual = quell_bands_residual(&proof->bands, shaper), limit = certificate->residual_limit;
    if (!(residual <= limit * (1 + LIMIT_WITHIN)))
        return quell_fail(err, QUELL_E_DATA, "the shaper leaves %.6g, want at most the limit of %.6g", residual, limit);
    status = quell_certificate_verify(certificate, &proof->bands, bound, err);
    if (status != QUELL_OK)
        return status;
    if (certificate->duration_s < duration_s * (1 - PROVED_WITHIN))
        return quell_fail(err, QUELL_E_DATA,
                          "the shaper takes %.6g ms and the proof is of %.6g ms, want within 0.1 %% of each other",
                          1e3 * duration_s, 1e3 * certificate->duration_s);
    return QUELL_OK;
}
