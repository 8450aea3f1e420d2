/* Date and time in words: ISO 8601 and what loggers make of it, without the C library's locale or time zone.

   A stamp is a date, a time of day, or both with a T, a blank or an underscore between; dates are year-month-day, or
   day and month in either order before the year, or with the month's name. Zones are taken off, so that the stamps of
   a file may change theirs. A 60th second is the next minute's first: stamps of a day with a leap second stay in
   order. */
#include "ingest/ingest_private.h"

#include <string.h>

typedef struct scanner {
    const char *at, *end;
} scanner;

static bool take(scanner *s, char c)
{
    if (s->at == s->end || *s->at != c)
        return false;
    s->at++;
    return true;
}

static bool is_digit(char c)
{
    return c >= '0' && c <= '9';
}

/* Between `least` and `most` digits; the number of digits, 0 if there are too few. */
static size_t take_digits(scanner *s, size_t least, size_t most, int *value)
{
    size_t count = 0;
    int sum = 0;
    while (count < most && s->at + count < s->end && is_digit(s->at[count]))
        sum = 10 * sum + (s->at[count++] - '0');
    if (count < least)
        return 0;
    s->at += count;
    *value = sum;
    return count;
}

/* ---------------------------------------------------------------- dates */

static int days_of_month(int year, int month)
{
    static const int days[] = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};
    bool leap = (year % 4 == 0 && year % 100 != 0) || year % 400 == 0;
    return days[month - 1] + (month == 2 && leap);
}

/* Days from 1970-01-01 in the Gregorian calendar: whole years of 365 days and their leap days, then whole months. */
static bool day_number(int year, int month, int day, long *out)
{
    if (year < 1900 || year > 2999 || month < 1 || month > 12 || day < 1 || day > days_of_month(year, month))
        return false;
    long before = year - 1;
    long days =
        365L * (year - 1970) + (before / 4 - before / 100 + before / 400) - (1969 / 4 - 1969 / 100 + 4);
    for (int m = 1; m < month; m++)
        days += days_of_month(year, m);
    *out = days + day - 1;
    return true;
}

/* A month's name, by the three letters it begins with in English, German and Dutch. */
static int take_month(scanner *s)
{
    static const struct {
        const char *letters;
        int month;
    } names[] = {{"jan", 1}, {"feb", 2},  {"mar", 3},  {"apr", 4},  {"may", 5},  {"jun", 6},
                 {"jul", 7}, {"aug", 8},  {"sep", 9},  {"oct", 10}, {"nov", 11}, {"dec", 12},
                 {"mai", 5}, {"okt", 10}, {"dez", 12}, {"mei", 5},  {"mrt", 3}};
    if (s->end - s->at < 3)
        return 0;
    for (size_t i = 0; i < INGEST_COUNT(names); i++)
        if (ingest_word_is(s->at, 3, names[i].letters)) {
            s->at += 3;
            while (s->at < s->end && ((*s->at | 32) >= 'a' && (*s->at | 32) <= 'z'))
                s->at++;
            take(s, '.');
            return names[i].month;
        }
    return 0;
}

static bool take_separator(scanner *s, char *separator)
{
    if (s->at == s->end || strchr("-/. ", *s->at) == NULL || *s->at == '\0')
        return false;
    *separator = *s->at++;
    return true;
}

static int whole_year(int year, size_t digits)
{
    return digits == 2 ? 2000 + year : year; /* recordings of this century */
}

/* Year first: 2019-10-16, 2019/10/16, 20191016. */
static bool take_year_first(scanner *s, ingest_stamp *out)
{
    int year, month, day;
    char one, two;
    scanner copy = *s;
    if (take_digits(&copy, 4, 4, &year) == 0)
        return false;
    bool apart = take_separator(&copy, &one) && one != ' ';
    if (!apart)
        copy = (scanner){s->at + 4, s->end};
    if (take_digits(&copy, apart ? 1 : 2, 2, &month) == 0 ||
        (apart && (!take_separator(&copy, &two) || two != one)) ||
        take_digits(&copy, apart ? 1 : 2, 2, &day) == 0 || !day_number(year, month, day, &out->day))
        return false;
    *s = copy;
    out->order = INGEST_ORDER_KNOWN;
    return true;
}

/* Which of two numbers is the month: by the order asked for, the separator, or because the other cannot be. */
static ingest_order order_of(int first, int second, char separator)
{
    if (separator == '.' || first > 12)
        return INGEST_DAY_FIRST;
    return second > 12 ? INGEST_MONTH_FIRST : INGEST_ORDER_OPEN;
}

/* Year last: 16/10/2019, 10/16/19, 16.10.2019, 16-Oct-2019. */
static bool take_year_last(scanner *s, ingest_order asked, ingest_stamp *out)
{
    int first, second = 0, year;
    char one, two;
    scanner copy = *s;
    if (take_digits(&copy, 1, 2, &first) == 0 || !take_separator(&copy, &one))
        return false;
    int named = take_month(&copy);
    if (named == 0 && (one == ' ' || take_digits(&copy, 1, 2, &second) == 0))
        return false;
    if (!take_separator(&copy, &two) || two != one)
        return false;
    size_t digits = take_digits(&copy, 4, 4, &year);
    if (digits == 0)
        digits = take_digits(&copy, 2, 2, &year);
    if (digits == 0)
        return false;
    ingest_order order = named > 0 ? INGEST_ORDER_KNOWN : order_of(first, second, one);
    out->order = order;
    if (order == INGEST_ORDER_OPEN && asked != INGEST_ORDER_OPEN)
        order = asked;
    int month = named > 0 ? named : order == INGEST_MONTH_FIRST ? first : second;
    int day = named == 0 && order == INGEST_MONTH_FIRST ? second : first;
    if (!day_number(whole_year(year, digits), month, day, &out->day))
        return false;
    *s = copy;
    return true;
}

