/* Rows of plain numbers, read straight from the buffer: the loop in which the time of reading goes.

   First all bytes that are no digits are marked, 64 to a word, so that the ends of numbers are found without waiting for
   the digits before them; then each row is walked from mark to mark. Whatever is not a plain number at its place, a row
   that is short, a line that may be a comment, a stamp that runs back: the loop stops before it, and the careful way
   (row.c) decides. */
#include "ingest/ingest_private.h"

#include "base/digits.h"

#include <string.h>

#if defined(__SSE2__) && !defined(QUELL_NO_VECTORS) /* the sanitized build goes the other way */
#define VECTORS
#include <emmintrin.h>
#endif

/* Marks are made for so many words at a time; SPARE: bytes behind them that may be looked at. */
enum { WORD = 64, WORDS_FIRST = 16, WORDS = 512, SPARE = 64 };

/* Bit i: byte i of 64 is no digit. */
static inline uint64_t mark_word(const char *text)
{
    uint64_t marks = 0;
#ifdef VECTORS
    for (int i = 0; i < 4; i++) {
        __m128i bytes = _mm_loadu_si128((const __m128i *)(const void *)(text + 16 * i));
        /* signed comparison: what is above '9' once '0' is the lowest of all bytes */
        __m128i shifted = _mm_sub_epi8(bytes, _mm_set1_epi8((char)('0' + 128)));
        __m128i others = _mm_cmpgt_epi8(shifted, _mm_set1_epi8((char)(9 - 128)));
        marks |= (uint64_t)(unsigned)_mm_movemask_epi8(others) << (16 * i);
    }
#else
    for (int i = 0; i < 8; i++) {
        uint64_t eight = quell_digits_load(text + 8 * i);
        uint64_t others = ((eight & UINT64_C(0x7f7f7f7f7f7f7f7f)) + UINT64_C(0x7676767676767676)) | eight;
        /* the top bits of eight bytes, side by side in the top byte of a product in which no two meet */
        others = ((others >> 7) & UINT64_C(0x0101010101010101)) * UINT64_C(0x0102040810204080) >> 56;
        marks |= others << (8 * i);
    }
#endif
    return marks;
}

/* Walks from one marked byte to the next. The last word is all marks, so that there always is a next one. */
typedef struct walk {
    const char *text;
    uint64_t mark[WORDS + 1];
    size_t word;
    uint64_t left; /* marks of this word that have not been passed */
} walk;

static inline void refill(walk *w)
{
    while (w->left == 0)
        w->left = w->mark[++w->word];
}

static inline size_t next_mark(walk *w)
{
    refill(w);
    size_t at = w->word * WORD + (size_t)__builtin_ctzll(w->left);
    w->left &= w->left - 1;
    return at;
}

/* The number at `at`, of up to 8 digits before the point and 16 behind it, below 2^53 without the point. Returns the mark
   that ends it; 0 if it is no such number. *value is correctly rounded: one operation on exact operands. */
static inline size_t read_number(walk *w, size_t at, char decimal, double *value)
{
    static const double power[] = {1e0, 1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7, 1e8,
                                   1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15, 1e16};
    static const uint64_t whole_power[] = {1, 10, 100, 1000, 10000, 100000, 1000000, 10000000, 100000000};
    static const double sign[] = {1, -1};
    const char *text = w->text;
    unsigned negative = text[at] == '-';
    refill(w);
    w->left &= w->left - negative; /* passes the mark of the sign; signs come at random, so no branch */
    at += negative;
    size_t end = next_mark(w), whole = end - at, decimals = 0;
    if (whole - 1 > 7)
        return 0;
    uint64_t mantissa = quell_digits_value(quell_digits_load(text + at), (unsigned)whole);
    if (text[end] == decimal) {
        const char *digits = text + end + 1;
        size_t point = end;
        end = next_mark(w);
        decimals = end - point - 1;
        size_t first = decimals < 8 ? decimals : 8, second = decimals - first;
        if (first > 0)
            mantissa = mantissa * whole_power[first] +
                       quell_digits_value(quell_digits_load(digits), (unsigned)first);
        if (second > 0) {
            if (second > 8 || whole + decimals > 19) /* twenty digits might wrap */
                return 0;
            mantissa = mantissa * whole_power[second] +
                       quell_digits_value(quell_digits_load(digits + 8), (unsigned)second);
            if (mantissa >= UINT64_C(1) << 53)
                return 0;
        }
    } /* with 8 digits on either side at most it is below 1e16: */
    if (mantissa >= UINT64_C(1) << 53)
        return 0;
    *value = (double)(int64_t)mantissa / power[decimals] * sign[negative];
    return end;
}

