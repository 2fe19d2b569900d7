/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Hands blocks of samples to the second half of a pass, which may run in a thread of its own: the same blocks in the
 * same order, so that the result is the same bits. One long take keeps two processors at work by it. */
#ifndef TT_BASE_RELAY_H
#define TT_BASE_RELAY_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"

/* The second half. It is called by one thread only, and by the caller's behind tt_relay_finish. */
typedef bool (*tt_relay_take)(void *context, const float *samples, size_t count, struct tt_error *err);

/* most_samples: the longest block. Without wants_thread, or where no thread can be had, blocks are taken at once by the
 * caller's thread. */
struct tt_relay;
struct tt_relay *tt_relay_open(tt_relay_take take, void *context, size_t most_samples, bool wants_thread,
                               struct tt_error *err);
/* Where the next block may be written, on a line of the cache; waits for room. NULL as soon as a block could not be
 * taken. */
float *tt_relay_room(struct tt_relay *relay, struct tt_error *err);
/* So many samples were written there. False as soon as a block could not be taken. */
bool tt_relay_hand_on(struct tt_relay *relay, size_t count, struct tt_error *err);
/* Both, for samples that lie elsewhere. */
bool tt_relay_add(struct tt_relay *relay, const float *samples, size_t count, struct tt_error *err);
/* Returns when everything has been taken. */
bool tt_relay_finish(struct tt_relay *relay, struct tt_error *err);
void tt_relay_close(struct tt_relay *relay); /* drops what still waits; NULL is fine */

#endif
