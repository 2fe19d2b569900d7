/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One link of a streaming chain of mono sound: what goes in comes out changed, with the same number of samples. */
#ifndef TT_DSP_LINK_H
#define TT_DSP_LINK_H

#include <stddef.h>
#include <stdint.h>

struct tt_link {
    void *state;
    /* Takes count samples, writes what is ready to output (room for count + latency samples), returns its number.
     * Output sample n belongs to input sample n. */
    size_t (*run)(void *state, const float *samples, size_t count, float *output);
    size_t (*finish)(void *state, float *output); /* the rest; NULL where nothing is held back */
    size_t latency_samples;
    void (*destroy)(void *state); /* NULL where nothing is to be freed */
};

/* A piece of a stream: a unit, what is heard before it to get under way, and what is looked at behind it. */
struct tt_unit {
    int64_t first_sample; /* place in the stream of samples[0] */
    float *samples;
    size_t count;
    size_t run_in; /* so many of them lie before the unit */
    size_t length; /* of the unit itself */
};

/* A link that remembers so little that it may begin anew at each unit: several threads work on one stream, and what
 * comes out does not depend on how many. */
struct tt_unit_link {
    void *state;
    size_t unit_samples;                  /* units begin at its multiples, and where the stream does */
    size_t run_in_samples, ahead_samples; /* a unit has fewer only where the stream begins and ends */
    /* Leaves the unit's own samples, changed, at the start of unit->samples. Each worker by one thread at a time. */
    void (*run)(void *state, size_t worker, const struct tt_unit *unit);
    void (*destroy)(void *state);
};

static inline void tt_link_destroy(struct tt_link *link)
{
    if (link->destroy && link->state)
        link->destroy(link->state);
    *link = (struct tt_link){0};
}

#endif
