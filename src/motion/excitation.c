/* The words for what shakes a machine, the same on the command line, in plans and in results. */
#include "quell/motion.h"

#include <string.h>

static const char *const words[] = {[QUELL_EXCITE_SWEEP] = "sweep",
                                    [QUELL_EXCITE_RANDOM] = "random",
                                    [QUELL_EXCITE_STOPS] = "stops",
                                    [QUELL_EXCITE_AMBIENT] = "ambient"};

const char *quell_excitation_word(quell_excitation kind)
{
    return words[kind];
}

bool quell_excitation_find(quell_excitation *out, const char *word)
{
    for (size_t i = 0; i < sizeof words / sizeof words[0]; i++)
        if (strcmp(words[i], word) == 0) {
            *out = (quell_excitation)i;
            return true;
        }
    return false;
}
