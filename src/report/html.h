/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Small pieces of HTML. Texts from outside (names, notes, paths) pass through here: they are shown as they are, and run
 * nothing. */
#ifndef TT_REPORT_HTML_H
#define TT_REPORT_HTML_H

#include <stdbool.h>

#include "base/text.h"

/* Escaped for content and for attributes in double quotes. Control characters become their pictures (U+2400 ff.), bytes
 * that are no UTF-8 U+FFFD. */
void tt_html_text(struct tt_text *out, const char *text);
/* The same in an element of its own, so that right-to-left text, or a mark that turns direction, stays within. Content
 * only. */
void tt_html_name(struct tt_text *out, const char *text);

/* A number to be read: U+2212 for minus, an infinity sign, a dash for what is not defined. Independent of the locale.
 */
void tt_html_number(struct tt_text *out, double value, int decimals);
/* A number for attributes, paths and scripts; what is not finite becomes 0. */
void tt_html_exact(struct tt_text *out, double value, int decimals);
/* "1:02:03.4", "2:03.4"; a dash for what is not defined. */
void tt_html_clock(struct tt_text *out, double seconds);
/* "1 h 2 min", "2 min 3 s", "3.4 s", "12 ms" */
void tt_html_length(struct tt_text *out, double seconds);
/* "3 misreads", "1 misread": adds an s unless count is 1. */
void tt_html_count(struct tt_text *out, size_t count, const char *noun);

/* A path as (a part of) a URL: percent-encoded but for '/' and RFC 3986's unreserved characters. */
void tt_html_url(struct tt_text *out, const char *path);
/* The URL of an absolute path as seen from a page in an absolute folder: relative, so that both can be moved or served
 * together. */
void tt_html_relative_url(struct tt_text *out, const char *folder, const char *path);

/* One word of a POSIX shell's command line, quoted where it has to be, escaped for HTML. */
void tt_html_shell_word(struct tt_text *out, const char *word);
/* A string for JSON inside a script element: '<', '>' and '&' are written as escapes, so that nothing in it can end the
 * element. */
void tt_html_json_string(struct tt_text *out, const char *text);

/* A page: everything up to <body>, and from the script to the end. Style and script are lists of lines, ended by NULL;
 * data is JSON or "". The Content-Security-Policy allows these two by their SHA-256, sound from where the page is, and
 * nothing else. */
struct tt_page_head {
    const char *title; /* plain text, escaped here */
    const char *const *style;
    const char *const *const *scripts; /* put together in order; ended by NULL */
};
bool tt_html_open(struct tt_text *out, const struct tt_page_head *head, struct tt_error *err);
void tt_html_close(struct tt_text *out, const struct tt_page_head *head, const char *data);

#endif
