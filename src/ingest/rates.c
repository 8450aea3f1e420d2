/* A rate in a header's words: "Sample rate: 1600 Hz", "Fs=1000", "Delta_X,0.000488", "40 sps". */
#include "ingest/ingest_private.h"

#include <math.h>
#include <string.h>

enum { LOOKED_AT = 4096 /* bytes of a line */ };

/* Plausible in words, where nothing else speaks for it. */
#define LOWEST_HZ 1e-3
#define HIGHEST_HZ 1e6
#define LOWEST_FS 20.0 /* below, "FS 16" is a full scale in g */

/* A blank in a key stands for any of " _-." or nothing. Longer keys stand before those they begin with. */
static const struct {
    const char *key;
    bool period;     /* it gives seconds between samples, not samples a second */
    bool needs_unit; /* without a unit it may mean anything */
} keys[] = {
    {"sample rate", false, false},
    {"sampling rate", false, false},
    {"sampling frequency", false, false},
    {"sample frequency", false, false},
    {"samples per second", false, false},
    {"samples / s", false, false},
    {"scan rate", false, false},
    {"acquisition rate", false, false},
    {"output data rate", false, false},
    {"data rate", false, true},
    {"logging rate", false, true},
    {"abtastrate", false, false},
    {"abtastfrequenz", false, false},
    {"fréquence d'échantillonnage", false, false},
    {"frequence d'echantillonnage", false, false},
    {"frecuencia de muestreo", false, false},
    {"frequenza di campionamento", false, false},
    {"bemonsteringsfrequentie", false, false},
    {"rate", false, true},
    {"odr", false, false},
    {"fs", false, false},
    {"sample interval", true, false},
    {"sampling interval", true, false},
    {"sampling period", true, false},
    {"sample period", true, false},
    {"sampling time", true, true},
    {"sample time", true, true},
    {"time step", true, false},
    {"time increment", true, false},
    {"x increment", true, false},
    {"delta x", true, false},
    {"delta t", true, false},
    {"dx", true, true},
    {"dt", true, false},
};

