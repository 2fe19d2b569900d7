/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/nuclei.h"

#include <math.h>
#include <stdlib.h>

#include "base/grow.h"
#include "base/units.h"
#include "dsp/band_levels.h"

/* Chosen on spoken sentences with counted syllables, 3 to 8 a second: 0.97 to 1.01 of them are counted. */
static const double low_hz = 300, high_hz = 3300, smoothed_s = 0.055;
static const float dip_db = 2.0f, under_loudest_db = 25.0f, voiced_least = 0.55f;
static const double loudest_share = 0.98;
/* The decay: from within 20 dB of the loudest to 8 dB over the quietest, in a tenth of a second; nine of ten such steps
 * fall slower. By our own measurements. */
static const double decay_step_s = 0.1, decay_top_db = 20, decay_over_floor_db = 8, decay_share = 0.90,
                    quietest_share = 0.05;
enum { DECAY_FRAMES_MOST = 64, DECAY_STEPS_LEAST = 100 };
enum { SMOOTH_MOST = 64, LEVEL_STEPS = 301 }; /* levels of speech frames in half decibels from -150 to 0 dB */

struct peak {
    int64_t frame;
    float level_db;
};

struct tt_nuclei {
    int hop_samples, low_bin, high_bin, smooth_frames;
    float recent[SMOOTH_MOST], voiced[SMOOTH_MOST];
    bool speech[SMOOTH_MOST];
    int64_t frame; /* added */
    bool seeks_peak;
    float top_db, dip_level_db;
    int64_t top_frame;
    bool top_is_voiced;
    struct peak *peaks;
    size_t peak_count, peak_capacity;
    int64_t levels[LEVEL_STEPS];
    int decay_frames;
    uint16_t raw[DECAY_FRAMES_MOST]; /* levels of the last frames as they are, in steps */
    int64_t raw_levels[LEVEL_STEPS];
    uint32_t (*falls)[LEVEL_STEPS]; /* how often a level was followed by another a tenth of a second later */
    int64_t *places;
};

struct tt_nuclei *tt_nuclei_create(struct tt_stft_shape shape, struct tt_error *err)
{
    struct tt_nuclei *n = calloc(1, sizeof *n);
    if (!n) {
        tt_fail_memory(err);
        return NULL;
    }
    const double bin_hz = (double)shape.rate_hz / shape.window_samples;
    n->hop_samples = shape.hop_samples;
    n->low_bin = (int)ceil(low_hz / bin_hz);
    n->high_bin =
        (int)floor(high_hz / bin_hz) < shape.bin_count - 1 ? (int)floor(high_hz / bin_hz) : shape.bin_count - 1;
    n->smooth_frames = (int)lround(smoothed_s * shape.rate_hz / shape.hop_samples);
    n->smooth_frames = n->smooth_frames < 1 ? 1 : n->smooth_frames > SMOOTH_MOST ? SMOOTH_MOST : n->smooth_frames;
    n->dip_level_db = INFINITY;
    n->decay_frames = (int)lround(decay_step_s * shape.rate_hz / shape.hop_samples);
    n->decay_frames = n->decay_frames > DECAY_FRAMES_MOST - 1 ? DECAY_FRAMES_MOST - 1 : n->decay_frames;
    n->falls = calloc(LEVEL_STEPS, sizeof *n->falls);
    if (!n->falls) {
        free(n);
        tt_fail_memory(err);
        return NULL;
    }
    return n;
}

static bool add_peak(struct tt_nuclei *n, struct tt_error *err)
{
    struct peak *peaks = tt_grow(n->peaks, n->peak_count, &n->peak_capacity, sizeof *peaks, err);
    if (!peaks)
        return false;
    n->peaks = peaks;
    n->peaks[n->peak_count++] = (struct peak){n->top_frame, n->top_db};
    return true;
}

