/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The narration as a CMX 3600 edit list (SMPTE ST 258 has the same event lines): picture frames in the events, exact
 * samples in the comments. */
#include <inttypes.h>
#include <stdlib.h>

#include "report/edit_list.h"
#include "report/plain.h"
#include "report/reels.h"
#include "report/timecode.h"

/* Three digits number an event. Titles: 70 characters, from memory of CMX practice. */
enum { EVENTS_MOST = 999, TITLE_CHARS = 70, COMMENT_CHARS = 200 };

/* What printing needs at hand. */
struct printer {
    const struct tt_session_report *session;
    struct tt_edit_list list;
    char (*reels)[TT_REEL_CHARS];
    enum tt_frame_rate rate;
    int64_t start;    /* record frame of the narration's first sample */
    size_t next_mark; /* the first that is not printed yet */
    struct tt_text *out;
};

static int64_t record_frame(const struct printer *printer, int64_t narration_frame)
{
    return printer->start +
           tt_timecode_frame_of_sample(printer->rate, narration_frame, printer->session->narration_rate_hz);
}

/* Less than half a frame of picture: no event can show it. */
static bool is_too_short(const struct printer *printer, const struct tt_edit_span *span)
{
    return record_frame(printer, span->start_frame) == record_frame(printer, span->end_frame);
}

static int64_t source_frame(const struct printer *printer, const struct tt_edit_span *span)
{
    if (!span->is_clip)
        return 0;
    const struct tt_take_report *take = &printer->session->takes[span->take];
    bool has_time = take->time_reference_frames >= 0 && tt_has_time(printer->session);
    const struct tt_report_file *file =
        printer->session->settings->deliver.whole ? NULL : tt_edit_file_at(take, span->source_start);
    int64_t sample =
        span->source_start + (has_time ? take->time_reference_frames : 0) - (file && !has_time ? file->start_frame : 0);
    return tt_timecode_frame_of_sample(printer->rate, sample, take->map->rate_hz);
}

static void add_event_line(struct printer *printer, int number, const struct tt_edit_span *span)
{
    int64_t record_in = record_frame(printer, span->start_frame), record_out = record_frame(printer, span->end_frame);
    int64_t source_in = source_frame(printer, span),
            frames[4] = {source_in, source_in + (record_out - record_in), record_in, record_out};
    tt_text_addf(printer->out, "%03d  %-8s A     C       ", number, span->is_clip ? printer->reels[span->take] : "BL");
    for (int i = 0; i < 4; i++) {
        char text[TT_TIMECODE_CHARS];
        tt_timecode_format(printer->rate, frames[i], text);
        tt_text_addf(printer->out, " %s", text);
    }
    tt_text_add(printer->out, "\n");
}

static void add_name(struct printer *printer, const struct tt_edit_span *span)
{
    const struct tt_take_report *take = &printer->session->takes[span->take];
    const struct tt_report_file *file = tt_edit_file_at(take, span->source_start);
    struct tt_text name = {0};
    if (printer->session->settings->deliver.whole)
        tt_whole_name(printer->session, take, &name);
    else if (file)
        tt_text_add(&name, file->name);
    else
        tt_text_add(&name, take->recording_name ? take->recording_name : take->name);
    if (name.has_failed)
        printer->out->has_failed = true;
    else
        tt_plain_add_fit(printer->out, name.data, COMMENT_CHARS, false);
    tt_text_free(&name);
}

static void add_samples(struct printer *printer, const struct tt_edit_span *span)
{
    const struct tt_take_report *take = &printer->session->takes[span->take];
    tt_text_addf(printer->out,
                 "* TAKE SAMPLES %" PRId64 "-%" PRId64 " AT %d HZ, NARRATION FROM SAMPLE %" PRId64 " AT %d HZ\n",
                 span->source_start, span->source_end, take->map->rate_hz, span->start_frame,
                 printer->session->narration_rate_hz);
}

static void add_comments(struct printer *printer, const struct tt_edit_span *span)
{
    if (span->is_clip) {
        tt_text_add(printer->out, "* FROM CLIP NAME: ");
        add_name(printer, span);
        tt_text_add(printer->out, "\n");
        add_samples(printer, span);
    } else {
        tt_text_addf(printer->out, "* ROOM TONE, NARRATION FROM SAMPLE %" PRId64 " AT %d HZ\n", span->start_frame,
                     printer->session->narration_rate_hz);
    }
}

