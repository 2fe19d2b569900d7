/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How the terminal's summary is laid out: lines of at most 80 columns. */
#ifndef TT_REPORT_SUMMARY_TEXT_H
#define TT_REPORT_SUMMARY_TEXT_H

#include "base/text.h"

/* "  NAME  TIME  text", the text broken at blanks (and within longer words) and kept in its column. at_ms below 0:
 * none. Without a name (NULL) the text stands alone. */
void tt_summary_add_item(struct tt_text *out, const char *name, int64_t at_ms, const char *text);

/* "  NAME", filled up to that many columns behind the blanks. One that is longer stands whole in a line of its own
 * before it: recorders tell their takes apart by the end of the name. */
void tt_summary_add_name(struct tt_text *out, const char *name, size_t columns);

/* "text" broken in the same way, each line opened by `indent` blanks. */
void tt_summary_add_lines(struct tt_text *out, size_t indent, const char *text);

/* "Label        text" */
void tt_summary_add_figure(struct tt_text *out, const char *label, const char *text);

/* h:mm:ss, rounded; TT_TIME_CHARS. */
void tt_summary_clock(double seconds, char *buffer);

#endif
