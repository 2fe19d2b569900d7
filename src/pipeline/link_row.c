/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/link_row.h"

#include <stdlib.h>

bool tt_link_row_open(struct tt_link_row *row, size_t most_samples, struct tt_error *err)
{
    size_t room = most_samples;
    for (size_t i = 0; i < row->count; i++)
        room += row->links[i].latency_samples;
    for (int side = 0; side < 2; side++)
        if (!(row->buffers[side] = malloc((room + 1) * sizeof(float))))
            return tt_fail_memory(err);
    return true;
}

/* Each link writes into the buffer that the one before it did not. */
static float *output_of(const struct tt_link_row *row, size_t link) { return row->buffers[link % 2]; }

static bool push(struct tt_link_row *row, size_t first, const float *samples, size_t count, struct tt_error *err)
{
    for (size_t i = first; i < row->count; i++) {
        count = row->links[i].run(row->links[i].state, samples, count, output_of(row, i));
        samples = output_of(row, i);
    }
    return row->sink(row->context, samples, count, err);
}

bool tt_link_row_add(void *row, const float *samples, size_t count, struct tt_error *err)
{
    return push(row, 0, samples, count, err);
}

bool tt_link_row_finish(struct tt_link_row *row, struct tt_error *err)
{
    for (size_t i = 0; i < row->count; i++) {
        const struct tt_link *link = &row->links[i];
        const size_t left = link->finish ? link->finish(link->state, output_of(row, i)) : 0;
        if (left > 0 && !push(row, i + 1, output_of(row, i), left, err))
            return false;
    }
    return true;
}

void tt_link_row_close(struct tt_link_row *row)
{
    for (size_t i = 0; i < row->count; i++)
        tt_link_destroy(&row->links[i]);
    for (int side = 0; side < 2; side++)
        free(row->buffers[side]);
    *row = (struct tt_link_row){0};
}
