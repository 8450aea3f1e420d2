/* Names of units as files write them. */
#include "ingest/ingest_private.h"

#include <string.h>

/* Spellings of units beside those of base's table, in small letters, without blanks, points, brackets and signs of
   multiplication or power. */
static const struct {
    const char *written;
    quell_dimension dimension;
    const char *name; /* in base's table; NULL: counts */
} spellings[] = {
    {"sec", QUELL_TIME, "s"},
    {"secs", QUELL_TIME, "s"},
    {"second", QUELL_TIME, "s"},
    {"seconds", QUELL_TIME, "s"},
    {"sekunden", QUELL_TIME, "s"},
    {"secondes", QUELL_TIME, "s"},
    {"seconden", QUELL_TIME, "s"},
    {"msec", QUELL_TIME, "ms"},
    {"millis", QUELL_TIME, "ms"},
    {"milliseconds", QUELL_TIME, "ms"},
    {"usec", QUELL_TIME, "us"},
    {"micros", QUELL_TIME, "us"},
    {"microseconds", QUELL_TIME, "us"},
    {"nsec", QUELL_TIME, "ns"},
    {"nanos", QUELL_TIME, "ns"},
    {"nanoseconds", QUELL_TIME, "ns"},
    {"mps2", QUELL_ACCELERATION, "m/s2"},
    {"mpss", QUELL_ACCELERATION, "m/s2"},
    {"ms2", QUELL_ACCELERATION, "m/s2"},
    {"ms-2", QUELL_ACCELERATION, "m/s2"},
    {"m/s2", QUELL_ACCELERATION, "m/s2"},
    {"m/s/s", QUELL_ACCELERATION, "m/s2"},
    {"m/ss", QUELL_ACCELERATION, "m/s2"},
    {"m/sec2", QUELL_ACCELERATION, "m/s2"},
    {"m/second2", QUELL_ACCELERATION, "m/s2"},
    {"meters/second2", QUELL_ACCELERATION, "m/s2"},
    {"meters/second/second", QUELL_ACCELERATION, "m/s2"},
    {"mmps2", QUELL_ACCELERATION, "mm/s2"},
    {"mms-2", QUELL_ACCELERATION, "mm/s2"},
    {"mm/s/s", QUELL_ACCELERATION, "mm/s2"},
    {"mm/sec2", QUELL_ACCELERATION, "mm/s2"},
    {"cm/s2", QUELL_ACCELERATION, "cm/s2"},
    {"cm/s/s", QUELL_ACCELERATION, "cm/s2"},
    {"cm/sec2", QUELL_ACCELERATION, "cm/s2"},
    {"gee", QUELL_ACCELERATION, "g"},
    {"gs", QUELL_ACCELERATION, "g"},
    {"g0", QUELL_ACCELERATION, "g"},
    {"gn", QUELL_ACCELERATION, "g"},
    {"g's", QUELL_ACCELERATION, "g"},
    {"grav", QUELL_ACCELERATION, "g"},
    {"milli-g", QUELL_ACCELERATION, "mg"},
    {"millig", QUELL_ACCELERATION, "mg"},
    {"counts", QUELL_ACCELERATION, NULL},
    {"count", QUELL_ACCELERATION, NULL},
    {"lsb", QUELL_ACCELERATION, NULL},
    {"raw", QUELL_ACCELERATION, NULL},
    {"digits", QUELL_ACCELERATION, NULL},
};

/* As the table above has it. False if it is too long for one of its rows. */
static bool plain_spelling(char out[24], const char *name, size_t length)
{
    static const struct {
        const char *from, *to;
    } signs[] = {{"\xc2\xb2", "2"}, {"\xb2", "2"},     {"\xe2\x81\xbb", "-"},
                 {"\xc2\xb7", ""},  {"\xc2\xb5", "u"}, {"\xce\xbc", "u"},
                 {" ", ""},         {".", ""},         {"*", ""},
                 {"^", ""},         {"(", ""},         {")", ""}};
    size_t used = 0;
    for (size_t at = 0; at < length;) {
        size_t taken = 0;
        for (size_t i = 0; i < INGEST_COUNT(signs) && taken == 0; i++) {
            size_t n = strlen(signs[i].from);
            if (n > length - at || memcmp(name + at, signs[i].from, n) != 0)
                continue;
            taken = n;
            if (signs[i].to[0] != '\0')
                out[used++] = signs[i].to[0];
        }
        if (taken == 0)
            out[used++] = name[at] >= 'A' && name[at] <= 'Z' ? (char)(name[at] - 'A' + 'a') : name[at];
        at += taken > 0 ? taken : 1;
        if (used >= 23)
            return false;
    }
    out[used] = '\0';
    return true;
}

static bool in_base(ingest_unit *out, quell_dimension dimension, const char *name, size_t length)
{
    const quell_unit *unit = quell_unit_find(dimension, name, length);
    if (unit == NULL && dimension == QUELL_ACCELERATION && ingest_word_is(name, length, "g"))
        unit = quell_unit_find(dimension, "g", 1); /* "G" */
    if (unit == NULL && dimension == QUELL_ACCELERATION && ingest_word_is(name, length, "cm/s2")) {
        *out = (ingest_unit){"cm/s2", dimension, 0.01};
        return true;
    }
    if (unit == NULL)
        return false;
    *out = (ingest_unit){unit->name, dimension, unit->si};
    return true;
}

bool ingest_unit_read(ingest_unit *out, quell_dimension dimension, const char *name, size_t length)
{
    if (length == 0)
        return false;
    if (in_base(out, dimension, name, length))
        return true;
    char plain[24];
    if (!plain_spelling(plain, name, length))
        return false;
    for (size_t i = 0; i < INGEST_COUNT(spellings); i++) {
        if (spellings[i].dimension != dimension || strcmp(plain, spellings[i].written) != 0)
            continue;
        if (spellings[i].name != NULL)
            return in_base(out, dimension, spellings[i].name, strlen(spellings[i].name));
        *out = (ingest_unit){"counts", dimension, 0};
        return true;
    }
    return false;
}
