/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Positions here are "net": samples from the pause's start, without those that are cut anyway. */
#include "sheet/pause_trim.h"

#include "base/least.h"

/* No pause of a narrator holds so many; only a sheet made to be slow does. */
enum { SOUNDS_TRIED_MOST = 64 };

static int64_t to_net(const struct pause *pause, int64_t at)
{
    at = tt_most(pause->part.start, tt_least(at, pause->part.end));
    int64_t net = at - pause->part.start;
    for (size_t i = 0; i < pause->cut_count; i++) {
        int64_t start = tt_most(pause->cuts[i].start, pause->part.start), end = tt_least(pause->cuts[i].end, at);
        if (end > start)
            net -= end - start;
    }
    return net;
}

/* Where a net position lies; behind a cut that is there. */
static int64_t from_net(const struct pause *pause, int64_t net)
{
    int64_t at = pause->part.start + net;
    for (size_t i = 0; i < pause->cut_count; i++) {
        int64_t start = tt_most(pause->cuts[i].start, pause->part.start),
                end = tt_least(pause->cuts[i].end, pause->part.end);
        if (end > start && start <= at)
            at += end - start;
    }
    return at;
}

/* The i-th sound, as far as it is in the pause and not cut. */
static bool sound_in(const struct pause *pause, size_t i, struct part *net)
{
    const struct part *part = &pause->sounds[i].part;
    if (part->end <= pause->part.start || part->start >= pause->part.end)
        return false;
    *net = (struct part){to_net(pause, part->start), to_net(pause, part->end)};
    return net->end > net->start;
}

/* The sound that a position is strictly inside of, or sound_count. */
static size_t sound_around(const struct pause *pause, int64_t at, struct part *net)
{
    for (size_t i = 0; i < pause->sound_count; i++)
        if (sound_in(pause, i, net) && net->start < at && at < net->end)
            return i;
    return pause->sound_count;
}

/* The breath that belongs to the next line: the last sound of the pause. */
static size_t last_breath(const struct pause *pause)
{
    size_t last = pause->sound_count;
    struct part net;
    int64_t last_end = 0;
    for (size_t i = 0; i < pause->sound_count; i++)
        if (sound_in(pause, i, &net) && net.end > last_end) {
            last = i;
            last_end = net.end;
        }
    return last < pause->sound_count && pause->sounds[last].is_breath && !pause->is_tail ? last : pause->sound_count;
}

/* Moves an end back until it splits no sound and no firm sound lies in [start, end). */
static int64_t settle_end(const struct pause *pause, int64_t start, int64_t end)
{
    struct part net;
    for (size_t i = 0; i < pause->sound_count; i++)
        if (pause->sounds[i].is_firm && sound_in(pause, i, &net) && net.end > start && net.start < end)
            end = net.start;
    while (sound_around(pause, end, &net) < pause->sound_count)
        end = net.start;
    return end;
}

static int64_t settle_start(const struct pause *pause, int64_t start, int64_t end)
{
    struct part net;
    for (size_t i = pause->sound_count; i-- > 0;)
        if (pause->sounds[i].is_firm && sound_in(pause, i, &net) && net.end > start && net.start < end)
            start = net.end;
    while (sound_around(pause, start, &net) < pause->sound_count)
        start = net.end;
    return start;
}

struct choice {
    struct part part;
    int64_t worth, off_middle;
};

/* The best that begins at start. */
static void try_start(const struct pause *pause, int64_t start, struct part limits, int64_t asked, struct choice *best)
{
    struct part net;
    int64_t middle = limits.start + limits.end; /* twice, as are the sums below */
    start = tt_most(limits.start, start);
    if (start >= limits.end || sound_around(pause, start, &net) < pause->sound_count)
        return;
    int64_t end = settle_end(pause, start, tt_least(start + asked, limits.end));
    if (end <= start)
        return;
    struct choice choice = {{start, end}, end - start, tt_most(start + end - middle, middle - start - end)};
    size_t breath = last_breath(pause);
    if (breath < pause->sound_count && sound_in(pause, breath, &net) && net.start < end && net.end > start)
        choice.worth -= pause->breath_worth_samples;
    if (choice.worth > best->worth || (choice.worth == best->worth && choice.off_middle < best->off_middle))
        *best = choice;
}

