/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A path through the places that were found, forward in both sounds, and the pieces along it: first by long blocks,
 * which are told apart surely in hours of sound, then by short ones in the holes that these leave, between what
 * surrounds them. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "dsp/lag_parts.h"

/* Frames: blocks of 6 s and, in holes, of 1.5 s; a path may leave out so many blocks. */
enum {
    LONG_BLOCK = 600,
    LONG_HOP = 300,
    SHORT_BLOCK = 150,
    SHORT_HOP = 50,
    LEAST_BLOCK = 60,
    LEAST_FRAMES = 100,
    LOOK_BACK = 60
};
enum { WINDOW = 25, SECOND = 100 };   /* 250 ms: a syllable */
static const double jump_cost = 0.05; /* of likeness, so that a path does not wander between two equal places */
static const double same_samples =
    1; /* 0.25 ms: clocks drift by less within a piece; the next piece takes the rest up */
static const double drift_samples = 8;                /* 2 ms from block to block: more is a cut */
static const double heard_db = 10, least_alike = 0.2; /* over the room; see lag_verify.c */

/* ---- path ---- */

struct step {
    size_t block, candidate;
    double score, lag;
    long from;
}; /* lag: in samples */

/* Whether one may follow the other: what was read is never played backwards. */
static bool goes_forward(const struct lag_block *blocks, const struct step *first, const struct step *second)
{
    double apart = ((double)blocks[second->block].frame - (double)blocks[first->block].frame) * LAG_FRAME;
    return apart > 0 && second->lag - first->lag > -apart;
}

/* The best path's steps, in order; NULL without memory. */
static struct step *find_path(const struct lag_block *blocks, size_t count, size_t *length)
{
    struct step *steps = calloc(count * LAG_CANDIDATES + 1, sizeof *steps), *path = calloc(count + 1, sizeof *path);
    size_t made = 0;
    long best = -1;
    for (size_t i = 0; steps && path && i < count; i++)
        for (size_t k = 0; k < (size_t)blocks[i].count; k++) {
            if (blocks[i].candidates[k].likeness <= 0)
                continue;
            struct step step = {i, k, 0, blocks[i].candidates[k].lag, -1};
            for (size_t p = made; p-- > 0 && i - steps[p].block <= LOOK_BACK;) {
                double score = steps[p].score - (fabs(steps[p].lag - step.lag) > drift_samples ? jump_cost : 0);
                if (score > step.score && goes_forward(blocks, &steps[p], &step))
                    step.score = score, step.from = (long)p;
            }
            step.score += blocks[i].candidates[k].likeness;
            steps[made] = step;
            if (best < 0 || step.score > steps[best].score)
                best = (long)made;
            made++;
        }
    *length = 0;
    for (long at = best; steps && path && at >= 0; at = steps[at].from)
        path[(*length)++] = steps[at];
    for (size_t i = 0; i < *length / 2; i++) {
        struct step turned = path[i];
        path[i] = path[*length - 1 - i];
        path[*length - 1 - i] = turned;
    }
    free(steps);
    if (steps)
        return path;
    free(path);
    return NULL;
}

static int by_size(const void *a, const void *b)
{
    double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

/* A tone that goes on lets the place of a block waver by parts of a millisecond: the middle one of its neighbours' is
 * the better guess. */
static bool smooth(struct step *path, size_t length)
{
    enum { SIDE = 2 };
    double *raw = calloc(length + 1, sizeof *raw);
    for (size_t i = 0; raw && i < length; i++)
        raw[i] = path[i].lag;
    for (size_t i = 0; raw && i < length; i++) {
        double near[2 * SIDE + 1];
        size_t count = 0;
        for (size_t k = i < SIDE ? 0 : i - SIDE; k <= i + SIDE && k < length; k++)
            if (fabs(raw[k] - raw[i]) <= drift_samples)
                near[count++] = raw[k];
        qsort(near, count, sizeof *near, by_size);
        path[i].lag = count % 2 ? near[count / 2] : (near[count / 2 - 1] + near[count / 2]) / 2;
    }
    free(raw);
    return raw != NULL;
}

/* ---- how far a place reaches ---- */

/* A stretch of the second sound, in frames, that lies at one lag; certain: the middle of the blocks that said so. */
struct core {
    size_t start, end, certain_start, certain_end;
    double lag, likeness;
    bool is_turned;
};
struct cores {
    struct core *all;
    size_t count, capacity;
};

struct finder {
    const struct tt_lag_sound *before, *after;
    const struct lag_envelope *first, *second;
    struct cores cores;
};

/* Correlation of the steps of some frames at a lag; quiet ones are alike to anything. */
static bool is_alike(const struct finder *finder, size_t frame, double lag)
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
    return strong < heard_db || both * both > least_alike * least_alike * own * other;
}

