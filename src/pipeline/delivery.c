/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/delivery.h"

#include <math.h>
#include <stdlib.h>

#include "base/file.h"
#include "base/units.h"
#include "dsp/limiter.h"
#include "stages/loudness.h"

enum { BLOCK_SAMPLES = 1 << 14 };

/* Source -> limiter -> meter, and a writer where there is one. */
struct last_steps {
    struct tt_limiter *limiter; /* NULL: measured as it is */
    struct tt_meter *meter;
    struct tt_writer *writer;
    struct tt_quiet_meter *quiet;
    float *block, *limited;
};

static void last_steps_free(struct last_steps *steps)
{
    tt_limiter_destroy(steps->limiter);
    tt_meter_destroy(steps->meter);
    tt_writer_abandon(steps->writer);
    tt_quiet_meter_destroy(steps->quiet);
    free(steps->block);
    free(steps->limited);
}

static bool last_steps_open(struct last_steps *steps, int rate_hz, const struct tt_settings *settings, bool is_limited, double gain_db, struct tt_error *err)
{
    *steps = (struct last_steps){0};
    size_t room = BLOCK_SAMPLES;
    if (is_limited) {
        steps->limiter = tt_limiter_create(rate_hz, tt_amplitude_from_db(gain_db), tt_amplitude_from_db(settings->loudness.ceiling_dbtp), err);
        if (!steps->limiter)
            return false;
        room += tt_limiter_latency(steps->limiter);
    }
    steps->block = malloc(BLOCK_SAMPLES * sizeof(float));
    steps->limited = malloc(room * sizeof(float));
    if (!steps->block || !steps->limited)
        return tt_fail_memory(err);
    return (steps->meter = tt_meter_create(rate_hz, tt_channel_weight(settings), err)) != NULL;
}

static bool take_part(struct last_steps *steps, const float *samples, size_t count, struct tt_error *err)
{
    if (steps->quiet)
        tt_quiet_meter_add(steps->quiet, samples, count);
    return tt_meter_add(steps->meter, samples, count, err) && (!steps->writer || tt_writer_add(steps->writer, samples, count, err));
}

static bool run_through(struct last_steps *steps, const struct tt_source *source, struct tt_error *err)
{
    int64_t count;
    if (!source->rewind(source->context, err))
        return false;
    while ((count = source->read(source->context, steps->block, BLOCK_SAMPLES, err)) > 0) {
        if (source->go_on && !source->go_on(source->go_on_context))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped; what was finished stands, the next run goes on from there");
        const float *samples = steps->block;
        size_t ready = (size_t)count;
        if (steps->limiter) {
            ready = tt_limiter_run(steps->limiter, steps->block, (size_t)count, steps->limited);
            samples = steps->limited;
        }
        if (!take_part(steps, samples, ready, err))
            return false;
    }
    if (count < 0)
        return false;
    return !steps->limiter || take_part(steps, steps->limited, tt_limiter_finish(steps->limiter, steps->limited), err);
}

bool tt_delivery_measure(const struct tt_source *source, int rate_hz, const struct tt_settings *settings, struct tt_levels *levels, struct tt_error *err)
{
    struct last_steps steps;
    bool ok = last_steps_open(&steps, rate_hz, settings, false, 0, err) && run_through(&steps, source, err);
    if (ok)
        *levels = tt_meter_result(steps.meter);
    last_steps_free(&steps);
    return ok;
}

double tt_delivery_allowed_gain_db(double gain_db, const struct tt_levels *levels, const struct tt_settings *settings, bool *is_held_back)
{
    double most = settings->loudness.ceiling_dbtp + settings->loudness.limit_most_db - levels->max_true_peak_dbtp;
    *is_held_back = gain_db > most;
    return *is_held_back ? most : gain_db;
}

static bool measure_limited(const struct tt_source *source, int rate_hz, const struct tt_settings *settings, double gain_db, struct tt_levels *levels,
                            struct tt_error *err)
{
    struct last_steps steps;
    bool ok = last_steps_open(&steps, rate_hz, settings, true, gain_db, err) && run_through(&steps, source, err);
    if (ok)
        *levels = tt_meter_result(steps.meter);
    last_steps_free(&steps);
    return ok;
}

