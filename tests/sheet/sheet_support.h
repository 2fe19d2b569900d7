/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Short ways to make and look at cut sheets in tests. */
#ifndef TT_TESTS_SHEET_SUPPORT_H
#define TT_TESTS_SHEET_SUPPORT_H

#include <math.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "sheet/sheet.h"
#include "support.h"

#define HEADER "take,id,start,end,kind,proposed,action,amount,confidence,by,note\r\n"
enum { TAKE_MS = 120000 };
static const char content[] = "3fa2c17766554433221100";

static inline struct tt_sheet new_sheet(void)
{
    struct tt_sheet sheet;
    struct tt_error err = {0};
    if (!tt_sheet_start(&sheet, "03.wav", content, &err))
        fail_msg("%s", err.message);
    return sheet;
}

static inline void propose(struct tt_sheet *sheet, int64_t start_ms, int64_t end_ms, enum tt_row_kind kind,
                           enum tt_row_action action, double amount)
{
    const struct tt_row row = row_of(start_ms, end_ms, kind, action, amount);
    sheet_propose(sheet, &row);
}

static inline void seal(struct tt_sheet *sheet)
{
    struct tt_error err = {0};
    if (!tt_sheet_seal(sheet, &err))
        fail_msg("%s", err.message);
}

static inline size_t read_rows(struct tt_sheet *sheet, const char *text)
{
    struct tt_error err = {0};
    size_t count;
    if (!tt_sheet_read(sheet, text, strlen(text), "sheets/03.csv", TAKE_MS, &count, &err))
        fail_msg("%s", err.message);
    return count;
}

static inline char *written(const struct tt_sheet *sheet)
{
    struct tt_text out = {0};
    if (!tt_sheet_write(sheet, &out))
        fail_msg("out of memory");
    return out.data;
}

/* The decisions of the program that most tests begin with. */
static inline struct tt_sheet decided_sheet(void)
{
    struct tt_sheet sheet = new_sheet();
    propose(&sheet, 12430, 17105, TT_ROW_MISREAD, TT_DO_CUT, NAN);
    propose(&sheet, 17105, 18320, TT_ROW_TALK, TT_DO_CUT, NAN);
    propose(&sheet, 31020, 33410, TT_ROW_PAUSE, TT_DO_SHORTEN, 0.899);
    propose(&sheet, 40115, 40432, TT_ROW_BREATH, TT_DO_SOFTEN, 12.0);
    propose(&sheet, 50001, 50033, TT_ROW_CLICK, TT_DO_SOFTEN, 12.25);
    propose(&sheet, 61555, 62999, TT_ROW_NOISE, TT_DO_ASK, NAN);
    seal(&sheet);
    return sheet;
}

#endif
