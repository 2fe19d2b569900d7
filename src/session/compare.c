/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/compare.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#include "audio/resample.h"
#include "base/file.h"
#include "base/settings.h"
#include "base/text.h"
#include "base/units.h"
#include "dsp/lag.h"
#include "pipeline/hear.h"
#include "pipeline/play_copy.h"
#include "report/chart.h"
#include "report/report.h"
#include "session/leftovers.h"
#include "session/takes.h"

/* A recording that was cut heavily, and whose rest was cleaned, is found nearly whole; chance finds a second or two. */
static const double least_found = 0.5;
static const int64_t least_gap_ms = 50; /* what is missing is shown from so much on: less is how a join falls */

struct side {
    char *path, *prefix, *copy;
    struct tt_audio_info info;
    struct tt_heard heard;
    bool is_heard;
    struct tt_lag_sound sound;
};

/* ---- hearing ---- */

static bool go_on_tick(void *context, double share)
{
    const struct tt_compare_request *request = context;
    (void)share;
    return !request->go_on || request->go_on(request->context);
}

static struct tt_recording recording_of(const struct side *side)
{
    const struct tt_heard_facts *facts = &side->heard.facts;
    return (struct tt_recording){.path = side->path,
                                 .channel = facts->channel,
                                 .safety_number = facts->safety_number,
                                 .safety_gain = facts->safety_gain};
}

static bool choose_channel(const struct tt_compare_request *request, const struct side *side,
                           struct tt_channel_choice *choice, struct tt_error *err)
{
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    int count;
    *choice = (struct tt_channel_choice){.channel = 0, .why = "one channel"};
    if (side->info.channel_count == 1)
        return true;
    if (!tt_channels_survey(side->path, request->go_on, request->context, stats, &count, err))
        return false;
    *choice = tt_channel_choose(stats, count);
    return true;
}

/* Before anything is made: where nothing can be read, nothing is left. */
static bool find_sides(const struct tt_compare_request *request, const char *out, struct side sides[2],
                       struct tt_error *err)
{
    static const char *const names[] = {"before", "after"};
    for (int i = 0; i < 2; i++) {
        sides[i].path = tt_resolve_path(i == 0 ? request->before : request->after, err);
        if (!sides[i].path)
            return false;
        if (!(sides[i].prefix = tt_format("%s/pictures/%s", out, names[i])))
            return tt_fail_memory(err);
        struct tt_reader *reader = tt_reader_open(sides[i].path, &sides[i].info, err);
        if (!reader)
            return false;
        tt_reader_close(reader);
    }
    return true;
}

/* As it is: no rumble filter. What was heard is mapped at once, and its file goes. */
static bool hear(const struct tt_compare_request *request, const char *out, struct side *side, struct tt_error *err)
{
    struct tt_settings settings;
    struct tt_channel_choice choice = {0};
    tt_settings_default(&settings);
    settings.take.highpass_hz = 0;
    char *scratch = tt_format("%s/.heard-%ld.part", out, (long)getpid());
    struct tt_hear_request hearing = {.path = side->path,
                                      .heard_path = scratch,
                                      .content_sha256 = "",
                                      .hearing_key = "",
                                      .settings = &settings,
                                      .picture_prefix = side->prefix,
                                      .tick = go_on_tick,
                                      .tick_context = (void *)(uintptr_t)request};
    bool ok = (scratch || tt_fail_memory(err)) && choose_channel(request, side, &choice, err);
    hearing.channel = choice;
    ok = ok && tt_hear(&hearing, err) && tt_heard_open(scratch, NULL, NULL, &side->heard, err);
    side->is_heard = ok;
    if (scratch)
        unlink(scratch);
    free(scratch);
    return ok;
}

/* ---- the moment ---- */

enum { BLOCK = 16384 };

