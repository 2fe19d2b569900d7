/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Breaths, and the other sounds between the lines: turned down, never muted. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "stages/coughs.h"
#include "stages/stage.h"

/* ---- deciding ---- */

/* Above this a sound is softened; goals and measurements of the detector. */
static const double breath_confidence = 0.7, click_confidence = 0.7;
/* Loud enough to be noticed: softened when it is surely no word, else asked about. */
static const double noise_confidence = 0.9;
static const double noise_heard_db = 12; /* over the room */
static const double cough_confidence = 0.6;
/* A whisper falls into pieces; the small ones go by what the large ones are. */
static const double pieces_apart_ms = 500;

struct deciding {
    struct tt_take_view *take;
    double soften_db;
    bool is_off;
    struct tt_span *cut;
    size_t cut_count;
};

static bool lies_in(const struct tt_span *spans, size_t count, int64_t start_ms, int64_t end_ms)
{
    for (size_t i = 0; i < count; i++)
        if (spans[i].start_ms <= start_ms && end_ms <= spans[i].end_ms)
            return true;
    return false;
}

/* The amount stays: it is wanted where a person changes the action to soften. */
static void ask(const char *question, struct tt_row *row)
{
    row->action = TT_DO_ASK;
    row->note = (char *)question;
}

/* Fills the kind, action and amount of a row for a sound; false when it is none. Where nothing is to be softened it has
 * a row all the same: pauses go around it. */
static bool row_for(const struct tt_sound *sound, const struct deciding *deciding, struct tt_row *row)
{
    row->confidence = sound->confidence;
    row->amount = deciding->soften_db;
    row->action = deciding->is_off ? TT_DO_KEEP : TT_DO_SOFTEN;
    switch (sound->kind) {
    case TT_SOUND_BREATH:
        row->kind = TT_ROW_BREATH;
        return sound->confidence >= breath_confidence;
    case TT_SOUND_CLICK:
        row->kind = TT_ROW_CLICK;
        return sound->confidence >= click_confidence;
    case TT_SOUND_NOISE:
        row->kind = TT_ROW_NOISE;
        if (sound->over_floor_db < noise_heard_db)
            return false;
        if (sound->confidence < noise_confidence)
            ask("a sound between the lines: keep, soften or cut?", row);
        return true;
    }
    return false;
}

static struct tt_row row_at(const struct deciding *deciding, int64_t start_sample, int64_t end_sample)
{
    const int rate_hz = deciding->take->heard->facts.rate_hz;
    return (struct tt_row){.start_ms = llround(tt_ms_from_frames(start_sample, rate_hz)),
                           .end_ms = llround(tt_ms_from_frames(end_sample, rate_hz)),
                           .note = ""};
}

static bool propose(struct deciding *deciding, struct tt_row *row, struct tt_error *err)
{
    row->proposed = row->action;
    return row->end_ms <= row->start_ms || lies_in(deciding->cut, deciding->cut_count, row->start_ms, row->end_ms) ||
           tt_sheet_propose(deciding->take->sheet, row, err);
}

static bool are_near(const struct tt_heard *heard, const struct tt_sound *sound, int64_t start_sample,
                     int64_t end_sample)
{
    const int64_t near = tt_frames_from_ms(pieces_apart_ms, heard->facts.rate_hz);
    return start_sample < sound->end_sample + near && end_sample > sound->start_sample - near;
}

/* Beside what may be a word in a whisper. */
static bool may_be_whispered(const struct tt_heard *heard, const struct tt_sound *sound)
{
    for (size_t i = 0; i < heard->sound_count; i++) {
        const struct tt_sound *other = &heard->sounds[i];
        if (other->kind == TT_SOUND_NOISE && other->confidence < noise_confidence &&
            are_near(heard, sound, other->start_sample, other->end_sample))
            return true;
    }
    for (size_t i = 0; i < heard->run_count; i++)
        if (tt_cough_is_hardly_voiced(&heard->runs[i]) &&
            are_near(heard, sound, heard->runs[i].start_sample, heard->runs[i].end_sample))
            return true;
    return false;
}

static bool decide_sounds(struct deciding *deciding, struct tt_error *err)
{
    const struct tt_heard *heard = deciding->take->heard;
    for (size_t i = 0; i < heard->sound_count; i++) {
        const bool is_odd = heard->sounds[i].kind != TT_SOUND_BREATH && heard->sounds[i].confidence >= noise_confidence;
        if (is_odd && may_be_whispered(heard, &heard->sounds[i]))
            continue;
        struct tt_row row = row_at(deciding, heard->sounds[i].start_sample, heard->sounds[i].end_sample);
        if (row_for(&heard->sounds[i], deciding, &row) && !propose(deciding, &row, err))
            return false;
    }
    return true;
}

static bool decide_coughs(struct deciding *deciding, struct tt_error *err)
{
    const struct tt_heard *heard = deciding->take->heard;
    for (size_t i = 0; i < heard->run_count; i++) {
        struct tt_row row = row_at(deciding, heard->runs[i].start_sample, heard->runs[i].end_sample);
        row.kind = TT_ROW_NOISE;
        row.amount = deciding->soften_db;
        row.confidence = cough_confidence;
        ask("a cough, or a word in a whisper: keep, soften or cut?", &row);
        if (tt_cough_may_be(heard, i) && !propose(deciding, &row, err))
            return false;
    }
    return true;
}

static bool decide_take(struct deciding *deciding, struct tt_error *err)
{
    bool ok = tt_sheet_cut_spans(deciding->take->sheet, &deciding->cut, &deciding->cut_count, err) &&
              decide_sounds(deciding, err) && decide_coughs(deciding, err);
    free(deciding->cut);
    return ok;
}

static bool breaths_decide(const struct tt_session_view *view, struct tt_error *err)
{
    struct tt_settings usual;
    tt_settings_default(&usual);
    const double set_db = view->settings->breaths.soften_db;
    for (size_t i = 0; i < view->count; i++) {
        struct deciding deciding = {
            .take = &view->takes[i], .soften_db = set_db > 0 ? set_db : usual.breaths.soften_db, .is_off = set_db <= 0};
        if (!decide_take(&deciding, err))
            return false;
    }
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
        share = 0.5 - 0.5 * cos(TT_PI * ((double)from_edge + 0.5) / (double)part->ramp);
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
                                 .amount_db =
                                     isnan(row->amount) ? rendering->settings->breaths.soften_db : row->amount};
        int64_t ramp = tt_frames_from_ms(ramp_ms, rate_hz),
                most = (int64_t)((double)(part.end - part.start) * ramp_most_share);
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
