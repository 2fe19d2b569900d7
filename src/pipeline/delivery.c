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

/* Gain and limiter -> meters and writer. */
struct tt_delivering {
    struct tt_limiter *limiter;
    struct tt_limit_writer *demands;
    struct tt_meter *meter;
    struct tt_writer *writer;
    struct tt_quiet_meter *quiet;
    struct tt_portrait *portrait; /* NULL: nobody asks */
    struct tt_relay *relay;       /* from the limiter to what comes behind it */
};

void tt_delivering_close(struct tt_delivering *delivering)
{
    if (!delivering)
        return;
    tt_relay_close(delivering->relay); /* first: its thread works with all of the others */
    tt_limiter_destroy(delivering->limiter);
    tt_limit_writer_abandon(delivering->demands);
    tt_meter_destroy(delivering->meter);
    tt_writer_abandon(delivering->writer);
    tt_quiet_meter_destroy(delivering->quiet);
    tt_portrait_destroy(delivering->portrait);
    free(delivering);
}

static bool take_limited(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct tt_delivering *to = context;
    if (to->quiet)
        tt_quiet_meter_add(to->quiet, samples, count);
    if (to->portrait && !tt_portrait_add(to->portrait, samples, count, err))
        return false;
    return tt_meter_add(to->meter, samples, count, err) && tt_writer_add(to->writer, samples, count, err);
}

static bool open_steps(struct tt_delivering *to, const struct tt_delivery *delivery, double gain_db,
                       bool has_second_thread, struct tt_error *err)
{
    const struct tt_settings *settings = delivery->settings;
    const int rate_hz = delivery->format.rate_hz;
    to->limiter = tt_limiter_create(rate_hz, tt_amplitude_from_db(gain_db),
                                    tt_amplitude_from_db(settings->loudness.ceiling_dbtp), err);
    if (!to->limiter)
        return false;
    if (delivery->limit_path) {
        if (!(to->demands = tt_limit_writer_open(delivery->limit_path, rate_hz, err)))
            return false;
        tt_limiter_tell(to->limiter, tt_limit_writer_add, to->demands);
    }
    const size_t room = BLOCK_SAMPLES + tt_limiter_latency(to->limiter);
    if (!(to->meter = tt_meter_create(rate_hz, tt_channel_weight(settings), err)))
        return false;
    if (delivery->quiet && !(to->quiet = tt_quiet_meter_create(rate_hz, delivery->quiet, delivery->quiet_count, err)))
        return false;
    if (delivery->voice_heard_path &&
        !(to->portrait = tt_portrait_create(rate_hz, delivery->voice_heard_path, delivery->picture_prefix, err)))
        return false;
    to->writer =
        tt_writer_open(delivery->path, &delivery->format, delivery->labels, delivery->label_count, delivery->bext, err);
    return to->writer && (to->relay = tt_relay_open(take_limited, to, room, has_second_thread, err)) != NULL;
}

struct tt_delivering *tt_delivering_open(const struct tt_delivery *delivery, double gain_db, bool has_second_thread,
                                         struct tt_error *err)
{
    struct tt_delivering *delivering = calloc(1, sizeof *delivering);
    if (!delivering) {
        tt_fail_memory(err);
        return NULL;
    }
    if (open_steps(delivering, delivery, gain_db, has_second_thread, err))
        return delivering;
    tt_delivering_close(delivering);
    return NULL;
}

bool tt_delivering_add(void *delivering, const float *samples, size_t count, struct tt_error *err)
{
    struct tt_delivering *to = delivering;
    while (count > 0) {
        const size_t part = count < BLOCK_SAMPLES ? count : BLOCK_SAMPLES;
        float *limited = tt_relay_room(to->relay, err);
        if (!limited || !tt_relay_hand_on(to->relay, tt_limiter_run(to->limiter, samples, part, limited), err))
            return false;
        samples += part;
        count -= part;
    }
    return true;
}

bool tt_delivering_finish(struct tt_delivering *to, struct tt_delivered *delivered, struct tt_error *err)
{
    float *limited = tt_relay_room(to->relay, err);
    if (!limited || !tt_relay_hand_on(to->relay, tt_limiter_finish(to->limiter, limited), err) ||
        !tt_relay_finish(to->relay, err))
        return false;
    *delivered = (struct tt_delivered){.levels = tt_meter_result(to->meter),
                                       .floor_dbfs = NAN,
                                       .floor_dba = NAN,
                                       .limited_db = tt_limiter_most_db(to->limiter),
                                       .over_db = tt_limiter_over_db(to->limiter)};
    if (to->quiet)
        tt_quiet_meter_result(to->quiet, &delivered->floor_dbfs, &delivered->floor_dba);
    return true;
}

static double or_nan(double value) { return isfinite(value) ? value : (double)NAN; }

