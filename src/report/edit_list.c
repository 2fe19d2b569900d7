/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/edit_list.h"

#include <stdlib.h>

#include "base/grow.h"
#include "base/rescale.h"
#include "sheet/landing.h"

static bool add_span(struct tt_edit_list *list, struct tt_edit_span span, struct tt_error *err)
{
    if (span.end_frame <= span.start_frame)
        return true;
    struct tt_edit_span *spans = tt_grow(list->spans, list->span_count, &list->span_capacity, sizeof *spans, err);
    if (!spans)
        return false;
    list->spans = spans;
    list->spans[list->span_count++] = span;
    return true;
}

static bool add_mark(struct tt_edit_list *list, struct tt_edit_mark mark, struct tt_error *err)
{
    struct tt_edit_mark *marks = tt_grow(list->marks, list->mark_count, &list->mark_capacity, sizeof *marks, err);
    if (!marks)
        return false;
    list->marks = marks;
    list->marks[list->mark_count++] = mark;
    return true;
}

static int64_t list_end(const struct tt_edit_list *list)
{
    return list->span_count ? list->spans[list->span_count - 1].end_frame : 0;
}

static bool is_in_narration(const struct tt_take_report *take)
{
    return !take->has_failed && take->is_heard && take->has_voice && take->narration_start_frame >= 0 &&
           take->map->count > 0;
}

static int64_t in_narration(const struct tt_session_report *session, const struct tt_take_report *take,
                            int64_t out_sample)
{
    int64_t frame =
        take->narration_start_frame + tt_rescale_frames(out_sample, take->map->rate_hz, session->narration_rate_hz);
    return frame < session->narration_frames ? frame : session->narration_frames;
}

/* A clip, cut where one file of the recording ends and the next begins. */
static bool add_clip(const struct tt_session_report *session, struct tt_edit_list *list, struct tt_edit_span clip,
                     struct tt_error *err)
{
    const struct tt_take_report *take = &session->takes[clip.take];
    for (size_t i = 1; i < take->file_count && !session->settings->deliver.whole; i++) {
        const int64_t edge = take->files[i].start_frame;
        if (edge <= clip.source_start || edge >= clip.source_end)
            continue;
        struct tt_edit_span first = clip;
        first.source_end = edge;
        first.end_frame = clip.start_frame +
                          tt_rescale_frames(edge - clip.source_start, take->map->rate_hz, session->narration_rate_hz);
        if (!add_span(list, first, err))
            return false;
        clip.source_start = edge;
        clip.start_frame = first.end_frame;
    }
    return add_span(list, clip, err);
}

const struct tt_report_file *tt_edit_file_at(const struct tt_take_report *take, int64_t source_start)
{
    const struct tt_report_file *found = NULL;
    for (size_t i = 0; i < take->file_count; i++)
        if (take->files[i].start_frame <= source_start)
            found = &take->files[i];
    return found;
}

static bool add_spans(const struct tt_session_report *session, size_t index, struct tt_edit_list *list,
                      struct tt_error *err)
{
    const struct tt_take_report *take = &session->takes[index];
    for (size_t i = 0; i < take->map->count; i++) {
        const struct tt_stretch *stretch = &take->map->stretches[i];
        struct tt_edit_span clip = {true, index, stretch->source_start, stretch->source_end, 0, 0};
        clip.start_frame = in_narration(session, take, stretch->out_start);
        clip.end_frame =
            in_narration(session, take, stretch->out_start + (stretch->source_end - stretch->source_start));
        struct tt_edit_span tone = {.start_frame = list_end(list), .end_frame = clip.start_frame};
        if (clip.start_frame < tone.start_frame)
            clip.start_frame = tone.start_frame;
        if (!add_span(list, tone, err) || !add_clip(session, list, clip, err))
            return false;
    }
    return true;
}

