/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Measuring any sound file: levels, the room, the pace of its voice. */
#ifndef TT_PIPELINE_MEASURE_H
#define TT_PIPELINE_MEASURE_H

#include <stdbool.h>

#include "audio/reader.h"
#include "base/settings.h"
#include "dsp/meter.h"
#include "sheet/heard.h"

enum { TT_MOST_MEASURED_REMARKS = 8 };
struct tt_measured {
    struct tt_audio_info info;
    struct tt_levels levels;      /* of all channels together as BS.1770 sums them; peaks over all channels */
    double floor_dbfs, floor_dba; /* of the channel with the voice */
    double speech_dbfs;
    double hum_hz, hum_over_floor_db; /* 0 without hum */
    bool is_clipped, is_silent;
    double decay_db_per_s;  /* of the voice; see tt_heard_facts */
    double syllables_per_s; /* of speech, pauses not counted; NAN with less than ten seconds of it */
    char channel_why[200];
    char verdict[240];                                  /* one plain sentence */
    struct tt_remark remarks[TT_MOST_MEASURED_REMARKS]; /* what is to be put right */
    size_t remark_count;
};

/* scratch_folder: where a file without a name may lie while it works. */
bool tt_measure(const char *path, const struct tt_settings *settings, const char *scratch_folder,
                struct tt_measured *measured, struct tt_error *err);

#endif
