/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A line that was cut since another take said it again is in again once that take is left out or moved: that must not
 * happen in silence. */
#include <stdlib.h>

#include "base/file.h"
#include "session/advice.h"

enum { TOLD_MOST = 4 };

static bool is_cut_for_another(const struct tt_row *row)
{
    struct tt_span span;
    const char *other = NULL;
    return row->kind == TT_ROW_MISREAD && row->action == TT_DO_CUT && tt_row_reread(row, &span, &other) &&
           other != NULL;
}

static bool remember(struct tt_take *take, struct tt_error *err)
{
    char *text = NULL;
    size_t size = 0;
    if (!tt_file_exists(take->sheet_path) || !tt_file_read(take->sheet_path, TT_SHEET_MOST_BYTES, &text, &size, NULL))
        return true;
    bool ok = tt_sheet_start(&take->earlier_sheet, take->file->name, take->content_sha256, err);
    const int64_t duration_ms = tt_take_duration_ms(take);
    /* A sheet with a fault is told where it is read for good. */
    if (ok && !tt_sheet_read_programs(&take->earlier_sheet, text, size, take->sheet_path, duration_ms, NULL))
        tt_sheet_free(&take->earlier_sheet);
    free(text);
    return ok;
}

bool tt_vanished_remember(struct tt_run_state *run, struct tt_error *err)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (tt_take_takes_part(take) && !remember(take, err))
            return false;
    }
    return true;
}

/* Half of it is still out, or asked about, whatever for. */
static bool is_covered(const struct tt_sheet *sheet, const struct tt_row *row)
{
    int64_t covered = 0;
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *now = &sheet->rows[i];
        const int64_t from = now->start_ms > row->start_ms ? now->start_ms : row->start_ms,
                      to = now->end_ms < row->end_ms ? now->end_ms : row->end_ms;
        if (to > from && now->kind != TT_ROW_PAUSE &&
            (now->is_persons || now->action == TT_DO_CUT || now->action == TT_DO_ASK))
            covered += to - from;
    }
    return 2 * covered >= row->end_ms - row->start_ms;
}

void tt_vanished_tell(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        int told = 0;
        if (!tt_take_is_decided(take))
            continue;
        for (size_t r = 0; r < take->earlier_sheet.count && told < TOLD_MOST; r++) {
            const struct tt_row *row = &take->earlier_sheet.rows[r];
            char start[TT_TIME_CHARS], end[TT_TIME_CHARS];
            struct tt_span span;
            const char *other = "";
            if (!is_cut_for_another(row) || !tt_take_holds(take, row->start_ms) || is_covered(&take->sheet, row))
                continue;
            tt_row_reread(row, &span, &other);
            tt_time_format(row->start_ms, start);
            tt_time_format(row->end_ms, end);
            tt_take_warn(take, "in-again", (double)row->start_ms / 1000,
                         "%s-%s is in again: the last run cut it since %.60s said it again, which is left out now or "
                         "stands elsewhere; cut it if it is not wanted",
                         start, end, other);
            told++;
        }
    }
}
