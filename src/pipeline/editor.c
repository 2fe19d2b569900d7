/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/editor.h"

#include <stdlib.h>
#include <string.h>

#include "dsp/crossfade.h"
#include "pipeline/gap_tone.h"

enum { PART_SAMPLES = 1 << 14 };

/* A stretch is written as head (faded in from what came before), body, tail (kept back until what follows is known).
 * The head of a stretch may reach back over samples that the tail of the one before it used, too: `window` keeps as
 * many old samples as the longest fade, and in front of a gap what lies behind it, as far as its tone is made of that.
 */
struct tt_editor {
    const struct tt_time_map *map;
    struct tt_room_match *match;
    struct tt_gap_tone *gap;
    tt_sink sink;
    void *context;
    float *window; /* source samples [window_start, window_start + window_count) */
    size_t window_capacity, window_count;
    int64_t window_start;
    size_t most_fade;
    size_t at_stretch;
    int64_t position; /* source sample from which the stretch under way goes on; meaningful when is_inside */
    bool is_inside;
    float *tail, *tone_part, *mixed;
    int64_t written;
};

void tt_editor_destroy(struct tt_editor *editor)
{
    if (!editor)
        return;
    free(editor->window);
    free(editor->tail);
    free(editor->tone_part);
    free(editor->mixed);
    tt_gap_tone_destroy(editor->gap);
    free(editor);
}

struct tt_editor *tt_editor_create(const struct tt_time_map *map, struct tt_room_tone *tone,
                                   struct tt_room_match *match, tt_sink sink, void *context, struct tt_error *err)
{
    struct tt_editor *editor = calloc(1, sizeof *editor);
    if (!editor) {
        tt_fail_memory(err);
        return NULL;
    }
    *editor = (struct tt_editor){.map = map, .match = match, .sink = sink, .context = context};
    for (size_t i = 0; i < map->count; i++)
        if ((size_t)map->stretches[i].fade_samples > editor->most_fade)
            editor->most_fade = (size_t)map->stretches[i].fade_samples;
    if ((size_t)map->lead_fade_samples > editor->most_fade)
        editor->most_fade = (size_t)map->lead_fade_samples;
    if (!(editor->gap = tt_gap_tone_create(tone, match, err))) {
        tt_editor_destroy(editor);
        return NULL;
    }
    editor->window_capacity = 2 * (size_t)PART_SAMPLES + 4 * editor->most_fade + (size_t)tt_gap_tone_reach(editor->gap);
    editor->window = malloc(editor->window_capacity * sizeof(float));
    editor->tail = malloc((editor->most_fade + 1) * sizeof(float));
    editor->mixed = malloc((editor->most_fade + 1) * sizeof(float));
    editor->tone_part = malloc((PART_SAMPLES + editor->most_fade) * sizeof(float));
    if (!editor->window || !editor->tail || !editor->mixed || !editor->tone_part) {
        tt_editor_destroy(editor);
        tt_fail_memory(err);
        return NULL;
    }
    return editor;
}

void tt_editor_start_at(struct tt_editor *editor, int64_t sample)
{
    editor->window_start = sample;
    if (editor->match)
        tt_room_match_start_at(editor->match, sample);
}

static bool put(struct tt_editor *editor, const float *samples, size_t count, struct tt_error *err)
{
    editor->written += (int64_t)count;
    return count == 0 || editor->sink(editor->context, samples, count, err);
}

static bool put_tone(struct tt_editor *editor, int64_t count, struct tt_error *err)
{
    while (count > 0) {
        size_t part = count < PART_SAMPLES ? (size_t)count : PART_SAMPLES;
        tt_gap_tone_make(editor->gap, editor->tone_part, part);
        if (!put(editor, editor->tone_part, part, err))
            return false;
        count -= (int64_t)part;
    }
    return true;
}

static size_t fade_behind(const struct tt_editor *editor, size_t stretch)
{
    return stretch + 1 < editor->map->count || editor->map->stretches[stretch].fill_samples > 0
               ? (size_t)editor->map->stretches[stretch].fade_samples
               : 0;
}

static size_t fade_before(const struct tt_editor *editor, size_t stretch)
{
    return stretch > 0 ? fade_behind(editor, stretch - 1) : (size_t)editor->map->lead_fade_samples;
}

static const float *source(const struct tt_editor *editor, int64_t sample)
{
    return editor->window + (sample - editor->window_start);
}

/* From the stretch before into made tone. */
static bool fade_into_tone(struct tt_editor *editor, size_t fade, struct tt_error *err)
{
    tt_gap_tone_make(editor->gap, editor->tone_part, fade);
    tt_crossfade(editor->tail, editor->tone_part, editor->mixed, fade);
    return put(editor, editor->mixed, fade, err);
}

/* From made tone into the stretch under way. */
static bool fade_out_of_tone(struct tt_editor *editor, size_t fade, struct tt_error *err)
{
    if (fade == 0)
        return true;
    int64_t start = editor->map->stretches[editor->at_stretch].source_start;
    tt_gap_tone_make(editor->gap, editor->tone_part, fade);
    tt_crossfade(editor->tone_part, source(editor, start - (int64_t)(fade / 2)), editor->mixed, fade);
    return put(editor, editor->mixed, fade, err);
}

/* What comes in front of a stretch: its lead or the join with the stretch before. Needs the source up to start + fade
 * / 2. */
