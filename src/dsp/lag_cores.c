/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Stretches of the second sound that lie at one lag: first by long blocks, which are told apart surely in hours of
 * sound, then by short ones in the holes that these leave, between what surrounds them. */
#include <math.h>
#include <stdlib.h>

#include "base/grow.h"
#include "dsp/lag_parts.h"

/* Frames: blocks of 6 s and, in holes, of 1.5 s. */
enum { LONG_BLOCK = 600, LONG_HOP = 300, SHORT_BLOCK = 150, SHORT_HOP = 50, LEAST_BLOCK = 60 };
enum { WINDOW = 25 }; /* 250 ms: a syllable */
static const double same_samples =
    1; /* 0.25 ms: clocks drift by less within a piece; the next piece takes the rest up */
static const double least_alike = 0.2; /* see lag_verify.c */

/* ---- how far a place reaches ---- */

/* Correlation of the steps of some frames at a lag; quiet ones are alike to anything. */
static bool is_alike(const struct lag_finder *finder, size_t frame, double lag)
{
    double own = 0, other = 0, both = 0, strong = 0;
    const long by = lround(lag);
    for (size_t i = 0; i < WINDOW * LAG_FRAME; i++) {
        long here = (long)(frame * LAG_FRAME + i), there = here + by;
        if (here < 1 || there == 0 || here >= (long)finder->after->count)
            continue;
        if (there < 0 || there >= (long)finder->before->count)
            return false;
        double a = finder->after->samples[here] - finder->after->samples[here - 1],
               b = finder->before->samples[there] - finder->before->samples[there - 1];
        own += a * a, other += b * b, both += a * b;
    }
    for (size_t i = frame; i < frame + WINDOW && i < finder->second->frames; i++)
        strong = fmax(strong, (double)finder->second->values[0][i]);
    return strong < LAG_HEARD_DB || both * both > least_alike * least_alike * own * other;
}

/* From a certain place on, window by window, as long as both are alike; one window that is not counts for nothing when
 * the next is. */
static size_t reach_on(const struct lag_finder *finder, size_t frame, size_t most, double lag)
{
    while (frame < most) {
        if (is_alike(finder, frame, lag))
            frame += WINDOW;
        else if (frame + WINDOW < most && is_alike(finder, frame + WINDOW, lag))
            frame += 2 * WINDOW;
        else
            break;
    }
    return frame < most ? frame : most;
}

static size_t reach_back(const struct lag_finder *finder, size_t frame, size_t least, double lag)
{
    while (frame >= least + WINDOW) {
        if (is_alike(finder, frame - WINDOW, lag))
            frame -= WINDOW;
        else if (frame >= least + 2 * WINDOW && is_alike(finder, frame - 2 * WINDOW, lag))
            frame -= 2 * WINDOW;
        else
            break;
    }
    return frame < least + WINDOW && is_alike(finder, least, lag) ? least : frame;
}

static bool add_core(struct lag_cores *cores, const struct lag_core *core)
{
    struct lag_core *all = tt_grow(cores->all, cores->count, &cores->capacity, sizeof *all, NULL);
    if (!all)
        return false;
    cores->all = all;
    cores->all[cores->count++] = *core;
    return true;
}

/* ---- searching a part ---- */

/* A part of both sounds, in frames. */
struct part {
    size_t after_start, after_end, before_start, before_end;
};

/* The window of a block that is most like the other sound: where its place is certain. */
static size_t certain_window(const struct lag_finder *finder, size_t frame, size_t length, double lag)
{
    size_t best = frame + length / 2, run = 0, longest = 0;
    for (size_t at = frame; at + WINDOW <= frame + length; at += WINDOW) {
        run = is_alike(finder, at, lag) ? run + 1 : 0;
        if (run > longest)
            longest = run, best = at - (run - 1) / 2 * WINDOW;
    }
    return best;
}