static bool find_mark_kind(const struct tt_row *row, enum tt_edit_mark_kind *kind)
{
    if (row->action == TT_DO_ASK)
        *kind = TT_MARK_QUESTION;
    else if (row->kind == TT_ROW_LABEL)
        *kind = TT_MARK_LABEL;
    else if (row->kind == TT_ROW_GAP && row->action == TT_DO_OPEN)
        *kind = TT_MARK_GAP;
    else
        return false;
    return true;
}

static bool add_marks(const struct tt_session_report *session, size_t index, struct tt_edit_list *list,
                      struct tt_error *err)
{
    const struct tt_take_report *take = &session->takes[index];
    struct tt_edit_mark mark = {TT_MARK_TAKE, index, NULL, take->narration_start_frame, take->narration_start_frame};
    if (!add_mark(list, mark, err))
        return false;
    for (size_t i = 0; i < take->sheet->count; i++) {
        mark.row = &take->sheet->rows[i];
        if (!find_mark_kind(mark.row, &mark.kind))
            continue;
        struct tt_landing landing = tt_landing_of_row(mark.row, take->map);
        if (!landing.is_in && mark.kind != TT_MARK_LABEL)
            continue; /* a label whose place is gone stands at the join */
        mark.start_frame = in_narration(session, take, landing.start);
        mark.end_frame = in_narration(session, take, landing.end);
        if (!add_mark(list, mark, err))
            return false;
    }
    return true;
}

static int compare_marks(const void *a, const void *b)
{
    const struct tt_edit_mark *left = a, *right = b;
    if (left->start_frame != right->start_frame)
        return left->start_frame < right->start_frame ? -1 : 1;
    if (left->take != right->take)
        return left->take < right->take ? -1 : 1;
    if (!left->row || !right->row)
        return (left->row != NULL) - (right->row != NULL);
    return (left->row > right->row) - (left->row < right->row); /* rows of one sheet */
}

bool tt_edit_list_build(const struct tt_session_report *session, struct tt_edit_list *list, struct tt_error *err)
{
    *list = (struct tt_edit_list){0};
    bool ok = true;
    for (size_t i = 0; ok && session->has_narration && i < session->take_count; i++)
        if (is_in_narration(&session->takes[i]))
            ok = add_spans(session, i, list, err) && add_marks(session, i, list, err);
    struct tt_edit_span tail = {.start_frame = list_end(list),
                                .end_frame = session->has_narration ? session->narration_frames : 0};
    ok = ok && add_span(list, tail, err);
    if (ok && list->mark_count > 1)
        qsort(list->marks, list->mark_count, sizeof *list->marks, compare_marks);
    if (!ok)
        tt_edit_list_free(list);
    return ok;
}

void tt_edit_list_free(struct tt_edit_list *list)
{
    free(list->spans);
    free(list->marks);
    *list = (struct tt_edit_list){0};
}

void tt_edit_mark_text(const struct tt_session_report *session, const struct tt_edit_mark *mark, struct tt_text *out)
{
    if (!mark->row) {
        tt_text_add(out, session->takes[mark->take].name);
        return;
    }
    bool has_note = mark->row->note && mark->row->note[0];
    if (mark->kind == TT_MARK_LABEL && has_note) {
        tt_text_add(out, mark->row->note);
        return;
    }
    tt_text_add(out, tt_row_kind_name(mark->row->kind));
    if (mark->kind == TT_MARK_QUESTION)
        tt_text_add(out, "?");
    if (has_note)
        tt_text_addf(out, " %s", mark->row->note);
}

bool tt_has_time(const struct tt_session_report *session)
{
    return !session->settings->deliver.whole || session->settings->deliver.format != TT_CONTAINER_FLAC;
}

void tt_whole_name(const struct tt_session_report *session, const struct tt_take_report *take, struct tt_text *out)
{
    tt_text_addf(out, "whole/%s.%s", take->stem,
                 session->settings->deliver.format == TT_CONTAINER_FLAC ? "flac" : "wav");
}
