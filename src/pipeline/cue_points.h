/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The cue points that a cut sheet sets in sound files: labels, and gaps where they open. */
#ifndef TT_PIPELINE_CUE_POINTS_H
#define TT_PIPELINE_CUE_POINTS_H

#include <stddef.h>

#include "audio/writer.h"
#include "sheet/heard.h"
#include "sheet/sheet.h"
#include "sheet/time_map.h"

/* In frames of the voice at out_rate_hz; cues has room for one a row. The texts are the sheet's, or constants. Rows
 * outside the part of the take that was heard set none. Returns their count. */
size_t tt_cue_points(const struct tt_sheet *sheet, const struct tt_heard *heard, const struct tt_time_map *map,
                     int out_rate_hz, struct tt_label *cues);

#endif
