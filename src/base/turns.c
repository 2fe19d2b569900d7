/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/turns.h"

static _Thread_local struct tt_turns *mine; /* NULL: this thread works without */

void tt_turns_open(struct tt_turns *turns, size_t count)
{
    *turns = (struct tt_turns){.free_count = count};
    pthread_mutex_init(&turns->mutex, NULL);
    pthread_cond_init(&turns->is_free, NULL);
}

void tt_turns_close(struct tt_turns *turns)
{
    pthread_cond_destroy(&turns->is_free);
    pthread_mutex_destroy(&turns->mutex);
}

void tt_turns_enter(struct tt_turns *turns)
{
    mine = turns;
    tt_turn_take_back();
}

void tt_turns_leave(void)
{
    tt_turn_lend();
    mine = NULL;
}

void tt_turn_lend(void)
{
    if (!mine)
        return;
    pthread_mutex_lock(&mine->mutex);
    mine->free_count++;
    pthread_cond_signal(&mine->is_free);
    pthread_mutex_unlock(&mine->mutex);
}

void tt_turn_take_back(void)
{
    if (!mine)
        return;
    pthread_mutex_lock(&mine->mutex);
    while (mine->free_count == 0)
        pthread_cond_wait(&mine->is_free, &mine->mutex);
    mine->free_count--;
    pthread_mutex_unlock(&mine->mutex);
}