/* ---------------------------------------------------------------- time of day */

/* Digits after a point or comma; after a third colon just three of them are thousandths. */
static bool take_fraction(scanner *s, double *fraction)
{
    scanner copy = *s;
    bool colon = take(&copy, ':');
    if (!colon && !take(&copy, '.') && !take(&copy, ','))
        return false;
    double sum = 0, scale = 1;
    size_t count = 0;
    for (; copy.at < copy.end && is_digit(*copy.at) && count < 18; count++) {
        sum = 10 * sum + (*copy.at++ - '0');
        scale *= 10;
    }
    if (count == 0 || (colon && count != 3))
        return false;
    *fraction = sum / scale;
    *s = copy;
    return true;
}

/* am and pm, after an optional blank. */
static bool take_half(scanner *s, int *hour)
{
    scanner copy = *s;
    take(&copy, ' ');
    if (copy.end - copy.at < 2 || *hour < 1 || *hour > 12)
        return false;
    bool am = ingest_word_is(copy.at, 2, "am"), pm = ingest_word_is(copy.at, 2, "pm");
    if (!am && !pm)
        return false;
    *hour = *hour % 12 + (pm ? 12 : 0);
    s->at = copy.at + 2;
    return true;
}

/* Z, UTC, GMT, +02, +0200, +02:00: seconds east of Greenwich. False if what stands there is none of these. */
static bool take_zone(scanner *s, double *east_s)
{
    *east_s = 0;
    scanner copy = *s;
    while (take(&copy, ' '))
        continue;
    if (copy.at == copy.end) {
        *s = copy;
        return true;
    }
    size_t left = (size_t)(copy.end - copy.at);
    if (ingest_word_is(copy.at, left, "z") || ingest_word_is(copy.at, left, "utc") ||
        ingest_word_is(copy.at, left, "gmt")) {
        s->at = s->end;
        return true;
    }
    bool west = *copy.at == '-';
    int hours, minutes = 0;
    if ((*copy.at != '+' && !west) || take_digits(&(scanner){copy.at + 1, copy.end}, 2, 2, &hours) == 0)
        return false;
    copy.at += 3;
    take(&copy, ':');
    if (copy.at < copy.end && take_digits(&copy, 2, 2, &minutes) == 0)
        return false;
    if (copy.at != copy.end || hours > 18 || minutes > 59)
        return false;
    *east_s = (west ? -60.0 : 60.0) * (60 * hours + minutes);
    s->at = s->end;
    return true;
}

/* hh:mm:ss.fff, hh:mm, mm:ss.fff; hours may pass 23 where there is no date. */
static bool take_clock(scanner *s, ingest_stamp *out)
{
    int first, second, third = 0;
    double fraction = 0;
    scanner copy = *s;
    if (take_digits(&copy, 1, out->has_date ? 2 : 4, &first) == 0 || !take(&copy, ':') ||
        take_digits(&copy, 2, 2, &second) == 0 || second > 59)
        return false;
    bool whole = copy.end - copy.at >= 3 && *copy.at == ':' && is_digit(copy.at[1]) && is_digit(copy.at[2]) &&
                 (copy.end - copy.at == 3 || !is_digit(copy.at[3]));
    if (whole) {
        copy.at++;
        take_digits(&copy, 2, 2, &third);
    }
    bool fine = take_fraction(&copy, &fraction);
    bool minutes_only = !whole && fine;
    if (third > 60 || (minutes_only && out->has_date))
        return false;
    if (minutes_only) {
        out->second = 60.0 * first + second + fraction;
        out->period_s = first < 60 ? 3600 : 0;
    } else {
        bool half = take_half(&copy, &first);
        if (first > 24 && (out->has_date || half))
            return false;
        out->second = 3600.0 * first + 60.0 * second + third + fraction;
        out->period_s = first <= 24 ? 86400 : 0;
    }
    *s = copy;
    return true;
}

/* hhmmss.fff, after a T. */
static bool take_basic_clock(scanner *s, ingest_stamp *out)
{
    int hours, minutes, seconds;
    double fraction = 0;
    scanner copy = *s;
    if (take_digits(&copy, 2, 2, &hours) == 0 || take_digits(&copy, 2, 2, &minutes) == 0 ||
        take_digits(&copy, 2, 2, &seconds) == 0 || hours > 24 || minutes > 59 || seconds > 60)
        return false;
    take_fraction(&copy, &fraction);
    out->second = 3600.0 * hours + 60.0 * minutes + seconds + fraction;
    out->period_s = 86400;
    *s = copy;
    return true;
}

/* ---------------------------------------------------------------- both */

bool ingest_stamp_read(ingest_stamp *out, const char *text, size_t length, ingest_order asked)
{
    scanner s = {text, text + length};
    ingest_stamp read = {.order = INGEST_ORDER_KNOWN};
    read.has_date = length >= 6 && (take_year_first(&s, &read) || take_year_last(&s, asked, &read));
    bool marked = false;
    if (read.has_date) {
        if (s.at == s.end) {
            *out = read;
            return true;
        }
        marked = take(&s, 'T') || take(&s, 't');
        if (!marked && !take(&s, '_') && !take(&s, ' '))
            return false;
        while (!marked && take(&s, ' '))
            continue;
    }
    read.has_clock = take_clock(&s, &read) || (marked && take_basic_clock(&s, &read));
    double east_s;
    if (!read.has_clock || !take_zone(&s, &east_s))
        return false;
    read.second -= east_s;
    *out = read;
    return true;
}
