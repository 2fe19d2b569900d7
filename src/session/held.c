/* SPDX-License-Identifier: GPL-2.0-or-later */
/* With deliver.hold: sheets and gains as they were handed over, with what a person changed in the sheets since. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "session/kept.h"
#include "session/steps.h"

static bool takes_part(const struct tt_take *take) { return take->is_heard && take->is_used; }

bool tt_session_held_sheets(struct tt_run_state *run, struct tt_error *err)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (!takes_part(take))
            continue;
        if (take->has_failed) /* a sheet with a fault in it: without its take the narration would move */
            return tt_fail(err, TT_ERROR_USAGE, "%s", take->error.message);
        char *name = tt_format("sheets/%s.csv", take->file->stem);
        int64_t duration_ms = tt_take_duration_ms(take);
        bool ok = name || tt_fail_memory(err);
        if (ok && !take->sheet_text)
            ok = tt_fail(
                err, TT_ERROR_USAGE,
                "%s is gone: deliver.hold = yes keeps what was handed over; put the sheet back, or set it to no", name);
        ok = ok && tt_sheet_read_programs(&take->sheet, take->sheet_text, take->sheet_size, name, duration_ms, err);
        free(name);
        if (!ok)
            return false;
    }
    return true;
}

void tt_session_held_gains(struct tt_run_state *run)
{
    run->common_gain_db = run->earlier_common_gain_db;
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        bool is_known;
        if (!takes_part(take))
            continue;
        take->gain_db = tt_kept_gain_db(run, take, &is_known);
        if (!is_known) /* it had no voice so far, or was not used */
            take->gain_db = run->settings.loudness.across == TT_ACROSS_SESSION ? run->common_gain_db : (double)NAN;
        take->is_apart = isfinite(take->gain_db) && isfinite(run->common_gain_db) &&
                         run->settings.loudness.across == TT_ACROSS_SESSION && take->gain_db != run->common_gain_db;
    }
}

/* A gain that was found by measuring the voice stays what it was when a person's edit makes that voice another. */
bool tt_session_held_exact_gains(struct tt_run_state *run, struct tt_error *err)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        struct tt_earlier_take earlier;
        if (!takes_part(take) || !isnan(take->gain_db) || !tt_report_take_json_read(take->json_path, &earlier, NULL))
            continue;
        bool is_other =
            earlier.has_voice && isfinite(earlier.gain_db) && strcmp(earlier.render_key, take->render_key) != 0;
        free(earlier.warnings);
        if (is_other)
            take->gain_db = earlier.gain_db;
        if (is_other && !tt_session_render_key(run, take, err))
            return false;
    }
    return true;
}