/* Samples of the one channel at TT_LAG_RATE_HZ, scaled to fill 16 bits. */
static bool add_samples(struct tt_lag_sound *sound, size_t *capacity, const float *samples, size_t count, double scale,
                        struct tt_error *err)
{
    if (sound->count + count > *capacity) {
        size_t more = 2 * *capacity + count + BLOCK;
        int16_t *bigger = realloc((void *)(uintptr_t)sound->samples, more * sizeof *bigger);
        if (!bigger)
            return tt_fail_memory(err);
        sound->samples = bigger;
        *capacity = more;
    }
    int16_t *out = (int16_t *)(uintptr_t)sound->samples + sound->count;
    for (size_t i = 0; i < count; i++)
        out[i] = (int16_t)lrint(fmax(-32767, fmin(32767, (double)samples[i] * scale)));
    sound->count += count;
    return true;
}

static bool convert(const struct tt_compare_request *request, struct tt_voice_reader *reader,
                    struct tt_resampler *resampler, struct side *side, float *block, float *ready, struct tt_error *err)
{
    double peak_db = side->heard.facts.before.max_true_peak_dbtp,
           scale = 30000 * (isfinite(peak_db) ? tt_amplitude_from_db(-peak_db) : 1);
    size_t capacity = 0;
    for (int64_t count = 1; count > 0;) {
        count = tt_voice_reader_read(reader, block, BLOCK, err);
        if (count < 0)
            return false;
        if (!go_on_tick((void *)(uintptr_t)request, 0))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped");
        size_t taken = 0;
        for (int64_t got = 1; taken < (size_t)count || (count == 0 && got > 0);) {
            size_t used = 0;
            got = tt_resampler_run(resampler, count > 0 ? block + taken : NULL, (size_t)count - taken, &used, ready,
                                   BLOCK, err);
            if (got < 0 || !add_samples(&side->sound, &capacity, ready, (size_t)got, scale, err))
                return false;
            taken += used;
        }
    }
    return true;
}

static bool read_moments(const struct tt_compare_request *request, struct side *side, struct tt_error *err)
{
    struct tt_audio_info info;
    struct tt_recording recording = recording_of(side);
    struct tt_voice_reader *reader = tt_recording_open(&recording, &info, err);
    struct tt_resampler *resampler = reader ? tt_resampler_create(info.rate_hz, TT_LAG_RATE_HZ, err) : NULL;
    float *block = malloc(BLOCK * sizeof *block), *ready = malloc(BLOCK * sizeof *ready);
    bool ok = resampler && ((block && ready) || tt_fail_memory(err)) &&
              convert(request, reader, resampler, side, block, ready, err);
    free(block);
    free(ready);
    tt_resampler_destroy(resampler);
    tt_voice_reader_close(reader);
    return ok;
}

/* ---- as a take and its voice ---- */

