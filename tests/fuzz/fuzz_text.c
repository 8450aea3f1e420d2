/* Fuzz target: delimited text, plain or gzip, and whatever is mistaken for it. */
#include "fuzz.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    fuzz_setup setup;
    fuzz_setup_take(&setup, &data, &size);
    fuzz_recording(&setup, data, size, false);
    return 0;
}
