/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Ids of rows, "m1-3fa2c1-7d20": the kind's letter and a number, six hex digits of the recording, four that check the
 * row.
 *
 * The four digits are 16 bits: the upper ten are of a SHA-256 of the whole seconds of start and end, of kind, action
 * and amount; the lower six say where start and end lie within their seconds, in cells of 17 ms, mixed with more bits
 * of that hash. So
 * - with times to the millisecond a move of start or end by 17 ms or more, or of both alike by 34 ms or more, is seen:
 * within a second always, else with 1 - 1/62464, as is an edited amount (both ends moved otherwise, within a second: 1
 * - 1/61); an edited action or kind is seen anyway, from the `proposed` column and the id's letter;
 * - with times that a spreadsheet rounded or cut off to two, one or no decimals, the few readings that could have been
 * written so are tried: a row nobody touched always fits, and an edited amount or a time moved by more than the
 * rounding is seen with 0.99 at least. */
#ifndef TT_SHEET_ROW_ID_H
#define TT_SHEET_ROW_ID_H

#include <stdbool.h>

#include "sheet/sheet.h"

enum { ROW_ID_NUMBER_MOST = 99999 };

struct row_id {
    char letter;
    int number;
    char content6[TT_CONTENT_DIGITS + 1]; /* lower case */
    unsigned check;
};

char row_id_letter(enum tt_row_kind kind);
/* False when the text is no id. */
bool row_id_parse(const char *text, struct row_id *id);
/* Writes the row's fitting id into row->id. */
void row_id_give(struct tt_row *row, int number, const char *content6);

/* Whether the check fits the row; with rounding_ms 1000, 100 or 10, whether it fits a row that is written as this one
 * when rounded (to nearest or down) to that. */
bool row_id_fits(unsigned check, const struct tt_row *row, int rounding_ms);

#endif
