/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/row_id.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"

/* A second has 59 cells; 61 is the prime above, so that no move of one end goes round to the same sum. 2 * 30 + 1 is
 * 61: when both ends move alike, and one steps over a cell's edge before the other, the sum comes round after one cell
 * only. */
enum { CELL_MS = 17, CELL_MODULUS = 61, END_WEIGHT = 30, CELL_BITS = 6, SECOND_MS = 1000 };

static const char letters[TT_ROW_KINDS + 1] = "mtpbcnglo";

char row_id_letter(enum tt_row_kind kind) { return letters[kind]; }

static bool is_digit(char c) { return c >= '0' && c <= '9'; }

/* Hex digits, as lower case; false when there are fewer. */
static bool copy_hex(const char *text, size_t count, char *hex)
{
    for (size_t i = 0; i < count; i++) {
        char c = text[i];
        if (c >= 'A' && c <= 'F')
            c = (char)(c - 'A' + 'a');
        if (!is_digit(c) && !(c >= 'a' && c <= 'f'))
            return false;
        hex[i] = c;
    }
    hex[count] = '\0';
    return true;
}

bool row_id_parse(const char *text, struct row_id *id)
{
    char check[TT_CHECK_DIGITS + 1];
    *id = (struct row_id){.letter = text[0]};
    if (!text[0] || !strchr(letters, text[0]) || !is_digit(text[1]))
        return false;
    for (text++; is_digit(*text); text++) {
        if (id->number > ROW_ID_NUMBER_MOST)
            return false;
        id->number = 10 * id->number + (*text - '0');
    }
    if (*text != '-' || !copy_hex(text + 1, TT_CONTENT_DIGITS, id->content6))
        return false;
    text += 1 + TT_CONTENT_DIGITS;
    if (*text != '-' || !copy_hex(text + 1, TT_CHECK_DIGITS, check) || text[1 + TT_CHECK_DIGITS])
        return false;
    id->check = (unsigned)strtoul(check, NULL, 16);
    return true;
}

/* What the hash covers; times in whole seconds. */
static unsigned long hash_of(const struct tt_row *row, int64_t start_s, int64_t end_s)
{
    char text[128], hex[65], amount[32] = "-";
    if (!isnan(row->amount))
        snprintf(amount, sizeof amount, "%lld", llround(row->amount * 1000));
    int length = snprintf(text, sizeof text, "%" PRId64 " %" PRId64 " %s %s %s", start_s, end_s,
                          tt_row_kind_name(row->kind), tt_row_action_name(row->action), amount);
    tt_sha256(text, (size_t)length, hex);
    hex[8] = '\0';
    return strtoul(hex, NULL, 16);
}

static unsigned check_of(unsigned long hash, int64_t start_cell, int64_t end_cell)
{
    unsigned coarse = (unsigned)(hash >> 22);
    unsigned fine = (unsigned)((unsigned long)(start_cell + END_WEIGHT * end_cell) + (hash & 0x3FFFFF)) % CELL_MODULUS;
    return coarse << CELL_BITS | fine;
}

void row_id_give(struct tt_row *row, int number, const char *content6)
{
    unsigned long hash = hash_of(row, row->start_ms / SECOND_MS, row->end_ms / SECOND_MS);
    unsigned check = check_of(hash, row->start_ms % SECOND_MS / CELL_MS, row->end_ms % SECOND_MS / CELL_MS);
    snprintf(row->id, sizeof row->id, "%c%d-%.*s-%0*x", row_id_letter(row->kind), number, TT_CONTENT_DIGITS, content6,
             TT_CHECK_DIGITS, check);
}

/* What may have stood there: rounded to nearest it lies up to half a step before, cut off up to a step behind. */
struct readings {
    int64_t least_ms, most_ms;
};

static struct readings readings_of(int64_t ms, int rounding_ms)
{
    struct readings readings = {ms, ms};
    if (rounding_ms > 1)
        readings = (struct readings){ms - rounding_ms / 2, ms + rounding_ms - 1};
    if (readings.least_ms < 0)
        readings.least_ms = 0;
    return readings;
}

/* The cells of one second that the readings touch. */
static void cells_within(struct readings readings, int64_t second, int64_t *first, int64_t *last)
{
    int64_t from = second * SECOND_MS, to = from + SECOND_MS - 1;
    *first = ((readings.least_ms > from ? readings.least_ms : from) - from) / CELL_MS;
    *last = ((readings.most_ms < to ? readings.most_ms : to) - from) / CELL_MS;
}

static bool fits_in_seconds(unsigned check, const struct tt_row *row, struct readings start, struct readings end,
                            int64_t start_s, int64_t end_s)
{
    unsigned long hash = hash_of(row, start_s, end_s);
    if (hash >> 22 != check >> CELL_BITS)
        return false;
    int64_t start_first, start_last, end_first, end_last;
    cells_within(start, start_s, &start_first, &start_last);
    cells_within(end, end_s, &end_first, &end_last);
    for (int64_t i = start_first; i <= start_last; i++)
        for (int64_t j = end_first; j <= end_last; j++)
            if (check_of(hash, i, j) == check)
                return true;
    return false;
}

bool row_id_fits(unsigned check, const struct tt_row *row, int rounding_ms)
{
    struct readings start = readings_of(row->start_ms, rounding_ms), end = readings_of(row->end_ms, rounding_ms);
    for (int64_t start_s = start.least_ms / SECOND_MS; start_s <= start.most_ms / SECOND_MS; start_s++)
        for (int64_t end_s = end.least_ms / SECOND_MS; end_s <= end.most_ms / SECOND_MS; end_s++)
            if (fits_in_seconds(check, row, start, end, start_s, end_s))
                return true;
    return false;
}
