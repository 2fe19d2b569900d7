/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The view of a session that deciding works on. */
#ifndef TT_STAGES_STAGE_H
#define TT_STAGES_STAGE_H

#include "base/settings.h"
#include "sheet/heard.h"
#include "sheet/sheet.h"

/* One take in running order, while its sheet is being decided. */
struct tt_take_view {
    const char *name;               /* file name */
    const struct tt_heard *heard;
    struct tt_sheet *sheet;         /* holds a person's rows already */
    double clock_s;                 /* when it begins on the session's running clock: takes laid end to end */
};
struct tt_session_view {
    struct tt_take_view *takes;
    size_t count;
    const struct tt_settings *settings;
};

#endif