/* Peaks and dips in turn, each known once the level has moved away from it by dip_db. */
static bool follow(struct tt_nuclei *n, int64_t frame, float level_db, bool is_voiced, struct tt_error *err)
{
    if (!n->seeks_peak) {
        n->dip_level_db = level_db < n->dip_level_db ? level_db : n->dip_level_db;
        if (!(level_db >= n->dip_level_db + dip_db))
            return true;
        n->seeks_peak = true;
        n->top_db = -INFINITY;
        n->top_is_voiced = false;
    }
    n->top_is_voiced = n->top_is_voiced || (is_voiced && level_db > n->top_db - dip_db);
    if (level_db > n->top_db) {
        n->top_db = level_db;
        n->top_frame = frame;
        n->top_is_voiced = is_voiced;
    }
    if (level_db > n->top_db - dip_db)
        return true;
    n->seeks_peak = false;
    n->dip_level_db = level_db;
    return !n->top_is_voiced || add_peak(n, err);
}

static int step_of(double level_db)
{
    int step = (int)lround((level_db + 150) * 2);
    return step < 0 ? 0 : step >= LEVEL_STEPS ? LEVEL_STEPS - 1 : step;
}

static void follow_decay(struct tt_nuclei *n, float power)
{
    int step = step_of(tt_db_from_power(power + 1e-15));
    n->raw[n->frame % DECAY_FRAMES_MOST] = (uint16_t)step;
    n->raw_levels[step]++;
    if (n->frame >= n->decay_frames)
        n->falls[n->raw[(n->frame - n->decay_frames) % DECAY_FRAMES_MOST]][step]++;
}

static int step_at_share(const int64_t *levels, double share)
{
    int64_t all = 0, below = 0;
    int step = 0;
    for (int i = 0; i < LEVEL_STEPS; i++)
        all += levels[i];
    while (step < LEVEL_STEPS - 1 && (double)(below + levels[step]) < share * (double)all)
        below += levels[step++];
    return step;
}

double tt_nuclei_decay_db_per_s(const struct tt_nuclei *n)
{
    int64_t drops[LEVEL_STEPS] = {0}, rises = 0, count = 0;
    int top = step_at_share(n->raw_levels, loudest_share), floor_step = step_at_share(n->raw_levels, quietest_share);
    for (int a = top - (int)(2 * decay_top_db); a < LEVEL_STEPS; a++)
        for (int b = floor_step + (int)(2 * decay_over_floor_db); a >= 0 && b < LEVEL_STEPS; b++) {
            count += n->falls[a][b];
            if (b <= a)
                drops[a - b] += n->falls[a][b];
            else
                rises += n->falls[a][b];
        }
    if (count < DECAY_STEPS_LEAST)
        return NAN;
    int64_t below = rises;
    int drop = 0;
    while (drop < LEVEL_STEPS - 1 && (double)(below + drops[drop]) < decay_share * (double)count)
        below += drops[drop++];
    return 0.5 * drop / decay_step_s;
}

bool tt_nuclei_add(struct tt_nuclei *n, const float *power, float voiced, bool is_speech, struct tt_error *err)
{
    float sum = tt_sum_of(power + n->low_bin, n->high_bin + 1 - n->low_bin);
    follow_decay(n, sum);
    int at = (int)(n->frame % n->smooth_frames);
    n->recent[at] = sum;
    n->voiced[at] = voiced;
    n->speech[at] = is_speech;
    n->frame++;
    if (n->frame < n->smooth_frames)
        return true;
    float mean = 0;
    for (int i = 0; i < n->smooth_frames; i++)
        mean += n->recent[i];
    int64_t middle = n->frame - 1 - n->smooth_frames / 2;
    int place = (int)(middle % n->smooth_frames);
    float level_db = (float)tt_db_from_power(mean / (float)n->smooth_frames + 1e-15);
    if (n->speech[place])
        n->levels[step_of(level_db)]++;
    return follow(n, middle, level_db, n->speech[place] && n->voiced[place] > voiced_least, err);
}

const int64_t *tt_nuclei_finish(struct tt_nuclei *n, size_t *count)
{
    *count = 0;
    float least_db = (float)step_at_share(n->levels, loudest_share) / 2 - 150 - under_loudest_db;
    n->places = malloc((n->peak_count + 1) * sizeof *n->places);
    for (size_t i = 0; n->places && i < n->peak_count; i++)
        if (n->peaks[i].level_db > least_db)
            n->places[(*count)++] = n->peaks[i].frame * n->hop_samples;
    return n->places;
}

void tt_nuclei_destroy(struct tt_nuclei *n)
{
    if (!n)
        return;
    free(n->peaks);
    free(n->falls);
    free(n->places);
    free(n);
}
