/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a picture edit wants to know when the narration is made anew: from which time on it lies how many frames later
 * or earlier, and why. Stretches of the takes that both narrations hold are compared; what lies between two of them
 * explains a move. */
#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "report/layout.h"
#include "report/rescale.h"
#include "report/timecode.h"
#include "sheet/csv.h"

/* Rounding from one sample rate to another may move a join by a sample or two. */
enum { SAME_FRAMES = 3 };
/* The joins lie within a few ms of the rows that cause them (time_map.h searches them). */
static const int64_t row_slack_ms = 30;
/* A gap goes beside the breath or noise that it would open in; longer ones are rare. */
static const int64_t gap_slack_ms = 600;

/* A stretch that both narrations hold. */
struct common {
    size_t take; /* in `now` */
    int64_t source_start, source_end;
    int64_t before_frame, now_frame; /* of its start, both at the new narration's rate */
};

struct changes {
    const struct tt_session_report *session;
    const struct tt_layout *before, *now;
    const char *since;
    enum tt_frame_rate rate;
    int64_t start_before, start_now; /* picture frames */
    int64_t shift;                   /* narration frames, as the last row said */
    int64_t shift_pictures;
    size_t rows;
    struct tt_text *out;
};

static bool same_recording(const struct tt_layout_take *a, const struct tt_layout_take *b)
{
    return a->rate_hz == b->rate_hz && strcmp(a->content, b->content) == 0 && strcmp(a->name, b->name) == 0;
}

/* Index of a take in another layout; its count when it has no span there. */
static size_t find_take(const struct tt_layout *layout, const struct tt_layout_take *take, bool by_name)
{
    for (size_t i = 0; i < layout->span_count; i++) {
        if (i > 0 && layout->spans[i].take == layout->spans[i - 1].take)
            continue;
        const struct tt_layout_take *other = &layout->takes[layout->spans[i].take];
        if (by_name ? strcmp(other->name, take->name) == 0 : same_recording(other, take))
            return layout->spans[i].take;
    }
    return layout->take_count;
}

static int64_t pictures(const struct changes *changes, int64_t frame)
{
    return tt_timecode_frame_of_sample(changes->rate, frame, changes->now->rate_hz);
}

static void add_row(struct changes *changes, int64_t before_frame, int64_t now_frame, const char *take, const char *why)
{
    char before[TT_TIMECODE_CHARS], now[TT_TIMECODE_CHARS], number[64];
    int64_t before_picture = changes->start_before + pictures(changes, before_frame),
            now_picture = changes->start_now + pictures(changes, now_frame);
    int64_t moved = now_picture - before_picture;
    tt_timecode_format(changes->rate, before_picture, before);
    tt_timecode_format(changes->rate, now_picture, now);
    tt_csv_add(changes->out, changes->since, false);
    tt_csv_add(changes->out, before, false);
    tt_csv_add(changes->out, now, false);
    /* No sign in front of what is positive: a spreadsheet could take it for a formula. */
    snprintf(number, sizeof number, "%" PRId64, moved - changes->shift_pictures);
    tt_text_addf(changes->out, "%s,", number);
    snprintf(number, sizeof number, "%" PRId64, moved);
    tt_text_addf(changes->out, "%s,", number);
    snprintf(number, sizeof number, "%.6f", (double)(now_frame - before_frame) / changes->now->rate_hz);
    tt_text_addf(changes->out, "%s,", number);
    tt_csv_add(changes->out, take, false);
    tt_csv_add(changes->out, why, true);
    changes->shift = now_frame - before_frame;
    changes->shift_pictures = moved;
    changes->rows++;
}

/* ---- why ---- */

