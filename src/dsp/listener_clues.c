/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <math.h>
#include <string.h>

#include "dsp/breath_model.h"
#include "dsp/listener_parts.h"

static const double farthest_ms = 1000.0;
static const float least_share =
    0.02f; /* what is left of a power when the room is taken off: at least this much of it */

static float without_room(float level_db, float room_db)
{
    float level = tt_power_of_level(level_db), left = level - tt_power_of_level(room_db);
    return left > least_share * level ? left : least_share * level;
}

/* Band levels of a stretch with the room taken off, against their mean. */
static void colour(const struct tt_listener *l, int64_t start, int64_t end, float band_db[TT_BANDS])
{
    float sum[TT_BANDS] = {0}, mean = 0.0f;
    for (int64_t i = start; i < end; i++) {
        const struct tt_heard_frame *frame = tt_heard_at(l, i);
        const struct tt_room_level *room = tt_room_at(l, i);
        for (int b = 0; b < l->plan.band_count; b++)
            sum[b] += without_room(frame->band_db[b], room->band_db[b]);
    }
    memset(band_db, 0, TT_BANDS * sizeof *band_db);
    for (int b = 0; b < l->plan.band_count; b++) {
        band_db[b] = tt_level_db_of(sum[b] / (float)(end - start));
        mean += band_db[b] / (float)l->plan.band_count;
    }
    for (int b = 0; b < l->plan.band_count; b++)
        band_db[b] -= mean;
}

static float ninth_tenth_voiced(const struct tt_listener *l, const struct tt_piece *piece)
{
    int counts[21] = {0};
    int64_t left = (piece->end - piece->start) / 10;
    for (int64_t i = piece->start; i < piece->end; i++)
        counts[(int)(20.0f * tt_heard_at(l, i)->voiced)]++;
    for (int k = 20; k > 0; k--) {
        left -= counts[k];
        if (left < 0)
            return (float)k / 20.0f;
    }
    return 0.0f;
}

static float distance_ms(const struct tt_listener *l, int64_t frames)
{
    double ms = 1000.0 * (double)frames / l->frames_per_s;
    return (float)(ms < farthest_ms ? ms : farthest_ms);
}

static void shape(const struct tt_listener *l, const struct tt_piece *piece, struct tt_breath_clues *clues)
{
    int64_t length = piece->end - piece->start, peak = piece->start;
    double sum = 0.0, moment = 0.0, db = 0.0, db2 = 0.0, voiced = 0.0;
    for (int64_t i = piece->start; i < piece->end; i++) {
        const struct tt_heard_frame *frame = tt_heard_at(l, i);
        float left = without_room(frame->all_db, tt_room_at(l, i)->all_db);
        float left_db = tt_level_db_of(left);
        sum += left;
        moment += (double)left * (double)(i - piece->start);
        db += left_db;
        db2 += (double)left_db * left_db;
        voiced += frame->voiced;
        if (frame->all_db > tt_heard_at(l, peak)->all_db)
            peak = i;
    }
    double mean_db = db / (double)length, variance = db2 / (double)length - mean_db * mean_db;
    clues->level_over_speech_db =
        tt_level_db_of((float)(sum / (double)length)) - tt_room_at(l, piece->start)->speech_db;
    clues->voiced_mean = (float)(voiced / (double)length);
    clues->spread_db = (float)sqrt(variance > 0.0 ? variance : 0.0);
    clues->peak_place = (float)(peak - piece->start) / (float)length;
    clues->centre_place = (float)(moment / (sum * (double)length));
}

struct tt_breath_clues tt_listener_clues(const struct tt_listener *l, const struct tt_piece *piece,
                                         const struct tt_gap *gap)
{
    struct tt_breath_clues clues = {0};
    int64_t length = piece->end - piece->start, middle = piece->start + length / 2;
    clues.duration_ms = (float)(1000.0 * (double)length / l->frames_per_s);
    clues.over_peak_db = piece->peak_db;
    clues.voiced_high = ninth_tenth_voiced(l, piece);
    shape(l, piece, &clues);
    colour(l, piece->start, piece->end, clues.band_db);
    if (length >= 4) {
        float first[TT_BANDS], second[TT_BANDS], sum = 0.0f;
        colour(l, piece->start, middle, first);
        colour(l, middle, piece->end, second);
        for (int b = 0; b < l->plan.band_count; b++)
            sum += (second[b] - first[b]) * (second[b] - first[b]);
        clues.turn_db = sqrtf(sum / (float)l->plan.band_count);
    }
    clues.since_word_ms = gap->word_before ? distance_ms(l, piece->start - gap->start) : (float)farthest_ms;
    clues.until_word_ms = gap->word_after ? distance_ms(l, gap->end - piece->end) : (float)farthest_ms;
    clues.dip_before_db = piece->dip_before_db;
    clues.dip_after_db = piece->dip_after_db;
    return clues;
}

/* Where a room rustles, much is somewhat like a breath: what hardly stands out of that is less likely one. By so much a
 * decibel, in the logarithm of the odds (set on 628 breaths and 117 rustles of a recorded room: 95 % of the rows there
 * are breaths, 84 % without). */
static const float restless_from_db = 3.0f, restless_to_db = 8.0f, clear_of_rest_db = 10.0f, odds_per_db = 0.3f;

float tt_listener_among_rustle(float breath, float peak_db, float rest_db)
{
    float restless = fminf(fmaxf((rest_db - restless_from_db) / (restless_to_db - restless_from_db), 0.0f), 1.0f);
    float short_db = fmaxf(clear_of_rest_db - (peak_db - rest_db), 0.0f);
    float against = expf(odds_per_db * restless * short_db);
    return breath / (breath + (1.0f - breath) * against);
}

float tt_listener_low_power(const struct tt_listener *l, const float *band_db)
{
    double first = l->plan.width_hz[0], second = l->plan.width_hz[1];
    float share = (float)(first / (first + second));
    return l->low_share * (share * tt_power_of_level(band_db[0]) + (1.0f - share) * tt_power_of_level(band_db[1]));
}

/* Nobody speaks for half a second without a syllable: where neither the level nor what stands over the room rises or
 * falls by so much near by, it is the room, as traffic that swells, or a recorder that turns itself up. Of unvoiced
 * frames in lines some 1 % lie there, of the pauses of swells 99 %, of a recorder's 95 % (made rooms, eleven takes of
 * seven voices; of whispers in four languages none). */
static const float syllable_db = 8.0f, syllable_over_db = 10.0f; /* the best bands sway more than all of them */

struct span {
    float least, most;
};
static void widen(struct span *span, float value)
{
    span->least = fminf(span->least, value);
    span->most = fmaxf(span->most, value);
}
static float width(const struct span *span) { return span->most - span->least; }

bool tt_listener_moves_near(const struct tt_listener *l, int64_t frame)
{
    const int64_t near = tt_listener_frames(l, TT_SYLLABLE_MS);
    const int64_t end = frame + near < l->smoothed ? frame + near : l->smoothed;
    const struct tt_heard_frame *here = tt_heard_at(l, frame);
    struct span all = {here->all_db, here->all_db}, over = {here->over_db, here->over_db};
    for (int64_t i = frame > near ? frame - near : 0; i < end; i++) {
        widen(&all, tt_heard_at(l, i)->all_db);
        if (i <= l->rated) /* the frame under way is rated, though not counted yet */
            widen(&over, tt_heard_at(l, i)->over_db);
        if (width(&all) >= syllable_db || width(&over) >= syllable_over_db)
            return true;
    }
    return false;
}
