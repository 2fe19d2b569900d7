/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The rule of `channel = auto`, on figures alone. */
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "audio/reader.h"
#include "base/units.h"

/* Common practice, no source: all of these. */
static const double silent_peak = 2.0 / 32768.0; /* no more than the dither of 16 bits */
static const double alike_db = 0.1;              /* two channels whose figures are this near hold the same sound */
static const double as_clear_db = 1.0;           /* below this, how far speech stands over the floor decides nothing */
static const double least_voice_db = 6.0; /* steady noise has its loudest tenth less than this over its quietest */
static const double safety_db = 15.0;     /* what a channel may be less clear and still stand in for one that clips */
/* Two tracks of one microphone agree but for their inputs' noise, 40 dB or more under speech; two microphones do not,
 * by metres of air. */
static const double least_sameness = 0.999;
static const double least_other_s = 1.0;                          /* a word or two may be a chair that creaked */
static const double safety_least_db = 3.0, safety_most_db = 40.0; /* recorders offer 6 to 20 dB */

static bool is_silent(const struct tt_channel_stats *stats)
{
    return stats->peak <= silent_peak || stats->active_rms <= 0.0;
}

/* How far the speech stands over the channel's own floor. */
static double clearness_db(const struct tt_channel_stats *stats)
{
    return stats->quiet_rms > 0.0 ? tt_db_from_amplitude(stats->active_rms / stats->quiet_rms) : 0.0;
}

static bool is_near(double a, double b)
{
    return a == b || (a > 0.0 && b > 0.0 && fabs(tt_db_from_amplitude(a / b)) <= alike_db);
}

static bool are_alike(const struct tt_channel_stats *stats, int channel_count)
{
    for (int c = 1; c < channel_count; c++)
        if (!is_near(stats[0].rms, stats[c].rms) || !is_near(stats[0].peak, stats[c].peak) ||
            !is_near(stats[0].active_rms, stats[c].active_rms) || !is_near(stats[0].quiet_rms, stats[c].quiet_rms))
            return false;
    return true;
}

static bool is_louder(const struct tt_channel_stats *a, const struct tt_channel_stats *b)
{
    return a->active_rms > b->active_rms && !is_near(a->active_rms, b->active_rms);
}

/* The clearest of those that are wanted; among equally clear ones the loudest, among equally loud ones the first. */
static int find_clearest(const struct tt_channel_stats *stats, int channel_count, double least_db,
                         bool is_unclipped_only)
{
    int best = -1;
    double top_db = -INFINITY;
    for (int c = 0; c < channel_count; c++) {
        if (!is_silent(&stats[c]) && (!is_unclipped_only || stats[c].clipped_frames == 0))
            top_db = fmax(top_db, clearness_db(&stats[c]));
    }
    for (int c = 0; c < channel_count; c++) {
        if (is_silent(&stats[c]) || (is_unclipped_only && stats[c].clipped_frames > 0))
            continue;
        double db = clearness_db(&stats[c]);
        if (db < top_db - as_clear_db || db < least_db)
            continue;
        if (best < 0 || is_louder(&stats[c], &stats[best]))
            best = c;
    }
    return best;
}

/* "left" and "right" of two, else "channel 3". */
static const char *name_of(int channel, int channel_count, char *buffer, size_t size)
{
    if (channel_count == 2)
        return channel == 0 ? "left" : "right";
    (void)snprintf(buffer, size, "channel %d", channel + 1);
    return buffer;
}

/* A channel that clips and would otherwise have done, -1: none. */
static int find_clipping_rival(const struct tt_channel_stats *stats, int channel_count, int chosen)
{
    const double own_db = clearness_db(&stats[chosen]);
    for (int c = 0; c < channel_count && stats[chosen].clipped_frames == 0; c++)
        if (stats[c].clipped_frames > 0 && clearness_db(&stats[c]) > own_db - safety_db)
            return c;
    return -1;
}

static void explain(struct tt_channel_choice *choice, const struct tt_channel_stats *stats, int channel_count)
{
    char buffer[32], rival_buffer[32];
    const int chosen = choice->channel, rival = find_clipping_rival(stats, channel_count, chosen);
    const char *name = name_of(chosen, channel_count, buffer, sizeof buffer);
    const char *rest = channel_count == 2 ? "the other one" : "the others";
    const double own_db = clearness_db(&stats[chosen]);
    double other_db = -INFINITY; /* of the clearest of the others; stays where all of them are silent */
    for (int c = 0; c < channel_count; c++)
        if (c != chosen && !is_silent(&stats[c]))
            other_db = fmax(other_db, clearness_db(&stats[c]));
    if (other_db == -INFINITY)
        (void)snprintf(choice->why, sizeof choice->why, "%s: %s %s silent", name, rest,
                       channel_count == 2 ? "is" : "are");
    else if (rival >= 0)
        (void)snprintf(choice->why, sizeof choice->why, "%s: %s clips", name,
                       name_of(rival, channel_count, rival_buffer, sizeof rival_buffer));
    else if (own_db - other_db > as_clear_db)
        (void)snprintf(choice->why, sizeof choice->why,
                       "%s: the voice stands %.0f dB over the noise there, on %s %s%.0f dB", name, own_db, rest,
                       channel_count == 2 ? "" : "at most ", other_db);
    else
        (void)snprintf(choice->why, sizeof choice->why, "%s: as clear as %s, and not weaker", name, rest);
}