/* From a certain place on, window by window, as long as both are alike; one window that is not counts for nothing when
 * the next is. */
static size_t reach_on(const struct finder *finder, size_t frame, size_t most, double lag)
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

static size_t reach_back(const struct finder *finder, size_t frame, size_t least, double lag)
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

static bool add_core(struct cores *cores, const struct core *core)
{
    if (cores->count == cores->capacity) {
        size_t more = 2 * cores->capacity + 16;
        struct core *bigger = realloc(cores->all, more * sizeof *bigger);
        if (!bigger)
            return false;
        cores->all = bigger;
        cores->capacity = more;
    }
    cores->all[cores->count++] = *core;
    return true;
}

/* ---- searching a part ---- */

/* A part of both sounds, in frames. */
struct part {
    size_t after_start, after_end, before_start, before_end;
};

/* The window of a block that is most like the other sound: where its place is certain. */
static size_t certain_window(const struct finder *finder, size_t frame, size_t length, double lag)
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
static bool gather_cores(struct finder *finder, const struct part *part, const struct lag_block *blocks,
                         const struct step *path, size_t length, size_t block_length)
{
    for (size_t i = 0, next; i < length; i = next) {
        struct core core = {.lag = path[i].lag + ((double)part->before_start - (double)part->after_start) * LAG_FRAME};
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

static bool search(struct finder *finder, const struct part *part, size_t length, size_t hop)
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
    struct step *path = ok ? find_path(blocks, count, &path_length) : NULL;
    ok = path && smooth(path, path_length) && gather_cores(finder, part, blocks, path, path_length, length);
    free(path);
    free(blocks);
    return ok;
}

static int by_start(const void *a, const void *b)
{
    const struct core *left = a, *right = b;
    return left->certain_start < right->certain_start ? -1 : left->certain_start > right->certain_start;
}

static size_t in_before(const struct finder *finder, size_t frame, double lag)
{
    double there = (double)frame + lag / LAG_FRAME;
    return there < 0 ? 0 : there > (double)finder->first->frames ? finder->first->frames : (size_t)there;
}

/* What lies between two cores of the second sound can only lie between them in the first. */
static bool search_holes(struct finder *finder)
{
    size_t count = finder->cores.count;
    bool ok = true;
    for (size_t i = 0; ok && i <= count; i++) {
        const struct core *left = i > 0 ? &finder->cores.all[i - 1] : NULL,
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

/* ---- where one place goes over into the next ---- */

/* How unlike a frame of the second sound is to the first at a lag; offset: by how much the one is stronger as a whole.
 */
static double unlike(const struct finder *finder, size_t frame, double lag, const double *offset)
{
    enum { NOTHING_THERE = 400 };
    long there = (long)frame + lround(lag / LAG_FRAME);
    double sum = 0;
    if (there < 0 || there >= (long)finder->first->frames)
        return NOTHING_THERE;
    for (int f = 0; f < LAG_FEATURES; f++) {
        double by = (double)finder->first->values[f][there] - (double)finder->second->values[f][frame] - offset[f];
        sum += by * by;
    }
    return sum;
}

static void measure_offset(const struct finder *finder, const struct core *core, double *offset)
{
    long by = lround(core->lag / LAG_FRAME);
    size_t end = core->end < finder->second->frames ? core->end : finder->second->frames;
    for (int f = 0; f < LAG_FEATURES; f++) {
        double sum = 0;
        for (size_t i = core->start; i < end; i++)
            if ((long)i + by >= 0 && (long)i + by < (long)finder->first->frames)
                sum += (double)finder->first->values[f][(long)i + by] - (double)finder->second->values[f][i];
        offset[f] = end > core->start ? sum / (double)(end - core->start) : 0;
    }
}

/* Both reach over the same frames: the one in between at which it is best to go over. */
static size_t find_cut(const struct finder *finder, const struct core *left, const struct core *right)
{
    size_t from = left->certain_end > right->start ? left->certain_end : right->start,
           to = right->certain_start < left->end ? right->certain_start : left->end, cut = from;
    double offsets[2][LAG_FEATURES], gained = 0, best = 0;
    if (fabs(left->lag - right->lag) <= drift_samples || from >= to)
        return (left->certain_end + right->certain_start) / 2;
    measure_offset(finder, left, offsets[0]);
    measure_offset(finder, right, offsets[1]);
    for (size_t i = from; i < to && i < finder->second->frames; i++) {
        gained += unlike(finder, i, left->lag, offsets[0]) - unlike(finder, i, right->lag, offsets[1]);
        if (gained < best)
            best = gained, cut = i + 1;
    }
    return cut;
}

static void add_piece(const struct finder *finder, struct tt_lags *lags, double start, double end, double lag)
{
    start = fmax(start, -lag);
    end = fmin(fmin(end, (double)finder->before->count - lag), (double)finder->after->count);
    if (lags->count > 0) { /* what the last piece holds of the first sound is not held twice */
        const struct tt_lag_piece *last = &lags->pieces[lags->count - 1];
        start = fmax(start, (last->before_s + last->length_s) * TT_LAG_RATE_HZ - lag);
    }
    if (end - start < LAG_FRAME)
        return;
    lags->pieces[lags->count++] =
        (struct tt_lag_piece){(start + lag) / TT_LAG_RATE_HZ, start / TT_LAG_RATE_HZ, (end - start) / TT_LAG_RATE_HZ};
}

static void make_pieces(const struct finder *finder, struct tt_lags *lags)
{
    const struct cores *cores = &finder->cores;
    for (size_t i = 0, from = 0; i < cores->count; i++) {
        const struct core *core = &cores->all[i];
        size_t to = core->end;
        if (i == 0 || core->start > core[-1].end)
            from = core->start;
        const struct core *next = i + 1 < cores->count ? core + 1 : NULL;
        if (next && next->start < to)
            to = find_cut(finder, core, next);
        else if (next && next->start - to <= SECOND && fabs(next->lag - core->lag) <= drift_samples)
            to = next->start; /* nothing can lie in between */
        /* The last frame is one of ten milliseconds, of which the sound may hold a few samples more. */
        add_piece(finder, lags, (double)(from * LAG_FRAME),
                  to >= finder->second->frames ? (double)finder->after->count : (double)(to * LAG_FRAME), core->lag);
        from = to;
    }
}

/* Seconds of the second sound with something to hear in them, and how many of them are in the pieces by half at least.
 */
static void count_found(const struct finder *finder, struct tt_lags *lags)
{
    size_t piece = 0;
    for (size_t second = 0; (second + 1) * SECOND <= finder->second->frames; second++) {
        size_t loud = 0, found = 0;
        for (size_t i = second * SECOND; i < (second + 1) * SECOND; i++) {
            double at_s = ((double)i + 0.5) * LAG_FRAME / TT_LAG_RATE_HZ;
            if ((double)finder->second->values[0][i] < heard_db)
                continue;
            while (piece < lags->count && lags->pieces[piece].after_s + lags->pieces[piece].length_s <= at_s)
                piece++;
            loud++;
            found += piece < lags->count && lags->pieces[piece].after_s <= at_s;
        }
        if (loud < SECOND / 10)
            continue;
        lags->heard_s++;
        lags->found_s += 2 * found >= loud;
    }
}

static bool find_all(struct finder *finder, struct tt_lags *lags)
{
    const struct part all = {0, finder->second->frames, 0, finder->first->frames};
    if (!search(finder, &all, LONG_BLOCK, LONG_HOP) || !search_holes(finder))
        return false;
    const struct cores *cores = &finder->cores;
    double *likeness = calloc(cores->count + 1, sizeof *likeness);
    lags->pieces = calloc(cores->count + 1, sizeof *lags->pieces);
    size_t turned = 0;
    for (size_t i = 0; likeness && i < cores->count; i++)
        likeness[i] = cores->all[i].likeness, turned += cores->all[i].is_turned;
    bool ok = likeness && lags->pieces;
    if (ok && cores->count > 0) {
        qsort(likeness, cores->count, sizeof *likeness, by_size);
        lags->likeness = likeness[cores->count / 2];
        lags->is_turned = 2 * turned > cores->count;
        make_pieces(finder, lags);
    }
    if (ok)
        count_found(finder, lags);
    free(likeness);
    return ok;
}

bool tt_lag_find(const struct tt_lag_sound *before, const struct tt_lag_sound *after, struct tt_lags *lags,
                 struct tt_error *err)
{
    struct lag_envelope first, second;
    *lags = (struct tt_lags){0};
    bool ok = lag_envelope_make(before, &first);
    ok = lag_envelope_make(after, &second) && ok;
    struct finder finder = {before, after, &first, &second, {0}};
    if (ok && first.frames >= LEAST_FRAMES && second.frames >= LEAST_FRAMES && !first.is_silent && !second.is_silent)
        ok = find_all(&finder, lags);
    free(finder.cores.all);
    lag_envelope_free(&first);
    lag_envelope_free(&second);
    if (!ok)
        tt_lags_free(lags);
    return ok || tt_fail_memory(err);
}

void tt_lags_free(struct tt_lags *lags)
{
    free(lags->pieces);
    *lags = (struct tt_lags){0};
}
