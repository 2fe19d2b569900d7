/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Two recordings as a take and its voice, for the pages of takes. */
#include <math.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/file.h"
#include "report/chart.h"
#include "report/report.h"
#include "session/compare_parts.h"

static const int64_t least_gap_ms = 50; /* what is missing is shown from so much on: less is how a join falls */

static bool make_map(const struct tt_lags *lags, const struct compare_side *before, const struct compare_side *after,
                     struct tt_time_map *map, struct tt_error *err)
{
    const double rate = before->heard.facts.rate_hz,
                 after_s = (double)after->heard.facts.frame_count / after->heard.facts.rate_hz;
    *map = (struct tt_time_map){.rate_hz = (int)rate, .out_samples = llround(after_s * rate)};
    if (!(map->stretches = calloc(lags->count + 1, sizeof *map->stretches)))
        return tt_fail_memory(err);
    for (size_t i = 0; i < lags->count; i++) {
        const struct tt_lag_piece *piece = &lags->pieces[i];
        struct tt_stretch *stretch = &map->stretches[map->count++];
        stretch->source_start = llround(piece->before_s * rate);
        stretch->out_start = llround(piece->after_s * rate);
        int64_t length = llround(piece->length_s * rate),
                most = before->heard.facts.frame_count - stretch->source_start;
        stretch->source_end = stretch->source_start + (length < most ? length : most);
        if (i > 0)
            stretch[-1].fill_samples =
                stretch->out_start - stretch[-1].out_start - (stretch[-1].source_end - stretch[-1].source_start);
    }
    return true;
}

/* What lies between two pieces of the first recording is in it alone. */
static bool list_missing(const struct tt_time_map *map, int64_t frame_count, struct tt_sheet *sheet,
                         struct tt_error *err)
{
    if (!(sheet->rows = calloc(map->count + 1, sizeof *sheet->rows)))
        return tt_fail_memory(err);
    int64_t end = 0;
    for (size_t i = 0; i <= map->count; i++) {
        int64_t start = i < map->count ? map->stretches[i].source_start : frame_count;
        struct tt_row row = {.start_ms = llround((double)end * 1000 / map->rate_hz),
                             .end_ms = llround((double)start * 1000 / map->rate_hz),
                             .kind = TT_ROW_OTHER,
                             .proposed = TT_DO_CUT,
                             .action = TT_DO_CUT,
                             .amount = NAN,
                             .confidence = NAN,
                             .note = ""};
        if (row.end_ms - row.start_ms >= least_gap_ms) {
            snprintf(row.id, sizeof row.id, "x%zu", sheet->count + 1);
            sheet->rows[sheet->count++] = row;
        }
        if (i < map->count)
            end = map->stretches[i].source_end;
    }
    return true;
}

static bool is_one_sided(const struct compare_side *side)
{
    return side->heard.facts.channel_count > 1 && side->heard.facts.channel >= 0 && !side->copy;
}

/* A comparison as the page of a take shows one: its recording is what was before, its voice what came after. */
static struct tt_take_report take_of(const struct compare_side *before, const struct compare_side *after,
                                     const double gains_db[2])
{
    const struct tt_heard_facts *first = &before->heard.facts, *second = &after->heard.facts;
    struct tt_take_report take = {.name = tt_path_name(before->path),
                                  .stem = "pictures",
                                  .source_path = before->path,
                                  .play_before = before->copy ? before->copy : before->path,
                                  .play_after = after->copy ? after->copy : after->path,
                                  .has_copy = before->copy != NULL,
                                  .copy_gain_db = gains_db[0],
                                  .source_channel_count = first->channel_count,
                                  .is_heard = true,
                                  .heard = &before->heard,
                                  .has_voice = true,
                                  .out_rate_hz = second->rate_hz,
                                  .out_channel_count = 1,
                                  .out_frames = second->frame_count,
                                  .gain_db = second->speech_dbfs - first->speech_dbfs,
                                  .after = {second->before, second->floor_dbfs, second->floor_dba, second->speech_dbfs},
                                  .has_pictures = true,
                                  .narration_start_frame = -1,
                                  .time_reference_frames = -1};
    take.after.levels.integrated_lufs += gains_db[1]; /* as it is played */
    if (!isfinite(take.gain_db))
        take.gain_db = 0;
    return take;
}

bool compare_show(const char *out, const struct compare_side *before, const struct compare_side *after,
                  const double gains_db[2], const struct tt_lags *lags, const char *page, struct tt_error *err)
{
    struct tt_settings settings;
    struct tt_time_map map = {0};
    struct tt_sheet sheet = {.take = (char *)(uintptr_t)tt_path_name(before->path)};
    struct tt_voice_heard voice = {.steps = (float *)(uintptr_t)after->heard.steps,
                                   .step_count = after->heard.step_count};
    const struct tt_heard_facts *second = &after->heard.facts;
    struct tt_comparison comparison = {tt_path_name(after->path),
                                       after->path,
                                       second->rate_hz,
                                       second->channel_count,
                                       lags->heard_s,
                                       lags->found_s,
                                       lags->likeness,
                                       lags->is_turned,
                                       is_one_sided(after)};
    struct tt_take_report take = take_of(before, after, gains_db);
    take.sheet = &sheet;
    take.map = &map;
    take.voice_heard = &voice;
    take.comparison = &comparison;
    struct tt_session_report session = {.name = take.name,
                                        .source_folder = out,
                                        .out_folder = out,
                                        .settings = &settings,
                                        .takes = &take,
                                        .take_count = 1};
    struct tt_text text = {0};
    tt_settings_default(&settings);
    const bool has_floor = after->heard.floor.node_count > 0;
    if (has_floor && !tt_chart_thirds(&after->heard, voice.thirds))
        return tt_fail_memory(err);
    for (int i = 0; !has_floor && i < TT_THIRDS; i++)
        voice.thirds[i] = NAN;
    bool ok = make_map(lags, before, after, &map, err) &&
              list_missing(&map, before->heard.facts.frame_count, &sheet, err) &&
              tt_report_compare_page(&session, &take, &text, err);
    ok = ok && tt_file_write(page, text.data, text.length, err);
    tt_text_free(&text);
    free(sheet.rows);
    free(map.stretches);
    return ok;
}
