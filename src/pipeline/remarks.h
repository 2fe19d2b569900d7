/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is to be said about a recording itself: clipping, muted stretches, offsets, no speech. */
#ifndef TT_PIPELINE_REMARKS_H
#define TT_PIPELINE_REMARKS_H

#include "audio/reader.h"
#include "sheet/heard.h"

enum { TT_MOST_REMARKS = 12 };

struct tt_remarks {
    struct tt_remark items[TT_MOST_REMARKS];
    size_t count;
    int rate_hz;
    int64_t promised_frames;
    bool is_truncated, is_float;
    int64_t mended_places, first_mended_frame; /* where the safety channel stood in */
    /* running */
    int64_t sample_count, clipped_samples, clipped_runs, first_clip_sample;
    int clip_run; /* samples at full scale in a row so far */
    int64_t zero_run, muted_samples;
    double sum;
    float peak;
};

void tt_remarks_start(struct tt_remarks *remarks, const struct tt_audio_info *info);
/* Samples of the chosen channel as recorded. */
void tt_remarks_listen(struct tt_remarks *remarks, const float *samples, size_t count);
/* A line to read again at each of these samples. Before tt_remarks_finish. */
void tt_remarks_over_words(struct tt_remarks *remarks, const int64_t *samples, size_t count);
/* Fills items from what was listened to and from what else is known of the take. */
void tt_remarks_finish(struct tt_remarks *remarks, const struct tt_heard *heard, int64_t bad_samples);

#endif
