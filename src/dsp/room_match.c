/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/room_match.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "dsp/third_octaves.h"

/* Each part is four half-overlapped frames, some 53 ms: as long as the ear takes room tone together (common practice,
 * no source). What is kept of each part is its level by third-octave against the track's; of these the middle one
 * counts, so that creaks and clicks do not. */
/* Kept: what is asked about, the reach behind a place (240 parts), and as much as a block brings beyond that. */
enum { PART_FRAMES = 4, PARTS_KEPT = 512, PARTS_MOST = 48, PARTS_NEAR = 12 };
/* So many bands to either side tell with one whether the room has changed; so far a change is followed (in 28 gaps of a
 * recorded restless room this came nearest to what lay on both sides: bands off by 4.1 dB, 4.4 without, 4.8 with all of
 * it). */
enum { BANDS_BESIDE = 3 };
static const float near_share = 0.5f;
/* Degrees of freedom that half-overlapped frames of square-root Hann windows have: 2 a bin, less what neighbours share
 * (about a third, from memory). */
static const double freedom_per_bin = 2.0 * PART_FRAMES * 0.65;
static const double nothing = 1e-20;

struct match_part {
    int64_t end; /* sample behind it */
    float over_db[TT_THIRDS];
};

struct tt_room_match {
    const struct tt_floor_track *track;
    const struct tt_span_samples *spans;
    size_t span_count, at_span;
    double floor_power; /* gain squared */
    struct tt_stft *stft;
    int bands; /* below half the rate */
    float *window, *power;
    double *sum, *floor;                 /* by bin */
    int64_t position;                    /* of the next sample */
    size_t filled;                       /* samples in window: all of one span */
    int frames;                          /* in sum */
    struct match_part parts[PARTS_KEPT]; /* a ring: of part_count the last ones */
    size_t part_count;
};

struct tt_room_match *tt_room_match_create(const struct tt_floor_track *track, double gain,
                                           const struct tt_span_samples *spans, size_t span_count, struct tt_error *err)
{
    struct tt_room_match *match = calloc(1, sizeof *match);
    if (!match) {
        tt_fail_memory(err);
        return NULL;
    }
    const size_t bins = (size_t)track->shape.bin_count, window = (size_t)track->shape.window_samples;
    match->track = track;
    match->spans = spans;
    match->span_count = span_count;
    match->floor_power = gain * gain;
    while (match->bands < TT_THIRDS && tt_third_centre_hz(match->bands) * 1.13 < 0.5 * track->shape.rate_hz)
        match->bands++;
    match->stft = tt_stft_create(track->shape, err);
    match->window = malloc(window * sizeof(float));
    match->power = malloc(bins * sizeof(float));
    match->sum = calloc(bins, sizeof(double));
    match->floor = malloc(bins * sizeof(double));
    if (!match->stft || !match->window || !match->power || !match->sum || !match->floor) {
        tt_fail_memory(err);
        tt_room_match_destroy(match);
        return NULL;
    }
    return match;
}

void tt_room_match_destroy(struct tt_room_match *match)
{
    if (!match)
        return;
    tt_stft_destroy(match->stft);
    free(match->window);
    free(match->power);
    free(match->sum);
    free(match->floor);
    free(match);
}

void tt_room_match_start_at(struct tt_room_match *match, int64_t sample) { match->position = sample; }

static void drop_part(struct tt_room_match *match)
{
    match->frames = 0;
    memset(match->sum, 0, (size_t)match->track->shape.bin_count * sizeof *match->sum);
}

static void close_part(struct tt_room_match *match)
{
    struct match_part *part = &match->parts[match->part_count++ % PARTS_KEPT];
    const struct tt_stft_shape shape = match->track->shape;
    double heard[TT_THIRDS], floor[TT_THIRDS];
    part->end = match->position;
    tt_floor_at(match->track, match->position, match->power);
    for (int bin = 0; bin < shape.bin_count; bin++)
        match->floor[bin] = (double)match->power[bin];
    tt_third_octaves(shape, match->sum, heard);
    tt_third_octaves(shape, match->floor, floor);
    for (int b = 0; b < match->bands; b++)
        part->over_db[b] =
            (float)tt_db_from_power((heard[b] / PART_FRAMES + nothing) / (floor[b] * match->floor_power + nothing));
    drop_part(match);
}

/* A whole window lies in a span. */
static void add_frame(struct tt_room_match *match)
{
    const size_t window = (size_t)match->track->shape.window_samples, step = window / 2;
    tt_stft_powers(match->stft, match->window, match->power);
    for (int bin = 0; bin < match->track->shape.bin_count; bin++)
        match->sum[bin] += (double)match->power[bin];
    if (++match->frames == PART_FRAMES)
        close_part(match);
    memmove(match->window, match->window + step, (window - step) * sizeof(float));
    match->filled = window - step;
}

