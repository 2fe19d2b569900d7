/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Numbers and times as text. */
#include "base/text.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

static bool is_digit(char c) { return c >= '0' && c <= '9'; }
static bool is_blank(char c) { return c == ' ' || c == '\t'; }

void tt_time_format(int64_t ms, char *buffer)
{
    uint64_t left = ms < 0 ? 0 - (uint64_t)ms : (uint64_t)ms;
    unsigned part_ms = (unsigned)(left % 1000), s = (unsigned)(left / 1000 % 60), min = (unsigned)(left / 60000 % 60);
    snprintf(buffer, TT_TIME_CHARS, "%s%02" PRIu64 ":%02u:%02u.%03u", ms < 0 ? "-" : "", left / 3600000, min, s,
             part_ms);
}

/* Hours, minutes or seconds in front of a mark; ten digits keep every sum far from overflow. */
static bool read_whole(const char **at, int64_t *value, int *digits)
{
    *value = 0;
    for (*digits = 0; is_digit(**at); (*at)++, (*digits)++) {
        if (*digits == 10)
            return false;
        *value = 10 * *value + (**at - '0');
    }
    return *digits > 0;
}

/* Decimals as milliseconds, rounded to nearest; digits behind the fourth cannot change the result. */
static bool read_decimals(const char **at, int64_t *ms, int *digits)
{
    int64_t tenths_of_ms = 0, weight = 1000;
    for (*digits = 0; is_digit(**at); (*at)++, (*digits)++) {
        tenths_of_ms += weight * (**at - '0');
        weight /= 10;
    }
    *ms = (tenths_of_ms + 5) / 10;
    return *digits > 0;
}

bool tt_time_parse(const char *text, int64_t *ms, bool *is_coarse)
{
    while (is_blank(*text))
        text++;
    int64_t part[3], decimals_ms = 0;
    int parts = 0, digits = 0, decimals = 0;
    for (;;) {
        if (!read_whole(&text, &part[parts], &digits))
            return false;
        if (parts > 0 && (digits > 2 || part[parts] > 59))
            return false;
        parts++;
        if (*text != ':' || parts == 3)
            break;
        text++;
    }
    if (*text == '.' || *text == ',') {
        text++;
        if (!read_decimals(&text, &decimals_ms, &decimals))
            return false;
    }
    while (is_blank(*text))
        text++;
    if (*text)
        return false;
    int64_t seconds = 0;
    for (int i = 0; i < parts; i++)
        seconds = 60 * seconds + part[i];
    *ms = 1000 * seconds + decimals_ms;
    if (is_coarse)
        *is_coarse = decimals < 3;
    return true;
}

/* Checks the shape [+-]digits[mark digits][e[+-]digits] and copies it with '.' as its mark: strtod alone would
 * also take hexadecimal, "inf" and "nan". */
static bool copy_number(const char *text, char *copy, size_t capacity, size_t *mark_at)
{
    size_t length = 0, digits = 0;
    *mark_at = SIZE_MAX;
    while (is_blank(*text))
        text++;
    for (bool in_exponent = false; *text && !is_blank(*text); text++) {
        char c = *text;
        char before = length ? copy[length - 1] : '\0';
        if (is_digit(c))
            digits++;
        else if (c == '+' || c == '-') {
            if (before && before != 'e')
                return false;
        } else if (c == '.' || c == ',') {
            if (in_exponent || *mark_at != SIZE_MAX)
                return false;
            *mark_at = length;
            c = '.';
        } else if (c == 'e' || c == 'E') {
            if (in_exponent || !digits)
                return false;
            in_exponent = true;
            digits = 0;
            c = 'e';
        } else
            return false;
        if (length + 1 >= capacity)
            return false;
        copy[length++] = c;
    }
    while (is_blank(*text))
        text++;
    copy[length] = '\0';
    return !*text && digits > 0;
}

bool tt_number_parse(const char *text, double *value)
{
    char copy[128];
    size_t mark_at;
    if (!copy_number(text, copy, sizeof copy, &mark_at))
        return false;
    char *end;
    double number = strtod(copy, &end);
    /* A caller's program may have set another locale: then strtod stops at the mark, and wants a comma. */
    if (*end && mark_at != SIZE_MAX && end <= copy + mark_at + 1) {
        copy[mark_at] = ',';
        number = strtod(copy, &end);
    }
    if (*end || !isfinite(number))
        return false;
    *value = number;
    return true;
}
