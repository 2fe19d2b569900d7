/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Sound for the pages: where a browser cannot play a take or a voice as it lies, or where the pages are to work without
 * the takes ([report] media). */
#include <dirent.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "base/units.h"
#include "pipeline/hear.h"
#include "pipeline/play_copy.h"
#include "session/jobs.h"
#include "session/steps.h"

/* A name of a copy is made of what it holds: BEFORE and AFTER here, then as many digits of a digest. */
static const char before_name[] = "take-", after_name[] = "voice-", ending[] = ".flac";
enum { NAME_DIGITS = 12 };

/* RIFF counts its bytes in 32 bits; past that a voice is RF64, which no browser plays. Room for the chunks in front is
 * left. */
static bool is_rf64(const struct tt_run_state *run, const struct tt_take *take)
{
    static const double most_bytes = 4.29e9;
    const double bytes =
        (double)take->out_frames * take->out_channel_count * tt_bits_number(run->settings.deliver.bits) / 8;
    return run->settings.deliver.format == TT_CONTAINER_RF64 ||
           (run->settings.deliver.format == TT_CONTAINER_WAV && bytes > most_bytes);
}

static char *path_of(const struct tt_run_state *run, const struct tt_take *take, const char *name,
                     const struct tt_text *key)
{
    char digest[65];
    tt_sha256(key->data, key->length, digest);
    return tt_format("%s/report/%s/%s%.*s%s", run->out, take->file->stem, name, NAME_DIGITS, digest, ending);
}

/* ---- of a take ---- */

static const int64_t past_any_take_ms = INT64_C(1) << 40;

/* What a person who gets the page is not to hear: all that was said and is out, and of a part what lies outside it.
 * Pauses hold the room, and may stay. */
static bool silent_spans(const struct tt_take *take, struct tt_span **silent, size_t *count, struct tt_error *err)
{
    struct tt_span *cut = NULL, *all = NULL;
    size_t cut_count = 0;
    if (!tt_sheet_cut_spans(&take->sheet, &cut, &cut_count, err))
        return false;
    const int64_t from_ms = take->from_ms, to_ms = take->to_ms < 0 ? INT64_MAX : take->to_ms;
    *count = 0;
    if ((all = malloc((cut_count + 2) * sizeof *all))) {
        if (from_ms > 0)
            all[(*count)++] = (struct tt_span){0, from_ms};
        for (size_t i = 0; i < cut_count; i++) {
            struct tt_span span = {cut[i].start_ms > from_ms ? cut[i].start_ms : from_ms,
                                   cut[i].end_ms < to_ms ? cut[i].end_ms : to_ms};
            if (span.end_ms > span.start_ms)
                all[(*count)++] = span;
        }
        if (take->to_ms >= 0)
            all[(*count)++] = (struct tt_span){take->to_ms, past_any_take_ms};
    }
    free(cut);
    *silent = all;
    return all || tt_fail_memory(err);
}

static bool copy_take(struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    struct tt_work work = {.run = run, .take = take, .what = "copying for its page"};
    const struct tt_heard_facts *facts = &take->heard.facts;
    double over_db = fmax(0, facts->before.max_true_peak_dbtp);
    struct tt_play_copy copy = {.recording =
                                    tt_recording_as_heard(facts, take->file->path, take->more_paths, take->more_count),
                                .gain = tt_amplitude_from_db(-over_db),
                                .go_on = tt_work_goes_on,
                                .context = &work};
    struct tt_span *silent = NULL;
    if (run->settings.report.media == TT_MEDIA_COPY && !silent_spans(take, &silent, &copy.silent_count, err))
        return false;
    struct tt_text key = {0};
    tt_text_addf(&key, "1 %s %d %d %a %a", take->content_sha256, facts->channel, facts->safety_number,
                 facts->safety_gain, copy.gain);
    for (size_t i = 0; i < copy.silent_count; i++)
        tt_text_addf(&key, " %lld-%lld", (long long)silent[i].start_ms, (long long)silent[i].end_ms);
    take->before_copy = key.has_failed ? NULL : path_of(run, take, before_name, &key);
    take->copy_gain_db = -over_db;
    copy.silent = silent;
    copy.path = take->before_copy;
    bool ok = copy.path ? tt_file_exists(copy.path) || tt_play_copy_write(&copy, err) : tt_fail_memory(err);
    tt_text_free(&key);
    free(silent);
    return ok;
}

