/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A row for tests; fuzz targets, which link nothing of the tests', have it as well. */
#ifndef TT_TESTS_ROW_OF_H
#define TT_TESTS_ROW_OF_H

#include "sheet/sheet.h"

/* A row as the program proposes it, nearly certain; amount NAN: none. */
static inline struct tt_row row_of(int64_t start_ms, int64_t end_ms, enum tt_row_kind kind, enum tt_row_action action,
                                   double amount)
{
    return (struct tt_row){.start_ms = start_ms,
                           .end_ms = end_ms,
                           .kind = kind,
                           .proposed = action,
                           .action = action,
                           .amount = amount,
                           .confidence = 0.98};
}

#endif
