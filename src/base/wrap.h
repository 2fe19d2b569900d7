/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Text broken into lines at blanks. */
#ifndef TT_BASE_WRAP_H
#define TT_BASE_WRAP_H

#include "base/text.h"

enum { TT_WRAP_COLUMNS = 80 };

/* Characters, one column each: the bytes that do not continue a UTF-8 character. */
size_t tt_columns_of(const char *text, size_t size);

/* Adds the words of text as lines of at most TT_WRAP_COLUMNS characters, each opened by prefix. A longer word gets a
 * line for itself. */
void tt_wrap_add(struct tt_text *out, const char *prefix, const char *text);

#endif