static bool is_letter(char c)
{
    return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (unsigned char)c >= 0x80;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Characters of text that the key takes; 0 if it does not stand there as a word. */
static size_t match_key(const char *key, const char *text, size_t length)
{
    size_t at = 0;
    for (const char *k = key; *k != '\0'; k++) {
        if (*k == ' ') {
            while (at < length && strchr(" _-.", text[at]) != NULL && text[at] != '\0')
                at++;
            continue;
        }
        char c = at < length ? text[at] : '\0';
        if (c >= 'A' && c <= 'Z')
            c = (char)(c - 'A' + 'a');
        if (c != *k)
            return 0;
        at++;
    }
    return at < length && (is_letter(text[at]) || is_digit(text[at])) ? 0 : at;
}

/* The unit at the start of text: of a rate (into *hz a unit) or of a period. */
typedef struct unit_said {
    size_t length; /* 0: none */
    bool period;
    double si;
} unit_said;

static unit_said read_unit(const char *text, size_t length)
{
    static const struct {
        const char *word;
        double hz;
    } rates[] = {{"samples/second", 1},
                 {"samples/sec", 1},
                 {"samples/s", 1},
                 {"samples per second", 1},
                 {"ksps", 1e3},
                 {"sps", 1},
                 {"sa/s", 1},
                 {"s/s", 1},
                 {"1/s", 1},
                 {"khz", 1e3},
                 {"hz", 1},
                 {"hertz", 1}};
    unit_said none = {0, false, 0};
    size_t most = length < 24 ? length : 24;
    for (size_t i = 0; i < INGEST_COUNT(rates); i++) {
        size_t used = strlen(rates[i].word);
        if (used <= most && ingest_word_is(text, used, rates[i].word) &&
            (used == length || !is_letter(text[used])))
            return (unit_said){used, false, rates[i].hz};
    }
    size_t used = 0;
    while (used < most && is_letter(text[used]))
        used++;
    ingest_unit unit;
    if (used == 0 || (used < length && (text[used] == '/' || is_digit(text[used]))))
        return none;
    if (ingest_unit_read(&unit, QUELL_TIME, text, used))
        return (unit_said){used, true, unit.si};
    return none;
}

static size_t skip(const char *text, size_t length, size_t at, const char *these)
{
    while (at < length && text[at] != '\0' && strchr(these, text[at]) != NULL)
        at++;
    return at;
}

/* Further values beside the first, as where each channel has its own. True if all are the same. */
static bool same_again(const char *text, size_t length, size_t at, char decimal, double first)
{
    for (;;) {
        double other;
        at = skip(text, length, at, " \t,;\"");
        size_t used = quell_number_read(text + at, length - at, decimal, &other);
        if (used == 0 || (at + used < length && (is_letter(text[at + used]) || text[at + used] == ':')))
            return true;
        if (fabs(other - first) > 1e-9 * fabs(first))
            return false;
        at += used;
    }
}

/* What follows a key that ends at `at`, as a rate; 0 if it gives none. */
static double read_value(const char *text, size_t length, size_t at, size_t which, char decimal)
{
    double value;
    at = skip(text, length, at, " ");
    unit_said unit = {0, false, 0};
    if (at < length && (text[at] == '(' || text[at] == '[')) {
        unit = read_unit(text + at + 1, length - at - 1);
        const char *closing = memchr(text + at, text[at] == '(' ? ')' : ']', length - at);
        at = closing != NULL ? (size_t)(closing - text) + 1 : length;
    }
    at = skip(text, length, at, " \t:=,;\"");
    size_t used = quell_number_read(text + at, length - at, decimal, &value);
    if (used == 0 && decimal != '.')
        used = quell_number_read(text + at, length - at, '.', &value);
    if (used == 0 || !(value > 0) || !isfinite(value))
        return 0;
    at += used;
    size_t behind = skip(text, length, at, " \"");
    unit_said after = read_unit(text + behind, length - behind);
    if (after.length > 0)
        unit = after;
    else if (behind < length && unit.length == 0 && is_letter(text[behind]) && behind - at <= 1)
        return 0; /* a unit of something else: "FS = 4 g" */
    if (unit.length == 0 && keys[which].needs_unit)
        return 0;
    if (after.length == 0 && !same_again(text, length, at, decimal, value))
        return 0;
    if (unit.length == 0 && strcmp(keys[which].key, "fs") == 0 && value < LOWEST_FS)
        return 0;
    bool period = unit.length > 0 ? unit.period : keys[which].period;
    double si = value * (unit.length > 0 ? unit.si : 1);
    return period ? 1 / si : si;
}

/* "40 sps" without a key. */
static double read_bare(const char *text, size_t length, char decimal)
{
    double value;
    size_t used = quell_number_read(text, length, decimal, &value);
    size_t at = skip(text, length, used, " ");
    static const char *const words[] = {"sps", "samples/s", "samples/sec", "samples per second"};
    for (size_t i = 0; used > 0 && i < INGEST_COUNT(words); i++)
        if (match_key(words[i], text + at, length - at) > 0)
            return value;
    return 0;
}

static void note(ingest_rate_said *out, double hz, size_t line)
{
    if (!(hz >= LOWEST_HZ && hz <= HIGHEST_HZ))
        return;
    if (out->hz <= 0) {
        out->hz = hz;
        out->line = line;
    } else if (fabs(hz / out->hz - 1) > 0.01 && out->other_hz <= 0) {
        out->other_hz = hz;
        out->other_line = line;
    }
}

static void look_at_line(ingest_rate_said *out, const char *text, size_t length, char decimal, size_t line)
{
    for (size_t at = 0; at < length; at++) {
        bool starts = at == 0 || (!is_letter(text[at - 1]) && !is_digit(text[at - 1]));
        if (!starts)
            continue;
        if (is_digit(text[at]))
            note(out, read_bare(text + at, length - at, decimal), line);
        for (size_t k = 0; k < INGEST_COUNT(keys); k++) {
            size_t used = match_key(keys[k].key, text + at, length - at);
            if (used == 0)
                continue;
            note(out, read_value(text, length, at + used, k, decimal), line);
            at += used - 1;
            break;
        }
    }
}

void ingest_rate_find(ingest_rate_said *out, const ingest_layout *layout, const ingest_sample *sample)
{
    for (size_t i = 0; i < layout->first_line; i++) {
        size_t length = sample->line[i].length < LOOKED_AT ? sample->line[i].length : LOOKED_AT;
        look_at_line(out, sample->line[i].text, length, layout->dialect.decimal, i + 1);
    }
}
