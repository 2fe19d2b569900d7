/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Sheets of recordings that other recordings have the names of now: kept in OUT/earlier/sheets/, by name and content.
 */
#ifndef TT_SESSION_SHEET_ASIDE_H
#define TT_SESSION_SHEET_ASIDE_H

#include "session/run.h"

/* Where the sheet of a recording lies that was put aside, from its stem and at least six digits of its content; the
 * caller's, NULL when out of memory. */
char *tt_sheet_aside_path(const struct tt_run_state *run, const char *stem, const char *content);

/* The person's rows of a sheet as that of a recording and a name; false without any, or when it is not there, of
 * another recording, or not readable. */
bool tt_sheet_read_persons(const char *path, const char *name, const char *content, int64_t duration_ms,
                           struct tt_sheet *sheet);

/* Keeps what lies where the sheet of a take has to go, as it is: it may hold a person's rows that cannot be read now (a
 * slip of the hand). content is that of its recording; where nobody knows it (NULL), the file is named by itself. */
bool tt_sheet_put_aside(const struct tt_run_state *run, const struct tt_take *take, const char *content,
                        struct tt_error *err);

/* Writes these rows as the sheet of a take. */
bool tt_sheet_start_with(const struct tt_take *take, struct tt_sheet *rows, struct tt_error *err);

#endif
