/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/editor.h"

#include <stdlib.h>
#include <string.h>

#include "dsp/crossfade.h"

enum { PART_SAMPLES = 1 << 14 };

/* A stretch is written as head (faded in from what came before), body, tail (kept back until what follows is known).
 * The head of a stretch may reach back over samples that the tail of the one before it used, too: `window` keeps as
 * many old samples as the longest fade. */
struct tt_editor {
    const struct tt_time_map *map;
    struct tt_room_tone *tone;
    struct tt_room_match *match;
    float *colour; /* by bin, of match */
    tt_sink sink;
    void *context;
    float *window; /* source samples [window_start, window_start + window_count) */
    size_t window_capacity, window_count;
    int64_t window_start;
    size_t most_fade;
    size_t at_stretch;
    int64_t position; /* source sample from which the stretch under way goes on; meaningful when is_inside */
    bool is_inside, has_tail;
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
    free(editor->colour);
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
    *editor = (struct tt_editor){.map = map, .tone = tone, .match = match, .sink = sink, .context = context};
    for (size_t i = 0; i < map->count; i++)
        if ((size_t)map->stretches[i].fade_samples > editor->most_fade)
            editor->most_fade = (size_t)map->stretches[i].fade_samples;
    if ((size_t)map->lead_fade_samples > editor->most_fade)
        editor->most_fade = (size_t)map->lead_fade_samples;
    editor->window_capacity = 2 * (size_t)PART_SAMPLES + 4 * editor->most_fade;
    editor->window = malloc(editor->window_capacity * sizeof(float));
    editor->tail = malloc((editor->most_fade + 1) * sizeof(float));
    editor->mixed = malloc((editor->most_fade + 1) * sizeof(float));
    editor->tone_part = malloc((PART_SAMPLES + editor->most_fade) * sizeof(float));
    editor->colour = match ? malloc(tt_room_match_bins(match) * sizeof(float)) : NULL;
    if ((match && !editor->colour) || !editor->window || !editor->tail || !editor->mixed || !editor->tone_part) {
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

/* Before the tone of a gap behind this sample is made. */
static void tune_tone(struct tt_editor *editor, int64_t source_sample)
{
    if (!editor->match)
        return;
    (void)tt_room_match_at(editor->match, source_sample, editor->colour);
    tt_room_tone_set_colour(editor->tone, editor->colour);
}

static bool put_tone(struct tt_editor *editor, int64_t source_sample, int64_t count, struct tt_error *err)
{
    while (count > 0) {
        size_t part = count < PART_SAMPLES ? (size_t)count : PART_SAMPLES;
        tt_room_tone_make(editor->tone, source_sample, editor->tone_part, part);
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

/* From made tone into the stretch under way. */
static bool fade_out_of_tone(struct tt_editor *editor, size_t fade, struct tt_error *err)
{
    if (fade == 0)
        return true;
    int64_t start = editor->map->stretches[editor->at_stretch].source_start;
    tt_room_tone_make(editor->tone, start, editor->tone_part, fade);
    tt_crossfade(editor->tone_part, source(editor, start - (int64_t)(fade / 2)), editor->mixed, fade);
    return put(editor, editor->mixed, fade, err);
}

/* What comes in front of a stretch: its lead or the join with the stretch before. Needs the source up to start + fade
 * / 2. */
static bool join(struct tt_editor *editor, struct tt_error *err)
{
    const struct tt_stretch *stretch = &editor->map->stretches[editor->at_stretch];
    const size_t fade = fade_before(editor, editor->at_stretch);
    if (editor->at_stretch == 0)
        return put_tone(editor, stretch->source_start, editor->map->lead_samples - (int64_t)(fade / 2), err) &&
               fade_out_of_tone(editor, fade, err);
    const struct tt_stretch *before = stretch - 1;
    if (before->fill_samples > 0)
        tune_tone(editor, before->source_end);
    if (fade == 0)
        return put_tone(editor, before->source_end, before->fill_samples, err);
    const float *head = source(editor, stretch->source_start - (int64_t)(fade / 2));
    if (before->fill_samples == 0) {
        tt_crossfade(editor->tail, head, editor->mixed, fade);
        return put(editor, editor->mixed, fade, err);
    }
    /* Into the made tone and out of it again. */
    tt_room_tone_make(editor->tone, before->source_end, editor->tone_part, fade);
    tt_crossfade(editor->tail, editor->tone_part, editor->mixed, fade);
    if (!put(editor, editor->mixed, fade, err) ||
        !put_tone(editor, before->source_end, before->fill_samples - (int64_t)fade, err))
        return false;
    return fade_out_of_tone(editor, fade, err);
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
            if (available < stretch->source_start + half_before)
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
    size_t keep = 2 * editor->most_fade;
    if (editor->window_count <= keep)
        return;
    size_t drop = editor->window_count - keep;
    memmove(editor->window, editor->window + drop, keep * sizeof(float));
    editor->window_count = keep;
    editor->window_start += (int64_t)drop;
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
        /* What is not used yet must not be forgotten: it is at most one fade, since bodies are written at once. */
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
        if (stretch->fill_samples > 0)
            tune_tone(editor, stretch->source_end);
        if (stretch->fill_samples > 0 && fade > 0) {
            tt_room_tone_make(editor->tone, stretch->source_end, editor->tone_part, fade);
            tt_crossfade(editor->tail, editor->tone_part, editor->mixed, fade);
            if (!put(editor, editor->mixed, fade, err))
                return false;
        }
        int64_t rest = editor->map->out_samples - editor->written;
        if (rest > 0 && !put_tone(editor, stretch->source_end, rest, err))
            return false;
    } else if (!put_tone(editor, 0, editor->map->out_samples, err)) {
        return false;
    }
    return editor->written == editor->map->out_samples ||
           tt_fail(err, TT_ERROR_INTERNAL, "the voice came out %lld samples long in place of %lld",
                   (long long)editor->written, (long long)editor->map->out_samples);
}
