/* Building blocks of the compare stage. */
#ifndef QUELL_COMPARE_PRIVATE_H
#define QUELL_COMPARE_PRIVATE_H

#include "quell/compare.h"

/* Fills in alike and common_db once bands and modes are judged. */
void quell_compare_find_common(quell_comparison *comparison);

/* The verdict of a judged comparison in words, in the arena; NULL if memory is out. */
const char *quell_compare_words(const quell_comparison *comparison, quell_arena *arena);

#endif