/* Whether the channel `low` holds what `loud` holds, some dB lower; the gain between them. */
static bool is_safety_of(const struct tt_channel_stats *stats, int loud, int low, double *gain)
{
    if (loud >= TT_PAIRED_CHANNELS || low >= TT_PAIRED_CHANNELS || loud == low)
        return false;
    const double own = stats[loud].product[loud], other = stats[low].product[low], both = stats[loud].product[low];
    if (!(own > 0.0) || !(other > 0.0) || both < least_sameness * sqrt(own * other))
        return false;
    if (clearness_db(&stats[loud]) < clearness_db(&stats[low]) - as_clear_db)
        return false; /* the lower one would be the better microphone */
    *gain = both / other;
    const double db = tt_db_from_amplitude(*gain);
    return db >= safety_least_db && db <= safety_most_db;
}

/* A recorder's second, lower track of one microphone: the louder one is the voice, the other waits for where that
 * clips. */
static void find_safety(struct tt_channel_choice *choice, const struct tt_channel_stats *stats, int channel_count)
{
    double gain = 1.0;
    int loud = choice->channel, low = -1;
    for (int c = 0; c < channel_count && low < 0; c++)
        if (is_safety_of(stats, c, choice->channel, &gain)) {
            loud = c;
            low = choice->channel;
        }
    for (int c = 0; c < channel_count && low < 0; c++)
        if (is_safety_of(stats, choice->channel, c, &gain))
            low = c;
    if (low < 0)
        return;
    char buffer[32], low_buffer[32];
    *choice = (struct tt_channel_choice){.channel = loud, .safety_number = low + 1, .safety_gain = gain};
    const char *name = name_of(loud, channel_count, buffer, sizeof buffer);
    (void)snprintf(choice->why, sizeof choice->why, "%s: %s holds the same %.0f dB lower, and is heard where %s clips",
                   name, name_of(low, channel_count, low_buffer, sizeof low_buffer), tt_db_from_amplitude(gain), name);
}

/* Somebody else speaks into it, and for less time than the narrator: of two that each carry a voice of their own the
 * one with more of it is the narrator's. */
static bool is_listeners(const struct tt_channel_stats *stats, int channel, int narrator)
{
    const double its_s = stats[channel].other_voice_s[narrator], narrators_s = stats[narrator].other_voice_s[channel];
    return its_s >= least_other_s && (narrators_s < least_other_s || narrators_s > its_s);
}

/* The channel that carries most of somebody else's speech beside the chosen one. */
static void find_listener(struct tt_channel_choice *choice, const struct tt_channel_stats *stats, int channel_count)
{
    const int paired = channel_count < TT_PAIRED_CHANNELS ? channel_count : TT_PAIRED_CHANNELS;
    int found = -1;
    for (int c = 0; c < paired && choice->channel < paired; c++)
        if (c != choice->channel && is_listeners(stats, c, choice->channel) &&
            (found < 0 || stats[c].other_voice_s[choice->channel] > stats[found].other_voice_s[choice->channel]))
            found = c;
    if (found < 0)
        return;
    char buffer[32], own_buffer[32], before[sizeof choice->why];
    choice->listener_number = found + 1;
    /* What was said of the others left this one out. */
    (void)snprintf(before, sizeof before, "%s",
                   choice->safety_number > 0 ? choice->why
                                             : name_of(choice->channel, channel_count, own_buffer, sizeof own_buffer));
    (void)snprintf(choice->why, sizeof choice->why,
                   "%.100s; on %.12s somebody else speaks for %d s: not heard, it tells talk from lines", before,
                   name_of(found, channel_count, buffer, sizeof buffer),
                   (int)fmin(stats[found].other_voice_s[choice->channel] + 0.5, 1e6));
}

/* Channels of somebody else are none that the voice could be in. */
static void leave_out_listeners(struct tt_channel_stats *stats, const struct tt_channel_stats *all, int channel_count)
{
    const int paired = channel_count < TT_PAIRED_CHANNELS ? channel_count : TT_PAIRED_CHANNELS;
    for (int c = 0; c < paired; c++)
        for (int narrator = 0; narrator < paired; narrator++)
            if (c != narrator && is_listeners(all, c, narrator) && clearness_db(&all[narrator]) >= least_voice_db)
                stats[c] = (struct tt_channel_stats){0};
}

static struct tt_channel_choice choose(const struct tt_channel_stats *stats, int channel_count)
{
    struct tt_channel_choice choice = {.why = "one channel"};
    if (channel_count <= 1)
        return choice;
    const int clearest = find_clearest(stats, channel_count, -INFINITY, false);
    if (clearest < 0) {
        (void)snprintf(choice.why, sizeof choice.why, "the first: all channels are silent");
        return choice;
    }
    if (are_alike(stats, channel_count)) {
        (void)snprintf(choice.why, sizeof choice.why, "the first: all channels are alike");
        return choice;
    }
    choice.channel = clearest;
    if (stats[clearest].clipped_frames > 0) {
        /* A channel that holds no voice does not clip either: it has to be clear enough to stand in. */
        double least_db = fmax(least_voice_db, clearness_db(&stats[clearest]) - safety_db);
        int unclipped = find_clearest(stats, channel_count, least_db, true);
        if (unclipped >= 0)
            choice.channel = unclipped;
    }
    explain(&choice, stats, channel_count);
    find_safety(&choice, stats, channel_count);
    return choice;
}

struct tt_channel_choice tt_channel_choose(const struct tt_channel_stats *stats, int channel_count)
{
    struct tt_channel_stats left[TT_MOST_CHANNELS];
    memcpy(left, stats, sizeof *left * (size_t)(channel_count < 1 ? 1 : channel_count));
    leave_out_listeners(left, stats, channel_count);
    struct tt_channel_choice choice = choose(left, channel_count);
    find_listener(&choice, stats, channel_count);
    return choice;
}