static bool make_map(const struct tt_lags *lags, const struct side *before, const struct side *after,
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

static bool make_copy(const struct tt_compare_request *request, const char *out, const char *name, struct side *side,
                      double *gain_db, struct tt_error *err)
{
    *gain_db = 0;
    if (side->info.plays_in_browser)
        return true;
    *gain_db = -fmax(0, side->heard.facts.before.max_true_peak_dbtp);
    side->copy = tt_format("%s/sound/%s.flac", out, name);
    struct tt_play_copy copy = {.recording = recording_of(side),
                                .gain = tt_amplitude_from_db(*gain_db),
                                .path = side->copy,
                                .go_on = request->go_on,
                                .context = request->context};
    return side->copy ? tt_play_copy_write(&copy, err) : tt_fail_memory(err);
}

static bool is_one_sided(const struct side *side)
{
    return side->heard.facts.channel_count > 1 && side->heard.facts.channel >= 0 && !side->copy;
}

static bool show(const char *out, const struct side *before, const struct side *after, const double gains_db[2],
                 const struct tt_lags *lags, const char *page, struct tt_error *err)
{
    struct tt_settings settings;
    struct tt_time_map map = {0};
    struct tt_sheet sheet = {.take = (char *)(uintptr_t)tt_path_name(before->path)};
    struct tt_voice_heard voice = {.steps = (float *)(uintptr_t)after->heard.steps,
                                   .step_count = after->heard.step_count};
    const struct tt_heard_facts *first = &before->heard.facts, *second = &after->heard.facts;
    struct tt_comparison comparison = {tt_path_name(after->path),
                                       after->path,
                                       second->rate_hz,
                                       second->channel_count,
                                       lags->heard_s,
                                       lags->found_s,
                                       lags->likeness,
                                       lags->is_turned,
                                       is_one_sided(after)};
    struct tt_take_report take = {.name = sheet.take,
                                  .stem = "pictures",
                                  .source_path = before->path,
                                  .play_before = before->copy ? before->copy : before->path,
                                  .play_after = after->copy ? after->copy : after->path,
                                  .has_copy = before->copy != NULL,
                                  .copy_gain_db = gains_db[0],
                                  .source_channel_count = first->channel_count,
                                  .is_heard = true,
                                  .heard = &before->heard,
                                  .sheet = &sheet,
                                  .map = &map,
                                  .has_voice = true,
                                  .out_rate_hz = second->rate_hz,
                                  .out_channel_count = 1,
                                  .out_frames = second->frame_count,
                                  .gain_db = second->speech_dbfs - first->speech_dbfs,
                                  .after = {second->before, second->floor_dbfs, second->floor_dba, second->speech_dbfs},
                                  .voice_heard = &voice,
                                  .has_pictures = true,
                                  .comparison = &comparison,
                                  .narration_start_frame = -1,
                                  .time_reference_frames = -1};
    struct tt_session_report session = {.name = take.name,
                                        .source_folder = out,
                                        .out_folder = out,
                                        .settings = &settings,
                                        .takes = &take,
                                        .take_count = 1};
    struct tt_text text = {0};
    tt_settings_default(&settings);
    take.after.levels.integrated_lufs += gains_db[1]; /* as it is played */
    if (!isfinite(take.gain_db))
        take.gain_db = 0;
    const bool has_floor = after->heard.floor.node_count > 0;
    if (has_floor && !tt_chart_thirds(&after->heard, voice.thirds))
        return tt_fail_memory(err);
    for (int i = 0; !has_floor && i < TT_THIRDS; i++)
        voice.thirds[i] = NAN;
    bool ok = make_map(lags, before, after, &map, err) && list_missing(&map, first->frame_count, &sheet, err) &&
              tt_report_compare_page(&session, &take, &text, err);
    ok = ok && tt_file_write(page, text.data, text.length, err);
    tt_text_free(&text);
    free(sheet.rows);
    free(map.stretches);
    return ok;
}

/* ---- all ---- */

/* A comparison that was refused leaves no page: by this file its folder is known. */
static const char begun[] = ".comparison";

/* A folder is new, or holds nothing but what a comparison leaves (one that was refused, too): nothing of anybody else's
 * is written over. */
static bool is_free(const char *out, struct tt_error *err)
{
    static const char mark[] = "Written by tidytake", *const ours[] = {"index.html", "pictures", "sound"};
    char *page = tt_path_join(out, "index.html"), *text = NULL;
    size_t size, others = 0;
    bool is_empty = true, is_marked = false;
    DIR *folder = opendir(out);
    bool is_read = true;
    for (struct dirent *entry; folder && (is_read = tt_folder_next(folder, out, &entry, err)) && entry;) {
        bool is_known = entry->d_name[0] == '.';
        is_empty = is_empty && is_known;
        is_marked = is_marked || strcmp(entry->d_name, begun) == 0;
        for (size_t i = 0; i < sizeof ours / sizeof *ours; i++)
            is_known = is_known || strcmp(entry->d_name, ours[i]) == 0;
        others += !is_known;
    }
    if (folder)
        closedir(folder);
    bool is_ours = page && (tt_file_exists(page) ? tt_file_read(page, 1 << 26, &text, &size, NULL) && strstr(text, mark)
                                                 : is_empty || is_marked);
    free(text);
    free(page);
    return is_read && ((others == 0 && is_ours) ||
                       tt_fail(err, TT_ERROR_USAGE, "%s: holds other files; name a new or empty folder with -o", out));
}

/* One comparison at a time in a folder: the lock, -1 on failure, dies with its process. What one that was killed has
 * left goes; in a folder that was none of ours before nothing does. */
static int begin_in(const char *out, struct tt_error *err)
{
    char *path = tt_path_join(out, begun);
    const bool was_ours = path && tt_file_exists(path);
    int lock = -1;
    if (!path)
        tt_fail_memory(err);
    else if (tt_folder_make(out, err) && (lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0666)) < 0)
        tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", path);
    if (lock >= 0 && flock(lock, LOCK_EX | LOCK_NB) != 0 &&
        errno == EWOULDBLOCK) { /* other reasons: a file system without locks */
        tt_fail(err, TT_ERROR_OUTPUT, "%s: another comparison is working here; wait for it to end", out);
        close(lock);
        lock = -1;
    }
    if (lock >= 0 && was_ours)
        tt_leftovers_clear(out);
    free(path);
    return lock;
}

