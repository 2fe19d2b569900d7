/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Order and likeness of names. */
#include "base/text.h"

#include <string.h>
#include <strings.h>

static bool is_digit(char c) { return c >= '0' && c <= '9'; }

/* Compares two runs of digits as numbers of any length and steps behind them. */
static int compare_numbers(const char **a, const char **b)
{
    while (**a == '0')
        (*a)++;
    while (**b == '0')
        (*b)++;
    int first_difference = 0;
    for (; is_digit(**a) && is_digit(**b); (*a)++, (*b)++)
        if (!first_difference)
            first_difference = **a - **b;
    if (is_digit(**a))
        return 1;
    if (is_digit(**b))
        return -1;
    return first_difference;
}

int tt_natural_compare(const char *a, const char *b)
{
    const char *left = a, *right = b;
    while (*left && *right) {
        if (is_digit(*left) && is_digit(*right)) {
            int order = compare_numbers(&left, &right);
            if (order)
                return order;
        } else if (*left != *right) {
            return (unsigned char)*left < (unsigned char)*right ? -1 : 1;
        } else {
            left++;
            right++;
        }
    }
    if (*left || *right)
        return *left ? 1 : -1;
    return strcmp(a, b); /* "take 02" and "take 2" */
}

/* Bytes of the character at the front, 0 when it is not well formed: RFC 3629, section 4. */
static size_t utf8_length(const unsigned char *at, size_t left)
{
    static const struct {
        unsigned char lead_least, lead_most, next_least, next_most;
        size_t length;
    } forms[] = {
        {0x00, 0x7F, 0x00, 0x00, 1}, {0xC2, 0xDF, 0x80, 0xBF, 2}, {0xE0, 0xE0, 0xA0, 0xBF, 3},
        {0xE1, 0xEC, 0x80, 0xBF, 3}, {0xED, 0xED, 0x80, 0x9F, 3}, {0xEE, 0xEF, 0x80, 0xBF, 3},
        {0xF0, 0xF0, 0x90, 0xBF, 4}, {0xF1, 0xF3, 0x80, 0xBF, 4}, {0xF4, 0xF4, 0x80, 0x8F, 4},
    };
    for (size_t i = 0; i < sizeof forms / sizeof *forms; i++) {
        if (at[0] < forms[i].lead_least || at[0] > forms[i].lead_most)
            continue;
        if (forms[i].length > left)
            return 0;
        if (forms[i].length > 1 && (at[1] < forms[i].next_least || at[1] > forms[i].next_most))
            return 0;
        for (size_t k = 2; k < forms[i].length; k++)
            if ((at[k] & 0xC0) != 0x80)
                return 0;
        return forms[i].length;
    }
    return 0;
}

bool tt_utf8_is_valid(const char *bytes, size_t count)
{
    const unsigned char *at = (const unsigned char *)bytes;
    while (count > 0) {
        size_t length = utf8_length(at, count);
        if (!length)
            return false;
        at += length;
        count -= length;
    }
    return true;
}

enum { NAME_MOST_CHARS = 63 };

static char lower(char c) { return c >= 'A' && c <= 'Z' ? (char)(c - 'A' + 'a') : c; }

/* Edits (insert, drop, replace, swap neighbours) that turn one name into the other, large letters or small: optimal
 * string alignment. */
static size_t edit_distance(const char *a, const char *b)
{
    size_t rows[3][NAME_MOST_CHARS + 1];
    size_t a_length = strlen(a), b_length = strlen(b);
    for (size_t j = 0; j <= b_length; j++)
        rows[0][j] = j;
    for (size_t i = 1; i <= a_length; i++) {
        size_t *now = rows[i % 3], *last = rows[(i + 2) % 3], *before_last = rows[(i + 1) % 3];
        now[0] = i;
        for (size_t j = 1; j <= b_length; j++) {
            size_t best = last[j - 1] + (lower(a[i - 1]) != lower(b[j - 1]));
            if (last[j] + 1 < best)
                best = last[j] + 1;
            if (now[j - 1] + 1 < best)
                best = now[j - 1] + 1;
            if (i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) && lower(a[i - 2]) == lower(b[j - 1]) &&
                before_last[j - 2] + 1 < best)
                best = before_last[j - 2] + 1;
            now[j] = best;
        }
    }
    return rows[a_length % 3][b_length];
}

/* "depth" for "depth_db", "lufs" for "target_lufs", "--output" for "--out": one begins the other, or is its last word.
 */
static bool is_part(const char *a, const char *b)
{
    enum { LEAST_CHARS = 3 }; /* fewer begin too many names */
    const char *shorter = strlen(a) < strlen(b) ? a : b, *longer = shorter == a ? b : a;
    size_t length = strlen(shorter), longer_length = strlen(longer);
    if (length - strspn(shorter, "-") < LEAST_CHARS)
        return false;
    const char *end = longer + longer_length - length;
    return strncasecmp(longer, shorter, length) == 0 ||
           (end > longer && strchr("_-", end[-1]) && strcasecmp(end, shorter) == 0);
}

const char *tt_nearest_name(const char *name, const char *const *known, size_t count)
{
    const char *nearest = NULL;
    size_t length = strlen(name), nearest_edits = SIZE_MAX;
    if (length > NAME_MOST_CHARS)
        return NULL;
    for (size_t i = 0; i < count; i++) {
        size_t known_length = strlen(known[i]);
        if (known_length > NAME_MOST_CHARS)
            continue;
        size_t longer = known_length > length ? known_length : length;
        size_t edits = edit_distance(name, known[i]);
        if (3 * edits <= longer && edits < nearest_edits) {
            nearest = known[i];
            nearest_edits = edits;
        }
    }
    for (size_t i = 0; !nearest && i < count; i++)
        if (is_part(name, known[i]))
            nearest = known[i];
    return nearest;
}