static bool join(struct tt_editor *editor, struct tt_error *err)
{
    const struct tt_stretch *stretch = &editor->map->stretches[editor->at_stretch];
    const size_t fade = fade_before(editor, editor->at_stretch);
    if (editor->at_stretch == 0) {
        const int64_t lead = editor->map->lead_samples;
        tt_gap_tone_open(editor->gap, -1, stretch->source_start, lead + (int64_t)(fade / 2));
        return put_tone(editor, lead - (int64_t)(fade / 2), err) && fade_out_of_tone(editor, fade, err);
    }
    const struct tt_stretch *before = stretch - 1;
    if (before->fill_samples > 0)
        tt_gap_tone_open(editor->gap, before->source_end, stretch->source_start, before->fill_samples + (int64_t)fade);
    if (fade == 0)
        return put_tone(editor, before->fill_samples, err);
    const float *head = source(editor, stretch->source_start - (int64_t)(fade / 2));
    if (before->fill_samples == 0) {
        tt_crossfade(editor->tail, head, editor->mixed, fade);
        return put(editor, editor->mixed, fade, err);
    }
    /* Into the made tone and out of it again. */
    return fade_into_tone(editor, fade, err) && put_tone(editor, before->fill_samples - (int64_t)fade, err) &&
           fade_out_of_tone(editor, fade, err);
}

/* Up to where the source must be known before what comes in front of the stretch can be made. */
static int64_t needed_for_join(const struct tt_editor *editor)
{
    const size_t at = editor->at_stretch;
    const int64_t start = editor->map->stretches[at].source_start,
                  fill = at > 0 ? editor->map->stretches[at - 1].fill_samples : editor->map->lead_samples,
                  half = (int64_t)(fade_before(editor, at) / 2), reach = tt_gap_tone_reach(editor->gap);
    return start + (fill > 0 && reach > half ? reach : half);
}

/* Works off what the window holds; stops when more source is needed. */
static bool work(struct tt_editor *editor, bool is_end, struct tt_error *err)
{
    while (editor->at_stretch < editor->map->count) {
        const struct tt_stretch *stretch = &editor->map->stretches[editor->at_stretch];
        const int64_t available = editor->window_start + (int64_t)editor->window_count;
        const int64_t half_before = (int64_t)(fade_before(editor, editor->at_stretch) / 2);
        const size_t fade = fade_behind(editor, editor->at_stretch);
        const int64_t half_behind = (int64_t)(fade / 2);
        if (!editor->is_inside) {
            if (available < needed_for_join(editor) && !(is_end && available >= stretch->source_start + half_before))
                break;
            if (!join(editor, err))
                return false;
            editor->position = stretch->source_start + half_before;
            editor->is_inside = true;
        }
        int64_t body_end = stretch->source_end - half_behind;
        int64_t until = available < body_end ? available : body_end;
        if (until > editor->position) {
            if (!put(editor, source(editor, editor->position), (size_t)(until - editor->position), err))
                return false;
            editor->position = until;
        }
        if (editor->position < body_end || available < stretch->source_end + half_behind)
            break;
        if (fade > 0)
            memcpy(editor->tail, source(editor, body_end), fade * sizeof(float));
        editor->is_inside = false;
        editor->at_stretch++;
    }
    if (is_end && editor->at_stretch < editor->map->count)
        return tt_fail(err, TT_ERROR_INPUT,
                       "the take ends at sample %lld, before its cut sheet does; copy it again from the recorder, or "
                       "run again with --again",
                       (long long)(editor->window_start + (int64_t)editor->window_count));
    return true;
}

/* Drops what no later stretch can reach back to. */
static void forget(struct tt_editor *editor)
{
    int64_t from = editor->window_start + (int64_t)editor->window_count;
    if (editor->at_stretch < editor->map->count) {
        const int64_t next =
            editor->is_inside ? editor->position : editor->map->stretches[editor->at_stretch].source_start;
        from = next < from ? next : from;
    }
    const int64_t drop = from - 2 * (int64_t)editor->most_fade - editor->window_start;
    if (drop <= 0)
        return;
    editor->window_count -= (size_t)drop;
    memmove(editor->window, editor->window + drop, editor->window_count * sizeof(float));
    editor->window_start += drop;
}

bool tt_editor_add(struct tt_editor *editor, const float *samples, size_t count, struct tt_error *err)
{
    while (count > 0) {
        if (editor->window_count + PART_SAMPLES > editor->window_capacity)
            forget(editor);
        size_t part = count < PART_SAMPLES ? count : PART_SAMPLES;
        memcpy(editor->window + editor->window_count, samples, part * sizeof(float));
        editor->window_count += part;
        if (editor->match)
            tt_room_match_add(editor->match, samples, part);
        samples += part;
        count -= part;
        if (!work(editor, false, err))
            return false;
        /* Bodies are written at once: more than a fade is kept only in front of a gap. */
        forget(editor);
    }
    return true;
}

bool tt_editor_finish(struct tt_editor *editor, struct tt_error *err)
{
    if (!work(editor, true, err))
        return false;
    /* A gap behind the last stretch. */
    if (editor->map->count > 0) {
        size_t last = editor->map->count - 1;
        const struct tt_stretch *stretch = &editor->map->stretches[last];
        size_t fade = fade_behind(editor, last);
        tt_gap_tone_open(editor->gap, stretch->source_end, -1, stretch->fill_samples + (int64_t)(fade / 2));
        if (stretch->fill_samples > 0 && fade > 0 && !fade_into_tone(editor, fade, err))
            return false;
        int64_t rest = editor->map->out_samples - editor->written;
        if (rest > 0 && !put_tone(editor, rest, err))
            return false;
    }
    return editor->written == editor->map->out_samples ||
           tt_fail(err, TT_ERROR_INTERNAL, "the voice came out %lld samples long in place of %lld",
                   (long long)editor->written, (long long)editor->map->out_samples);
}
