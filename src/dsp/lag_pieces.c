/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The pieces of the second sound: where one place goes over into the next, and how much was found. */
#include <math.h>
#include <stdlib.h>

#include "base/median.h"
#include "dsp/lag_parts.h"

enum { LEAST_FRAMES = 100 };

/* ---- where one place goes over into the next ---- */

/* How unlike a frame of the second sound is to the first at a lag; offset: by how much the one is stronger as a whole.
 */
static double unlike(const struct lag_finder *finder, size_t frame, double lag, const double *offset)
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

static void measure_offset(const struct lag_finder *finder, const struct lag_core *core, double *offset)
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
static size_t find_cut(const struct lag_finder *finder, const struct lag_core *left, const struct lag_core *right)
{
    size_t from = left->certain_end > right->start ? left->certain_end : right->start,
           to = right->certain_start < left->end ? right->certain_start : left->end, cut = from;
    double offsets[2][LAG_FEATURES], gained = 0, best = 0;
    if (fabs(left->lag - right->lag) <= LAG_DRIFT_SAMPLES || from >= to)
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

static void add_piece(const struct lag_finder *finder, struct tt_lags *lags, double start, double end, double lag)
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

static void make_pieces(const struct lag_finder *finder, struct tt_lags *lags)
{
    const struct lag_cores *cores = &finder->cores;
    for (size_t i = 0, from = 0; i < cores->count; i++) {
        const struct lag_core *core = &cores->all[i];
        size_t to = core->end;
        if (i == 0 || core->start > core[-1].end)
            from = core->start;
        const struct lag_core *next = i + 1 < cores->count ? core + 1 : NULL;
        if (next && next->start < to)
            to = find_cut(finder, core, next);
        else if (next && next->start - to <= LAG_SECOND && fabs(next->lag - core->lag) <= LAG_DRIFT_SAMPLES)
            to = next->start; /* nothing can lie in between */
        /* The last frame is one of ten milliseconds, of which the sound may hold a few samples more. */
        add_piece(finder, lags, (double)(from * LAG_FRAME),
                  to >= finder->second->frames ? (double)finder->after->count : (double)(to * LAG_FRAME), core->lag);
        from = to;
    }
}

/* Seconds of the second sound with something to hear in them, and how many of them are in the pieces by half at least.
 */
static void count_found(const struct lag_finder *finder, struct tt_lags *lags)
{
    size_t piece = 0;
    for (size_t second = 0; (second + 1) * LAG_SECOND <= finder->second->frames; second++) {
        size_t loud = 0, found = 0;
        for (size_t i = second * LAG_SECOND; i < (second + 1) * LAG_SECOND; i++) {
            double at_s = ((double)i + 0.5) * LAG_FRAME / TT_LAG_RATE_HZ;
            if ((double)finder->second->values[0][i] < LAG_HEARD_DB)
                continue;
            while (piece < lags->count && lags->pieces[piece].after_s + lags->pieces[piece].length_s <= at_s)
                piece++;
            loud++;
            found += piece < lags->count && lags->pieces[piece].after_s <= at_s;
        }
        if (loud < LAG_SECOND / 10)
            continue;
        lags->heard_s++;
        lags->found_s += 2 * found >= loud;
    }
}

/* ---- all ---- */

static bool find_all(struct lag_finder *finder, struct tt_lags *lags)
{
    if (!lag_cores_find(finder))
        return false;
    const struct lag_cores *cores = &finder->cores;
    double *likeness = calloc(cores->count + 1, sizeof *likeness);
    lags->pieces = calloc(cores->count + 1, sizeof *lags->pieces);
    size_t turned = 0;
    for (size_t i = 0; likeness && i < cores->count; i++)
        likeness[i] = cores->all[i].likeness, turned += cores->all[i].is_turned;
    bool ok = likeness && lags->pieces;
    if (ok && cores->count > 0) {
        lags->likeness = tt_median(likeness, cores->count);
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
    struct lag_finder finder = {before, after, &first, &second, {0}};
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