/* step_ms: by how much things lie later; a gap of that length is the likeliest cause of all. */
static const struct tt_row *find_row(const struct tt_take_report *take, int64_t start_ms, int64_t end_ms,
                                     int64_t step_ms)
{
    const struct tt_row *found = NULL;
    int64_t most_ms = -1;
    for (size_t i = 0; take->is_heard && i < take->sheet->count; i++) {
        const struct tt_row *row = &take->sheet->rows[i];
        int64_t slack_ms = row->kind == TT_ROW_GAP ? gap_slack_ms : row_slack_ms;
        int64_t from = row->start_ms > start_ms - slack_ms ? row->start_ms : start_ms - slack_ms;
        int64_t to = row->end_ms < end_ms + slack_ms ? row->end_ms : end_ms + slack_ms;
        if (row->kind == TT_ROW_LABEL || to < from)
            continue;
        int64_t weight =
            to - from + (row->is_persons ? 1000000000 : 0); /* a person's decision is the likelier cause of a move */
        bool is_opened = row->kind == TT_ROW_GAP && row->action == TT_DO_OPEN;
        if (is_opened && step_ms > 0 && llabs(llround(row->amount * 1000) - step_ms) <= gap_slack_ms)
            weight += 2000000000;
        if (weight > most_ms) {
            most_ms = weight;
            found = row;
        }
    }
    return found;
}

static const struct tt_take_report *report_of(const struct changes *changes, size_t take)
{
    for (size_t i = 0; i < changes->session->take_count; i++)
        if (strcmp(changes->session->takes[i].name, changes->now->takes[take].name) == 0)
            return &changes->session->takes[i];
    return NULL;
}

static void add_row_text(const struct tt_row *row, struct tt_text *why)
{
    char start[TT_TIME_CHARS], end[TT_TIME_CHARS];
    tt_time_format(row->start_ms, start);
    tt_time_format(row->end_ms, end);
    tt_text_addf(why, "%s: %s%s (%s-%s of the take)", tt_row_kind_name(row->kind), tt_row_action_name(row->action),
                 row->is_persons ? ", yours" : "", start, end);
}

/* A person's decision at the end of one take or the beginning of the next. */
static bool why_edge(const struct changes *changes, size_t take, int64_t from, int64_t to, struct tt_text *why)
{
    const struct tt_take_report *report = report_of(changes, take);
    int rate_hz = changes->now->takes[take].rate_hz;
    const struct tt_row *row =
        report ? find_row(report, (int64_t)tt_ms_from_frames(from, rate_hz), (int64_t)tt_ms_from_frames(to, rate_hz), 0)
               : NULL;
    if (!row || !row->is_persons)
        return false;
    add_row_text(row, why);
    return true;
}

/* Whether a narration holds more between two stretches than the take has there: room tone that was opened. */
static bool has_more(const struct changes *changes, const struct common *last, int64_t last_frame,
                     const struct common *next, int64_t next_frame)
{
    int rate_hz = changes->now->takes[next->take].rate_hz;
    int64_t in_take = tt_rescale_frames(next->source_start - last->source_start, rate_hz, changes->now->rate_hz);
    return next_frame - last_frame > in_take + SAME_FRAMES;
}

static void why_within(const struct changes *changes, const struct common *last, const struct common *next,
                       int64_t step, struct tt_text *why)
{
    int rate_hz = changes->now->takes[next->take].rate_hz;
    int64_t from = last->source_end < next->source_start ? last->source_end : next->source_start;
    int64_t start_ms = (int64_t)tt_ms_from_frames(from, rate_hz),
            end_ms = (int64_t)tt_ms_from_frames(next->source_start, rate_hz);
    const struct tt_take_report *report = report_of(changes, next->take);
    const struct tt_row *row =
        report ? find_row(report, start_ms, end_ms, (int64_t)tt_ms_from_frames(step, changes->now->rate_hz)) : NULL;
    /* The row of a gap that is no more is no more, either. */
    bool is_closed = step < 0 && has_more(changes, last, last->before_frame, next, next->before_frame) &&
                     !has_more(changes, last, last->now_frame, next, next->now_frame) &&
                     !(row && row->kind == TT_ROW_GAP);
    if (row && !is_closed) {
        add_row_text(row, why);
        return;
    }
    char start[TT_TIME_CHARS], end[TT_TIME_CHARS];
    tt_time_format(start_ms, start);
    tt_time_format(end_ms, end);
    tt_text_addf(why, "%s (%s-%s of the take)",
                 is_closed  ? "gap: closed"
                 : step > 0 ? "put back"
                            : "taken out",
                 start, end);
}

