/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/outlet.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/file.h"
#include "base/rescale.h"
#include "base/units.h"
#include "dsp/limiter.h"
#include "pipeline/cue_points.h"

enum { BLOCK_SAMPLES = 1 << 14 };

/* Nearer to what may be limited at most, a voice that went straight into its file is not trusted: its peak was only
 * told by the limiter. */
static const double peak_slack_db = 0.01;

bool tt_outlet_may_be_straight(const struct tt_render_request *request)
{
    struct tt_levels levels = request->heard->facts.before;
    levels.max_true_peak_dbtp += request->settings->loudness.even_db;
    bool is_held_back = false;
    return !isnan(request->gain_db) &&
           (tt_allowed_gain_db(request->gain_db, &levels, request->settings, &is_held_back), !is_held_back);
}

/* ---- what the file is ---- */

/* The recording's own words stay (EBU Tech 3285); what we did is a line more in its history. */
static void describe(struct tt_outlet *outlet, struct tt_voice_reader *reader, const struct tt_audio_info *info,
                     int64_t skipped_at_head)
{
    const struct tt_render_request *request = outlet->request;
    struct tt_bext *bext = &outlet->bext;
    (void)tt_voice_reader_bext(reader, bext, &outlet->history);
    bext->time_reference = 0;
    if (!bext->description[0])
        snprintf(bext->description, sizeof bext->description, "%s", tt_path_name(request->path));
    if (!bext->originator[0])
        snprintf(bext->originator, sizeof bext->originator, "tidytake");
    if (info->time_reference >= 0)
        bext->time_reference =
            tt_rescale_frames(info->time_reference + skipped_at_head, info->rate_hz, request->out_rate_hz);
}

static bool add_voice_things(struct tt_outlet *outlet, struct tt_error *err)
{
    const struct tt_render_request *request = outlet->request;
    struct tt_delivery *delivery = &outlet->delivery;
    if (!tt_quiet_spans_find(request->heard, request->map, request->out_rate_hz, false, &outlet->quiet, err))
        return false;
    outlet->labels = calloc(request->sheet->count + 1, sizeof *outlet->labels);
    if (!outlet->labels)
        return tt_fail_memory(err);
    delivery->label_count =
        tt_cue_points(request->sheet, request->heard, request->map, request->out_rate_hz, outlet->labels);
    delivery->labels = outlet->labels;
    delivery->quiet = outlet->quiet.spans;
    delivery->quiet_count = outlet->quiet.count;
    delivery->limit_path = request->limit_path;
    delivery->voice_heard_path = request->voice_heard_path;
    delivery->picture_prefix = request->picture_prefix;
    return true;
}

/* ---- what it goes through ---- */

static bool open_resampler(struct tt_outlet *outlet, struct tt_error *err)
{
    const int from_hz = outlet->request->heard->facts.rate_hz, to_hz = outlet->request->out_rate_hz;
    if (from_hz == to_hz)
        return true;
    outlet->resampled = malloc(BLOCK_SAMPLES * sizeof *outlet->resampled);
    return outlet->resampled ? (outlet->resampler = tt_resampler_create(from_hz, to_hz, err)) != NULL
                             : tt_fail_memory(err);
}

/* Where the gain is settled, the peak alone is asked for; straight into a file the limiter tells it. */
static bool open_measures(struct tt_outlet *outlet, bool is_straight, struct tt_error *err)
{
    const struct tt_render_request *request = outlet->request;
    if (isnan(request->gain_db))
        return (outlet->finder = tt_gain_finder_create(request->out_rate_hz, request->settings, err)) != NULL;
    return is_straight || (outlet->peak = tt_true_peak_create(request->out_rate_hz, err)) != NULL;
}

bool tt_outlet_open(struct tt_outlet *outlet, const struct tt_render_request *request, struct tt_voice_reader *reader,
                    const struct tt_audio_info *info, struct tt_outlet_kind kind, struct tt_error *err)
{
    const struct tt_settings *settings = request->settings;
    outlet->request = request;
    describe(outlet, reader, info, kind.is_whole ? 0 : request->map->stretches[0].source_start);
    outlet->delivery = (struct tt_delivery){
        .path = kind.is_whole ? request->whole_path : request->voice_path,
        .format = {settings->deliver.format, settings->deliver.bits, settings->deliver.channels, request->out_rate_hz},
        .bext = &outlet->bext,
        .settings = settings};
    if (!open_resampler(outlet, err) ||
        (!kind.is_whole && (!add_voice_things(outlet, err) || !open_measures(outlet, kind.is_straight, err))))
        return false;
    return kind.is_straight ? (outlet->straight = tt_delivering_open(&outlet->delivery, request->gain_db,
                                                                     request->threads > 1, err)) != NULL
                            : (outlet->scratch = tt_scratch_open(request->scratch_folder, err)) != NULL;
}

