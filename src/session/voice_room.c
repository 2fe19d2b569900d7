/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/voice_room.h"

#include <stdlib.h>
#include <string.h>

#include "audio/reader.h"
#include "base/units.h"
#include "dsp/room_match.h"
#include "pipeline/quiet_spans.h"

enum { BLOCK_FRAMES = 1 << 13, CHANNELS_MOST = 2 };
/* Room tone to listen to: at the tail what room_match.c looks back over; at the head half of it, since of that it leans
 * to the later part. */
static const double head_ms = 1400, tail_ms = 2800;

/* Spans of a voice to listen to, in order. */
struct stretch_of_room {
    struct tt_span_samples *spans;
    size_t count;
};

/* What tells of the head: so much of the first spans. */
static struct stretch_of_room first_of(const struct tt_quiet_spans *quiet, int64_t wanted)
{
    struct stretch_of_room first = {quiet->spans, 0};
    for (; first.count < quiet->count && wanted > 0; first.count++) {
        struct tt_span_samples *span = &first.spans[first.count];
        if (span->end - span->start > wanted)
            span->end = span->start + wanted;
        wanted -= span->end - span->start;
    }
    return first;
}

static struct stretch_of_room last_of(const struct tt_quiet_spans *quiet, int64_t wanted)
{
    struct stretch_of_room last = {quiet->spans + quiet->count, 0};
    while (last.count < quiet->count && wanted > 0) {
        struct tt_span_samples *span = --last.spans;
        if (span->end - span->start > wanted)
            span->start = span->end - wanted;
        wanted -= span->end - span->start;
        last.count++;
    }
    return last;
}

static bool add_voice(struct tt_reader *reader, int channel_count, int64_t count, struct tt_room_match *match,
                      struct tt_error *err)
{
    float *block = malloc(CHANNELS_MOST * BLOCK_FRAMES * sizeof *block);
    int64_t got = block ? 1 : -1;
    if (!block)
        tt_fail_memory(err);
    while (got > 0 && count > 0) {
        got = tt_reader_read(reader, block, count < BLOCK_FRAMES ? count : BLOCK_FRAMES, err);
        for (int64_t i = 0; channel_count > 1 && i < got; i++)
            block[i] = block[channel_count * i];
        if (got > 0)
            tt_room_match_add(match, block, (size_t)got);
        count -= got;
    }
    free(block);
    return got >= 0;
}

/* Reads what lies from the first span to the end of the last one. */
static bool listen(const struct tt_voice_part *part, struct stretch_of_room where, struct tt_room_match *match,
                   struct tt_error *err)
{
    struct tt_audio_info info;
    struct tt_reader *reader = tt_reader_open(part->path, &info, err);
    const int64_t start = where.spans[0].start, end = where.spans[where.count - 1].end;
    tt_room_match_start_at(match, start);
    bool ok =
        reader && (info.channel_count <= CHANNELS_MOST ||
                   tt_fail(err, TT_ERROR_INPUT, "%s: not as it was rendered; run again with --again", part->path));
    ok = ok && tt_reader_skip(reader, start, err) && add_voice(reader, info.channel_count, end - start, match, err);
    tt_reader_close(reader);
    return ok;
}

/* The take's floor at `sample` becomes what is left of it in the voice. */
static bool room_at(const struct tt_voice_part *part, int64_t sample, struct stretch_of_room where,
                    struct tt_floor_track *room, struct tt_error *err)
{
    if (!tt_floor_track_at_rate(&part->heard->floor, sample, part->rate_hz, room, err))
        return false;
    float *colour = malloc((size_t)room->shape.bin_count * sizeof *colour);
    struct tt_room_match *match =
        colour ? tt_room_match_create(room, part->tone_gain, where.spans, where.count, err) : NULL;
    bool ok = match ? where.count == 0 || listen(part, where, match, err) : colour || tt_fail_memory(err);
    ok = ok && match;
    if (ok) {
        (void)tt_room_match_before(match, INT64_MAX, colour);
        for (int k = 0; k < room->shape.bin_count; k++)
            room->power[k] *= (float)(part->tone_gain * part->tone_gain) * colour[k] * colour[k];
    }
    tt_room_match_destroy(match);
    free(colour);
    return ok;
}

static bool hear_head(const struct tt_voice_part *part, const struct tt_quiet_spans *quiet, struct tt_floor_track *head,
                      struct tt_error *err)
{
    const int64_t sample = part->map->count == 0 ? 0 : part->map->stretches[0].source_start;
    return room_at(part, sample, first_of(quiet, tt_frames_from_ms(head_ms, part->rate_hz)), head, err);
}

static bool hear_tail(const struct tt_voice_part *part, const struct tt_quiet_spans *quiet, struct tt_floor_track *tail,
                      struct tt_error *err)
{
    const size_t count = part->map->count;
    const int64_t sample = count == 0 ? 0 : part->map->stretches[count - 1].source_end;
    return room_at(part, sample, last_of(quiet, tt_frames_from_ms(tail_ms, part->rate_hz)), tail, err);
}

/* first_of and last_of shorten spans, and may share one. */
static bool copy_spans(const struct tt_quiet_spans *quiet, struct tt_quiet_spans *copy, struct tt_error *err)
{
    *copy = (struct tt_quiet_spans){malloc((quiet->count + 1) * sizeof *copy->spans), quiet->count};
    if (!copy->spans)
        return tt_fail_memory(err);
    memcpy(copy->spans, quiet->spans, quiet->count * sizeof *copy->spans);
    return true;
}

bool tt_voice_room_hear(const struct tt_voice_part *part, struct tt_voice_room *room, struct tt_error *err)
{
    struct tt_quiet_spans quiet = {0}, copy = {0};
    *room = (struct tt_voice_room){0};
    bool ok = tt_quiet_spans_find(part->heard, part->map, part->rate_hz, true, &quiet, err) &&
              copy_spans(&quiet, &copy, err) && hear_head(part, &quiet, &room->head, err) &&
              hear_tail(part, &copy, &room->tail, err);
    free(quiet.spans);
    free(copy.spans);
    if (!ok)
        tt_voice_room_free(room);
    return ok;
}

void tt_voice_room_free(struct tt_voice_room *room)
{
    tt_floor_track_free(&room->head);
    tt_floor_track_free(&room->tail);
}
