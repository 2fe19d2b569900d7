/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The forecast knows peak and power of every 10 ms. Where a peak passes the ceiling, its 10 ms and what lies behind, as
 * the limiter's release has it, are taken as turned down by as much. */
#include "pipeline/gain_finder.h"

#include <math.h>
#include <stdlib.h>

#include "base/grow.h"
#include "base/lanes.h"
#include "base/units.h"
#include "base/wide.h"
#include "dsp/interpolator.h"
#include "dsp/loudness.h"
#include "stages/loudness.h"

enum {
    UNITS_A_SECOND = 100,
    UNITS_IN_STEP = 10, /* the meter's steps of 100 ms */
    HOLD_UNITS = 2,     /* the limiter holds for 25 ms, and releases within 100 (dsp/gain_rider.c) */
    MOST_ROUNDS = 16
};
static const double release_share = 0.1;
static const double close_enough_db = 0.02; /* half of what a delivered file may be off */
static const double solved_db = 0.0005;
/* Peaks and powers are kept as 16 bits of their amplitude, 4.0 at most. */
static const float code_scale = 16383.75F;

struct unit {
    uint16_t peak, rms;
};

struct tt_gain_finder {
    const struct tt_settings *settings;
    int rate_hz;
    struct tt_meter *meter;
    bool has_levels;
    struct tt_levels levels;
    struct unit *units;
    size_t unit_count, room;
    size_t unit_samples, filled; /* of the unit that is being gathered */
    float peak;
    double power;
    float *steps;   /* scratch of the forecast */
    double bias_db; /* measured less forecast, as learnt */
    bool lacks_memory;
};

static void begin_unit(struct tt_gain_finder *finder)
{
    int64_t number = (int64_t)finder->unit_count;
    finder->unit_samples =
        (size_t)((number + 1) * finder->rate_hz / UNITS_A_SECOND - number * finder->rate_hz / UNITS_A_SECOND);
    finder->filled = 0;
    finder->peak = 0;
    finder->power = 0;
}

struct tt_gain_finder *tt_gain_finder_create(int rate_hz, const struct tt_settings *settings, struct tt_error *err)
{
    struct tt_gain_finder *finder = calloc(1, sizeof *finder);
    if (!finder) {
        tt_fail_memory(err);
        return NULL;
    }
    finder->settings = settings;
    finder->rate_hz = rate_hz;
    finder->meter = tt_meter_create(rate_hz, tt_channel_weight(settings), err);
    if (!finder->meter) {
        tt_gain_finder_destroy(finder);
        return NULL;
    }
    begin_unit(finder);
    return finder;
}

void tt_gain_finder_destroy(struct tt_gain_finder *finder)
{
    if (!finder)
        return;
    tt_meter_destroy(finder->meter);
    free(finder->units);
    free(finder->steps);
    free(finder);
}

static uint16_t code_of(float amplitude)
{
    float scaled = amplitude * code_scale + 0.5F;
    return scaled < 65535.0F ? (uint16_t)scaled : 65535;
}

static bool end_unit(struct tt_gain_finder *finder, struct tt_error *err)
{
    struct unit *units = tt_grow(finder->units, finder->unit_count, &finder->room, sizeof *units, err);
    if (!units)
        return false;
    finder->units = units;
    finder->units[finder->unit_count++] =
        (struct unit){code_of(finder->peak), code_of((float)sqrt(finder->power / (double)finder->unit_samples))};
    begin_unit(finder);
    return true;
}

TT_WIDE static float power_of(const float *samples, size_t count)
{
    tt_lanes lanes = {0};
    float sum = 0;
    size_t i = 0;
    for (; i + TT_LANES <= count; i += TT_LANES)
        tt_lanes_add_products(&lanes, samples + i, samples + i);
    for (; i < count; i++)
        sum += samples[i] * samples[i];
    return sum + tt_lanes_sum(&lanes);
}

bool tt_gain_finder_add(struct tt_gain_finder *finder, const float *samples, size_t count, struct tt_error *err)
{
    if (!tt_meter_add(finder->meter, samples, count, err))
        return false;
    while (count > 0) {
        size_t left = finder->unit_samples - finder->filled, part = count < left ? count : left;
        float peak = tt_sample_peak(samples, part);
        finder->peak = peak > finder->peak ? peak : finder->peak;
        finder->power += (double)power_of(samples, part);
        finder->filled += part;
        samples += part;
        count -= part;
        if (finder->filled == finder->unit_samples && !end_unit(finder, err))
            return false;
    }
    return true;
}

const struct tt_levels *tt_gain_finder_levels(struct tt_gain_finder *finder)
{
    if (!finder->has_levels)
        finder->levels = tt_meter_result(finder->meter);
    finder->has_levels = true;
    return &finder->levels;
}

double tt_allowed_gain_db(double gain_db, const struct tt_levels *levels, const struct tt_settings *settings,
                          bool *is_held_back)
{
    double most = settings->loudness.ceiling_dbtp + settings->loudness.limit_most_db - levels->max_true_peak_dbtp;
    *is_held_back = gain_db > most;
    return *is_held_back ? most : gain_db;
}

