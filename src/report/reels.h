/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Reel names for edit lists: one a take, none twice. */
#ifndef TT_REPORT_REELS_H
#define TT_REPORT_REELS_H

#include "report/report.h"

enum { TT_REEL_CHARS = 9 };

/* Of each take, [A-Z0-9_] and at most 8 characters, made from its stem, freshly allocated. Of a longer stem the end
 * stays, where the numbers are. None is a word that edit lists use for something else. */
bool tt_reels_make(const struct tt_session_report *session, char (**reels)[TT_REEL_CHARS], struct tt_error *err);

#endif