/* The place behind `columns` more delimiters; 0 if the line ends before. */
static size_t skip_columns(walk *w, size_t limit, char delimiter, size_t columns)
{
    size_t at = 0;
    while (columns > 0) {
        at = next_mark(w);
        if (at >= limit || w->text[at] == '\n')
            return 0;
        columns -= w->text[at] == delimiter ? 1 : 0;
    }
    return at + 1;
}

/* The start of the line behind the one whose last needed number ends at `at`; 0 if it is not held to its end or goes on
   with anything but a further column. */
static inline size_t finish_line(walk *w, size_t at, size_t limit, char delimiter)
{
    const char *text = w->text;
    if (text[at] == '\n')
        return at + 1;
    if (text[at] == '\r' && text[at + 1] == '\n') {
        next_mark(w);
        return at + 2;
    }
    if (text[at] != delimiter)
        return 0;
    do
        at = next_mark(w);
    while (at < limit && text[at] != '\n');
    return at < limit ? at + 1 : 0;
}

/* One row into value[slot]; 0 if it is not plain, or not held to its end. */
static inline size_t read_row(walk *w, const ingest_row_plan *plan, size_t at, size_t limit,
                              double value[INGEST_SLOTS])
{
    const char delimiter = plan->dialect.delimiter, decimal = plan->dialect.decimal;
    size_t column = 0;
    for (size_t s = 0; s < plan->slots; s++) {
        if (plan->column[s] != column) {
            at = skip_columns(w, limit, delimiter, plan->column[s] - column);
            if (at == 0)
                return 0;
            column = plan->column[s];
        }
        while (w->text[at] == ' ' && at < limit)
            at = next_mark(w) + 1;
        at = read_number(w, at, decimal, &value[plan->slot[s]]);
        if (at == 0 || at >= limit)
            return 0;
        if (s + 1 < plan->slots) {
            if (w->text[at] != delimiter)
                return 0;
            at++;
            column++;
        }
    }
    return finish_line(w, at, limit, delimiter);
}

/* As ingest_rows_quick, over the bytes that the marks cover. */
static size_t read_rows(walk *w, const ingest_row_plan *plan, size_t limit, double *newest, double leap,
                        ingest_batch *out)
{
    double value[INGEST_SLOTS] = {*newest};
    size_t row = out->rows, at = 0;
    for (; row < INGEST_BATCH && at < limit; row++) {
        /* where the first column is not looked at, the line may be a comment */
        bool is_row =
            plan->column[0] == 0 || (unsigned)((unsigned char)w->text[at] - '0') < 10 || w->text[at] == '-';
        size_t next = is_row ? read_row(w, plan, at, limit, value) : 0;
        if (next == 0 || !(value[0] >= *newest && value[0] - *newest <= leap))
            break;
        *newest = value[0];
        out->stamp[row] = value[0];
        for (size_t k = 0; k < 3; k++)
            out->value[k][row] = value[k + 1];
        out->counter[row] = value[4];
        at = next;
    }
    out->rows = row;
    return at;
}

const char *ingest_rows_quick(const ingest_row_plan *plan, const char *at, const char *end, double *newest,
                              double leap, ingest_batch *out)
{
    if (plan->dialect.quoted || plan->dialect.delimiter == ' ')
        return at;
    walk w;
    /* few marks at first: where rows are not plain, making them must not cost more than reading with care */
    for (size_t most = WORDS_FIRST; end - at > SPARE + WORD && out->rows < INGEST_BATCH; most = WORDS) {
        size_t words = ((size_t)(end - at) - SPARE) / WORD;
        words = words < most ? words : most;
        w.text = at;
        for (size_t i = 0; i < words; i++)
            w.mark[i] = mark_word(at + i * WORD);
        w.mark[words] = ~UINT64_C(0);
        w.word = 0;
        w.left = w.mark[0];
        size_t used = read_rows(&w, plan, words * WORD, newest, leap, out);
        at += used;
        if (used == 0) /* the next row is not plain, or longer than what was marked */
            break;
    }
    return at;
}
