/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Growing text, times as text, natural order of names. */
#ifndef TT_BASE_TEXT_H
#define TT_BASE_TEXT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/fail.h"

/* A growing, NUL-terminated text. Start from {0}; after a failed allocation further additions do nothing
 * and has_failed stays true, so that it is checked once at the end. */
struct tt_text {
    char *data; /* NULL while empty */
    size_t length;
    size_t capacity;
    bool has_failed;
};
void tt_text_add(struct tt_text *text, const char *string);
void tt_text_add_bytes(struct tt_text *text, const char *bytes, size_t count);
void tt_text_addf(struct tt_text *text, const char *format, ...) TT_PRINTF(2, 3);
void tt_text_free(struct tt_text *text);

/* Copies; NULL when out of memory. */
char *tt_copy_string(const char *string);
char *tt_format(const char *format, ...) TT_PRINTF(1, 2);

/* What an error message shows of a text: the text itself, or its first characters and "..." in buffer. */
enum { TT_SHOWN_CHARS = 64 };
const char *tt_shown(const char *text, char buffer[TT_SHOWN_CHARS]);

/* "00:01:05.250" of milliseconds (hours may pass 99). buffer holds at least TT_TIME_CHARS. */
enum { TT_TIME_CHARS = 32 };
void tt_time_format(int64_t ms, char *buffer);

/* Reads h:mm:ss.t, mm:ss, or plain seconds, with '.' or ',' as decimal mark; false when it is none of these.
 * is_coarse (may be NULL) is set when the text had fewer than three decimals: a spreadsheet may have rounded it. */
bool tt_time_parse(const char *text, int64_t *ms, bool *is_coarse);

/* Locale-independent number, the whole text consumed (spaces around allowed); '.' or ',' as decimal mark. */
bool tt_number_parse(const char *text, double *value);

/* Natural order: runs of digits compare as numbers ("take 2" before "take 10"); ties are broken by bytes,
 * so that the order is total. <0, 0, >0. */
int tt_natural_compare(const char *a, const char *b);

/* Well-formed UTF-8 (RFC 3629) throughout? */
bool tt_utf8_is_valid(const char *bytes, size_t count);
/* Bytes of the character at the front of text, 0 when it is not well formed or the text is at its end. */
size_t tt_utf8_length(const char *text);
/* The same, but 0 for what steers a terminal, too: control characters (C0, DEL, C1), line separators, changes of
 * writing direction. */
size_t tt_plain_length(const char *text);
/* All of that becomes question marks: no name in a message steers a terminal or breaks a log's line. */
void tt_make_one_line(char *text);

/* The known name nearest to `name` by edit distance, NULL when none is near (more than a third wrong). */
const char *tt_nearest_name(const char *name, const char *const *known, size_t count);

#endif