static bool say_fit(const struct side *before, const struct side *after, const struct tt_lags *lags, char *sentence,
                    size_t size, struct tt_error *err)
{
    const char *first = tt_path_name(before->path), *second = tt_path_name(after->path);
    if (lags->heard_s == 0)
        return tt_fail(err, TT_ERROR_INPUT, "%s: no speech was heard in it that could be compared", second);
    if (lags->count == 0 || (double)lags->found_s < least_found * (double)lags->heard_s)
        return tt_fail(err, TT_ERROR_INPUT,
                       "%s and %s do not belong together: of %zu seconds with speech in the second only %zu were found "
                       "in the first; both must hold the same reading, at the same speed",
                       first, second, lags->heard_s, lags->found_s);
    snprintf(sentence, size, "of %zu seconds with speech in %.80s, %zu were found in %.80s, in %zu piece%s",
             lags->heard_s, second, lags->found_s, first, lags->count, lags->count == 1 ? "" : "s");
    return true;
}

static bool compare(const struct tt_compare_request *request, const char *out, struct side sides[2],
                    struct tt_lags *lags, struct tt_compared *compared, struct tt_error *err)
{
    static const char *const names[] = {"before", "after"};
    double gains_db[2] = {0};
    for (int i = 0; i < 2; i++)
        if (!hear(request, out, &sides[i], err) || !read_moments(request, &sides[i], err))
            return false;
    if (!tt_lag_find(&sides[0].sound, &sides[1].sound, lags, err) ||
        !say_fit(&sides[0], &sides[1], lags, compared->sentence, sizeof compared->sentence, err))
        return false;
    for (int i = 0; i < 2; i++)
        if (!make_copy(request, out, names[i], &sides[i], &gains_db[i], err))
            return false;
    return show(out, &sides[0], &sides[1], gains_db, lags, compared->page, err);
}

bool tt_compare(const struct tt_compare_request *request, struct tt_compared *compared, struct tt_error *err)
{
    struct side sides[2] = {0};
    struct tt_lags lags = {0};
    *compared = (struct tt_compared){0};
    char *named = request->out ? tt_copy_string(request->out) : tt_format("%s.compare", request->after),
         *out = named ? tt_resolve_path(named, err) : NULL;
    bool ok = named ? out != NULL : tt_fail_memory(err);
    const int lock = ok && is_free(out, err) && find_sides(request, out, sides, err) ? begin_in(out, err) : -1;
    ok = lock >= 0 && ((compared->page = tt_path_join(out, "index.html")) || tt_fail_memory(err));
    ok = ok && compare(request, out, sides, &lags, compared, err);
    tt_lags_free(&lags);
    for (int i = 0; i < 2; i++) {
        if (sides[i].is_heard)
            tt_heard_close(&sides[i].heard);
        free((void *)(uintptr_t)sides[i].sound.samples);
        free(sides[i].path);
        free(sides[i].prefix);
        free(sides[i].copy);
    }
    if (!ok) {
        free(compared->page);
        compared->page = NULL;
    }
    if (lock >= 0)
        close(lock);
    free(named);
    free(out);
    return ok;
}