static bool copy_voice(struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    struct tt_work work = {.run = run, .take = take, .what = "copying for its page"};
    struct tt_play_copy copy = {
        .recording = {.path = take->voice_path}, .gain = 1, .go_on = tt_work_goes_on, .context = &work};
    struct tt_text key = {0};
    tt_text_addf(&key, "1 %s", take->render_key);
    take->after_copy = key.has_failed ? NULL : path_of(run, take, after_name, &key);
    copy.path = take->after_copy;
    bool ok = copy.path ? tt_file_exists(copy.path) || tt_play_copy_write(&copy, err) : tt_fail_memory(err);
    tt_text_free(&key);
    return ok;
}

/* ---- all ---- */

static bool is_copy_named(const char *name, const char *front)
{
    const size_t length = strlen(front);
    return strncmp(name, front, length) == 0 && strlen(name) == length + NAME_DIGITS + sizeof ending - 1 &&
           strcmp(name + length + NAME_DIGITS, ending) == 0;
}
static bool is_copy(const char *name) { return is_copy_named(name, before_name) || is_copy_named(name, after_name); }

static bool is_in_use(const char *copy, const char *name) { return copy && strcmp(tt_path_name(copy), name) == 0; }

/* Copies of an earlier sheet or setting go: one may hold what is not to be heard any more. */
static void remove_old(const struct tt_run_state *run, const struct tt_take *take)
{
    char *path = tt_format("%s/report/%s", run->out, take->file->stem);
    DIR *folder = path ? opendir(path) : NULL;
    for (struct dirent *entry; folder && (entry = readdir(folder));)
        if (is_copy(entry->d_name) && !is_in_use(take->before_copy, entry->d_name) &&
            !is_in_use(take->after_copy, entry->d_name))
            unlinkat(dirfd(folder), entry->d_name, 0);
    if (folder)
        closedir(folder);
    free(path);
}

/* What the pages play, for its report: NULL where a browser can play nothing. */
const char *tt_take_play_before(const struct tt_take *take)
{
    return take->before_copy ? take->before_copy : take->info.plays_in_browser ? take->file->path : NULL;
}
const char *tt_take_play_after(const struct tt_run_state *run, const struct tt_take *take)
{
    return !take->has_voice ? NULL : take->after_copy ? take->after_copy : is_rf64(run, take) ? NULL : take->voice_path;
}

static bool needs_copy(const struct tt_run_state *run, const struct tt_take *take)
{
    return run->settings.report.media != TT_MEDIA_LINK || !take->info.plays_in_browser;
}
static bool needs_voice_copy(const struct tt_run_state *run, const struct tt_take *take)
{
    return take->has_voice && is_rf64(run, take);
}

static void copy_sounds(void *context, size_t item)
{
    struct tt_run_state *run = context;
    struct tt_take *take = &run->takes[item];
    struct tt_error error = {0};
    bool ok = (!needs_copy(run, take) || copy_take(run, take, &error)) &&
              (!needs_voice_copy(run, take) || copy_voice(run, take, &error));
    if (!ok && error.kind == TT_ERROR_STOPPED) {
        tt_take_fail(run, take, &error);
        return;
    }
    if (!ok) { /* its voice is there all the same */
        tt_take_warn(take, "no-copy", NAN, "its page cannot play all of it: %s", error.message);
        tt_run_note(run, "%s: its page cannot play all of it: %s", take->file->name, error.message);
        free(take->before_copy);
        free(take->after_copy);
        take->before_copy = take->after_copy = NULL;
    }
    remove_old(run, take);
}

bool tt_session_copy_sounds(struct tt_run_state *run, struct tt_error *err)
{
    double *weights = calloc(run->take_count + 1, sizeof *weights);
    if (!weights)
        return tt_fail_memory(err);
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        if (run->options->is_plan)
            continue;
        if (run->settings.report.page && tt_take_is_decided(take) &&
            (needs_copy(run, take) || needs_voice_copy(run, take)))
            weights[i] = (double)take->heard.facts.frame_count + 1;
        else
            remove_old(run, take);
    }
    bool ok = tt_jobs_run(run->take_count, weights, run->options->jobs, copy_sounds, run, err);
    free(weights);
    return ok && (!atomic_load(&run->is_stopped) || tt_fail_stopped(err));
}