void tt_outlet_close(struct tt_outlet *outlet)
{
    tt_delivering_close(outlet->straight);
    tt_scratch_close(outlet->scratch);
    tt_resampler_destroy(outlet->resampler);
    tt_gain_finder_destroy(outlet->finder);
    tt_true_peak_destroy(outlet->peak);
    free(outlet->resampled);
    free(outlet->history);
    free(outlet->labels);
    free(outlet->quiet.spans);
}

static bool hand_on(struct tt_outlet *outlet, const float *samples, size_t count, struct tt_error *err)
{
    outlet->out_frames += (int64_t)count;
    if (outlet->peak)
        tt_true_peak_add(outlet->peak, samples, count);
    if (outlet->finder && !tt_gain_finder_add(outlet->finder, samples, count, err))
        return false;
    return outlet->straight ? tt_delivering_add(outlet->straight, samples, count, err)
                            : tt_scratch_add(outlet->scratch, samples, count, err);
}

bool tt_outlet_add(void *context, const float *samples, size_t count, struct tt_error *err)
{
    struct tt_outlet *outlet = context;
    if (!outlet->resampler)
        return hand_on(outlet, samples, count, err);
    while (count > 0) {
        size_t used = 0;
        int64_t made =
            tt_resampler_run(outlet->resampler, samples, count, &used, outlet->resampled, BLOCK_SAMPLES, err);
        if (made < 0 || !hand_on(outlet, outlet->resampled, (size_t)made, err))
            return false;
        if (made == 0 && used == 0)
            return tt_fail(err, TT_ERROR_INTERNAL, "the resampler stands still");
        samples += used;
        count -= used;
    }
    return true;
}

bool tt_outlet_finish(struct tt_outlet *outlet, struct tt_error *err)
{
    int64_t made = 1;
    while (outlet->resampler && made > 0) {
        size_t used = 0;
        made = tt_resampler_run(outlet->resampler, NULL, 0, &used, outlet->resampled, BLOCK_SAMPLES, err);
        if (made < 0 || !hand_on(outlet, outlet->resampled, (size_t)made, err))
            return false;
    }
    return !outlet->straight || tt_delivering_finish(outlet->straight, &outlet->delivered, err);
}

double tt_outlet_allowed_gain_db(struct tt_outlet *outlet, bool *is_held_back)
{
    const struct tt_render_request *request = outlet->request;
    if (outlet->straight) {
        *is_held_back = outlet->delivered.over_db > request->settings->loudness.limit_most_db - peak_slack_db;
        return request->gain_db;
    }
    const struct tt_levels levels = {.max_true_peak_dbtp = tt_db_from_amplitude(tt_true_peak_result(outlet->peak))};
    return tt_allowed_gain_db(request->gain_db, &levels, request->settings, is_held_back);
}

/* ---- the file ---- */

/* The last steps over a long take are passes of their own, and may be stopped like the first. */
static bool goes_on(void *context)
{
    const struct tt_render_request *request = context;
    return !request->tick || request->tick(request->tick_context, 1);
}

bool tt_outlet_deliver(struct tt_outlet *outlet, double *gain_db, bool *is_held_back, struct tt_delivered *delivered,
                       struct tt_error *err)
{
    if (outlet->straight) {
        *delivered = outlet->delivered;
        return tt_delivering_publish(outlet->straight, &delivered->levels, err);
    }
    struct tt_source source = tt_source_of_scratch(outlet->scratch);
    source.go_on = goes_on;
    source.go_on_context = (void *)outlet->request;
    source.has_second_thread = outlet->request->threads > 1;
    return outlet->finder ? tt_delivery_write_exact(&source, &outlet->delivery, outlet->finder, gain_db, is_held_back,
                                                    delivered, err)
                          : tt_delivery_write(&source, &outlet->delivery, *gain_db, delivered, err);
}
