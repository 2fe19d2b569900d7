/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the text of a cell may be; used by the CSV reader and writer only. */
#ifndef TT_SHEET_CSV_TEXT_H
#define TT_SHEET_CSV_TEXT_H

#include <stdbool.h>
#include <stddef.h>

/* Well-formed UTF-8 (Unicode, table 3-7: no overlong forms, no surrogates, nothing past U+10FFFF). */
bool csv_is_utf8(const char *text, size_t length);
/* Whether the cell's first apostrophe was put there against formulas: it stands in front of what would need it. */
bool csv_is_guarded(const char *text);

#endif
