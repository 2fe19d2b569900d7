/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: any bytes as a cut sheet and as a changes file. What is read must be written as something that reads
 * back the same. */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "sheet/sheet.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

static const char content[] = "3fa2c1000000000000000000000000000000000000000000000000000000000000";
enum { TAKE_MS = 7200000 };

/* Sealing and writing twice must give the same bytes, and every row must come back as a person's. */
static void check_round_trip(struct tt_sheet *sheet)
{
    struct tt_error err = {0};
    struct tt_text first = {0}, second = {0};
    struct tt_sheet again = {0};
    size_t persons_count;
    if (!tt_sheet_seal(sheet, &err) || !tt_sheet_write(sheet, &first))
        abort();
    if (!tt_sheet_start(&again, "03.wav", content, &err))
        abort();
    if (!tt_sheet_read(&again, first.data, first.length, "again.csv", TAKE_MS, &persons_count, &err))
        abort();
    if (persons_count != sheet->count || !tt_sheet_seal(&again, &err) || !tt_sheet_write(&again, &second))
        abort();
    if (first.length != second.length || memcmp(first.data, second.data, first.length) != 0)
        abort();
    tt_sheet_free(&again);
    tt_text_free(&first);
    tt_text_free(&second);
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tt_error err = {0};
    struct tt_sheet sheet;
    size_t count, row_count;
    if (!tt_sheet_start(&sheet, "03.wav", content, &err))
        abort();
    bool is_read = tt_sheet_read(&sheet, (const char *)data, size, "fuzz.csv", TAKE_MS, &count, &err);
    if (is_read == (err.kind != TT_OK) || (!is_read && sheet.count))
        abort();
    struct tt_error changes_err = {0};
    tt_sheet_merge_changes(&sheet, (const char *)data, size, "changes.csv", TAKE_MS, &count, &row_count, &changes_err);
    struct tt_span *spans = NULL;
    if (!tt_sheet_cut_spans(&sheet, &spans, &count, &err) && err.kind == TT_OK)
        abort();
    free(spans);
    check_round_trip(&sheet);
    tt_sheet_free(&sheet);
    return 0;
}
