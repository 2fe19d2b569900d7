/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <math.h>
#include <stdlib.h>

#include "base/text.h"
#include "base/units.h"
#include "session/run.h"

static char *file_in(const char *out, const char *folder, const char *stem, const char *ending)
{
    return tt_format("%s/%s/%s%s", out, folder, stem, ending);
}

bool tt_run_wants_pictures(const struct tt_run_state *run)
{
    return run->settings.report.page && run->settings.report.pictures;
}

const struct tt_settings *tt_take_settings(const struct tt_run_state *run, const struct tt_take *take)
{
    return take->own_settings ? take->own_settings : &run->settings;
}

bool tt_take_holds(const struct tt_take *take, int64_t ms)
{
    return ms >= take->from_ms && (take->to_ms < 0 || ms <= take->to_ms);
}

bool tt_take_takes_part(const struct tt_take *take) { return take->is_heard && !take->has_failed && take->is_used; }

bool tt_take_is_decided(const struct tt_take *take) { return tt_take_takes_part(take) && take->has_map; }

int64_t tt_take_duration_ms(const struct tt_take *take)
{
    return (int64_t)ceil(tt_ms_from_frames(take->heard.facts.frame_count, take->heard.facts.rate_hz));
}

bool tt_take_paths(struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    const char *sound = run->settings.deliver.format == TT_CONTAINER_FLAC ? ".flac" : ".wav", *stem = take->file->stem;
    /* Parts of one recording share what was heard of it, unless one has settings of its own. */
    const bool is_apart = take->own_settings && take->own_file;
    take->heard_path = file_in(run->out, "heard", is_apart ? stem : take->recording->stem, ".bin");
    take->limit_path = file_in(run->out, "heard", stem, ".lim");
    take->sheet_path = file_in(run->out, "sheets", stem, ".csv");
    take->voice_path = file_in(run->out, "voice", stem, sound);
    take->whole_path = file_in(run->out, "whole", stem, sound);
    take->json_path = file_in(run->out, "report", stem, ".json");
    take->page_path = file_in(run->out, "report", stem, ".html");
    take->before_prefix = tt_format("%s/report/%s/before", run->out, stem);
    take->after_prefix = tt_format("%s/report/%s/after", run->out, stem);
    take->voice_heard_path = file_in(run->out, "heard", stem, ".out");
    if (!take->before_prefix || !take->after_prefix || !take->voice_heard_path)
        return tt_fail_memory(err);
    return (take->heard_path && take->limit_path && take->sheet_path && take->voice_path && take->whole_path &&
            take->json_path && take->page_path) ||
           tt_fail_memory(err);
}

void tt_take_free(struct tt_take *take)
{
    char *const texts[] = {take->heard_path,    take->limit_path,   take->sheet_path,       take->voice_path,
                           take->whole_path,    take->json_path,    take->page_path,        take->sheet_text,
                           take->before_prefix, take->after_prefix, take->voice_heard_path, take->before_copy,
                           take->after_copy};
    for (size_t i = 0; i < sizeof texts / sizeof *texts; i++)
        free(texts[i]);
    if (take->is_heard)
        tt_heard_close(&take->heard);
    tt_sheet_free(&take->sheet);
    tt_sheet_free(&take->earlier_sheet);
    tt_time_map_free(&take->map);
    free(take->own_settings);
    free(take->more);
    free(take->more_paths);
    if (take->own_file) {
        free(take->own_file->name);
        free(take->own_file->stem);
        free(take->own_file->path);
        free(take->own_file);
    }
}
