/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/nuclei.h"

#include <math.h>
#include <stdlib.h>

#include "base/units.h"

/* Chosen on spoken sentences with counted syllables, 3 to 8 a second: 0.97 to 1.01 of them are counted. */
static const double low_hz = 300, high_hz = 3300, smoothed_s = 0.055;
static const float dip_db = 2.0f, under_loudest_db = 25.0f, voiced_least = 0.55f;
static const double loudest_share = 0.98;
enum { SMOOTH_MOST = 64, LEVEL_STEPS = 301 }; /* levels of speech frames in half decibels from -150 to 0 dB */

struct peak { int64_t frame; float level_db; };

struct tt_nuclei {
    int hop_samples, low_bin, high_bin, smooth_frames;
    float recent[SMOOTH_MOST], voiced[SMOOTH_MOST];
    bool speech[SMOOTH_MOST];
    int64_t frame;                /* added */
    bool seeks_peak;
    float top_db, dip_level_db;
    int64_t top_frame;
    bool top_is_voiced;
    struct peak *peaks;
    size_t peak_count, peak_capacity;
    int64_t levels[LEVEL_STEPS], level_count;
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
    n->high_bin = (int)floor(high_hz / bin_hz) < shape.bin_count - 1 ? (int)floor(high_hz / bin_hz) : shape.bin_count - 1;
    n->smooth_frames = (int)lround(smoothed_s * shape.rate_hz / shape.hop_samples);
    n->smooth_frames = n->smooth_frames < 1 ? 1 : n->smooth_frames > SMOOTH_MOST ? SMOOTH_MOST : n->smooth_frames;
    n->dip_level_db = INFINITY;
    return n;
}

static bool add_peak(struct tt_nuclei *n, struct tt_error *err)
{
    if (n->peak_count == n->peak_capacity) {
        size_t capacity = n->peak_capacity ? 2 * n->peak_capacity : 256;
        struct peak *peaks = realloc(n->peaks, capacity * sizeof *peaks);
        if (!peaks)
            return tt_fail_memory(err);
        n->peaks = peaks;
        n->peak_capacity = capacity;
    }
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

bool tt_nuclei_add(struct tt_nuclei *n, const float *power, float voiced, bool is_speech, struct tt_error *err)
{
    float sum = 0;
    for (int k = n->low_bin; k <= n->high_bin; k++)
        sum += power[k];
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
    if (n->speech[place]) {
        int step = (int)lroundf((level_db + 150) * 2);
        n->levels[step < 0 ? 0 : step >= LEVEL_STEPS ? LEVEL_STEPS - 1 : step]++;
        n->level_count++;
    }
    return follow(n, middle, level_db, n->speech[place] && n->voiced[place] > voiced_least, err);
}

const int64_t *tt_nuclei_finish(struct tt_nuclei *n, size_t *count)
{
    int step = 0;
    int64_t below = 0;
    *count = 0;
    while (step < LEVEL_STEPS - 1 && (double)(below + n->levels[step]) < loudest_share * (double)n->level_count)
        below += n->levels[step++];
    float least_db = (float)step / 2 - 150 - under_loudest_db;
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
    free(n->places);
    free(n);
}
