/* Fuzz target: tailored shapers with their proofs, read and checked anew as `quell tailor --verify` does. */
#include "fuzz.h"

#include "quell/shaping.h"

#include <math.h>
#include <string.h>
#include <time.h>

enum { HEAD = 3, SECONDS_MOST = 5 }; /* bytes: the pieces, the trouble, and a line's end; under sanitizers, of one check */

static quell_status read_proof(quell_proof *out, fuzz_source *state, quell_error *err)
{
    quell_source source = fuzz_source_open(state);
    return quell_proof_read(out, &source, err);
}

static void check_shaper(const quell_shaper *shaper)
{
    FUZZ_CHECK(shaper->count >= 1 && shaper->count <= QUELL_SHAPER_MAX, "%zu impulses", shaper->count);
    FUZZ_CHECK(shaper->time_s[0] == 0, "begins at %g s", shaper->time_s[0]);
    for (size_t i = 0; i < shaper->count; i++) {
        FUZZ_CHECK(shaper->amplitude[i] >= 0 && shaper->amplitude[i] <= 1, "amplitude %g", shaper->amplitude[i]);
        FUZZ_CHECK(i == 0 || shaper->time_s[i] > shaper->time_s[i - 1], "time %g", shaper->time_s[i]);
        FUZZ_CHECK(shaper->time_s[i] <= QUELL_IMPULSE_TIME_MAX_S, "time %g", shaper->time_s[i]);
    }
}

/* What the check relies on. */
static void check_proof(const quell_proof *proof)
{
    const quell_certificate *certificate = &proof->certificate;
    FUZZ_CHECK(proof->bands.count >= 1 && proof->bands.count <= QUELL_TAILOR_BANDS_MAX, "%zu bands", proof->bands.count);
    FUZZ_CHECK(certificate->count >= 1 && certificate->count <= QUELL_ATOMS_MAX, "%zu atoms", certificate->count);
    FUZZ_CHECK(certificate->duration_s > 0 && isfinite(certificate->duration_s), "%g s", certificate->duration_s);
    for (size_t j = 0; j < certificate->count; j++) {
        const quell_atom *atom = &certificate->atom[j];
        FUZZ_CHECK(atom->band < QUELL_TAILOR_BANDS_MAX, "band %zu", atom->band);
        FUZZ_CHECK(isfinite(atom->frequency_hz) && isfinite(atom->damping_ratio) && isfinite(atom->angle_rad) &&
                       isfinite(atom->weight),
                   "atom %zu", j);
    }
    check_shaper(&proof->shaper);
}

/* What was accepted as a proof must be one, whatever the file says: the bound beats the limit, and no shaper known to keep the
   limit is shorter, least of all the impulse that does nothing. */
static void check_verdict(const quell_proof *proof)
{
    double bound = (double)NAN, limit = proof->certificate.residual_limit;
    quell_error err = {0};
    clock_t start = clock();
    quell_status status = quell_proof_verify(proof, &bound, &err);
    double took_s = (double)(clock() - start) / CLOCKS_PER_SEC;
    FUZZ_CHECK(took_s < SECONDS_MOST, "the check took %g s", took_s);
    if (status != QUELL_OK) {
        FUZZ_CHECK(status == QUELL_E_DATA, "status %d: %s", (int)status, err.text);
        fuzz_check_error(&err, status, NULL);
        return;
    }
    FUZZ_CHECK(bound > limit && bound <= 1 + 1e-6, "a bound of %g at a limit of %g", bound, limit);
    FUZZ_CHECK(quell_bands_residual(&proof->bands, &proof->shaper) <= 1.002 * limit, "a residual above %g", limit);
    FUZZ_CHECK(proof->shaper.time_s[proof->shaper.count - 1] > 0, "a proof for no shaper");
}

static bool is_same(const quell_proof *a, const quell_proof *b)
{
    bool same = a->bands.count == b->bands.count && a->bands.weighted == b->bands.weighted &&
                a->shaper.count == b->shaper.count && a->certificate.count == b->certificate.count &&
                a->certificate.duration_s == b->certificate.duration_s && a->certificate.bound == b->certificate.bound;
    for (size_t i = 0; i < a->shaper.count && same; i++)
        same = a->shaper.amplitude[i] == b->shaper.amplitude[i] && a->shaper.time_s[i] == b->shaper.time_s[i];
    for (size_t j = 0; j < a->certificate.count && same; j++)
        same = a->certificate.atom[j].weight == b->certificate.atom[j].weight;
    return same;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static quell_proof proof[2];
    size_t piece = size > 0 ? (uint8_t)(data[0] - '0') + 1u : 1, trouble = size > 1 ? (uint8_t)(data[1] - '0') : 0;
    size_t head = size < HEAD ? size : HEAD;
    fuzz_source whole = {.bytes = data + head, .size = size - head}, pieces = whole;
    pieces.piece = piece;
    pieces.fails = trouble > 0;
    pieces.fail_after = trouble * 16;
    proof[0].bands.count = proof[1].bands.count = 4711;
    quell_error err = {0}, other = {0};
    quell_status status = read_proof(&proof[0], &whole, &err), again = read_proof(&proof[1], &pieces, &other);
    FUZZ_CHECK(pieces.failed ? again == QUELL_E_IO : again == status, "whole: %d, %s; in pieces: %d, %s", (int)status,
               err.text, (int)again, other.text);
    if (status == QUELL_OK) {
        FUZZ_CHECK(pieces.failed || is_same(&proof[0], &proof[1]), "read differently");
        check_proof(&proof[0]);
        check_verdict(&proof[0]);
    } else {
        FUZZ_CHECK(status == QUELL_E_DATA, "status %d: %s", (int)status, err.text);
        FUZZ_CHECK(proof[0].bands.count == 4711, "out was touched: %s", err.text);
        if (!pieces.failed)
            fuzz_check_same_error(&err, &other);
        fuzz_check_error(&err, status, "input");
    }
    return 0;
}
