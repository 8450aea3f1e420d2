/* Fuzz target: sound files. */
#include "fuzz.h"

#include <stdlib.h>
#include <string.h>

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const char magic[] = "RIFF";
    fuzz_setup setup;
    fuzz_setup_take(&setup, &data, &size);
    size_t mark = sizeof magic - 1, length = size > mark ? size : mark;
    uint8_t *whole = malloc(length);
    if (whole == NULL)
        abort();
    memcpy(whole, magic, mark);
    if (size > mark)
        memcpy(whole + mark, data + mark, size - mark);
    /* the other kinds are let in by their own first bytes; anything else becomes the commonest */
    static const char *const others[] = {"RIFX", "RF64", "FORM", "fLaC", "OggS", ".snd", "riff", "caff"};
    for (size_t i = 0; i < sizeof others / sizeof others[0]; i++)
        if (size >= mark && memcmp(data, others[i], mark) == 0)
            memcpy(whole, others[i], mark);
    setup.lead = 0;
    fuzz_recording(&setup, whole, length, true);
    free(whole);
    return 0;
}
