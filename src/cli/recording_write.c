/* Writing a simulated recording as delimited text, plain or gzip. */
#include "cli/recording_write.h"

#include <math.h>
#include <string.h>
#include <zlib.h>

enum { BLOCK = 1 << 16, ROW_MAX = 4 * 66 };

/* Text gathered in blocks, packed on the way out if asked. */
typedef struct writer {
    FILE *stream;
    bool gzip;
    z_stream packer;
    size_t used;
    char text[BLOCK + ROW_MAX];
    unsigned char packed[BLOCK];
} writer;

static void pack_block(writer *out, int flush)
{
    out->packer.next_in = (unsigned char *)out->text;
    out->packer.avail_in = (uInt)out->used;
    do {
        out->packer.next_out = out->packed;
        out->packer.avail_out = sizeof out->packed;
        deflate(&out->packer, flush); /* cannot fail: state and buffers are sound */
        fwrite(out->packed, 1, sizeof out->packed - out->packer.avail_out, out->stream);
    } while (out->packer.avail_out == 0);
}

static void write_block(writer *out, bool last)
{
    if (out->gzip)
        pack_block(out, last ? Z_FINISH : Z_NO_FLUSH);
    else
        fwrite(out->text, 1, out->used, out->stream);
    out->used = 0;
}

/* The decimals at which a hundredth of `smallest` still shows, within [least, most]. */
static int decimals_for(double smallest, int least, int most)
{
    int decimals = (int)ceil(2 - log10(smallest));
    return decimals < least ? least : decimals > most ? most : decimals;
}

/* As quell_number_print_fixed, many times faster: a recording has millions of numbers. */
static void put_number(writer *out, double value, int decimals)
{
    static const double power[] = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12};
    double scaled = round(fabs(value) * power[decimals]);
    if (!(scaled < 9e15)) {
        quell_number_print_fixed(out->text + out->used, 64, value, decimals);
        out->used += strlen(out->text + out->used);
        return;
    }
    char digits[24];
    int count = 0;
    for (uint64_t rest = (uint64_t)scaled; rest > 0 || count <= decimals; rest /= 10)
        digits[count++] = (char)('0' + rest % 10);
    if (value < 0 && scaled > 0)
        out->text[out->used++] = '-';
    while (count > 0) {
        if (count == decimals)
            out->text[out->used++] = '.';
        out->text[out->used++] = digits[--count];
    }
}

static void write_rows(writer *out, const quell_simulated *made, double step_mps2)
{
    static const char head[] = "t_s;a1_mps2;a2_mps2;a3_mps2\n";
    int time_decimals = decimals_for(1 / made->rate_hz, 6, 12);
    int decimals = step_mps2 > 0 ? decimals_for(step_mps2, 3, 12) : 6;
    memcpy(out->text, head, sizeof head - 1);
    out->used = sizeof head - 1;
    for (size_t i = 0; i < made->count && !ferror(out->stream); i++) {
        put_number(out, made->time_s[i], time_decimals);
        for (size_t k = 0; k < 3; k++) {
            out->text[out->used++] = ';';
            put_number(out, made->accel_mps2[k][i], decimals);
        }
        out->text[out->used++] = '\n';
        if (out->used >= BLOCK)
            write_block(out, false);
    }
    write_block(out, true);
}

quell_status cli_recording_write(const quell_simulated *made, double step_mps2, FILE *stream, bool gzip,
                                 quell_error *err)
{
    enum { GZIP_WINDOW = 15 + 16, MEMORY_LEVEL = 9 };
    writer *out = quell_memory_get(sizeof *out);
    if (out == NULL)
        return quell_fail(err, QUELL_E_MEMORY, "out of memory");
    out->stream = stream;
    out->gzip = gzip;
    out->packer = (z_stream){0};
    quell_status status = QUELL_OK;
    if (gzip && deflateInit2(&out->packer, Z_BEST_COMPRESSION, Z_DEFLATED, GZIP_WINDOW, MEMORY_LEVEL,
                             Z_DEFAULT_STRATEGY) != Z_OK)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory");
    if (status == QUELL_OK)
        write_rows(out, made, step_mps2);
    if (gzip)
        deflateEnd(&out->packer);
    quell_memory_free(out);
    return status;
}
