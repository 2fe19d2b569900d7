/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a picture edit wants to know when the narration is made anew: from which time on it lies how many frames later
 * or earlier, and why. Stretches of the takes that both narrations hold are compared; what lies between two of them
 * explains a move. */
#include <inttypes.h>

#include "base/rescale.h"
#include "report/changes_why.h"
#include "report/timecode.h"
#include "sheet/csv.h"

struct changes {
    struct tt_two_layouts of;
    const char *since;
    enum tt_frame_rate rate;
    int64_t start_before, start_now; /* picture frames */
    int64_t shift;                   /* narration frames, as the last row said */
    int64_t shift_pictures;
    size_t rows;
    struct tt_text *out;
};

static int64_t pictures(const struct changes *changes, int64_t frame)
{
    return tt_timecode_frame_of_sample(changes->rate, frame, changes->of.now->rate_hz);
}

static void add_row(struct changes *changes, int64_t before_frame, int64_t now_frame, const char *take, const char *why)
{
    char before[TT_TIMECODE_CHARS], now[TT_TIMECODE_CHARS];
    int64_t before_picture = changes->start_before + pictures(changes, before_frame),
            now_picture = changes->start_now + pictures(changes, now_frame);
    int64_t moved = now_picture - before_picture;
    tt_timecode_format(changes->rate, before_picture, before);
    tt_timecode_format(changes->rate, now_picture, now);
    tt_csv_add(changes->out, changes->since, false);
    tt_csv_add(changes->out, before, false);
    tt_csv_add(changes->out, now, false);
    /* No sign in front of what is positive: a spreadsheet could take it for a formula. */
    tt_text_addf(changes->out, "%" PRId64 ",%" PRId64 ",%.6f,", moved - changes->shift_pictures, moved,
                 (double)(now_frame - before_frame) / changes->of.now->rate_hz);
    tt_csv_add(changes->out, take, false);
    tt_csv_add(changes->out, why, true);
    changes->shift = now_frame - before_frame;
    changes->shift_pictures = moved;
    changes->rows++;
}

static bool add_place(struct changes *changes, const struct tt_common *last, const struct tt_common *next,
                      int64_t before_frame, int64_t now_frame, struct tt_error *err)
{
    int64_t step = now_frame - before_frame - changes->shift;
    bool has_new_start = changes->rows == 0 && changes->start_now != changes->start_before;
    if (!has_new_start && step >= -TT_SAME_FRAMES && step <= TT_SAME_FRAMES)
        return true;
    struct tt_text why = {0};
    if (has_new_start)
        tt_text_addf(&why, "the first frame is %s, was %s", changes->of.now->start, changes->of.before->start);
    if (step < -TT_SAME_FRAMES || step > TT_SAME_FRAMES) {
        if (has_new_start)
            tt_text_add(&why, "; ");
        tt_changes_why(&changes->of, last, next, step, &why);
    }
    bool ok = !why.has_failed || tt_fail_memory(err);
    if (ok)
        add_row(changes, before_frame, now_frame, next ? changes->of.now->takes[next->take].name : "", why.data);
    tt_text_free(&why);
    return ok;
}

/* Where one new stretch and one old one of the same recording overlap. */
static bool find_common(const struct changes *changes, const struct tt_layout_span *now,
                        const struct tt_layout_span *before, struct tt_common *common)
{
    int rate_hz = changes->of.now->takes[now->take].rate_hz;
    int64_t start = now->source_start > before->source_start ? now->source_start : before->source_start;
    int64_t end = now->source_end < before->source_end ? now->source_end : before->source_end;
    if (end <= start)
        return false;
    *common = (struct tt_common){now->take, start, end, 0, 0};
    common->now_frame =
        now->start_frame + tt_rescale_frames(start - now->source_start, rate_hz, changes->of.now->rate_hz);
    common->before_frame = tt_rescale_frames(
        before->start_frame + tt_rescale_frames(start - before->source_start, rate_hz, changes->of.before->rate_hz),
        changes->of.before->rate_hz, changes->of.now->rate_hz);
    return true;
}

/* The first span of a take in a layout; the number of spans when it has none there. */
static size_t first_span(const struct tt_layout *layout, size_t take)
{
    size_t at = 0;
    while (at < layout->span_count && layout->spans[at].take != take)
        at++;
    return at;
}

struct walk {
    struct tt_common last; /* the stretch that was found last */
    bool has_last;
    size_t take, old_take; /* the take that is gone through, in the new layout and in the old one */
    size_t at;             /* span of the old one: none before it reaches into what is still to come */
};

/* What one stretch of the new narration has in common with the old one. */
static bool compare_span(struct changes *changes, const struct tt_layout_span *span, struct walk *walk,
                         struct tt_error *err)
{
    const struct tt_layout *before = changes->of.before;
    if (span->take != walk->take) {
        walk->take = span->take;
        walk->old_take = tt_layout_same_take(before, &changes->of.now->takes[span->take]);
        walk->at = first_span(before, walk->old_take);
    }
    while (walk->at < before->span_count && before->spans[walk->at].take == walk->old_take &&
           before->spans[walk->at].source_end <= span->source_start)
        walk->at++;
    for (size_t k = walk->at; k < before->span_count && before->spans[k].take == walk->old_take &&
                              before->spans[k].source_start < span->source_end;
         k++) {
        struct tt_common next;
        if (!find_common(changes, span, &before->spans[k], &next))
            continue;
        if (!add_place(changes, walk->has_last ? &walk->last : NULL, &next, next.before_frame, next.now_frame, err))
            return false;
        walk->last = next;
        walk->has_last = true;
    }
    return true;
}

static bool compare(struct changes *changes, struct tt_error *err)
{
    const struct tt_layout *before = changes->of.before, *now = changes->of.now;
    struct walk walk = {.take = SIZE_MAX};
    for (size_t i = 0; i < now->span_count; i++)
        if (!compare_span(changes, &now->spans[i], &walk, err))
            return false;
    int64_t end_before = tt_rescale_frames(before->frames, before->rate_hz, now->rate_hz);
    if (!add_place(changes, walk.has_last ? &walk.last : NULL, NULL, end_before, now->frames, err))
        return false;
    if (changes->rows == 0)
        add_row(changes, 0, 0, "", "nothing moved in time: only its sound differs");
    return true;
}

bool tt_report_changes(const struct tt_session_report *session, const struct tt_layout *before,
                       const struct tt_layout *now, const char *since, struct tt_text *out, struct tt_error *err)
{
    struct changes changes = {
        .of = {session, before, now}, .since = since, .rate = session->settings->deliver.frame_rate, .out = out};
    if (!tt_timecode_parse(changes.rate, now->start, &changes.start_now))
        return tt_fail(err, TT_ERROR_USAGE, "[deliver] start = %s is no timecode at this frame rate", now->start);
    if (!tt_timecode_parse(changes.rate, before->start, &changes.start_before))
        changes.start_before = changes.start_now;
    changes.shift_pictures = 0;
    tt_text_add(out, "since,before,now,step_frames,from_here_frames,from_here_s,take,why\r\n");
    return compare(&changes, err) && (!out->has_failed || tt_fail_memory(err));
}
