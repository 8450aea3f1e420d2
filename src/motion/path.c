/* Along what a test may move. */
#include "quell/motion.h"

#include <string.h>

#define DIAGONAL 0.70710678118654752440

static const quell_path rows[] = {
    {"x", {1, 0}, {1, 0, 0}},
    {"y", {0, 1}, {0, 1, 0}},
    {"x+y", {1, 1}, {DIAGONAL, DIAGONAL, 0}},
    {"x-y", {1, -1}, {DIAGONAL, -DIAGONAL, 0}},
};

const quell_path *quell_path_find(const char *id)
{
    for (size_t i = 0; i < sizeof rows / sizeof rows[0]; i++)
        if (strcmp(rows[i].id, id) == 0)
            return &rows[i];
    return NULL;
}