bool tt_delivery_find_gain(const struct tt_source *source, int rate_hz, const struct tt_settings *settings, const struct tt_levels *levels, double *gain_db,
                           bool *is_held_back, struct tt_error *err)
{
    enum { MOST_ROUNDS = 8 };
    const double close_enough_db = 0.01, least_slope = 0.1;
    *gain_db = tt_gain_to_target_db(levels, settings);
    *is_held_back = false;
    if (isnan(*gain_db)) { /* silence stays what it is */
        *gain_db = 0;
        return true;
    }
    *gain_db = tt_delivery_allowed_gain_db(*gain_db, levels, settings, is_held_back);
    /* Where no peak passes the ceiling, loudness moves exactly with the gain. Where the limiter acts it moves less: by a slope that the last two rounds
     * tell (secant method). */
    double slope = 1, earlier_gain_db = NAN, earlier_missing_db = NAN;
    for (int round = 0; round < MOST_ROUNDS && *gain_db + levels->max_true_peak_dbtp > settings->loudness.ceiling_dbtp; round++) {
        struct tt_levels limited;
        if (!measure_limited(source, rate_hz, settings, *gain_db, &limited, err))
            return false;
        double missing_db = tt_gain_to_target_db(&limited, settings);
        if (isnan(missing_db) || fabs(missing_db) < close_enough_db)
            break;
        if (isfinite(earlier_gain_db) && *gain_db != earlier_gain_db)
            slope = fmin(1, fmax(least_slope, (earlier_missing_db - missing_db) / (*gain_db - earlier_gain_db)));
        earlier_gain_db = *gain_db;
        earlier_missing_db = missing_db;
        *gain_db = tt_delivery_allowed_gain_db(*gain_db + missing_db / slope, levels, settings, is_held_back);
        if (*gain_db == earlier_gain_db)
            break;
    }
    return true;
}

bool tt_delivery_write(const struct tt_source *source, const struct tt_delivery *delivery, double gain_db, struct tt_delivered *delivered, struct tt_error *err)
{
    struct last_steps steps;
    const int rate_hz = delivery->format.rate_hz;
    bool ok = last_steps_open(&steps, rate_hz, delivery->settings, true, gain_db, err);
    if (ok && delivery->quiet)
        ok = (steps.quiet = tt_quiet_meter_create(rate_hz, delivery->quiet, delivery->quiet_count, err)) != NULL;
    ok = ok && (steps.writer = tt_writer_open(delivery->path, &delivery->format, delivery->frame_count, delivery->labels, delivery->label_count,
                                              delivery->bext, err)) != NULL &&
         run_through(&steps, source, err);
    if (ok) {
        *delivered = (struct tt_delivered){.levels = tt_meter_result(steps.meter), .floor_dbfs = NAN, .floor_dba = NAN};
        delivered->limited_db = tt_limiter_most_db(steps.limiter);
        if (steps.quiet)
            tt_quiet_meter_result(steps.quiet, &delivered->floor_dbfs, &delivered->floor_dba);
        const struct tt_levels *levels = &delivered->levels;
        struct tt_bext_loudness loudness = {.integrated_lufs = isfinite(levels->integrated_lufs) ? levels->integrated_lufs : NAN,
                                            .range_lu = levels->loudness_range_lu,
                                            .max_true_peak_dbtp = isfinite(levels->max_true_peak_dbtp) ? levels->max_true_peak_dbtp : NAN,
                                            .max_momentary_lufs = isfinite(levels->max_momentary_lufs) ? levels->max_momentary_lufs : NAN,
                                            .max_short_term_lufs = isfinite(levels->max_short_term_lufs) ? levels->max_short_term_lufs : NAN};
        tt_writer_set_loudness(steps.writer, &loudness);
        struct tt_writer *writer = steps.writer;
        steps.writer = NULL;
        ok = tt_writer_commit(writer, err);
    }
    last_steps_free(&steps);
    return ok;
}

static int64_t scratch_read(void *context, float *samples, size_t most, struct tt_error *err)
{
    return tt_scratch_read(context, samples, most, err);
}

static bool scratch_rewind(void *context, struct tt_error *err)
{
    return tt_scratch_rewind(context, err);
}

struct tt_source tt_source_of_scratch(struct tt_scratch *scratch)
{
    return (struct tt_source){.context = scratch, .read = scratch_read, .rewind = scratch_rewind};
}
