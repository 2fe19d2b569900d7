/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/delivery.h"

#include <math.h>
#include <stdlib.h>

#include "base/file.h"
#include "base/relay.h"
#include "base/units.h"
#include "dsp/limiter.h"
#include "pipeline/limit_record.h"
#include "stages/loudness.h"

enum { BLOCK_SAMPLES = 1 << 14 };

/* Source -> limiter -> meters and writer; or source -> finder. */
struct last_steps {
    struct tt_gain_finder *finder; /* borrowed */
    struct tt_limiter *limiter;
    struct tt_limit_writer *demands;
    struct tt_meter *meter;
    struct tt_writer *writer;
    struct tt_quiet_meter *quiet;
    struct tt_portrait *portrait; /* NULL: nobody asks */
    float *block, *limited;
    size_t room;                   /* samples in the longest block behind the limiter */
};

static void last_steps_free(struct last_steps *steps)
{
    tt_limiter_destroy(steps->limiter);
    tt_limit_writer_abandon(steps->demands);
    tt_meter_destroy(steps->meter);
    tt_writer_abandon(steps->writer);
    tt_quiet_meter_destroy(steps->quiet);
    tt_portrait_destroy(steps->portrait);
    free(steps->block);
    free(steps->limited);
}

static bool open_steps(struct last_steps *steps, const struct tt_delivery *delivery, double gain_db, struct tt_error *err)
{
    const struct tt_settings *settings = delivery->settings;
    const int rate_hz = delivery->format.rate_hz;
    *steps = (struct last_steps){0};
    steps->limiter = tt_limiter_create(rate_hz, tt_amplitude_from_db(gain_db), tt_amplitude_from_db(settings->loudness.ceiling_dbtp), err);
    if (!steps->limiter)
        return false;
    if (delivery->limit_path) {
        if (!(steps->demands = tt_limit_writer_open(delivery->limit_path, rate_hz, err)))
            return false;
        tt_limiter_tell(steps->limiter, tt_limit_writer_add, steps->demands);
    }
    steps->block = malloc(BLOCK_SAMPLES * sizeof(float));
    steps->room = BLOCK_SAMPLES + tt_limiter_latency(steps->limiter);
    steps->limited = malloc(steps->room * sizeof(float));
    if (!steps->block || !steps->limited)
        return tt_fail_memory(err);
    if (!(steps->meter = tt_meter_create(rate_hz, tt_channel_weight(settings), err)))
        return false;
    if (delivery->quiet && !(steps->quiet = tt_quiet_meter_create(rate_hz, delivery->quiet, delivery->quiet_count, err)))
        return false;
    if (delivery->voice_heard_path && !(steps->portrait = tt_portrait_create(rate_hz, delivery->voice_heard_path, delivery->picture_prefix, err)))
        return false;
    steps->writer = tt_writer_open(delivery->path, &delivery->format, delivery->frame_count, delivery->labels, delivery->label_count, delivery->bext, err);
    return steps->writer != NULL;
}

static bool take_part(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct last_steps *steps = context;
    if (steps->finder)
        return tt_gain_finder_add(steps->finder, samples, count, err);
    if (steps->quiet)
        tt_quiet_meter_add(steps->quiet, samples, count);
    if (steps->portrait && !tt_portrait_add(steps->portrait, samples, count, err))
        return false;
    return tt_meter_add(steps->meter, samples, count, err) && tt_writer_add(steps->writer, samples, count, err);
}

/* As it is kept between runs, so that a run that holds makes the same bytes. */
static double round_gain(double gain_db) { return round(gain_db * 1e6) / 1e6; }

static bool pass_through(struct last_steps *steps, const struct tt_source *source, struct tt_relay *relay, struct tt_error *err)
{
    int64_t count;
    while ((count = source->read(source->context, steps->block, BLOCK_SAMPLES, err)) > 0) {
        if (source->go_on && !source->go_on(source->go_on_context))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped; what was finished stands, the next run goes on from there");
        const float *samples = steps->block;
        size_t ready = (size_t)count;
        if (steps->limiter) {
            ready = tt_limiter_run(steps->limiter, steps->block, (size_t)count, steps->limited);
            samples = steps->limited;
        }
        if (!tt_relay_add(relay, samples, ready, err))
            return false;
    }
    if (count < 0 || (steps->limiter && !tt_relay_add(relay, steps->limited, tt_limiter_finish(steps->limiter, steps->limited), err)))
        return false;
    return tt_relay_finish(relay, err);
}