bool tt_delivering_publish(struct tt_delivering *to, const struct tt_levels *levels, struct tt_error *err)
{
    struct tt_bext_loudness loudness = {.integrated_lufs = or_nan(levels->integrated_lufs),
                                        .range_lu = levels->loudness_range_lu,
                                        .max_true_peak_dbtp = or_nan(levels->max_true_peak_dbtp),
                                        .max_momentary_lufs = or_nan(levels->max_momentary_lufs),
                                        .max_short_term_lufs = or_nan(levels->max_short_term_lufs)};
    if (to->portrait && !tt_portrait_finish(to->portrait, to->meter, to->quiet, err))
        return false;
    struct tt_limit_writer *demands = to->demands;
    to->demands = NULL;
    if (demands && !tt_limit_writer_commit(demands, err))
        return false;
    tt_writer_set_loudness(to->writer, &loudness);
    struct tt_writer *writer = to->writer;
    to->writer = NULL;
    return tt_writer_commit(writer, err);
}

/* ---- from a source ---- */

static bool pour(const struct tt_source *source, float *block, tt_relay_take take, void *context, struct tt_error *err)
{
    int64_t count;
    if (!source->rewind(source->context, err))
        return false;
    while ((count = source->read(source->context, block, BLOCK_SAMPLES, err)) > 0) {
        if (source->go_on && !source->go_on(source->go_on_context))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped; what was finished stands, the next run goes on from there");
        if (!take(context, block, (size_t)count, err))
            return false;
    }
    return count == 0;
}

static bool pour_all(const struct tt_source *source, tt_relay_take take, void *context, struct tt_error *err)
{
    float *block = malloc(BLOCK_SAMPLES * sizeof *block);
    bool ok = block ? pour(source, block, take, context, err) : tt_fail_memory(err);
    free(block);
    return ok;
}

static bool add_to_finder(void *finder, const float *samples, size_t count, struct tt_error *err)
{
    return tt_gain_finder_add(finder, samples, count, err);
}
static bool add_to_relay(void *relay, const float *samples, size_t count, struct tt_error *err)
{
    return tt_relay_add(relay, samples, count, err);
}

/* What takes the sound may do so in a thread of its own. */
static bool pour_beside(const struct tt_source *source, tt_relay_take take, void *context, struct tt_error *err)
{
    struct tt_relay *relay = tt_relay_open(take, context, BLOCK_SAMPLES, source->has_second_thread, err);
    bool ok = relay && pour_all(source, add_to_relay, relay, err) && tt_relay_finish(relay, err);
    tt_relay_close(relay);
    return ok;
}

bool tt_delivery_measure(const struct tt_source *source, struct tt_gain_finder *finder, struct tt_error *err)
{
    return pour_beside(source, add_to_finder, finder, err);
}

static bool deliver_source(const struct tt_source *source, struct tt_delivering *delivering,
                           struct tt_delivered *delivered, struct tt_error *err)
{
    return delivering && pour_beside(source, tt_delivering_add, delivering, err) &&
           tt_delivering_finish(delivering, delivered, err);
}

bool tt_delivery_write(const struct tt_source *source, const struct tt_delivery *delivery, double gain_db,
                       struct tt_delivered *delivered, struct tt_error *err)
{
    struct tt_delivering *delivering = tt_delivering_open(delivery, gain_db, source->has_second_thread, err);
    bool ok = deliver_source(source, delivering, delivered, err) &&
              tt_delivering_publish(delivering, &delivered->levels, err);
    tt_delivering_close(delivering);
    return ok;
}

/* As it is kept between runs, so that a run that holds makes the same bytes; downwards, since it may be the most that
 * the limiter allows. */
static double round_gain(double gain_db) { return floor(gain_db * 1e6) / 1e6; }

bool tt_delivery_write_exact(const struct tt_source *source, const struct tt_delivery *delivery,
                             struct tt_gain_finder *finder, double *gain_db, bool *is_held_back,
                             struct tt_delivered *delivered, struct tt_error *err)
{
    enum { MOST_ROUNDS = 4 };
    bool ok = true, is_done = false;
    for (int round = 1; ok && !is_done; round++) {
        *gain_db = round_gain(tt_gain_finder_gain_db(finder, is_held_back));
        if (!tt_gain_finder_has_memory(finder, err))
            return false;
        struct tt_delivering *delivering = tt_delivering_open(delivery, *gain_db, source->has_second_thread, err);
        ok = deliver_source(source, delivering, delivered, err);
        is_done = ok && (round == MOST_ROUNDS || tt_gain_finder_is_met(finder, *gain_db, &delivered->levels));
        ok = ok && (!is_done || tt_delivering_publish(delivering, &delivered->levels, err));
        tt_delivering_close(delivering);
    }
    return ok;
}

static int64_t scratch_read(void *context, float *samples, size_t most, struct tt_error *err)
{
    return tt_scratch_read(context, samples, most, err);
}

static bool scratch_rewind(void *context, struct tt_error *err)
{
    (void)err;
    tt_scratch_rewind(context);
    return true;
}

struct tt_source tt_source_of_scratch(struct tt_scratch *scratch)
{
    return (struct tt_source){.context = scratch, .read = scratch_read, .rewind = scratch_rewind};
}
