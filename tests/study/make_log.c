/* The log that the reading bench reads: 11.5 million rows (an hour at 3200 Hz) of time and three axes, 550 MB, with 3 %
   of jitter in the stamps. usage: make_log FILE [ROWS] */
#include <math.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>

static uint64_t state = 88172645463325252u;

/* A number from -0.5 to 0.5 (xorshift64: G. Marsaglia, J. Stat. Softw. 8(14), 2003). */
static double shake(void)
{
    state ^= state << 13;
    state ^= state >> 7;
    state ^= state << 17;
    return (double)(state >> 11) * 0x1p-53 - 0.5;
}

int main(int count, char **argument)
{
    long rows = count > 2 ? atol(argument[2]) : 11500000;
    FILE *file = count > 1 ? fopen(argument[1], "w") : NULL;
    if (file == NULL) {
        perror("make_log");
        return 1;
    }
    setvbuf(file, NULL, _IOFBF, 1 << 20);
    fputs("time_s,ax_mps2,ay_mps2,az_mps2\n", file);
    for (long i = 0; i < rows; i++) {
        double time_s = (double)i / 3200;
        double ring = 3 * sin(6.283185307179586 * 47.3 * time_s);
        fprintf(file, "%.7f,%.8f,%.8f,%.8f\n", 1000 + time_s + 2e-5 * shake(), ring + shake(), 2 * shake(),
                9.80665 + shake());
    }
    return fclose(file) == 0 ? 0 : 1;
}
