/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Texts from outside (file names, notes) for a terminal or a line of a list: nothing in them steers anything. */
#ifndef TT_REPORT_PLAIN_H
#define TT_REPORT_PLAIN_H

#include "base/text.h"

/* Adds text with '?' for each control character (C0, DEL, C1), line separator and change of writing direction, and for
 * each byte that is no UTF-8. */
void tt_plain_add(struct tt_text *out, const char *text);

/* The same, cut to `columns` characters (then it ends in "..."), and filled up with blanks when is_padded. */
void tt_plain_add_fit(struct tt_text *out, const char *text, size_t columns, bool is_padded);

/* Adds text with U+FFFD for each byte that is no UTF-8, all else as it is: what JSON needs. */
void tt_utf8_add(struct tt_text *out, const char *text);

#endif
