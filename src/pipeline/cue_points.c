/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/cue_points.h"

#include "base/rescale.h"
#include "base/units.h"
#include "sheet/landing.h"

size_t tt_cue_points(const struct tt_sheet *sheet, const struct tt_heard *heard, const struct tt_time_map *map,
                     int out_rate_hz, struct tt_label *cues)
{
    const int rate_hz = heard->facts.rate_hz;
    size_t count = 0;
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        const bool is_gap = row->kind == TT_ROW_GAP && row->action == TT_DO_OPEN;
        const int64_t place = tt_frames_from_ms((double)row->start_ms, rate_hz);
        if ((row->kind != TT_ROW_LABEL && !is_gap) || place < heard->from_sample || place > tt_heard_end(heard))
            continue;
        /* A gap may open at some distance from where it was asked for, in the nearest pause. */
        const int64_t at = is_gap ? tt_landing_of_row(row, map).start : tt_time_map_nearest_out(map, place);
        const char *text = row->note && row->note[0] ? row->note : is_gap ? "gap" : "label";
        cues[count++] = (struct tt_label){tt_rescale_frames(at, rate_hz, out_rate_hz), text};
    }
    return count;
}
