/* SPDX-License-Identifier: GPL-2.0-or-later */
/* More threads than may work at once: who waits for its medium lends its turn to another. */
#ifndef TT_BASE_TURNS_H
#define TT_BASE_TURNS_H

#include <pthread.h>
#include <stddef.h>

struct tt_turns {
    pthread_mutex_t mutex;
    pthread_cond_t is_free;
    size_t free_count;
};

void tt_turns_open(struct tt_turns *turns, size_t count);
void tt_turns_close(struct tt_turns *turns);

/* The calling thread waits until it may work, and has a turn until it leaves. */
void tt_turns_enter(struct tt_turns *turns);
void tt_turns_leave(void);

/* Round what only waits: nothing that another thread may want is held meanwhile, no lock above all. Threads without a
 * turn go on as they are. */
void tt_turn_lend(void);
void tt_turn_take_back(void);

#endif
