/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The kinds of decisions as a page shows them: a shape and a colour each, and words. */
#ifndef TT_REPORT_KINDS_H
#define TT_REPORT_KINDS_H

#include "base/text.h"
#include "report/report.h"

/* The shapes, once a page: an SVG of symbols "mark-KIND". */
void tt_kind_symbols(struct tt_text *out);
/* One of them in a line of text, hidden from screen readers: a word stands beside it. */
void tt_kind_mark(struct tt_text *out, enum tt_row_kind kind);

/* "misread", "pause shortened by" ...: one sentence that says what was done with this row, and why. HTML. */
void tt_row_words(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                  const struct tt_row *row);
/* ", 98 % sure"; nothing where nothing is known. */
void tt_row_sure(struct tt_text *out, const struct tt_row *row);
/* "cut", "softened by 12 dB" ...: what stands in the column of actions. HTML. */
void tt_row_done(struct tt_text *out, const struct tt_row *row);

/* The line of the cut sheet that the row is in, counted from 1 with the header, as an editor counts. */
size_t tt_row_line(const struct tt_sheet *sheet, size_t index);

#endif
