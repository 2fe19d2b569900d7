/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/space.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <sys/stat.h>
#include <sys/statvfs.h>
#ifdef __linux__
#include <sys/sysmacros.h>
#endif

#include "base/file.h"
#include "base/text.h"
#include "pipeline/render.h"
#include "session/jobs.h"

/* What was heard, pages and pictures, a second of sound: 4.2 kB measured for hours of speech, 6 kB for a restless room.
 */
static const double beside_bytes_per_s = 8000;

static double sample_bytes(const struct tt_settings *settings)
{
    return tt_bits_number(settings->deliver.bits) / 8.0 * (settings->deliver.channels == TT_CHANNELS_DUAL ? 2 : 1);
}

static bool is_wanted(const struct tt_take *take)
{
    return take->is_used && take->is_ours && !take->has_failed && take->info.rate_hz > 0;
}

static double seconds_of(const struct tt_take *take)
{
    double end_s = take->to_ms < 0 ? (double)take->info.frame_count / take->info.rate_hz : (double)take->to_ms / 1000;
    return end_s - (double)take->from_ms / 1000;
}

/* What is rendered again takes the place of what is there. */
static double more_than_there_is(double bytes, const char *path)
{
    struct stat status;
    return path && stat(path, &status) == 0 && S_ISREG(status.st_mode) ? fmax(0, bytes - (double)status.st_size)
                                                                       : bytes;
}

double tt_space_needed(const struct tt_run_state *run)
{
    const struct tt_settings *settings = &run->settings;
    double bytes = 0, longest_s = 0, all_s = 0;
    int most_hz = 0, rendered = 0;
    for (size_t i = 0; i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        if (!is_wanted(take))
            continue;
        const double seconds = seconds_of(take);
        const int rate_hz = tt_delivery_rate_hz(settings, take->info.rate_hz);
        bytes += seconds * beside_bytes_per_s;
        rendered++;
        if (!run->options->is_plan) {
            const double voice = seconds * rate_hz * sample_bytes(settings);
            bytes += more_than_there_is(voice, take->voice_path) +
                     (settings->deliver.whole ? more_than_there_is(voice, take->whole_path) : 0);
            if (settings->report.page && (settings->report.media != TT_MEDIA_LINK || !take->info.plays_in_browser))
                bytes += (double)take->info.frame_count * 2; /* 16 bits at most */
        }
        if (take->piece[0] && !run->options->is_plan)
            bytes += seconds * rate_hz * sample_bytes(settings);
        longest_s = seconds > longest_s ? seconds : longest_s;
        most_hz = rate_hz > most_hz ? rate_hz : most_hz;
        all_s += seconds;
    }
    if (run->options->is_plan)
        return bytes;
    /* While takes are rendered each may lie in an unlinked file of floats; narrations are written beside the one that
     * they replace. */
    int jobs = run->options->jobs > 0 ? run->options->jobs : tt_processor_count();
    jobs = jobs < rendered ? jobs : rendered;
    bytes += jobs * longest_s * most_hz * (double)sizeof(float) * (settings->deliver.whole ? 2 : 1);
    return bytes + (settings->deliver.narration ? all_s * most_hz * sample_bytes(settings) : 0);
}

/* A run over takes that have their voices needs next to nothing. */
static bool has_all(const struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++)
        if (is_wanted(&run->takes[i]) && (!tt_file_exists(run->takes[i].heard_path) ||
                                          (!run->options->is_plan && !tt_file_exists(run->takes[i].voice_path))))
            return false;
    return !run->options->is_again;
}

/* What is needed is rounded up and what is free down, lest the two read alike. */
static void size_text(double bytes, double (*round_to)(double), char text[32])
{
    if (bytes < 10e6)
        snprintf(text, 32, "%.0f kB", round_to(bytes / 1e3));
    else if (bytes < 1e9)
        snprintf(text, 32, "%.0f MB", round_to(bytes / 1e6));
    else
        snprintf(text, 32, "%.1f GB", round_to(bytes / 1e8) / 10);
}

bool tt_space_is_enough(const char *place, double needed_bytes, double free_bytes, struct tt_error *err)
{
    char need[32], have[32];
    if (needed_bytes <= free_bytes)
        return true;
    size_text(needed_bytes, ceil, need);
    size_text(free_bytes, floor, have);
    return tt_fail(err, TT_ERROR_OUTPUT,
                   "%s: this session needs up to %s there, and %s are free; make room, or name another place with -o",
                   place, need, have);
}

bool tt_space_is_removable(const char *folder, const char *sysfs)
{
    struct stat status;
    bool is_removable = false;
#ifdef __linux__
    /* A partition has no such file; its disk, one up, has. */
    static const char *const places[] = {"removable", "../removable"};
    if (stat(folder, &status) != 0)
        return false;
    for (size_t i = 0; i < sizeof places / sizeof *places; i++) {
        char *path = tt_format("%s/dev/block/%u:%u/%s", sysfs, major(status.st_dev), minor(status.st_dev), places[i]);
        FILE *file = path ? fopen(path, "r") : NULL;
        if (file) {
            is_removable = is_removable || fgetc(file) == '1';
            fclose(file);
        }
        free(path);
    }
#else
    (void)status, (void)folder, (void)sysfs;
#endif
    return is_removable;
}

void tt_session_check_medium(struct tt_run_state *run, const char *sysfs)
{
    struct stat in, out;
    if (stat(run->list.folder, &in) == 0 && stat(run->out, &out) == 0 && in.st_dev == out.st_dev &&
        tt_space_is_removable(run->out, sysfs))
        tt_run_warn(run, "same-medium",
                    "the results lie on the same removable medium as the recordings: copy the recordings to a second "
                    "place before you go on");
}

bool tt_session_check_space(struct tt_run_state *run, struct tt_error *err)
{
    struct statvfs place;
    if (has_all(run) || statvfs(run->out, &place) != 0)
        return true;
    return tt_space_is_enough(run->out, tt_space_needed(run), (double)place.f_bavail * (double)place.f_frsize, err);
}
