/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/crew.h"

#include <pthread.h>
#include <stdlib.h>

struct outcome {
    bool is_done, has_failed;
    struct tt_error error;
};

struct helper {
    struct tt_crew *crew;
    size_t worker;
    pthread_t thread;
};

struct tt_crew {
    struct tt_crew_plan plan;
    struct outcome *outcomes; /* one a piece */
    struct helper *helpers;
    size_t helper_count;
    pthread_mutex_t mutex;
    pthread_cond_t is_added, is_done; /* helpers wait for the one, the caller for the other */
    size_t added, begun;              /* pieces since the start */
    size_t taken;                     /* the caller's alone */
    bool is_ended;
};

size_t tt_crew_size(size_t wanted, size_t most)
{
    if (wanted < 1)
        return 1;
    return wanted < most ? wanted : most;
}

static void *piece_of(const struct tt_crew *crew, size_t index)
{
    return crew->plan.pieces[index % crew->plan.piece_count];
}
static struct outcome *outcome_of(struct tt_crew *crew, size_t index)
{
    return &crew->outcomes[index % crew->plan.piece_count];
}

/* The oldest piece that nobody has begun. The mutex is held before and after. */
static void work_on_next(struct tt_crew *crew, size_t worker)
{
    const size_t index = crew->begun++;
    struct outcome outcome = {.is_done = true};
    pthread_mutex_unlock(&crew->mutex);
    outcome.has_failed = !crew->plan.work(crew->plan.context, worker, piece_of(crew, index), &outcome.error);
    pthread_mutex_lock(&crew->mutex);
    *outcome_of(crew, index) = outcome;
    pthread_cond_signal(&crew->is_done);
}

static void *help(void *opaque)
{
    const struct helper *helper = opaque;
    struct tt_crew *crew = helper->crew;
    pthread_mutex_lock(&crew->mutex);
    while (!crew->is_ended) {
        if (crew->begun < crew->added)
            work_on_next(crew, helper->worker);
        else
            pthread_cond_wait(&crew->is_added, &crew->mutex);
    }
    pthread_mutex_unlock(&crew->mutex);
    return NULL;
}

struct tt_crew *tt_crew_open(const struct tt_crew_plan *plan, size_t threads, struct tt_error *err)
{
    struct tt_crew *crew = calloc(1, sizeof *crew);
    struct outcome *outcomes = calloc(plan->piece_count, sizeof *outcomes);
    struct helper *helpers = calloc(threads, sizeof *helpers);
    if (!crew || !outcomes || !helpers) {
        free(crew);
        free(outcomes);
        free(helpers);
        tt_fail_memory(err);
        return NULL;
    }
    *crew = (struct tt_crew){.plan = *plan, .outcomes = outcomes, .helpers = helpers};
    pthread_mutex_init(&crew->mutex, NULL);
    pthread_cond_init(&crew->is_added, NULL);
    pthread_cond_init(&crew->is_done, NULL);
    bool is_started = true;
    while (is_started && crew->helper_count + 1 < threads) {
        struct helper *helper = &helpers[crew->helper_count];
        *helper = (struct helper){.crew = crew, .worker = crew->helper_count + 1};
        is_started = pthread_create(&helper->thread, NULL, help, helper) == 0;
        crew->helper_count += is_started;
    }
    return crew;
}

/* Waits for the oldest piece, working on others in the meantime, and takes it. */
static bool take_oldest(struct tt_crew *crew, struct tt_error *err)
{
    struct outcome *outcome = outcome_of(crew, crew->taken);
    pthread_mutex_lock(&crew->mutex);
    while (!outcome->is_done) {
        if (crew->begun < crew->added)
            work_on_next(crew, 0);
        else
            pthread_cond_wait(&crew->is_done, &crew->mutex);
    }
    pthread_mutex_unlock(&crew->mutex);
    (void)tt_error_pass_on(&outcome->error, err);
    if (outcome->has_failed)
        return false;
    outcome->is_done = false;
    return crew->plan.take(crew->plan.context, piece_of(crew, crew->taken++), err);
}

void *tt_crew_piece(struct tt_crew *crew, struct tt_error *err)
{
    if (crew->added - crew->taken == crew->plan.piece_count && !take_oldest(crew, err))
        return NULL;
    return piece_of(crew, crew->added);
}

void tt_crew_add(struct tt_crew *crew)
{
    pthread_mutex_lock(&crew->mutex);
    crew->added++;
    pthread_cond_signal(&crew->is_added);
    pthread_mutex_unlock(&crew->mutex);
}

bool tt_crew_finish(struct tt_crew *crew, struct tt_error *err)
{
    while (crew->taken < crew->added)
        if (!take_oldest(crew, err))
            return false;
    return true;
}

void tt_crew_close(struct tt_crew *crew)
{
    if (!crew)
        return;
    pthread_mutex_lock(&crew->mutex);
    crew->is_ended = true;
    pthread_cond_broadcast(&crew->is_added);
    pthread_mutex_unlock(&crew->mutex);
    for (size_t i = 0; i < crew->helper_count; i++)
        pthread_join(crew->helpers[i].thread, NULL);
    pthread_mutex_destroy(&crew->mutex);
    pthread_cond_destroy(&crew->is_added);
    pthread_cond_destroy(&crew->is_done);
    free(crew->outcomes);
    free(crew->helpers);
    free(crew);
}