/* Questions, labels and gaps before record frame `before`; printed is false for events of other parts. */
static void add_marks(struct printer *printer, int64_t before, bool is_printed)
{
    static const char *const colours[] = {
        [TT_MARK_TAKE] = "", [TT_MARK_QUESTION] = "RED", [TT_MARK_LABEL] = "GREEN", [TT_MARK_GAP] = "BLUE"};
    for (; printer->next_mark < printer->list.mark_count; printer->next_mark++) {
        const struct tt_edit_mark *mark = &printer->list.marks[printer->next_mark];
        int64_t frame = record_frame(printer, mark->start_frame);
        if (frame >= before)
            return;
        if (!is_printed || mark->kind == TT_MARK_TAKE)
            continue;
        char time[TT_TIMECODE_CHARS];
        tt_timecode_format(printer->rate, frame, time);
        struct tt_text text = {0};
        tt_edit_mark_text(printer->session, mark, &text);
        tt_text_addf(printer->out, "* LOC: %s %-7s ", time, colours[mark->kind]);
        if (text.data)
            tt_plain_add_fit(printer->out, text.data, COMMENT_CHARS, false);
        if (text.has_failed)
            printer->out->has_failed = true;
        tt_text_add(printer->out, "\n");
        tt_text_free(&text);
    }
}

static void add_head(struct printer *printer, int part, bool has_parts)
{
    tt_text_add(printer->out, "TITLE: ");
    tt_plain_add_fit(printer->out, printer->session->name, has_parts ? TITLE_CHARS - 10 : TITLE_CHARS, false);
    if (has_parts)
        tt_text_addf(printer->out, " PART %d", part + 1);
    tt_text_addf(printer->out, "\nFCM: %s\n\n", tt_timecode_is_drop(printer->rate) ? "DROP FRAME" : "NON-DROP FRAME");
}

static size_t count_events(const struct printer *printer)
{
    size_t events = 0;
    for (size_t i = 0; i < printer->list.span_count; i++)
        events += !is_too_short(printer, &printer->list.spans[i]);
    return events;
}

/* Walks over all events, so that marks go where they belong, and prints those of the part. */
static void add_events(struct printer *printer, int part, size_t event_count)
{
    size_t first = (size_t)part * EVENTS_MOST, event = 0;
    bool is_printed = part == 0;
    for (size_t i = 0; i < printer->list.span_count; i++) {
        const struct tt_edit_span *span = &printer->list.spans[i];
        if (is_too_short(printer, span)) {
            if (is_printed && span->is_clip) {
                tt_text_add(printer->out, "* SHORTER THAN A FRAME, IN NO EVENT:\n");
                add_samples(printer, span);
            }
            continue;
        }
        is_printed = event >= first && event < first + EVENTS_MOST;
        if (is_printed) {
            add_event_line(printer, (int)(event - first) + 1, span);
            add_comments(printer, span);
        }
        event++;
        add_marks(printer, event == event_count ? INT64_MAX : record_frame(printer, span->end_frame), is_printed);
    }
}

bool tt_report_edl(const struct tt_session_report *session, int part, struct tt_text *out, bool *has_more,
                   struct tt_error *err)
{
    struct printer printer = {.session = session, .rate = session->settings->deliver.frame_rate, .out = out};
    *has_more = false;
    if (!tt_timecode_parse(printer.rate, session->settings->deliver.start, &printer.start))
        return tt_fail(err, TT_ERROR_USAGE, "[deliver] start = %s is no timecode at this frame rate",
                       session->settings->deliver.start);
    if (!tt_edit_list_build(session, &printer.list, err))
        return false;
    bool ok = tt_reels_make(session, &printer.reels, err);
    if (ok) {
        size_t events = count_events(&printer);
        *has_more = events > ((size_t)part + 1) * EVENTS_MOST;
        add_head(&printer, part, events > EVENTS_MOST);
        add_events(&printer, part, events);
        if (out->has_failed)
            ok = tt_fail_memory(err);
    }
    free(printer.reels);
    tt_edit_list_free(&printer.list);
    return ok;
}