static bool run_through(struct last_steps *steps, const struct tt_source *source, struct tt_error *err)
{
    if (!source->rewind(source->context, err))
        return false;
    struct tt_relay *relay = tt_relay_open(take_part, steps, steps->room, source->has_second_thread, err);
    bool ok = relay && pass_through(steps, source, relay, err);
    tt_relay_close(relay);
    return ok;
}

bool tt_delivery_measure(const struct tt_source *source, struct tt_gain_finder *finder, struct tt_error *err)
{
    struct last_steps steps = {.finder = finder, .block = malloc(BLOCK_SAMPLES * sizeof(float)), .room = BLOCK_SAMPLES};
    bool ok = (steps.block || tt_fail_memory(err)) && run_through(&steps, source, err);
    last_steps_free(&steps);
    return ok;
}

static void take_results(const struct last_steps *steps, struct tt_delivered *delivered)
{
    *delivered = (struct tt_delivered){
        .levels = tt_meter_result(steps->meter), .floor_dbfs = NAN, .floor_dba = NAN, .limited_db = tt_limiter_most_db(steps->limiter)};
    if (steps->quiet)
        tt_quiet_meter_result(steps->quiet, &delivered->floor_dbfs, &delivered->floor_dba);
}

static double or_nan(double value) { return isfinite(value) ? value : (double)NAN; }

static bool publish(struct last_steps *steps, const struct tt_levels *levels, struct tt_error *err)
{
    struct tt_bext_loudness loudness = {.integrated_lufs = or_nan(levels->integrated_lufs),
                                        .range_lu = levels->loudness_range_lu,
                                        .max_true_peak_dbtp = or_nan(levels->max_true_peak_dbtp),
                                        .max_momentary_lufs = or_nan(levels->max_momentary_lufs),
                                        .max_short_term_lufs = or_nan(levels->max_short_term_lufs)};
    if (steps->portrait && !tt_portrait_finish(steps->portrait, steps->meter, steps->quiet, err))
        return false;
    struct tt_limit_writer *demands = steps->demands;
    steps->demands = NULL;
    if (demands && !tt_limit_writer_commit(demands, err))
        return false;
    tt_writer_set_loudness(steps->writer, &loudness);
    struct tt_writer *writer = steps->writer;
    steps->writer = NULL;
    return tt_writer_commit(writer, err);
}

bool tt_delivery_write(const struct tt_source *source, const struct tt_delivery *delivery, double gain_db, struct tt_delivered *delivered, struct tt_error *err)
{
    struct last_steps steps;
    bool ok = open_steps(&steps, delivery, gain_db, err) && run_through(&steps, source, err);
    if (ok) {
        take_results(&steps, delivered);
        ok = publish(&steps, &delivered->levels, err);
    }
    last_steps_free(&steps);
    return ok;
}

bool tt_delivery_write_exact(const struct tt_source *source, const struct tt_delivery *delivery, struct tt_gain_finder *finder, double *gain_db,
                             bool *is_held_back, struct tt_delivered *delivered, struct tt_error *err)
{
    enum { MOST_ROUNDS = 4 };
    bool ok = true, is_done = false;
    for (int round = 1; ok && !is_done; round++) {
        struct last_steps steps;
        *gain_db = round_gain(tt_gain_finder_gain_db(finder, is_held_back));
        ok = open_steps(&steps, delivery, *gain_db, err) && run_through(&steps, source, err);
        if (ok) {
            take_results(&steps, delivered);
            is_done = round == MOST_ROUNDS || tt_gain_finder_is_met(finder, *gain_db, &delivered->levels);
        }
        ok = ok && (!is_done || publish(&steps, &delivered->levels, err));
        last_steps_free(&steps);
    }
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