/* A stretch of one narration, in its own frames. */
struct between {
    const struct tt_layout *in;
    int64_t start_frame, end_frame;
};

static bool begins_between(const struct between *between, size_t span)
{
    const struct tt_layout_span *spans = between->in->spans;
    bool is_first = span == 0 || spans[span].take != spans[span - 1].take;
    return is_first && spans[span].start_frame >= between->start_frame && spans[span].start_frame < between->end_frame;
}

/* Whether a take that lay between the two lies elsewhere now. next: the take that follows now, which may begin in front
 * of what both hold of it. */
static bool has_moved_away(const struct between *before, const struct tt_layout *now, const struct tt_layout_take *next)
{
    for (size_t i = 0; i < before->in->span_count; i++) {
        const struct tt_layout_take *take = &before->in->takes[before->in->spans[i].take];
        if (begins_between(before, i) && !(next && same_recording(take, next)) &&
            find_take(now, take, false) < now->take_count)
            return true;
    }
    return false;
}

/* Takes between two places that only one of the narrations has. */
static bool why_takes(const struct between *now, const struct between *before, struct tt_text *why)
{
    size_t said = why->length;
    for (int side = 0; side < 2; side++) {
        const struct between *one_side = side == 0 ? now : before;
        const struct tt_layout *one = one_side->in, *other = side == 0 ? before->in : now->in;
        for (size_t i = 0; i < one->span_count; i++) {
            if (!begins_between(one_side, i))
                continue;
            const struct tt_layout_take *take = &one->takes[one->spans[i].take];
            if (find_take(other, take, false) < other->take_count)
                continue;
            bool is_anew = find_take(other, take, true) < other->take_count;
            if (is_anew && side == 1)
                continue;
            tt_text_addf(why, "%s%s %s", why->length > said ? "; " : "", take->name,
                         is_anew     ? "was recorded again"
                         : side == 0 ? "is new"
                                     : "is out");
        }
    }
    return why->length > said;
}

/* Of a stretch's start, at the rate of the narration that was. */
static int64_t before_frame_of(const struct changes *changes, const struct common *stretch)
{
    return tt_rescale_frames(stretch->before_frame, changes->now->rate_hz, changes->before->rate_hz);
}

static void why_between(const struct changes *changes, const struct common *last, const struct common *next,
                        int64_t step, struct tt_text *why)
{
    if (last && next && last->take == next->take) {
        why_within(changes, last, next, step, why);
        return;
    }
    const struct between now = {changes->now, last ? last->now_frame + 1 : INT64_MIN,
                                next ? next->now_frame : INT64_MAX};
    const struct between before = {changes->before, last ? before_frame_of(changes, last) + 1 : INT64_MIN,
                                   next ? before_frame_of(changes, next) : INT64_MAX};
    bool is_backwards = last && next && last->before_frame > next->before_frame;
    bool is_told = why_takes(&now, &before, why);
    if (is_backwards || has_moved_away(&before, changes->now, next ? &changes->now->takes[next->take] : NULL)) {
        tt_text_add(why, is_told ? "; the running order changed" : "the running order changed");
        return;
    }
    if (is_told)
        return;
    int64_t whole = INT64_C(1) << 40; /* behind the end of any take */
    if (next && why_edge(changes, next->take, 0, next->source_start, why))
        return;
    if (last && why_edge(changes, last->take, last->source_end, whole, why))
        return;
    tt_text_add(why, !last   ? "the head, or the beginning of the take"
                     : !next ? "the end"
                             : "the pause between two takes, or the edges of their voices");
}

/* ---- comparing ---- */

