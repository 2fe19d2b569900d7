/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Between the parts of session/compare.c. */
#ifndef TT_SESSION_COMPARE_PARTS_H
#define TT_SESSION_COMPARE_PARTS_H

#include "base/mapped.h"
#include "dsp/lag.h"
#include "session/compare.h"
#include "sheet/heard.h"

struct compare_side {
    char *path, *prefix, *copy;
    struct tt_audio_info info;
    struct tt_heard heard;
    bool is_heard;
    struct tt_mapped samples;
    struct tt_lag_sound sound; /* these samples */
};

/* compare_side.c: heard, and side->sound read. Files only appear below OUT. */
bool compare_side_hear(const struct tt_compare_request *request, const char *out, struct compare_side *side,
                       struct tt_error *err);
/* Where a browser does not play the recording itself: OUT/sound/NAME.flac, turned by *gain_db so that it does not clip.
 */
bool compare_side_copy(const struct tt_compare_request *request, const char *out, const char *name,
                       struct compare_side *side, double *gain_db, struct tt_error *err);
void compare_side_free(struct compare_side *side);
/* compare_show.c: the page; gains_db[] of the copies. */
bool compare_show(const char *out, const struct compare_side *before, const struct compare_side *after,
                  const double gains_db[2], const struct tt_lags *lags, const char *page, struct tt_error *err);

#endif
