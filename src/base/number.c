/* Numbers read and printed the same whatever the process's locale. */
#include "base/base_private.h"
#include "base/digits.h"

#include <locale.h>
#include <math.h>
#include <stdatomic.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A double is decided by its first 768 significant digits and whether anything but zeros follows them. */
enum { DECIDING_DIGITS = 768 };

/* Exponents stop growing here: far beyond what the digits of any text can take back. */
#define EXPONENT_MAX 10000000000000000LL

/* Runs in the C locale until left; the library never changes the process's own locale. */
static locale_t enter_c_locale(void)
{
    static _Atomic(locale_t) shared; /* made once, by whichever thread comes first */
    locale_t c_locale = atomic_load(&shared);
    if (c_locale == (locale_t)0) {
        locale_t made = newlocale(LC_ALL_MASK, "C", (locale_t)0);
        if (made == (locale_t)0)
            return (locale_t)0;
        if (atomic_compare_exchange_strong(&shared, &c_locale, made))
            c_locale = made;
        else
            freelocale(made);
    }
    return uselocale(c_locale);
}

static void leave_c_locale(locale_t before)
{
    if (before != (locale_t)0)
        uselocale(before);
}

int quell_print_plain(char *out, size_t size, const char *format, va_list arguments)
{
    locale_t before = enter_c_locale();
    int length = vsnprintf(out, size, format, arguments);
    leave_c_locale(before);
    return length;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* The digits of text times ten to the power `scale`, by the C library. */
static double slow_read(const char *text, size_t length, long long scale)
{
    char copy[DECIDING_DIGITS + 32];
    size_t kept = 0;
    bool more = false;
    for (size_t i = 0; i < length && text[i] != 'e' && text[i] != 'E'; i++) {
        if (!is_digit(text[i]) || (kept == 0 && text[i] == '0'))
            continue;
        if (kept < DECIDING_DIGITS) {
            copy[kept++] = text[i];
        } else {
            more = more || text[i] != '0';
            scale++;
        }
    }
    if (kept == 0)
        return 0.0;
    copy[kept] = more ? '1' : '0';
    snprintf(copy + kept + 1, sizeof copy - kept - 1, "e%lld", scale - 1);
    locale_t before = enter_c_locale();
    double value = strtod(copy, NULL);
    leave_c_locale(before);
    return value;
}

/* The exponent at text (after the mantissa): its value, and its length in characters (0 if there is none). */
static size_t read_exponent(const char *text, size_t length, long long *exponent)
{
    *exponent = 0;
    if (length < 2 || (text[0] != 'e' && text[0] != 'E'))
        return 0;
    bool negative = text[1] == '-';
    size_t at = negative || text[1] == '+' ? 2 : 1;
    if (at >= length || !is_digit(text[at]))
        return 0;
    for (; at < length && is_digit(text[at]); at++)
        if (*exponent < EXPONENT_MAX)
            *exponent = *exponent * 10 + (text[at] - '0');
    if (negative)
        *exponent = -*exponent;
    return at;
}

size_t quell_number_read(const char *text, size_t length, char decimal_point, double *value)
{
    static const double power[] = {1e0,  1e1,  1e2,  1e3,  1e4,  1e5,  1e6,  1e7,  1e8,  1e9,  1e10, 1e11,
                                   1e12, 1e13, 1e14, 1e15, 1e16, 1e17, 1e18, 1e19, 1e20, 1e21, 1e22};
    if (length >= QUELL_DIGITS_REACH) {
        size_t used = quell_digits_quick(text, decimal_point, value);
        if (used > 0)
            return used;
    }
    size_t at = 0;
    bool negative = false;
    if (at < length && (text[at] == '-' || text[at] == '+'))
        negative = text[at++] == '-';
    uint64_t mantissa = 0;
    long long scale = 0;
    size_t digits = 0, significant = 0;
    bool after_point = false;
    for (; at < length; at++) {
        char c = text[at];
        if (is_digit(c)) {
            digits++;
            if (significant > 0 || c != '0')
                significant++;
            if (significant <= 18)
                mantissa = mantissa * 10 + (uint64_t)(c - '0');
            scale -= after_point;
        } else if (c == decimal_point && !after_point) {
            after_point = true;
        } else {
            break;
        }
    }
    if (digits == 0)
        return 0;
    long long exponent;
    at += read_exponent(text + at, length - at, &exponent);
    scale += exponent;
    /* Exact when mantissa and power of ten are both exact doubles: one correctly rounded operation. */
    if (significant <= 18 && mantissa < (UINT64_C(1) << 53) && scale >= -22 && scale <= 22) {
        double magnitude = (double)mantissa;
        magnitude = scale < 0 ? magnitude / power[-scale] : magnitude * power[scale];
        *value = negative ? -magnitude : magnitude;
    } else {
        double magnitude = slow_read(text, at, scale);
        *value = negative ? -magnitude : magnitude;
    }
    return at;
}

quell_status quell_number_parse(const char *text, double *out, quell_error *err)
{
    size_t length = strlen(text), from = 0;
    while (text[from] == ' ' || text[from] == '\t')
        from++;
    while (length > from && (text[length - 1] == ' ' || text[length - 1] == '\t'))
        length--;
    double value;
    size_t used = quell_number_read(text + from, length - from, '.', &value);
    char shown[64];
    quell_printable(shown, sizeof shown, text, strlen(text));
    if (used == 0 || used != length - from)
        return quell_fail(err, QUELL_E_USAGE, "found '%s', want a number", shown);
    if (!isfinite(value))
        return quell_fail(err, QUELL_E_USAGE, "found '%s', want a number below 1.8e308", shown);
    *out = value;
    return QUELL_OK;
}

static const char *print(char *out, size_t size, bool fixed, int digits, double value)
{
    locale_t before = enter_c_locale();
    if (isnan(value))
        snprintf(out, size, "-");
    else if (fixed)
        snprintf(out, size, "%.*f", digits, value);
    else
        snprintf(out, size, "%.*g", digits, value);
    leave_c_locale(before);
    return out;
}

const char *quell_number_print(char *out, size_t size, double value, int significant)
{
    return print(out, size, false, significant, value);
}

const char *quell_number_print_fixed(char *out, size_t size, double value, int decimals)
{
    if (fabs(value) >= 1e15)
        return quell_number_print(out, size, value, 6);
    print(out, size, true, decimals, value);
    /* "-0.00" says nothing that "0.00" does not */
    if (out[0] == '-' && out[1] != '\0' && strspn(out + 1, "0.") == strlen(out + 1))
        memmove(out, out + 1, strlen(out));
    return out;
}

quell_number_text quell_number_fixed(double value, int decimals)
{
    quell_number_text out = {""};
    quell_number_print_fixed(out.text, sizeof out.text, value, decimals);
    return out;
}

quell_number_text quell_number_short(double value, int significant)
{
    quell_number_text out = {""};
    quell_number_print(out.text, sizeof out.text, value, significant);
    return out;
}

quell_number_text quell_number_percent(double share)
{
    double percent = 100 * share;
    if (fabs(percent) < 0.1 && fabs(percent) >= 1e-4)
        return quell_number_short(percent, 1); /* small is not nothing */
    bool whole = fabs(percent - round(percent)) < 5e-3 || percent >= 99.5;
    return quell_number_fixed(percent, whole ? 0 : 1);
}