static bool add_place(struct changes *changes, const struct common *last, const struct common *next,
                      int64_t before_frame, int64_t now_frame, struct tt_error *err)
{
    int64_t step = now_frame - before_frame - changes->shift;
    bool has_new_start = changes->rows == 0 && changes->start_now != changes->start_before;
    if (!has_new_start && step >= -SAME_FRAMES && step <= SAME_FRAMES)
        return true;
    struct tt_text why = {0};
    if (has_new_start)
        tt_text_addf(&why, "the first frame is %s, was %s", changes->now->start, changes->before->start);
    if (step < -SAME_FRAMES || step > SAME_FRAMES) {
        if (has_new_start)
            tt_text_add(&why, "; ");
        why_between(changes, last, next, step, &why);
    }
    bool ok = !why.has_failed || tt_fail_memory(err);
    if (ok)
        add_row(changes, before_frame, now_frame, next ? changes->now->takes[next->take].name : "", why.data);
    tt_text_free(&why);
    return ok;
}

/* Where one new stretch and one old one of the same recording overlap. */
static bool find_common(const struct changes *changes, const struct tt_layout_span *now,
                        const struct tt_layout_span *before, struct common *common)
{
    int rate_hz = changes->now->takes[now->take].rate_hz;
    int64_t start = now->source_start > before->source_start ? now->source_start : before->source_start;
    int64_t end = now->source_end < before->source_end ? now->source_end : before->source_end;
    if (end <= start)
        return false;
    *common = (struct common){now->take, start, end, 0, 0};
    common->now_frame = now->start_frame + tt_rescale_frames(start - now->source_start, rate_hz, changes->now->rate_hz);
    common->before_frame = tt_rescale_frames(
        before->start_frame + tt_rescale_frames(start - before->source_start, rate_hz, changes->before->rate_hz),
        changes->before->rate_hz, changes->now->rate_hz);
    return true;
}

static bool compare(struct changes *changes, struct tt_error *err)
{
    const struct tt_layout *before = changes->before, *now = changes->now;
    struct common last = {0};
    bool has_last = false;
    size_t at = 0, take = SIZE_MAX, old_take = 0;
    for (size_t i = 0; i < now->span_count; i++) {
        const struct tt_layout_span *span = &now->spans[i];
        if (span->take != take) {
            take = span->take;
            old_take = find_take(before, &now->takes[take], false);
            for (at = 0; at < before->span_count && before->spans[at].take != old_take; at++) {
            }
        }
        while (at < before->span_count && before->spans[at].take == old_take &&
               before->spans[at].source_end <= span->source_start)
            at++;
        for (size_t k = at; k < before->span_count && before->spans[k].take == old_take &&
                            before->spans[k].source_start < span->source_end;
             k++) {
            struct common next;
            if (!find_common(changes, span, &before->spans[k], &next))
                continue;
            if (!add_place(changes, has_last ? &last : NULL, &next, next.before_frame, next.now_frame, err))
                return false;
            last = next;
            has_last = true;
        }
    }
    int64_t end_before = tt_rescale_frames(before->frames, before->rate_hz, now->rate_hz);
    if (!add_place(changes, has_last ? &last : NULL, NULL, end_before, now->frames, err))
        return false;
    if (changes->rows == 0)
        add_row(changes, 0, 0, "", "nothing moved in time: only its sound differs");
    return true;
}

bool tt_report_changes(const struct tt_session_report *session, const struct tt_layout *before,
                       const struct tt_layout *now, const char *since, struct tt_text *out, struct tt_error *err)
{
    struct changes changes = {.session = session,
                              .before = before,
                              .now = now,
                              .since = since,
                              .rate = session->settings->deliver.frame_rate,
                              .out = out};
    if (!tt_timecode_parse(changes.rate, now->start, &changes.start_now))
        return tt_fail(err, TT_ERROR_USAGE, "[deliver] start = %s is no timecode at this frame rate", now->start);
    if (!tt_timecode_parse(changes.rate, before->start, &changes.start_before))
        changes.start_before = changes.start_now;
    changes.shift_pictures = 0;
    tt_text_add(out, "since,before,now,step_frames,from_here_frames,from_here_s,take,why\r\n");
    return compare(&changes, err) && (!out->has_failed || tt_fail_memory(err));
}
