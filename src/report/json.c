/* JSON by jansson, behind helpers that never drop a key: a value JSON cannot hold becomes null with a why. */
#include "quell/report.h"

#include <errno.h>
#include <math.h>
#include <string.h>

quell_json quell_json_begin(const char *schema)
{
    quell_json json = {.root = json_object()};
    quell_json_text(&json, json.root, "schema", schema);
    return json;
}

static void put(quell_json *json, json_t *in, const char *key, json_t *value)
{
    /* json_object_set_new frees the value and reports failure for NULL, too */
    if (json_object_set_new(in, key, value) != 0)
        json->failed = true;
}

static void append(quell_json *json, json_t *array, json_t *value)
{
    if (json_array_append_new(array, value) != 0)
        json->failed = true;
}

void quell_json_null(quell_json *json, json_t *in, const char *key, const char *why)
{
    char why_key[80];
    snprintf(why_key, sizeof why_key, "%s_why", key);
    put(json, in, key, json_null());
    quell_json_text(json, in, why_key, why);
}

void quell_json_number(quell_json *json, json_t *in, const char *key, double value, const char *why_null)
{
    if (isfinite(value))
        put(json, in, key, json_real(value));
    else
        quell_json_null(json, in, key, why_null);
}

void quell_json_integer(quell_json *json, json_t *in, const char *key, long long value)
{
    put(json, in, key, json_integer(value));
}

void quell_json_bool(quell_json *json, json_t *in, const char *key, bool value)
{
    put(json, in, key, json_boolean(value));
}

/* The text as JSON; bytes outside ASCII become '?' if the whole is not valid UTF-8 (a hostile file name). */
static json_t *text_value(const char *text)
{
    if (text == NULL)
        return json_null();
    json_t *value = json_string(text);
    if (value != NULL)
        return value;
    size_t length = strlen(text);
    char *plain = quell_memory_get(length + 1);
    if (plain == NULL)
        return NULL;
    for (size_t i = 0; i <= length; i++)
        plain[i] = (unsigned char)text[i] < 0x80 ? text[i] : '?';
    value = json_string(plain);
    quell_memory_free(plain);
    return value;
}

void quell_json_text(quell_json *json, json_t *in, const char *key, const char *text)
{
    put(json, in, key, text_value(text));
}

void quell_json_append_number(quell_json *json, json_t *array, double value)
{
    append(json, array, isfinite(value) ? json_real(value) : json_null());
}

void quell_json_append_text(quell_json *json, json_t *array, const char *text)
{
    append(json, array, text_value(text));
}

json_t *quell_json_object(quell_json *json, json_t *in, const char *key)
{
    put(json, in, key, json_object());
    return json_object_get(in, key);
}

json_t *quell_json_array(quell_json *json, json_t *in, const char *key)
{
    put(json, in, key, json_array());
    return json_object_get(in, key);
}

json_t *quell_json_item(quell_json *json, json_t *array)
{
    append(json, array, json_object());
    return json_array_get(array, json_array_size(array) - 1);
}

void quell_json_numbers(quell_json *json, json_t *in, const char *key, const double *values, size_t count)
{
    json_t *array = quell_json_array(json, in, key);
    for (size_t i = 0; i < count; i++)
        quell_json_append_number(json, array, values[i]);
}

void quell_json_interval(quell_json *json, json_t *in, const char *key, const double interval[2])
{
    if (isfinite(interval[0]) && isfinite(interval[1]))
        quell_json_numbers(json, in, key, interval, 2);
    else
        quell_json_null(json, in, key, "not known");
}

void quell_json_discard(quell_json *json)
{
    json_decref(json->root);
    json->root = NULL;
}

quell_status quell_json_print(quell_json *json, FILE *stream, quell_error *err)
{
    quell_status status = QUELL_OK;
    if (json->root == NULL || json->failed)
        status = quell_fail(err, QUELL_E_MEMORY, "out of memory for the JSON result");
    else if (json_dumpf(json->root, stream, JSON_COMPACT | JSON_REAL_PRECISION(15)) != 0 ||
             fputc('\n', stream) == EOF)
        status = quell_fail(err, QUELL_E_IO, "JSON could not be written: %s", strerror(errno));
    quell_json_discard(json);
    return status;
}
