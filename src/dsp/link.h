/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One link of a streaming chain of mono sound: what goes in comes out changed, with the same number of samples. */
#ifndef TT_DSP_LINK_H
#define TT_DSP_LINK_H

#include <stddef.h>

struct tt_link {
    void *state;
    /* Takes count samples, writes what is ready to output (room for count + latency samples), returns its number. Output sample n belongs to
     * input sample n. */
    size_t (*run)(void *state, const float *samples, size_t count, float *output);
    size_t (*finish)(void *state, float *output); /* the rest; NULL where nothing is held back */
    size_t latency_samples;
    void (*destroy)(void *state);                  /* NULL where nothing is to be freed */
};

static inline void tt_link_destroy(struct tt_link *link)
{
    if (link->destroy && link->state)
        link->destroy(link->state);
    *link = (struct tt_link){0};
}

#endif
