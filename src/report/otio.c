/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The narration as an OpenTimelineIO timeline. Schemas as libraries from 0.15 on read them (Clip.2, Marker.2); times
 * count samples, so nothing is rounded to frames of picture. */
#include <string.h>

#include "base/rescale.h"
#include "report/edit_list.h"
#include "report/json_values.h"
#include "report/timecode.h"

static json_t *keep_if(bool ok, json_t *value)
{
    if (ok)
        return value;
    json_decref(value);
    return NULL;
}

static json_t *make_time(int64_t value, double rate)
{
    return json_pack("{s:s, s:f, s:f}", "OTIO_SCHEMA", "RationalTime.1", "rate", rate, "value", (double)value);
}

static json_t *make_range(int64_t start, int start_rate_hz, int64_t duration, int duration_rate_hz)
{
    json_t *range = json_object();
    bool ok = tt_json_put(range, "OTIO_SCHEMA", json_string("TimeRange.1")) &&
              tt_json_put(range, "start_time", make_time(start, start_rate_hz)) &&
              tt_json_put(range, "duration", make_time(duration, duration_rate_hz));
    return keep_if(ok, range);
}

/* What stacks, tracks, clips and gaps have in common. markers is owned from here on. */
static json_t *make_item(const char *schema, const char *name, json_t *source_range, json_t *markers)
{
    json_t *item = json_object();
    bool ok = tt_json_put(item, "OTIO_SCHEMA", json_string(schema)) && tt_json_put(item, "name", tt_json_utf8(name)) &&
              tt_json_put(item, "metadata", json_object()) && tt_json_put(item, "effects", json_array()) &&
              tt_json_put(item, "enabled", json_true());
    ok = tt_json_put(item, "source_range", source_range) && ok;
    ok = tt_json_put(item, "markers", markers) && ok;
    return keep_if(ok, item);
}

/* RFC 8089 URL of an absolute path: everything but unreserved characters (RFC 3986, section 2.3) and '/' is
 * percent-encoded. */
static json_t *make_url(const char *folder, const char *path)
{
    static const char unreserved[] = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-._~/";
    struct tt_text full = {0}, url = {0};
    if (folder)
        tt_text_addf(&full, "%s/", folder);
    tt_text_add(&full, path);
    tt_text_add(&url, "file://");
    for (const char *c = full.data; c && *c; c++) {
        if (strchr(unreserved, *c))
            tt_text_add_bytes(&url, c, 1);
        else
            tt_text_addf(&url, "%%%02X", (unsigned)(unsigned char)*c);
    }
    json_t *value = full.has_failed || url.has_failed ? NULL : json_string(url.data);
    tt_text_free(&full);
    tt_text_free(&url);
    return value;
}

/* The sound that clips of a take point to: the take, or the one cleaned at full length. */
struct media {
    int rate_hz;
    int64_t start, frames;
};

static struct media media_of(const struct tt_session_report *session, const struct tt_take_report *take,
                             const struct tt_report_file *file)
{
    const struct tt_heard_facts *facts = &take->heard->facts;
    if (file && !session->settings->deliver.whole)
        return (struct media){facts->rate_hz, file->time_reference_frames > 0 ? file->time_reference_frames : 0,
                              file->frame_count};
    if (!session->settings->deliver.whole)
        return (struct media){facts->rate_hz, take->time_reference_frames > 0 ? take->time_reference_frames : 0,
                              facts->frame_count};
    int64_t start = tt_has_time(session) && take->time_reference_frames > 0
                        ? tt_rescale_frames(take->time_reference_frames, facts->rate_hz, take->out_rate_hz)
                        : 0;
    return (struct media){take->out_rate_hz, start,
                          tt_rescale_frames(facts->frame_count, facts->rate_hz, take->out_rate_hz)};
}

static json_t *make_reference(const struct tt_session_report *session, const struct tt_take_report *take,
                              const struct tt_report_file *file)
{
    struct media media = media_of(session, take, file);
    struct tt_text whole = {0};
    tt_whole_name(session, take, &whole);
    bool is_whole = session->settings->deliver.whole;
    json_t *reference = json_object();
    bool ok = !whole.has_failed && tt_json_put(reference, "OTIO_SCHEMA", json_string("ExternalReference.1"));
    ok = ok &&
         tt_json_put(reference, "name",
                     tt_json_utf8(file                   ? file->name
                                  : take->recording_name ? take->recording_name
                                                         : take->name)) &&
         tt_json_put(reference, "metadata", json_object());
    ok = ok &&
         tt_json_put(reference, "available_range", make_range(media.start, media.rate_hz, media.frames, media.rate_hz));
    ok = ok && tt_json_put(reference, "available_image_bounds", json_null());
    ok = ok && tt_json_put(reference, "target_url",
                           is_whole ? make_url(session->out_folder, whole.data)
                                    : make_url(NULL, file ? file->path : take->source_path));
    tt_text_free(&whole);
    return keep_if(ok, reference);
}

