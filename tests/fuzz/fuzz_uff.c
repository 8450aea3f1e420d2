/* Fuzz target: universal files (dataset 58, in text and in both byte orders). */
#include "fuzz.h"

#include <stdlib.h>
#include <string.h>

/* The line by which such a file is known: with it in front, every input reaches the reader. */
static const char delimiter[] = "    -1\n";

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    fuzz_setup setup;
    fuzz_setup_take(&setup, &data, &size);
    size_t mark = sizeof delimiter - 1;
    uint8_t *whole = malloc(size + mark);
    if (whole == NULL)
        abort();
    memcpy(whole, delimiter, mark);
    if (size > 0)
        memcpy(whole + mark, data, size);
    if (size >= 4 && memcmp(data, "    ", 4) == 0) { /* it has a beginning of its own */
        memmove(whole, whole + mark, size);
        mark = 0;
    }
    setup.lead = 0;
    fuzz_recording(&setup, whole, size + mark, false);
    free(whole);
    return 0;
}
