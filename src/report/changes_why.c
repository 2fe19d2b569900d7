/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/changes_why.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/rescale.h"
#include "base/units.h"

/* The joins lie within a few ms of the rows that cause them (time_map.h searches them). */
static const int64_t row_slack_ms = 30;
/* A gap goes beside the breath or noise that it would open in; longer ones are rare. */
static const int64_t gap_slack_ms = 600;
/* Of two rows the one that covers more of the place, in ms, is the likelier cause of a move; a person's decision goes
 * before all others, and a gap of the length of the move before that. */
static const int64_t persons_weight = 1000000000, gap_weight = 2000000000;
static const int64_t behind_any_take = INT64_C(1) << 40;

static bool same_name(const struct tt_layout_take *a, const struct tt_layout_take *b)
{
    return strcmp(a->name, b->name) == 0;
}

static bool same_recording(const struct tt_layout_take *a, const struct tt_layout_take *b)
{
    return a->rate_hz == b->rate_hz && strcmp(a->content, b->content) == 0 && same_name(a, b);
}

/* Index of a take in another layout; its count when it has no span there. */
static size_t find_take(const struct tt_layout *layout, const struct tt_layout_take *take,
                        bool (*is_same)(const struct tt_layout_take *, const struct tt_layout_take *))
{
    for (size_t i = 0; i < layout->span_count; i++) {
        if (i > 0 && layout->spans[i].take == layout->spans[i - 1].take)
            continue;
        if (is_same(&layout->takes[layout->spans[i].take], take))
            return layout->spans[i].take;
    }
    return layout->take_count;
}

size_t tt_layout_same_take(const struct tt_layout *layout, const struct tt_layout_take *take)
{
    return find_take(layout, take, same_recording);
}

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
        int64_t weight = to - from + (row->is_persons ? persons_weight : 0);
        bool is_opened = row->kind == TT_ROW_GAP && row->action == TT_DO_OPEN;
        if (is_opened && step_ms > 0 && llabs(llround(row->amount * 1000) - step_ms) <= gap_slack_ms)
            weight += gap_weight;
        if (weight > most_ms) {
            most_ms = weight;
            found = row;
        }
    }
    return found;
}

static const struct tt_take_report *report_of(const struct tt_two_layouts *of, size_t take)
{
    for (size_t i = 0; i < of->session->take_count; i++)
        if (strcmp(of->session->takes[i].name, of->now->takes[take].name) == 0)
            return &of->session->takes[i];
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
static bool why_edge(const struct tt_two_layouts *of, size_t take, int64_t from, int64_t to, struct tt_text *why)
{
    const struct tt_take_report *report = report_of(of, take);
    int rate_hz = of->now->takes[take].rate_hz;
    const struct tt_row *row =
        report ? find_row(report, (int64_t)tt_ms_from_frames(from, rate_hz), (int64_t)tt_ms_from_frames(to, rate_hz), 0)
               : NULL;
    if (!row || !row->is_persons)
        return false;
    add_row_text(row, why);
    return true;
}

/* Whether a narration holds more between two stretches than the take has there: room tone that was opened. */
static bool has_more(const struct tt_two_layouts *of, const struct tt_common *last, int64_t last_frame,
                     const struct tt_common *next, int64_t next_frame)
{
    int rate_hz = of->now->takes[next->take].rate_hz;
    int64_t in_take = tt_rescale_frames(next->source_start - last->source_start, rate_hz, of->now->rate_hz);
    return next_frame - last_frame > in_take + TT_SAME_FRAMES;
}

static void why_within(const struct tt_two_layouts *of, const struct tt_common *last, const struct tt_common *next,
                       int64_t step, struct tt_text *why)
{
    int rate_hz = of->now->takes[next->take].rate_hz;
    int64_t from = last->source_end < next->source_start ? last->source_end : next->source_start;
    int64_t start_ms = (int64_t)tt_ms_from_frames(from, rate_hz),
            end_ms = (int64_t)tt_ms_from_frames(next->source_start, rate_hz);
    const struct tt_take_report *report = report_of(of, next->take);
    const struct tt_row *row =
        report ? find_row(report, start_ms, end_ms, (int64_t)tt_ms_from_frames(step, of->now->rate_hz)) : NULL;
    /* The row of a gap that is no more is no more, either. */
    bool is_closed = step < 0 && has_more(of, last, last->before_frame, next, next->before_frame) &&
                     !has_more(of, last, last->now_frame, next, next->now_frame) && !(row && row->kind == TT_ROW_GAP);
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
            tt_layout_same_take(now, take) < now->take_count)
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
            if (tt_layout_same_take(other, take) < other->take_count)
                continue;
            bool is_anew = find_take(other, take, same_name) < other->take_count;
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
static int64_t before_frame_of(const struct tt_two_layouts *of, const struct tt_common *stretch)
{
    return tt_rescale_frames(stretch->before_frame, of->now->rate_hz, of->before->rate_hz);
}

void tt_changes_why(const struct tt_two_layouts *of, const struct tt_common *last, const struct tt_common *next,
                    int64_t step, struct tt_text *why)
{
    if (last && next && last->take == next->take) {
        why_within(of, last, next, step, why);
        return;
    }
    const struct between now = {of->now, last ? last->now_frame + 1 : INT64_MIN, next ? next->now_frame : INT64_MAX};
    const struct between before = {of->before, last ? before_frame_of(of, last) + 1 : INT64_MIN,
                                   next ? before_frame_of(of, next) : INT64_MAX};
    bool is_backwards = last && next && last->before_frame > next->before_frame;
    bool is_told = why_takes(&now, &before, why);
    if (is_backwards || has_moved_away(&before, of->now, next ? &of->now->takes[next->take] : NULL)) {
        tt_text_add(why, is_told ? "; the running order changed" : "the running order changed");
        return;
    }
    if (is_told)
        return;
    if (next && why_edge(of, next->take, 0, next->source_start, why))
        return;
    if (last && why_edge(of, last->take, last->source_end, behind_any_take, why))
        return;
    tt_text_add(why, !last   ? "the head, or the beginning of the take"
                     : !next ? "the end"
                             : "the pause between two takes, or the edges of their voices");
}