static struct choice trim_within(const struct pause *pause, struct part limits, int64_t length, int64_t asked)
{
    struct part net;
    struct choice best = {{0, 0}, INT64_MIN, 0};
    try_start(pause, (length - asked) / 2, limits, asked, &best);
    try_start(pause, limits.start, limits, asked, &best);
    try_start(pause, limits.end - asked, limits, asked, &best);
    for (size_t i = 0; i < pause->sound_count && i < SOUNDS_TRIED_MOST; i++) {
        if (!sound_in(pause, i, &net))
            continue;
        try_start(pause, net.start, limits, asked, &best);
        try_start(pause, net.end, limits, asked, &best);
        try_start(pause, net.start - asked, limits, asked, &best);
        try_start(pause, net.end - asked, limits, asked, &best);
    }
    return best;
}

/* The breath of the next line may lie so near to that line that it stays whole in any case, and so long that too much
 * stays with it. Then it goes whole, where what stays comes nearer to what is asked. */
static struct part or_without_breath(const struct pause *pause, int64_t before, int64_t asked, struct part kept)
{
    struct part net;
    size_t breath = last_breath(pause);
    int64_t too_little = asked - (kept.end - kept.start);
    if (too_little <= pause->breath_worth_samples || breath == pause->sound_count || pause->sounds[breath].is_firm ||
        !sound_in(pause, breath, &net))
        return kept;
    int64_t start = settle_start(pause, tt_most(before, tt_least(net.start, net.end - asked)), net.end);
    int64_t off = net.end - start - asked;
    return start <= net.start && off <= too_little && -off <= too_little ? (struct part){start, net.end} : kept;
}

/* A sound that leaves too little room gets more of the margin behind the word before; that of the next word's weak
 * beginning stays, but in front of a breath that is too long. */
static struct part trim_middle(const struct pause *pause, int64_t length, int64_t asked)
{
    int64_t before = tt_least(pause->margin_before_samples, pause->stay_samples / 2),
            after = tt_least(pause->margin_after_samples, pause->stay_samples / 2);
    struct choice best = trim_within(pause, (struct part){before, length - after}, length, asked);
    if (best.worth >= asked)
        return best.part;
    before = tt_least(before, pause->margin_least_samples);
    struct choice closer = trim_within(pause, (struct part){before, length - after}, length, asked);
    return or_without_breath(pause, before, asked, closer.worth > best.worth ? closer.part : best.part);
}

static struct part trim_head(const struct pause *pause, int64_t length, int64_t asked)
{
    struct part net;
    int64_t end = asked, spare = tt_least(pause->margin_after_samples, pause->stay_samples);
    size_t around = sound_around(pause, end, &net);
    bool is_spared = around == last_breath(pause) && end - net.start <= pause->breath_worth_samples;
    if (around < pause->sound_count && !is_spared && length - net.end >= spare)
        end = net.end;
    return (struct part){0, settle_end(pause, 0, end)};
}

static struct part trim_tail(const struct pause *pause, int64_t length, int64_t asked)
{
    struct part net;
    int64_t start = length - asked, spare = tt_least(pause->margin_before_samples, pause->stay_samples);
    if (sound_around(pause, start, &net) < pause->sound_count && net.start >= spare)
        start = net.start;
    return (struct part){settle_start(pause, start, length), length};
}

bool pause_trim(const struct pause *pause, struct part *gone)
{
    int64_t length = to_net(pause, pause->part.end), asked = length - pause->stay_samples;
    *gone = (struct part){0, 0};
    if (asked <= 0)
        return false;
    struct part net = pause->is_head   ? trim_head(pause, length, asked)
                      : pause->is_tail ? trim_tail(pause, length, asked)
                                       : trim_middle(pause, length, asked);
    if (net.end <= net.start)
        return false;
    *gone = (struct part){from_net(pause, net.start), from_net(pause, net.end)};
    return true;
}
