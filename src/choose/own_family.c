/* Families that a machine file defines: impulse times in damped periods, amplitudes as polynomials in
   K = exp(-pi zeta / sqrt(1 - zeta^2)), normalised to a sum of 1. */
#include "choose/machine_private.h"

#include <math.h>
#include <string.h>

enum { OWN_IMPULSES_MAX = 8, OWN_TERMS_MAX = 8, WORD_ROOM = 64 };

quell_status machine_store_times(machine_reader *reader, const machine_key *row, const char *value)
{
    quell_own_family *own = reader->base;
    char word[WORD_ROOM], shown[48];
    size_t count = 0, length;
    for (const char *at = value; (length = machine_next_word(&at, word, sizeof word)) > 0; count++) {
        double time;
        bool fits = count < OWN_IMPULSES_MAX && length < sizeof word &&
                    quell_number_parse(word, &time, NULL) == QUELL_OK;
        if (!fits || (count == 0 ? time != 0 : !(time > own->time_periods[count - 1])) || time > 100)
            return machine_refuse(
                reader, reader->line,
                "[%s] times: found '%s', want at most %d increasing numbers from 0, such as %s",
                reader->section, quell_printable(shown, sizeof shown, word, strlen(word)), OWN_IMPULSES_MAX,
                row->example);
        own->time_periods[count] = time;
    }
    if (own->count != 0 && own->count != count)
        return machine_refuse(reader, reader->line,
                              "[%s] times: found %zu, want one for each of the %zu amplitudes",
                              reader->section, count, own->count);
    own->count = count;
    return QUELL_OK;
}

/* One polynomial: its coefficients of 1, K, K^2 ... parted by blanks. */
static bool read_polynomial(const char *text, double *coefficient)
{
    char word[WORD_ROOM];
    size_t terms = 0, length;
    for (const char *at = text; (length = machine_next_word(&at, word, sizeof word)) > 0; terms++)
        if (terms == OWN_TERMS_MAX || length >= sizeof word ||
            quell_number_parse(word, &coefficient[terms], NULL) != QUELL_OK || fabs(coefficient[terms]) > 1e6)
            return false;
    return terms > 0;
}

/* Amplitudes at K, before they are normalised; their sum. */
static double evaluate(const quell_own_family *own, double k, double *amplitude)
{
    double sum = 0;
    for (size_t i = 0; i < own->count; i++) {
        amplitude[i] = 0;
        for (size_t term = OWN_TERMS_MAX; term-- > 0;)
            amplitude[i] = amplitude[i] * k + own->coefficient[i][term];
        sum += amplitude[i];
    }
    return sum;
}

/* A sum of 0 or less at some damping ratio could not be normalised there. */
static bool can_be_normalised(const quell_own_family *own)
{
    double amplitude[OWN_IMPULSES_MAX], size = 0;
    for (int i = 0; i <= 60; i++) {
        double sum = evaluate(own, quell_half_period_decay(QUELL_DAMPING_RATIO_MAX * i / 60), amplitude);
        for (size_t j = 0; j < own->count; j++)
            size = fmax(size, fabs(amplitude[j]));
        if (!(sum > 1e-6 * size))
            return false;
    }
    return true;
}

quell_status machine_store_amplitudes(machine_reader *reader, const machine_key *row, const char *value)
{
    quell_own_family *own = reader->base;
    char shown[48], piece[MACHINE_LINE_MAX + 1];
    size_t count = 0;
    for (const char *at = value; at != NULL; count++) {
        size_t length = strcspn(at, "|");
        memcpy(piece, at, length);
        piece[length] = '\0';
        if (count == OWN_IMPULSES_MAX || !read_polynomial(piece, own->coefficient[count]))
            return machine_refuse(
                reader, reader->line,
                "[%s] amplitudes: found '%s', want at most %d polynomials in K, each of at most %d "
                "coefficients, parted by |, such as %s",
                reader->section, quell_printable(shown, sizeof shown, piece, strlen(piece)), OWN_IMPULSES_MAX,
                OWN_TERMS_MAX, row->example);
        at = at[length] == '|' ? at + length + 1 : NULL;
    }
    if (own->count != 0 && own->count != count)
        return machine_refuse(reader, reader->line,
                              "[%s] amplitudes: found %zu, want one for each of the %zu times",
                              reader->section, count, own->count);
    own->count = count;
    if (!can_be_normalised(own))
        return machine_refuse(
            reader, reader->line,
            "[%s] amplitudes: their sum is not above 0 for all damping ratios from 0 to 0.3, want it so",
            reader->section);
    return QUELL_OK;
}

quell_status quell_own_family_design(quell_shaper *out, const quell_own_family *own,
                                     const quell_design_point *at, quell_error *err)
{
    char found[40];
    if (!(at->frequency_hz >= QUELL_DESIGN_HZ_MIN && at->frequency_hz <= QUELL_DESIGN_HZ_MAX))
        return quell_fail(err, QUELL_E_USAGE, "frequency is %s Hz, want %g to %g",
                          quell_number_print(found, sizeof found, at->frequency_hz, 6), QUELL_DESIGN_HZ_MIN,
                          QUELL_DESIGN_HZ_MAX);
    if (!(at->damping_ratio >= 0 && at->damping_ratio <= QUELL_DAMPING_RATIO_MAX))
        return quell_fail(err, QUELL_E_USAGE, "damping ratio is %s, want 0 to 0.3",
                          quell_number_print(found, sizeof found, at->damping_ratio, 6));
    double damped_period_s = 1 / (at->frequency_hz * sqrt(1 - at->damping_ratio * at->damping_ratio));
    quell_shaper made = {.at = *at, .count = own->count};
    double sum = evaluate(own, quell_half_period_decay(at->damping_ratio), made.amplitude);
    for (size_t i = 0; i < own->count; i++) {
        made.amplitude[i] /= sum;
        made.time_s[i] = own->time_periods[i] * damped_period_s;
    }
    *out = made;
    return QUELL_OK;
}
