/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The layout of a narration as JSON and back. A stretch is one short text, so that a session of many hours stays a
 * small file. */
#include "report/layout.h"

#include <inttypes.h>
#include <stdio.h>
#include <stdlib.h>

#include "report/edit_list.h"
#include "report/json_values.h"

enum { SPAN_CHARS = 96 };

static bool add_takes(const struct tt_session_report *session, json_t *takes)
{
    bool ok = takes != NULL;
    for (size_t i = 0; ok && i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        char content[17] = "";
        if (take->is_heard)
            snprintf(content, sizeof content, "%.16s", take->heard->facts.content_sha256);
        json_t *object = json_object();
        ok = tt_json_put(object, "take", tt_json_utf8(take->name)) &&
             tt_json_put(object, "content", json_string(content)) &&
             tt_json_put(object, "rate_hz", json_integer(take->is_heard ? take->heard->facts.rate_hz : 1));
        ok = tt_json_push(takes, object) && ok;
    }
    return ok;
}

static bool add_spans(const struct tt_edit_list *list, json_t *spans)
{
    bool ok = spans != NULL;
    for (size_t i = 0; ok && i < list->span_count; i++) {
        const struct tt_edit_span *span = &list->spans[i];
        char text[SPAN_CHARS];
        if (!span->is_clip)
            continue;
        snprintf(text, sizeof text, "%zu %" PRId64 " %" PRId64 " %" PRId64, span->take, span->source_start,
                 span->source_end, span->start_frame);
        ok = tt_json_push(spans, json_string(text));
    }
    return ok;
}

bool tt_layout_make(const struct tt_session_report *session, struct json_t **object, struct tt_error *err)
{
    struct tt_edit_list list;
    *object = NULL;
    if (!session->has_narration)
        return true;
    if (!tt_edit_list_build(session, &list, err))
        return false;
    json_t *layout = json_object(), *takes = json_array(), *spans = json_array();
    bool ok = add_takes(session, takes) && add_spans(&list, spans);
    ok = tt_json_put(layout, "rate_hz", json_integer(session->narration_rate_hz)) && ok;
    ok = tt_json_put(layout, "frames", json_integer(session->narration_frames)) && ok;
    ok = tt_json_put(layout, "start", json_string(session->settings->deliver.start)) && ok;
    ok = tt_json_put(layout, "takes", takes) && ok;
    ok = tt_json_put(layout, "stretches", spans) && ok;
    tt_edit_list_free(&list);
    if (ok)
        *object = layout;
    else
        json_decref(layout);
    return ok || tt_fail_memory(err);
}

static bool read_take(const json_t *object, struct tt_layout_take *take)
{
    const char *name = json_string_value(json_object_get(object, "take"));
    if (!name || !tt_json_get_text(object, "content", take->content, sizeof take->content) ||
        !tt_json_get_rate(object, &take->rate_hz))
        return false;
    return (take->name = tt_copy_string(name)) != NULL;
}

static bool read_span(const char *text, size_t take_count, struct tt_layout_span *span)
{
    char rest;
    return text &&
           sscanf(text, "%zu %" SCNd64 " %" SCNd64 " %" SCNd64 "%c", &span->take, &span->source_start,
                  &span->source_end, &span->start_frame, &rest) == 4 &&
           span->take < take_count && span->source_start >= 0 && span->source_end > span->source_start &&
           span->source_end < TT_JSON_MOST_FRAMES && span->start_frame >= 0 && span->start_frame < TT_JSON_MOST_FRAMES;
}

bool tt_layout_read(const struct json_t *object, struct tt_layout *layout)
{
    const json_t *takes = json_object_get(object, "takes"), *spans = json_object_get(object, "stretches");
    *layout = (struct tt_layout){0};
    if (!json_is_array(takes) || !json_is_array(spans) || !tt_json_get_rate(object, &layout->rate_hz) ||
        !tt_json_get_frames(object, "frames", &layout->frames) ||
        !tt_json_get_text(object, "start", layout->start, sizeof layout->start))
        return false;
    layout->takes = calloc(json_array_size(takes) + 1, sizeof *layout->takes);
    layout->spans = calloc(json_array_size(spans) + 1, sizeof *layout->spans);
    bool ok = layout->takes && layout->spans;
    for (size_t i = 0; ok && i < json_array_size(takes); i++, layout->take_count++)
        ok = read_take(json_array_get(takes, i), &layout->takes[i]);
    for (size_t i = 0; ok && i < json_array_size(spans); i++, layout->span_count++)
        ok = read_span(json_string_value(json_array_get(spans, i)), layout->take_count, &layout->spans[i]);
    if (!ok)
        tt_layout_free(layout);
    return ok;
}

void tt_layout_free(struct tt_layout *layout)
{
    for (size_t i = 0; layout->takes && i < layout->take_count; i++)
        free(layout->takes[i].name);
    free(layout->takes);
    free(layout->spans);
    *layout = (struct tt_layout){0};
}
