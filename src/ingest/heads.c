/* What a column's head says: is it time or acceleration, along which axis, in which unit?

   A unit stands in parentheses or brackets, after a slash or after the last underscore: "Acceleration x (m/s^2)",
   "ax [g]", "t/ms", "a1_mps2". Words are compared without case and without what is not a letter or digit. */
#include "ingest/ingest_private.h"

#include <string.h>

/* Where the unit stands in a head: length 0 if nowhere. `sure`: in brackets, so that it is a unit whatever it is. */
typedef struct unit_place {
    size_t name_length, at, length;
    bool sure;
} unit_place;

static unit_place find_unit(const char *text, size_t length)
{
    static const char pair[2][2] = {{'(', ')'}, {'[', ']'}};
    unit_place none = {length, length, 0, false};
    for (size_t p = 0; p < 2; p++) {
        size_t depth = 0;
        for (size_t at = length; at-- > 0 && text[length - 1] == pair[p][1];) {
            depth += text[at] == pair[p][1];
            if (text[at] == pair[p][0] && --depth == 0)
                return (unit_place){at, at + 1, length - at - 2, true};
        }
    }
    for (size_t at = length; at-- > 1;) {
        if (text[at] == '_')
            return (unit_place){at, at + 1, length - at - 1, false};
        if (text[at] == '/' && text[at - 1] != 'm' && text[at - 1] != 's') {
            size_t from = at + 1;
            while (from < length && text[from] == ' ')
                from++;
            return (unit_place){at, from, length - from, false};
        }
        if (text[at] == ' ' && text[at - 1] != '/')
            break;
    }
    return none;
}