/* What the limiter would leave of a unit's power; state holds the reduction that is on its way back. */
struct release {
    double reduction;
    int hold;
};
static double power_left(struct release *release, double peak, double ceiling)
{
    double demand = peak > ceiling ? 1 - ceiling / peak : 0;
    if (demand >= release->reduction) {
        release->reduction = demand;
        release->hold = HOLD_UNITS;
    } else if (release->hold > 0) {
        release->hold--;
    } else {
        release->reduction = fmax(demand, release->reduction * (1 - release_share));
    }
    return (1 - release->reduction) * (1 - release->reduction);
}

/* Levels behind gain and limiter. Where the working memory cannot be had, as if the limiter did nothing, and
 * lacks_memory tells: what is written by such a gain would meet the target by other bits. */
static struct tt_levels forecast(struct tt_gain_finder *finder, double gain_db)
{
    struct tt_levels levels = finder->levels;
    size_t step_count;
    const float *steps = tt_meter_steps(finder->meter, &step_count);
    levels.integrated_lufs += gain_db;
    levels.rms_dbfs += gain_db;
    if (gain_db + levels.max_true_peak_dbtp <= finder->settings->loudness.ceiling_dbtp)
        return levels;
    if (!finder->steps && !(finder->steps = malloc((step_count + 1) * sizeof *finder->steps))) {
        finder->lacks_memory = true;
        return levels;
    }
    const double gain = tt_amplitude_from_db(gain_db);
    const double ceiling = tt_amplitude_from_db(finder->settings->loudness.ceiling_dbtp) / gain * (double)code_scale;
    struct release release = {0};
    double all = 0, all_left = 0, whole = 0, left = 0;
    for (size_t i = 0; i < finder->unit_count; i++) {
        double rms = finder->units[i].rms, power = rms * rms;
        whole += power;
        left += power * power_left(&release, finder->units[i].peak, ceiling);
        if ((i + 1) % UNITS_IN_STEP != 0 && i + 1 != finder->unit_count)
            continue;
        if (i / UNITS_IN_STEP < step_count)
            finder->steps[i / UNITS_IN_STEP] =
                (float)(steps[i / UNITS_IN_STEP] * gain * gain * (whole > 0 ? left / whole : 1));
        all += whole;
        all_left += left;
        whole = left = 0;
    }
    levels.integrated_lufs = tt_loudness_of_steps(finder->steps, step_count, tt_channel_weight(finder->settings));
    levels.rms_dbfs += all > 0 ? tt_db_from_power(all_left / all) : 0;
    return levels;
}

bool tt_gain_finder_has_memory(const struct tt_gain_finder *finder, struct tt_error *err)
{
    return !finder->lacks_memory || tt_fail_memory(err);
}

double tt_gain_finder_gain_db(struct tt_gain_finder *finder, bool *is_held_back)
{
    const double least_slope = 0.1;
    const struct tt_levels *levels = tt_gain_finder_levels(finder);
    double gain_db = tt_gain_to_target_db(levels, finder->settings), slope = 1, earlier_db = NAN,
           earlier_missing_db = NAN;
    *is_held_back = false;
    if (isnan(gain_db))
        return 0;
    gain_db = tt_allowed_gain_db(gain_db - finder->bias_db, levels, finder->settings, is_held_back);
    /* Loudness moves exactly with the gain until the limiter acts, then less: by a slope that the last two rounds tell
     * (secant method). */
    for (int round = 0; round < MOST_ROUNDS; round++) {
        struct tt_levels limited = forecast(finder, gain_db);
        double missing_db = tt_gain_to_target_db(&limited, finder->settings) - finder->bias_db;
        if (isnan(missing_db) || fabs(missing_db) < solved_db)
            break;
        if (isfinite(earlier_db) && gain_db != earlier_db)
            slope = fmin(1, fmax(least_slope, (earlier_missing_db - missing_db) / (gain_db - earlier_db)));
        earlier_db = gain_db;
        earlier_missing_db = missing_db;
        gain_db = tt_allowed_gain_db(gain_db + missing_db / slope, levels, finder->settings, is_held_back);
        if (gain_db == earlier_db)
            break;
    }
    return gain_db;
}

bool tt_gain_finder_is_met(struct tt_gain_finder *finder, double gain_db, const struct tt_levels *levels)
{
    double missing_db = tt_gain_to_target_db(levels, finder->settings);
    bool is_held_back;
    if (isnan(missing_db) || fabs(missing_db) < close_enough_db)
        return true;
    struct tt_levels limited = forecast(finder, gain_db);
    double before_db = finder->bias_db;
    finder->bias_db = tt_gain_to_target_db(&limited, finder->settings) - missing_db; /* measured less forecast */
    return fabs(finder->bias_db - before_db) < solved_db ||
           fabs(tt_gain_finder_gain_db(finder, &is_held_back) - gain_db) < solved_db;
}
