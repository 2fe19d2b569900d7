/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/jobs.h"

#include <pthread.h>
#include <stdlib.h>
#include <unistd.h>

#include "base/file.h"
#include "base/turns.h"

/* So many more threads than may work at once: where these wait for a medium, others work. With a sync of 0.5 ms two
 * were enough on two processors, with one of 3 ms four. */
enum { WAITERS = 4 };

struct queue {
    struct tt_turns turns;
    pthread_mutex_t mutex;
    const size_t *order;
    size_t count, next;
    tt_job job;
    void *context;
    struct tt_error error; /* the first of what became of the jobs' files */
};

struct weighted {
    size_t item;
    double weight;
};

int tt_processor_count(void)
{
    long count = sysconf(_SC_NPROCESSORS_ONLN);
    return count < 1 ? 1 : count > 256 ? 256 : (int)count;
}

static int heavier_first(const void *a, const void *b)
{
    const struct weighted *x = a, *y = b;
    if (x->weight != y->weight)
        return x->weight > y->weight ? -1 : 1;
    return x->item < y->item ? -1 : 1;
}

static void *work(void *opaque)
{
    struct queue *queue = opaque;
    struct tt_error error = {0};
    tt_turns_enter(&queue->turns);
    tt_publish_gather();
    for (;;) {
        pthread_mutex_lock(&queue->mutex);
        size_t at = queue->next < queue->count ? queue->next++ : queue->count;
        pthread_mutex_unlock(&queue->mutex);
        if (at == queue->count)
            break;
        queue->job(queue->context, queue->order[at]);
    }
    if (!tt_publish_settle(&error)) {
        pthread_mutex_lock(&queue->mutex);
        (void)tt_error_pass_on(&error, &queue->error);
        pthread_mutex_unlock(&queue->mutex);
    }
    tt_turns_leave();
    return NULL;
}

bool tt_jobs_have_spare(size_t item_count, const double *weights, int threads)
{
    size_t count = 0, wanted = threads > 0 ? (size_t)threads : (size_t)tt_processor_count();
    for (size_t i = 0; i < item_count; i++)
        count += weights[i] > 0;
    return wanted >= 2 * count;
}

bool tt_jobs_run(size_t item_count, const double *weights, int threads, tt_job job, void *context, struct tt_error *err)
{
    struct weighted *sorted = malloc((item_count + 1) * sizeof *sorted);
    size_t *order = malloc((item_count + 1) * sizeof *order);
    if (!sorted || !order) {
        free(sorted);
        free(order);
        return tt_fail_memory(err);
    }
    struct queue queue = {.order = order, .job = job, .context = context};
    for (size_t i = 0; i < item_count; i++)
        if (weights[i] > 0)
            sorted[queue.count++] = (struct weighted){i, weights[i]};
    qsort(sorted, queue.count, sizeof *sorted, heavier_first);
    for (size_t i = 0; i < queue.count; i++)
        order[i] = sorted[i].item;
    pthread_mutex_init(&queue.mutex, NULL);
    const size_t at_once = threads > 0 ? (size_t)threads : (size_t)tt_processor_count();
    size_t wanted = at_once > 1 ? at_once + WAITERS : 1;
    wanted = wanted < queue.count ? wanted : queue.count;
    tt_turns_open(&queue.turns, at_once);
    /* This thread works, too; where another cannot be had, those that can do the work. */
    pthread_t *started = calloc(wanted + 1, sizeof *started);
    size_t started_count = 0;
    if (started)
        while (started_count + 1 < wanted && pthread_create(&started[started_count], NULL, work, &queue) == 0)
            started_count++;
    work(&queue);
    for (size_t i = 0; i < started_count; i++)
        pthread_join(started[i], NULL);
    pthread_mutex_destroy(&queue.mutex);
    tt_turns_close(&queue.turns);
    free(started);
    free(sorted);
    free(order);
    return tt_error_pass_on(&queue.error, err);
}
