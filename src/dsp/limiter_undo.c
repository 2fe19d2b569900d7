/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The riders of a limiter's passes, ridden again over the demands that it told; what they turned down is divided by
 * their gains. */
#include <stdlib.h>

#include "dsp/gain_rider.h"
#include "dsp/interpolator.h"
#include "dsp/limiter.h"

struct undo_pass {
    struct tt_gain_rider rider;
    struct tt_limiter_demand next; /* the first that was not ridden over */
    bool has_next;
};

struct tt_limiter_undo {
    struct undo_pass passes[TT_LIMITER_PASSES];
    tt_limiter_next next;
    void *context;
    int64_t position; /* of the next sample in the stream */
};

static void fetch(struct tt_limiter_undo *undo, int number)
{
    struct undo_pass *pass = &undo->passes[number];
    pass->has_next = undo->next(undo->context, number, &pass->next);
}

/* One step of a pass's rider; place is the one that is looked at. */
static double step(struct tt_limiter_undo *undo, int number, int64_t place)
{
    struct undo_pass *pass = &undo->passes[number];
    int64_t reduction = 0;
    if (pass->has_next && pass->next.place <= place) {
        reduction = pass->next.reduction;
        fetch(undo, number);
    }
    return tt_gain_rider_step(&pass->rider, (uint64_t)(place + TT_INTERPOLATOR_TAPS), reduction);
}

struct tt_limiter_undo *tt_limiter_undo_create(int rate_hz, tt_limiter_next next, void *context, struct tt_error *err)
{
    struct tt_limiter_undo *undo = calloc(1, sizeof *undo);
    bool ok = undo != NULL;
    for (int i = 0; ok && i < TT_LIMITER_PASSES; i++)
        ok = tt_gain_rider_init(&undo->passes[i].rider, rate_hz, TT_INTERPOLATOR_AHEAD);
    if (!ok) {
        tt_limiter_undo_destroy(undo);
        tt_fail_memory(err);
        return NULL;
    }
    undo->next = next;
    undo->context = context;
    for (int i = 0; i < TT_LIMITER_PASSES; i++) {
        fetch(undo, i);
        /* Up to the first sample: places between the silence in front and the sound demand, too. */
        for (int64_t place = -TT_INTERPOLATOR_TAPS; place < (int64_t)undo->passes[i].rider.ahead_samples; place++)
            step(undo, i, place);
    }
    return undo;
}

void tt_limiter_undo_destroy(struct tt_limiter_undo *undo)
{
    if (undo == NULL)
        return;
    for (int i = 0; i < TT_LIMITER_PASSES; i++)
        tt_gain_rider_clear(&undo->passes[i].rider);
    free(undo);
}

/* Samples from here on that no pass touches. */
static int64_t untouched(const struct tt_limiter_undo *undo)
{
    int64_t count = INT64_MAX;
    for (int i = 0; i < TT_LIMITER_PASSES; i++) {
        const struct undo_pass *pass = &undo->passes[i];
        if (!tt_gain_rider_is_idle(&pass->rider))
            return 0;
        /* Without a next one its place may be anything: what a damaged record held. */
        const int64_t until =
            pass->has_next ? pass->next.place - (int64_t)pass->rider.ahead_samples - undo->position : count;
        if (until < count)
            count = until;
    }
    return count > 0 ? count : 0;
}

void tt_limiter_undo_run(struct tt_limiter_undo *undo, float *samples, size_t count)
{
    for (size_t i = 0; i < count;) {
        const int64_t free_samples = untouched(undo);
        if (free_samples > 0) {
            const size_t skip = free_samples < (int64_t)(count - i) ? (size_t)free_samples : count - i;
            i += skip;
            undo->position += (int64_t)skip;
            continue;
        }
        double gain = 1.0;
        for (int p = 0; p < TT_LIMITER_PASSES; p++)
            gain *= step(undo, p, undo->position + (int64_t)undo->passes[p].rider.ahead_samples);
        samples[i] = (float)(samples[i] / gain);
        i++;
        undo->position++;
    }
}
