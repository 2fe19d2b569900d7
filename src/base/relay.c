/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/relay.h"

#include <pthread.h>
#include <stdlib.h>
#include <string.h>

#include "base/large.h"

/* So many that threads which outnumber processors seldom wait for each other: with 4 one take took 5 % longer. */
enum { SLOTS = 16 };
/* Who waits is woken for so many at once: each waking costs as much as a good part of a block. */
enum { GROUP = 4 };

struct tt_relay {
    tt_relay_take take;
    void *context;
    size_t most_samples;
    bool has_thread;
    pthread_t thread;
    pthread_mutex_t mutex;
    pthread_cond_t has_blocks, has_room;
    float *slots[SLOTS];
    size_t counts[SLOTS];
    size_t added, taken; /* blocks since the start */
    bool is_ended, is_dropped;
    bool has_failed;
    struct tt_error error;
};

static size_t waiting_blocks(const struct tt_relay *relay) { return relay->added - relay->taken; }

static bool take_one(struct tt_relay *relay, size_t slot)
{
    struct tt_error error = {0};
    pthread_mutex_unlock(&relay->mutex);
    bool ok = relay->take(relay->context, relay->slots[slot], relay->counts[slot], &error);
    pthread_mutex_lock(&relay->mutex);
    if (!ok) {
        relay->has_failed = true;
        relay->error = error;
    }
    relay->taken++;
    if (!ok || waiting_blocks(relay) == SLOTS - GROUP)
        pthread_cond_signal(&relay->has_room);
    return ok;
}

static void *work(void *opaque)
{
    struct tt_relay *relay = opaque;
    bool goes_on = true;
    pthread_mutex_lock(&relay->mutex);
    while (goes_on) {
        if (waiting_blocks(relay) == 0)
            while (waiting_blocks(relay) < GROUP && !relay->is_ended)
                pthread_cond_wait(&relay->has_blocks, &relay->mutex);
        goes_on = waiting_blocks(relay) > 0 && !relay->is_dropped && take_one(relay, relay->taken % SLOTS);
    }
    pthread_mutex_unlock(&relay->mutex);
    return NULL;
}

static bool start_thread(struct tt_relay *relay)
{
    bool ok = true;
    for (int i = 1; i < SLOTS; i++)
        ok = (relay->slots[i] = tt_alloc_lines(relay->most_samples * sizeof(float))) != NULL && ok;
    return ok && pthread_create(&relay->thread, NULL, work, relay) == 0;
}

struct tt_relay *tt_relay_open(tt_relay_take take, void *context, size_t most_samples, bool wants_thread,
                               struct tt_error *err)
{
    struct tt_relay *relay = calloc(1, sizeof *relay);
    if (!relay || !(relay->slots[0] = tt_alloc_lines(most_samples * sizeof(float)))) {
        free(relay);
        tt_fail_memory(err);
        return NULL;
    }
    relay->take = take;
    relay->context = context;
    relay->most_samples = most_samples;
    pthread_mutex_init(&relay->mutex, NULL);
    pthread_cond_init(&relay->has_blocks, NULL);
    pthread_cond_init(&relay->has_room, NULL);
    relay->has_thread = wants_thread && start_thread(relay);
    return relay;
}

static bool pass_on_failure(const struct tt_relay *relay, struct tt_error *err)
{
    (void)tt_error_pass_on(&relay->error, err);
    return !relay->has_failed;
}

float *tt_relay_room(struct tt_relay *relay, struct tt_error *err)
{
    if (!relay->has_thread)
        return relay->slots[0];
    pthread_mutex_lock(&relay->mutex);
    if (waiting_blocks(relay) == SLOTS)
        while (waiting_blocks(relay) > SLOTS - GROUP && !relay->has_failed)
            pthread_cond_wait(&relay->has_room, &relay->mutex);
    const bool ok = pass_on_failure(relay, err);
    pthread_mutex_unlock(&relay->mutex);
    /* Nobody looks at a slot before it counts as added. */
    return ok ? relay->slots[relay->added % SLOTS] : NULL;
}

static bool check_count(const struct tt_relay *relay, size_t count, struct tt_error *err)
{
    return count <= relay->most_samples ||
           tt_fail(err, TT_ERROR_INTERNAL, "a block of %zu samples where %zu fit", count, relay->most_samples);
}

bool tt_relay_hand_on(struct tt_relay *relay, size_t count, struct tt_error *err)
{
    if (!check_count(relay, count, err))
        return false;
    if (!relay->has_thread)
        return relay->take(relay->context, relay->slots[0], count, err);
    pthread_mutex_lock(&relay->mutex);
    relay->counts[relay->added++ % SLOTS] = count;
    if (waiting_blocks(relay) == GROUP)
        pthread_cond_signal(&relay->has_blocks);
    const bool ok = pass_on_failure(relay, err);
    pthread_mutex_unlock(&relay->mutex);
    return ok;
}

bool tt_relay_add(struct tt_relay *relay, const float *samples, size_t count, struct tt_error *err)
{
    if (!relay->has_thread)
        return relay->take(relay->context, samples, count, err);
    float *room = check_count(relay, count, err) ? tt_relay_room(relay, err) : NULL;
    if (!room)
        return false;
    memcpy(room, samples, count * sizeof *room);
    return tt_relay_hand_on(relay, count, err);
}

static void end_thread(struct tt_relay *relay, bool is_dropped)
{
    if (!relay->has_thread)
        return;
    pthread_mutex_lock(&relay->mutex);
    relay->is_ended = true;
    relay->is_dropped = is_dropped;
    pthread_cond_signal(&relay->has_blocks);
    pthread_mutex_unlock(&relay->mutex);
    pthread_join(relay->thread, NULL);
    relay->has_thread = false;
}

bool tt_relay_finish(struct tt_relay *relay, struct tt_error *err)
{
    end_thread(relay, false);
    return pass_on_failure(relay, err);
}

void tt_relay_close(struct tt_relay *relay)
{
    if (!relay)
        return;
    end_thread(relay, true);
    pthread_mutex_destroy(&relay->mutex);
    pthread_cond_destroy(&relay->has_blocks);
    pthread_cond_destroy(&relay->has_room);
    for (int i = 0; i < SLOTS; i++)
        free(relay->slots[i]);
    free(relay);
}
