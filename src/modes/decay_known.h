/* Parts of the measurement of ringing after stops of known modes: windows, ends of motion, amplitudes, strokes. */
#ifndef QUELL_DECAY_KNOWN_H
#define QUELL_DECAY_KNOWN_H

#include "modes/decay_private.h"

typedef struct known_decays {
    decay_data data;         /* of the driven axis alone */
    decay_stops rests;       /* as the velocity shows them */
    decay_solution solution; /* of those that can be measured */
    size_t loudest;          /* the mode of most acceleration */
} known_decays;

/* Exponent with which a term decays, 1/s. */
double known_decay_rate(const decay_fit *fit, size_t term);

/* Squared amplitude of a term's acceleration at the window's start. */
double known_squared(const known_decays *of, size_t stop, size_t term);

/* Sets the end of each motion to a part of a sample, from windows that are just behind it. QUELL_OK; QUELL_E_MEMORY. */
quell_status known_find_ends(known_decays *of, quell_error *err);

/* Powers of one mode at every stop. */
void known_measure_mode(known_decays *of, const quell_mode *mode, size_t term, quell_stops *out, quell_stop *stop);

/* Length, speed and direction of the stroke before each stop, and when it ends. */
void known_measure_strokes(const known_decays *of, quell_stop *stop);

#endif