/* Letters and digits of text in lower case. */
static void squeeze(char *out, size_t size, const char *text, size_t length)
{
    size_t used = 0;
    for (size_t i = 0; i < length && used + 1 < size; i++) {
        char c = text[i];
        if (c >= 'A' && c <= 'Z')
            c = (char)(c - 'A' + 'a');
        if ((c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'))
            out[used++] = c;
    }
    out[used] = '\0';
}

/* What words say; the first row that fits counts. A row that starts with '=' wants the whole word. */
static const struct {
    const char *word;
    ingest_role role;
} words[] = {
    {"=t", INGEST_TIME},
    {"=s", INGEST_TIME},
    {"=ms", INGEST_TIME},
    {"=us", INGEST_TIME},
    {"=ns", INGEST_TIME},
    {"=sec", INGEST_TIME},
    {"=seconds", INGEST_TIME},
    {"=tempo", INGEST_TIME},
    {"=temps", INGEST_TIME},
    {"=tiempo", INGEST_TIME},
    {"=tid", INGEST_TIME},
    {"=tijd", INGEST_TIME},
    {"=zeit", INGEST_TIME},
    {"=xvalue", INGEST_TIME},
    {"=elapsed", INGEST_TIME},
    {"=epoch", INGEST_TIME},
    {"=unix", INGEST_TIME},
    {"=stamp", INGEST_TIME},
    {"millis", INGEST_TIME},
    {"micros", INGEST_TIME},
    {"timestamp", INGEST_TIME},
    {"zeitstempel", INGEST_TIME},
    {"date", INGEST_OTHER},
    {"time", INGEST_TIME},
    {"=index", INGEST_COUNTER},
    {"=idx", INGEST_COUNTER},
    {"=count", INGEST_COUNTER},
    {"=counter", INGEST_COUNTER},
    {"=sample", INGEST_COUNTER},
    {"=samples", INGEST_COUNTER},
    {"samplen", INGEST_COUNTER},
    {"=n", INGEST_COUNTER},
    {"=no", INGEST_COUNTER},
    {"=nr", INGEST_COUNTER},
    {"=id", INGEST_COUNTER},
    {"=seq", INGEST_COUNTER},
    {"=sequence", INGEST_COUNTER},
    {"=packet", INGEST_COUNTER},
    {"=row", INGEST_COUNTER},
    {"=f", INGEST_FREQUENCY},
    {"freq", INGEST_FREQUENCY},
    {"fft", INGEST_FREQUENCY},
    {"psd", INGEST_FREQUENCY},
    {"spectr", INGEST_FREQUENCY},
    {"=hz", INGEST_FREQUENCY},
    {"accura", INGEST_OTHER},
    {"gravity", INGEST_OTHER},
    {"activit", INGEST_OTHER},
    {"rpm", INGEST_OTHER},
    {"strain", INGEST_OTHER},
    {"motor", INGEST_OTHER},
    {"latitude", INGEST_OTHER},
    {"longitude", INGEST_OTHER},
    {"altitude", INGEST_OTHER},
    {"force", INGEST_OTHER},
    {"gyr", INGEST_OTHER},
    {"omega", INGEST_OTHER},
    {"angular", INGEST_OTHER},
    {"rotation", INGEST_OTHER},
    {"angle", INGEST_OTHER},
    {"temp", INGEST_OTHER},
    {"magn", INGEST_OTHER},
    {"compass", INGEST_OTHER},
    {"speed", INGEST_OTHER},
    {"veloc", INGEST_OTHER},
    {"posi", INGEST_OTHER},
    {"displ", INGEST_OTHER},
    {"volt", INGEST_OTHER},
    {"current", INGEST_OTHER},
    {"press", INGEST_OTHER},
    {"humid", INGEST_OTHER},
    {"steps", INGEST_OTHER},
    {"scalar", INGEST_OTHER},
    {"total", INGEST_OTHER},
    {"=norm", INGEST_OTHER},
    {"resultant", INGEST_OTHER},
    {"=vm", INGEST_OTHER},
    {"roll", INGEST_OTHER},
    {"pitch", INGEST_OTHER},
    {"yaw", INGEST_OTHER},
    {"quat", INGEST_OTHER},
    {"batt", INGEST_OTHER},
    {"hammer", INGEST_OTHER},
    {"light", INGEST_OTHER},
    {"comment", INGEST_OTHER},
    {"remark", INGEST_OTHER},
    {"=gx", INGEST_OTHER},
    {"=gy", INGEST_OTHER},
    {"=gz", INGEST_OTHER},
    {"=mag", INGEST_OTHER},
    {"=mx", INGEST_OTHER},
    {"=my", INGEST_OTHER},
    {"=mz", INGEST_OTHER},
    {"=magx", INGEST_OTHER},
    {"=magy", INGEST_OTHER},
    {"=magz", INGEST_OTHER},
    {"=wx", INGEST_OTHER},
    {"=wy", INGEST_OTHER},
    {"=wz", INGEST_OTHER},
    {"acc", INGEST_ACCELERATION},
    {"beschl", INGEST_ACCELERATION},
    {"=a", INGEST_ACCELERATION},
    {"=x", INGEST_ACCELERATION},
    {"=y", INGEST_ACCELERATION},
    {"=z", INGEST_ACCELERATION},
    {"=ax", INGEST_ACCELERATION},
    {"=ay", INGEST_ACCELERATION},
    {"=az", INGEST_ACCELERATION},
    {"=a1", INGEST_ACCELERATION},
    {"=a2", INGEST_ACCELERATION},
    {"=a3", INGEST_ACCELERATION},
    {"axis", INGEST_ACCELERATION},
};

static ingest_role role_of_words(const char *squeezed)
{
    for (size_t i = 0; i < INGEST_COUNT(words); i++) {
        bool whole = words[i].word[0] == '=';
        if (whole ? strcmp(squeezed, words[i].word + 1) == 0 : strstr(squeezed, words[i].word) != NULL)
            return words[i].role;
    }
    return INGEST_UNKNOWN;
}

/* x, y or z as the last or first letter of the squeezed name. */
static char axis_of(const char *squeezed)
{
    size_t length = strlen(squeezed);
    if (length == 0)
        return 0;
    char last = squeezed[length - 1], first = squeezed[0];
    if (last >= 'x' && last <= 'z')
        return last;
    return first >= 'x' && first <= 'z' ? first : 0;
}

static bool is_frequency_unit(const char *text, size_t length)
{
    return quell_unit_find(QUELL_FREQUENCY, text, length) != NULL && !ingest_word_is(text, length, "rad/s");
}

/* A level in decibels, or something per hertz or its root: only spectra have such units. */
static bool is_spectral_unit(const char *text, size_t length)
{
    static const char *const ends[] = {"/hz", "/rthz", "/sqrthz", "/\xe2\x88\x9ahz", "/hz^0.5", "/hz^(1/2)"};
    if (length >= 2 && ingest_word_is(text, 2, "db"))
        return true;
    for (size_t i = 0; i < INGEST_COUNT(ends); i++) {
        size_t used = strlen(ends[i]);
        for (size_t at = 0; at + used <= length; at++)
            if (ingest_word_is(text + at, used, ends[i]))
                return true;
    }
    return false;
}

ingest_head ingest_head_read(const char *text)
{
    size_t length = strlen(text);
    unit_place place = find_unit(text, length);
    ingest_head head = {.name_length = length};
    const char *unit = text + place.at;
    bool is_time = ingest_unit_read(&head.unit, QUELL_TIME, unit, place.length);
    bool is_acceleration = !is_time && ingest_unit_read(&head.unit, QUELL_ACCELERATION, unit, place.length);
    bool is_frequency = place.length > 0 && (is_frequency_unit(unit, place.length) ||
                                             (place.sure && is_spectral_unit(unit, place.length)));
    head.has_unit = is_time || is_acceleration;
    if (head.has_unit || is_frequency || place.sure)
        head.name_length = place.name_length;
    char squeezed[64];
    squeeze(squeezed, sizeof squeezed, text, head.name_length);
    head.role = role_of_words(squeezed);
    char whole[64];
    squeeze(whole, sizeof whole, text, length);
    bool transformed =
        strstr(whole, "fft") != NULL || strstr(whole, "psd") != NULL || strstr(whole, "spectr") != NULL;
    bool says_nothing = head.role == INGEST_UNKNOWN || head.role == INGEST_COUNTER;
    if (is_acceleration && (says_nothing || squeezed[0] == 'g') && strstr(squeezed, "gyr") == NULL)
        head.role = INGEST_ACCELERATION;
    else if (is_time && head.role != INGEST_OTHER)
        head.role = INGEST_TIME;
    else if (is_frequency || transformed)
        head.role = INGEST_FREQUENCY;
    else if (place.sure && place.length > 0 && !head.has_unit && says_nothing)
        head.role = INGEST_OTHER; /* a unit of something else: (N), [dps], (degC) */
    if (head.role == INGEST_ACCELERATION || head.role == INGEST_UNKNOWN)
        head.axis = axis_of(squeezed);
    /* The name itself may be a unit of time: "ms", "micros". */
    if (head.role == INGEST_TIME && !head.has_unit)
        head.has_unit = ingest_unit_read(&head.unit, QUELL_TIME, text, head.name_length);
    return head;
}