void tt_room_match_add(struct tt_room_match *match, const float *samples, size_t count)
{
    const size_t window = (size_t)match->track->shape.window_samples;
    while (count > 0) {
        while (match->at_span < match->span_count && match->spans[match->at_span].end <= match->position) {
            match->at_span++;
            match->filled = 0;
            drop_part(match);
        }
        if (match->at_span == match->span_count)
            return;
        const struct tt_span_samples *span = &match->spans[match->at_span];
        bool is_inside = span->start <= match->position;
        int64_t left = (is_inside ? span->end : span->start) - match->position;
        size_t part = (uint64_t)left < count ? (size_t)left : count;
        if (is_inside && window - match->filled < part)
            part = window - match->filled;
        if (is_inside) {
            memcpy(match->window + match->filled, samples, part * sizeof(float));
            match->filled += part;
        }
        match->position += (int64_t)part;
        samples += part;
        count -= part;
        if (match->filled == window)
            add_frame(match);
    }
}

static int compare_floats(const void *a, const void *b)
{
    const float left = *(const float *)a, right = *(const float *)b;
    return (left > right) - (left < right);
}

static double bin_of(const struct tt_room_match *match, double hz)
{
    return hz * match->track->shape.window_samples / match->track->shape.rate_hz;
}

/* The median of band powers lies under their mean, by the Wilson-Hilferty approximation of chi-squared. */
static double mean_over_median_db(const struct tt_room_match *match, int band)
{
    double width_hz = tt_third_centre_hz(band) * 0.2316; /* 2^(1/6) - 2^(-1/6) */
    double freedom = freedom_per_bin * fmax(bin_of(match, width_hz), 1.0), root = 1.0 - 2.0 / (9.0 * freedom);
    return -tt_db_from_power(root * root * root);
}

/* From the middle of one band to that of the next in a straight line, in dB over bins. */
static void spread(const struct tt_room_match *match, const float *band_db, float *bin_gain)
{
    int band = 0;
    for (int bin = 0; bin < match->track->shape.bin_count; bin++) {
        while (band + 2 < match->bands && bin > bin_of(match, tt_third_centre_hz(band + 1)))
            band++;
        double from = bin_of(match, tt_third_centre_hz(band)), to = bin_of(match, tt_third_centre_hz(band + 1));
        double share = fmin(fmax((bin - from) / (to - from), 0.0), 1.0);
        bin_gain[bin] =
            (float)tt_amplitude_from_db((1.0 - share) * (double)band_db[band] + share * (double)band_db[band + 1]);
    }
}

static float median_over_db(const struct match_part *const *parts, size_t count, int band)
{
    float sorted[PARTS_MOST];
    for (size_t i = 0; i < count; i++)
        sorted[i] = parts[i]->over_db[band];
    qsort(sorted, count, sizeof *sorted, compare_floats);
    return 0.5f * (sorted[(count - 1) / 2] + sorted[count / 2]);
}

/* A restless room is not now what it was a while ago. The few parts that lie near say little about one band, so that
 * what they differ by is taken from several together. */
static void lean_to_near(const struct match_part *const *parts, int bands, float *band_db)
{
    float change_db[TT_THIRDS];
    for (int b = 0; b < bands; b++)
        change_db[b] = median_over_db(parts, PARTS_NEAR, b) - band_db[b];
    for (int b = 0; b < bands; b++) {
        float sum = 0.0f;
        int count = 0;
        for (int k = b - BANDS_BESIDE; k <= b + BANDS_BESIDE; k++)
            if (k >= 0 && k < bands) {
                sum += change_db[k];
                count++;
            }
        band_db[b] += near_share * sum / (float)count;
    }
}

/* The colour of parts of which the nearest come first. */
static bool colour_of(const struct tt_room_match *match, const struct match_part *const *used, size_t count,
                      float *bin_gain)
{
    float band_db[TT_THIRDS];
    for (int bin = 0; bin < match->track->shape.bin_count; bin++)
        bin_gain[bin] = 1.0f;
    if (count < PARTS_NEAR)
        return false;
    for (int b = 0; b < match->bands; b++)
        band_db[b] = median_over_db(used, count, b);
    lean_to_near(used, match->bands, band_db);
    for (int b = 0; b < match->bands; b++)
        band_db[b] += (float)mean_over_median_db(match, b);
    spread(match, band_db, bin_gain);
    return true;
}

static const struct match_part *part_at(const struct tt_room_match *match, size_t number)
{
    return &match->parts[number % PARTS_KEPT];
}

static size_t first_kept(const struct tt_room_match *match)
{
    return match->part_count > PARTS_KEPT ? match->part_count - PARTS_KEPT : 0;
}

bool tt_room_match_before(const struct tt_room_match *match, int64_t sample, float *bin_gain)
{
    const struct match_part *used[PARTS_MOST];
    size_t count = 0;
    for (size_t i = match->part_count; i-- > first_kept(match) && count < PARTS_MOST;)
        if (part_at(match, i)->end <= sample)
            used[count++] = part_at(match, i);
    return colour_of(match, used, count, bin_gain);
}

bool tt_room_match_behind(const struct tt_room_match *match, int64_t sample, int64_t until, float *bin_gain)
{
    const struct match_part *used[PARTS_MOST];
    size_t count = 0;
    for (size_t i = first_kept(match); i < match->part_count && count < PARTS_MOST; i++)
        if (part_at(match, i)->end > sample && part_at(match, i)->end <= until)
            used[count++] = part_at(match, i);
    return colour_of(match, used, count, bin_gain);
}

size_t tt_room_match_bins(const struct tt_room_match *match) { return (size_t)match->track->shape.bin_count; }
int tt_room_match_rate_hz(const struct tt_room_match *match) { return match->track->shape.rate_hz; }
