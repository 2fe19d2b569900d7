/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Breaths, and the other sounds between the lines: turned down, never muted. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "stages/stage.h"

/* ---- deciding ---- */

/* Above this a sound is softened; goals and measurements of the detector. */
static const double breath_confidence = 0.7, click_confidence = 0.7;
/* Surely no word: softened. Less sure: asked about when it is loud enough to be noticed, else left alone. */
static const double noise_confidence = 0.9, noise_asked_confidence = 0.5;
static const double noise_heard_db = 12; /* over the room */

static bool lies_in(const struct tt_span *spans, size_t count, int64_t start_ms, int64_t end_ms)
{
    for (size_t i = 0; i < count; i++)
        if (spans[i].start_ms <= start_ms && end_ms <= spans[i].end_ms)
            return true;
    return false;
}

/* Fills the kind, action and amount of a row for a sound; false when nothing is to be done about it. */
static bool row_for(const struct tt_sound *sound, double soften_db, struct tt_row *row)
{
    row->confidence = sound->confidence;
    row->amount = soften_db;
    row->action = TT_DO_SOFTEN;
    switch (sound->kind) {
    case TT_SOUND_BREATH:
        row->kind = TT_ROW_BREATH;
        return sound->confidence >= breath_confidence;
    case TT_SOUND_CLICK:
        row->kind = TT_ROW_CLICK;
        return sound->confidence >= click_confidence;
    case TT_SOUND_NOISE:
        row->kind = TT_ROW_NOISE;
        if (sound->confidence >= noise_confidence)
            return true;
        row->action = TT_DO_ASK;
        row->amount = NAN;
        row->note = "a sound between the lines: keep, soften or cut?";
        return sound->confidence >= noise_asked_confidence && sound->over_floor_db >= noise_heard_db;
    }
    return false;
}

static bool decide_take(struct tt_take_view *take, double soften_db, struct tt_error *err)
{
    const struct tt_heard *heard = take->heard;
    struct tt_span *cut = NULL;
    size_t cut_count = 0;
    bool ok = tt_sheet_cut_spans(take->sheet, &cut, &cut_count, err);
    for (size_t i = 0; ok && i < heard->sound_count; i++) {
        const struct tt_sound *sound = &heard->sounds[i];
        struct tt_row row = {.start_ms = llround(tt_ms_from_frames(sound->start_sample, heard->facts.rate_hz)),
                             .end_ms = llround(tt_ms_from_frames(sound->end_sample, heard->facts.rate_hz)),
                             .note = ""};
        if (!row_for(sound, soften_db, &row) || row.end_ms <= row.start_ms || lies_in(cut, cut_count, row.start_ms, row.end_ms))
            continue;
        row.proposed = row.action;
        ok = tt_sheet_propose(take->sheet, &row, err);
    }
    free(cut);
    return ok;
}

static bool breaths_decide(const struct tt_session_view *view, struct tt_error *err)
{
    if (view->settings->breaths.soften_db <= 0)
        return true;
    for (size_t i = 0; i < view->count; i++)
        if (!decide_take(&view->takes[i], view->settings->breaths.soften_db, err))
            return false;
    return true;
}

/* ---- rendering ---- */

/* One softened part of the take. */
struct soft_part {
    int64_t start, end; /* samples */
    int64_t ramp;       /* samples of each ramp, inside the part */
    double amount_db;
};

struct breaths_rendering {
    struct soft_part *parts;
    size_t count, at;
    int64_t position; /* of the next sample */
};

/* Ramps lie inside the part, so that neither what is before nor the next word's onset is touched. */
static const double ramp_ms = 15, ramp_most_share = 0.25;

static float gain_at(const struct soft_part *part, int64_t sample)
{
    int64_t from_edge = sample - part->start < part->end - 1 - sample ? sample - part->start : part->end - 1 - sample;
    double share = 1;
    if (from_edge < part->ramp)
        share = 0.5 - 0.5 * cos(3.14159265358979323846 * ((double)from_edge + 0.5) / (double)part->ramp);
    return (float)tt_amplitude_from_db(-part->amount_db * share);
}

static size_t breaths_run(void *opaque, const float *samples, size_t count, float *output)
{
    struct breaths_rendering *state = opaque;
    if (output != samples)
        memcpy(output, samples, count * sizeof *output);
    const int64_t begin = state->position, end = begin + (int64_t)count;
    while (state->at < state->count && state->parts[state->at].end <= begin)
        state->at++;
    for (size_t i = state->at; i < state->count && state->parts[i].start < end; i++) {
        const struct soft_part *part = &state->parts[i];
        int64_t first = part->start > begin ? part->start : begin, last = part->end < end ? part->end : end;
        const float full = (float)tt_amplitude_from_db(-part->amount_db);
        for (int64_t s = first; s < last; s++) {
            bool is_ramp = s - part->start < part->ramp || part->end - 1 - s < part->ramp;
            output[s - begin] *= is_ramp ? gain_at(part, s) : full;
        }
    }
    state->position = end;
    return count;
}

static void breaths_destroy(void *opaque)
{
    struct breaths_rendering *state = opaque;
    free(state->parts);
    free(state);
}

static bool breaths_render_open(const struct tt_rendering *rendering, struct tt_link *link, struct tt_error *err)
{
    const struct tt_sheet *sheet = rendering->sheet;
    const int rate_hz = rendering->heard->facts.rate_hz;
    struct breaths_rendering *state = calloc(1, sizeof *state);
    if (!state)
        return tt_fail_memory(err);
    state->position = rendering->start_sample;
    state->parts = calloc(sheet->count + 1, sizeof *state->parts);
    if (!state->parts) {
        free(state);
        return tt_fail_memory(err);
    }
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        if (row->action != TT_DO_SOFTEN)
            continue;
        struct soft_part part = {.start = tt_frames_from_ms((double)row->start_ms, rate_hz),
                                 .end = tt_frames_from_ms((double)row->end_ms, rate_hz),
                                 .amount_db = isnan(row->amount) ? rendering->settings->breaths.soften_db : row->amount};
        int64_t ramp = tt_frames_from_ms(ramp_ms, rate_hz), most = (int64_t)((double)(part.end - part.start) * ramp_most_share);
        part.ramp = ramp < most ? ramp : most > 0 ? most : 1;
        if (part.end > part.start)
            state->parts[state->count++] = part;
    }
    if (state->count == 0) {
        breaths_destroy(state);
        return true;
    }
    *link = (struct tt_link){.state = state, .run = breaths_run, .destroy = breaths_destroy};
    return true;
}

const struct tt_stage tt_stage_breaths = {
    .name = "breaths",
    .summary = "turns down breaths and other sounds between the lines",
    .decide = breaths_decide,
    .render_open = breaths_render_open,
};
