/* How a fuzz input is read: its leading bytes as options, and a source that gives it in pieces and may fail. */
#include "fuzz.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <zlib.h>

enum { VALUES = 10, LEADS = 8, AHEAD = 64 };

/* What a byte may choose for each option; '0' chooses the first. */
static const char *const values[6][VALUES] = {
    {NULL, "t=1,x=2,y=3,z=4", "x=1", "t=1,x=2", "x=1,y=2,z=3", "t=t_s,x=x,z=z", "t=2,x=1", "z=4,x=2", "x=256",
     "t=0"},
    {NULL, "g", "mg", "m/s2", "mm/s2", "counts:0.004g", "g:2", "m/s2:20", "counts", "counts:1e-300g"},
    {NULL, "1000", "100:3%", "0.001", "1e9", "25600:0.5%", "48000", "1 kHz", "2000:100%", "8000"},
    {NULL, "s", "ms", "us", "ns", "min", NULL, NULL, NULL, NULL},
    {NULL, "0:1", "0.1:", ":0.5", "0.01:0.02", "5:6", "1e300:", "0:1e-300", "0.02:1e9", "3:40"},
    {NULL, "up=+z,right=-y", "up=-x,right=+z", "up=+z", "up=+z,right=-z", "right=+x", NULL, NULL, NULL, NULL},
};

static size_t digit(uint8_t byte)
{
    return (uint8_t)(byte - '0');
}

/* The rest of the first line of what follows, as the text of an option. */
static const char *take_text(fuzz_setup *setup, const uint8_t **data, size_t *size)
{
    size_t length = 0, line;
    while (length < *size && (*data)[length] != '\n')
        length++;
    line = length < *size ? length + 1 : length;
    length = length < sizeof setup->text ? length : sizeof setup->text - 1;
    memcpy(setup->text, *data, length);
    setup->text[length] = '\0';
    *data += line;
    *size -= line;
    return setup->text;
}

void fuzz_setup_take(fuzz_setup *setup, const uint8_t **data, size_t *size)
{
    uint8_t head[FUZZ_SETUP];
    size_t given = *size < FUZZ_SETUP ? *size : FUZZ_SETUP;
    memset(head, '0', sizeof head);
    memcpy(head, *data, given);
    *data += given;
    *size -= given;
    memset(setup, 0, sizeof *setup);
    const char **option[6] = {&setup->read.columns,   &setup->read.unit, &setup->read.rate,
                              &setup->read.time_unit, &setup->read.span, &setup->read.mount};
    bool text_taken = false;
    for (size_t i = 0; i < 6; i++) {
        if (head[i] == '?' && !text_taken) {
            *option[i] = take_text(setup, data, size);
            text_taken = true;
        } else {
            *option[i] = values[i][digit(head[i]) % VALUES];
        }
    }
    setup->piece = 1 + digit(head[6]) % AHEAD;
    setup->threads = digit(head[6]) / AHEAD % 2 == 0 ? 0 : 2;
    setup->trouble = (fuzz_trouble)(digit(head[7]) % FUZZ_TROUBLES);
    /* few first, then in growing steps: both the start and the end of a reading are reached */
    size_t amount = digit(head[7]) / FUZZ_TROUBLES;
    setup->amount = amount < 40 ? amount : (amount - 39) * 100;
    static const size_t lead[LEADS] = {0, 40, 300, 3000, 5000, 9000, 12000, 17000};
    size_t led = digit(head[8]); /* seldom many: they are slow */
    setup->lead = led < 2 * LEADS ? lead[led % LEADS] : lead[led % 3];
    setup->packed = led / LEADS % 2 == 1;
}

/* ---------------------------------------------------------------- bytes */

/* Rows at 1 kHz in m/s2, delimited by the first of ; tab and comma that the input's second line has. */
static size_t make_lead(char *out, size_t room, size_t rows, char delimiter)
{
    size_t used = 0;
    for (size_t i = 0; i < rows && used + 64 < room; i++) {
        double t = (double)i / 1000;
        used += (size_t)snprintf(out + used, room - used, "%.3f%c%.3f%c%.3f%c%.3f\n", t, delimiter,
                                 2 * sin(300 * t), delimiter, cos(70 * t), delimiter, 9.8 + 0.01 * sin(t));
    }
    return used;
}

static char find_delimiter(const uint8_t *line, size_t size)
{
    for (size_t i = 0; i < size && line[i] != '\n'; i++)
        if (line[i] == ';' || line[i] == '\t' || line[i] == ',')
            return (char)line[i];
    return ',';
}

static void *get(size_t bytes)
{
    void *block = malloc(bytes > 0 ? bytes : 1);
    if (block == NULL)
        abort();
    return block;
}

static uint8_t *add_lead(const fuzz_setup *setup, const uint8_t *data, size_t size, size_t *made)
{
    size_t room = setup->lead * 64, first = 0;
    uint8_t *out = get(size + room);
    while (setup->lead > 0 && first < size && data[first] != '\n')
        first++;
    first = first < size ? first + 1 : size;
    memcpy(out, data, first);
    size_t lead =
        make_lead((char *)out + first, room, setup->lead, find_delimiter(data + first, size - first));
    memcpy(out + first + lead, data + first, size - first);
    *made = size + lead;
    return out;
}

static uint8_t *pack(const uint8_t *bytes, size_t size, size_t *made)
{
    size_t room = size + size / 10 + 128;
    uint8_t *out = get(room), *in = get(size);
    memcpy(in, bytes, size);
    z_stream stream = {
        .next_in = in, .avail_in = (unsigned)size, .next_out = out, .avail_out = (unsigned)room};
    if (deflateInit2(&stream, 1, Z_DEFLATED, 16 + MAX_WBITS, 8, Z_DEFAULT_STRATEGY) != Z_OK ||
        deflate(&stream, Z_FINISH) != Z_STREAM_END)
        abort();
    *made = room - stream.avail_out;
    deflateEnd(&stream);
    free(in);
    return out;
}

uint8_t *fuzz_bytes_make(const fuzz_setup *setup, const uint8_t *data, size_t size, size_t *made)
{
    size_t length;
    uint8_t *bytes = add_lead(setup, data, size, &length), *out;
    if (setup->packed) {
        out = pack(bytes, length, made);
    } else { /* a block of just its size, so that the sanitizer sees a step past its end */
        out = get(length);
        memcpy(out, bytes, length);
        *made = length;
    }
    free(bytes);
    return out;
}

/* ---------------------------------------------------------------- the source */

static quell_status read_piece(void *context, void *into, size_t size, size_t *got, quell_error *err)
{
    fuzz_source *state = context;
    FUZZ_CHECK(size > 0, "asked for no bytes");
    FUZZ_CHECK(!state->failed, "asked again after a failure");
    size_t left = state->size - state->at, most = size < left ? size : left;
    if (state->piece > 0) {
        state->turn = state->turn % state->piece + 1;
        most = most < state->turn ? most : state->turn;
    }
    if (state->fails && state->at + most > state->fail_after) {
        most = state->fail_after > state->at ? state->fail_after - state->at : 0;
        if (most == 0) {
            state->failed = true;
            return quell_fail(err, QUELL_E_IO, "the disk was pulled out");
        }
    }
    memcpy(into, state->bytes + state->at, most);
    state->at += most;
    *got = most;
    return QUELL_OK;
}

quell_source fuzz_source_open(fuzz_source *state)
{
    return (quell_source){.name = "input", .read = read_piece, .context = state};
}