/* Steps of one lag, or nearly, are one core. */
static bool gather_cores(struct lag_finder *finder, const struct part *part, const struct lag_block *blocks,
                         const struct lag_step *path, size_t length, size_t block_length)
{
    for (size_t i = 0, next; i < length; i = next) {
        struct lag_core core = {.lag =
                                    path[i].lag + ((double)part->before_start - (double)part->after_start) * LAG_FRAME};
        for (next = i + 1; next < length && fabs(path[next].lag - path[i].lag) <= same_samples &&
                           path[next].block - path[next - 1].block <= 2;
             next++) {
        }
        double sum = 0;
        for (size_t k = i; k < next; k++) {
            const struct lag_candidate *candidate = &blocks[path[k].block].candidates[path[k].candidate];
            sum += candidate->likeness;
            core.is_turned = candidate->is_turned;
        }
        core.likeness = sum / (double)(next - i);
        core.certain_start =
            certain_window(finder, part->after_start + blocks[path[i].block].frame, block_length, core.lag);
        core.certain_end = next == i + 1
                               ? core.certain_start
                               : certain_window(finder, part->after_start + blocks[path[next - 1].block].frame,
                                                block_length, core.lag);
        core.start = reach_back(finder, core.certain_start, part->after_start, core.lag);
        core.end = reach_on(finder, core.certain_end, part->after_end, core.lag);
        if (core.end > core.start && !add_core(&finder->cores, &core))
            return false;
    }
    return true;
}

static struct lag_envelope view_of(const struct lag_envelope *envelope, size_t start, size_t end)
{
    struct lag_envelope view = {.frames = end - start};
    for (int f = 0; f < LAG_FEATURES; f++)
        view.values[f] = envelope->values[f] + start;
    return view;
}

static bool search(struct lag_finder *finder, const struct part *part, size_t length, size_t hop)
{
    size_t after_frames = part->after_end - part->after_start, before_frames = part->before_end - part->before_start;
    if (length > after_frames)
        length = after_frames;
    if (length > before_frames)
        length = before_frames;
    if (length < LEAST_BLOCK)
        return true;
    const struct lag_envelope first = view_of(finder->first, part->before_start, part->before_end),
                              second = view_of(finder->second, part->after_start, part->after_end);
    const struct tt_lag_sound before = {finder->before->samples + part->before_start * LAG_FRAME,
                                        before_frames * LAG_FRAME};
    const struct tt_lag_sound after = {finder->after->samples + part->after_start * LAG_FRAME,
                                       after_frames * LAG_FRAME};
    size_t count = (after_frames - length) / hop + 1, path_length = 0;
    struct lag_block *blocks = calloc(count, sizeof *blocks);
    for (size_t i = 0; blocks && i < count; i++)
        blocks[i].frame = i * hop;
    bool ok = blocks && lag_propose(&first, &second, length, blocks, count) &&
              lag_verify(&before, &after, length, blocks, count);
    struct lag_step *path = ok ? lag_path_find(blocks, count, &path_length) : NULL;
    ok = path && gather_cores(finder, part, blocks, path, path_length, length);
    free(path);
    free(blocks);
    return ok;
}

static int by_start(const void *a, const void *b)
{
    const struct lag_core *left = a, *right = b;
    return left->certain_start < right->certain_start ? -1 : left->certain_start > right->certain_start;
}

static size_t in_before(const struct lag_finder *finder, size_t frame, double lag)
{
    double there = (double)frame + lag / LAG_FRAME;
    return there < 0 ? 0 : there > (double)finder->first->frames ? finder->first->frames : (size_t)there;
}

/* What lies between two cores of the second sound can only lie between them in the first. */
static bool search_holes(struct lag_finder *finder)
{
    size_t count = finder->cores.count;
    bool ok = true;
    for (size_t i = 0; ok && i <= count; i++) {
        const struct lag_core *left = i > 0 ? &finder->cores.all[i - 1] : NULL,
                              *right = i < count ? &finder->cores.all[i] : NULL;
        struct part hole = {left ? left->end : 0, right ? right->start : finder->second->frames,
                            left ? in_before(finder, left->end, left->lag) : 0,
                            right ? in_before(finder, right->start, right->lag) : finder->first->frames};
        if (hole.after_end < hole.after_start + LEAST_BLOCK || hole.before_end < hole.before_start + LEAST_BLOCK)
            continue;
        /* A core may reach a syllable too far into another place that happens to go on alike. */
        if (left && hole.after_start >= WINDOW && hole.before_start >= WINDOW)
            hole.after_start -= WINDOW, hole.before_start -= WINDOW;
        ok = search(finder, &hole, SHORT_BLOCK, SHORT_HOP);
    }
    if (finder->cores.count > 0)
        qsort(finder->cores.all, finder->cores.count, sizeof *finder->cores.all, by_start);
    return ok;
}

bool lag_cores_find(struct lag_finder *finder)
{
    const struct part all = {0, finder->second->frames, 0, finder->first->frames};
    return search(finder, &all, LONG_BLOCK, LONG_HOP) && search_holes(finder);
}