static json_t *make_clip(const struct tt_session_report *session, const struct tt_edit_span *span)
{
    const struct tt_take_report *take = &session->takes[span->take];
    const struct tt_report_file *file =
        session->settings->deliver.whole ? NULL : tt_edit_file_at(take, span->source_start);
    struct media media = media_of(session, take, file);
    int64_t start = media.start + tt_rescale_frames(span->source_start - (file ? file->start_frame : 0),
                                                    take->map->rate_hz, media.rate_hz);
    json_t *range = make_range(start, media.rate_hz, span->end_frame - span->start_frame, session->narration_rate_hz);
    json_t *clip = make_item("Clip.2", take->name, range, json_array()), *references = json_object();
    bool ok = tt_json_put(references, "DEFAULT_MEDIA", make_reference(session, take, file));
    ok = tt_json_put(clip, "media_references", references) && ok;
    ok = ok && tt_json_put(clip, "active_media_reference_key", json_string("DEFAULT_MEDIA"));
    return keep_if(ok, clip);
}

static json_t *make_children(const struct tt_session_report *session, const struct tt_edit_list *list)
{
    json_t *children = json_array();
    bool ok = children != NULL;
    for (size_t i = 0; ok && i < list->span_count; i++) {
        const struct tt_edit_span *span = &list->spans[i];
        int rate_hz = session->narration_rate_hz;
        if (span->is_clip)
            ok = tt_json_push(children, make_clip(session, span));
        else
            ok = tt_json_push(children, make_item("Gap.1", "room tone",
                                                  make_range(0, rate_hz, span->end_frame - span->start_frame, rate_hz),
                                                  json_array()));
    }
    return keep_if(ok, children);
}

static json_t *make_marker(const struct tt_session_report *session, const struct tt_edit_mark *mark)
{
    static const struct {
        const char *kind, *color;
    } looks[] = {
        [TT_MARK_TAKE] = {"take", "YELLOW"},
        [TT_MARK_QUESTION] = {"question", "RED"},
        [TT_MARK_LABEL] = {"label", "GREEN"},
        [TT_MARK_GAP] = {"gap", "BLUE"},
    };
    int rate_hz = session->narration_rate_hz;
    struct tt_text text = {0};
    tt_edit_mark_text(session, mark, &text);
    json_t *marker = json_object(), *metadata = json_object(), *ours = json_object();
    bool ok = !text.has_failed && tt_json_put(ours, "kind", json_string(looks[mark->kind].kind)) &&
              tt_json_put(ours, "take", tt_json_utf8(session->takes[mark->take].name)) &&
              (!mark->row || tt_json_put(ours, "row", tt_json_utf8(mark->row->id)));
    ok = tt_json_put(metadata, "tidytake", ours) && ok;
    ok = tt_json_put(marker, "metadata", metadata) && ok;
    ok = ok && tt_json_put(marker, "OTIO_SCHEMA", json_string("Marker.2")) &&
         tt_json_put(marker, "name", tt_json_utf8(text.data ? text.data : "")) &&
         tt_json_put(marker, "color", json_string(looks[mark->kind].color)) &&
         tt_json_put(marker, "marked_range",
                     make_range(mark->start_frame, rate_hz, mark->end_frame - mark->start_frame, rate_hz)) &&
         tt_json_put(marker, "comment", tt_json_utf8(mark->row && mark->row->note ? mark->row->note : ""));
    tt_text_free(&text);
    return keep_if(ok, marker);
}

static json_t *make_markers(const struct tt_session_report *session, const struct tt_edit_list *list)
{
    json_t *markers = json_array();
    bool ok = markers != NULL;
    for (size_t i = 0; ok && i < list->mark_count; i++)
        ok = tt_json_push(markers, make_marker(session, &list->marks[i]));
    return keep_if(ok, markers);
}

static json_t *make_timeline(const struct tt_session_report *session, const struct tt_edit_list *list, int64_t start)
{
    json_t *timeline = json_object(), *tracks = json_array();
    json_t *track = make_item("Track.1", "narration", json_null(), json_array());
    bool ok = tt_json_put(track, "kind", json_string("Audio")) &&
              tt_json_put(track, "children", make_children(session, list));
    ok = tt_json_push(tracks, track) && ok;
    json_t *stack = make_item("Stack.1", "tracks", json_null(), make_markers(session, list));
    ok = tt_json_put(stack, "children", tracks) && ok;
    ok = ok && tt_json_put(timeline, "OTIO_SCHEMA", json_string("Timeline.1")) &&
         tt_json_put(timeline, "name", tt_json_utf8(session->name)) &&
         tt_json_put(timeline, "metadata", json_pack("{s:o}", "tidytake", tt_json_program())) &&
         tt_json_put(timeline, "global_start_time",
                     make_time(start, tt_timecode_fps(session->settings->deliver.frame_rate)));
    ok = tt_json_put(timeline, "tracks", stack) && ok;
    return keep_if(ok, timeline);
}

bool tt_report_otio(const struct tt_session_report *session, struct tt_text *out, struct tt_error *err)
{
    int64_t start;
    if (!tt_timecode_parse(session->settings->deliver.frame_rate, session->settings->deliver.start, &start))
        return tt_fail(err, TT_ERROR_USAGE, "[deliver] start = %s is no timecode at this frame rate",
                       session->settings->deliver.start);
    struct tt_edit_list list;
    if (!tt_edit_list_build(session, &list, err))
        return false;
    json_t *timeline = make_timeline(session, &list, start);
    bool ok = timeline ? tt_json_add_text(timeline, TT_DIGITS_EXACT, out, err) : tt_fail_memory(err);
    json_decref(timeline);
    tt_edit_list_free(&list);
    return ok;
}
