/* Files that hold one JSON object: plans, proofs. Hostile like any file. */
#include "quell/ingest.h"

#include <stdio.h>
#include <string.h>

enum { MOST_BYTES = 1 << 20 };

const char *quell_value_show(const json_t *value, char out[QUELL_VALUE_SHOWN])
{
    char text[4 * QUELL_VALUE_SHOWN];
    if (value == NULL)
        return "nothing";
    if (json_is_object(value) || json_is_array(value))
        return json_is_object(value) ? "an object" : "a list";
    size_t length = json_dumpb(value, text, sizeof text, JSON_ENCODE_ANY | JSON_REAL_PRECISION(6));
    if (length > sizeof text) { /* a long text, of which nothing or a part was written: its beginning as it is */
        size_t whole = json_string_length(value);
        length = whole < sizeof text - 1 ? whole + 1 : sizeof text;
        text[0] = '"';
        memcpy(text + 1, json_string_value(value), length - 1);
    }
    return quell_printable(out, QUELL_VALUE_SHOWN, text, length);
}

quell_status quell_value_refuse(const char *key, const json_t *value, const char *wanted, quell_error *err)
{
    char shown[QUELL_VALUE_SHOWN];
    return quell_fail(err, QUELL_E_DATA, "%s: found %s, want %s", key, quell_value_show(value, shown), wanted);
}

bool quell_value_is(const json_t *value, const char *text)
{
    return json_is_string(value) && json_string_length(value) == strlen(text) &&
           strcmp(json_string_value(value), text) == 0;
}

quell_status quell_value_number(double *out, const json_t *in, const char *key, const char *place, double low, double high,
                                quell_error *err)
{
    const json_t *value = json_object_get(in, key);
    *out = json_number_value(value);
    if (json_is_number(value) && *out >= low && *out <= high)
        return QUELL_OK;
    char name[96], wanted[192];
    snprintf(name, sizeof name, "%s%s", place, key);
    snprintf(wanted, sizeof wanted, "a number from %s to %s", quell_number_short(low, 6).text, quell_number_short(high, 6).text);
    return quell_value_refuse(name, value, wanted, err);
}

quell_status quell_value_lists(size_t *length, const json_t *in, const char *name, const char *const *key, size_t count, size_t most,
                               quell_error *err)
{
    if (!json_is_object(in))
        return quell_value_refuse(name, in, "an object of lists", err);
    size_t first = json_array_size(json_object_get(in, key[0]));
    for (size_t k = 0; k < count; k++) {
        const json_t *list = json_object_get(in, key[k]);
        if (!json_is_array(list))
            return quell_value_refuse(key[k], list, "a list of numbers", err);
        if (json_array_size(list) != first || first == 0 || first > most)
            return quell_fail(err, QUELL_E_DATA, "%s: found %zu of %s beside %zu of %s, want as many, 1 to %zu", name,
                              json_array_size(list), key[k], first, key[0], most);
    }
    *length = first;
    return QUELL_OK;
}

static quell_status read_all(const quell_source *source, const char *what, char *bytes, size_t *length, quell_error *err)
{
    *length = 0;
    for (size_t got = 1; got > 0 && *length <= MOST_BYTES; *length += got) {
        quell_status status =
            source->read(source->context, bytes + *length, MOST_BYTES + 1 - *length, &got, err);
        if (status != QUELL_OK)
            return status;
        if (*length + got > MOST_BYTES)
            return quell_fail(err, QUELL_E_DATA, "is longer than %d bytes, want a %s", MOST_BYTES, what);
    }
    return QUELL_OK;
}

quell_status quell_object_read(json_t **out, const quell_source *source, const char *what, quell_error *err)
{
    json_error_t why;
    json_t *root = NULL;
    size_t length = 0;
    char *bytes = quell_memory_get(MOST_BYTES + 1), shown[160];
    quell_status status = bytes != NULL ? QUELL_OK : quell_fail(err, QUELL_E_MEMORY, "out of memory for reading a %s", what);
    if (status == QUELL_OK)
        status = read_all(source, what, bytes, &length, err);
    if (status == QUELL_OK) {
        root = json_loadb(bytes, length, JSON_REJECT_DUPLICATES | JSON_DECODE_ANY, &why);
        if (root == NULL && json_error_code(&why) == json_error_out_of_memory)
            status = quell_fail(err, QUELL_E_MEMORY, "out of memory for reading a %s", what);
        else if (root == NULL)
            status = quell_fail_at(err, QUELL_E_DATA, why.line > 0 ? (size_t)why.line : 0,
                                   why.column > 0 ? (size_t)why.column : 0, "is no JSON: %s; want a %s",
                                   quell_printable(shown, sizeof shown, why.text, strlen(why.text)), what);
        else if (!json_is_object(root))
            status = quell_value_refuse(what, root, "an object", err);
    }
    quell_memory_free(bytes);
    if (status == QUELL_OK) {
        *out = root;
        return status;
    }
    json_decref(root);
    quell_error_set_file(err, source->name);
    return status;
}
