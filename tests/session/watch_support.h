/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Watching a folder in tests: a thread that watches, and what it has said. */
#ifndef TT_TESTS_WATCH_SUPPORT_H
#define TT_TESTS_WATCH_SUPPORT_H

#include <pthread.h>
#include <sys/stat.h>
#include <time.h>

#include "session/watch.h"

/* How often the thread looks, whether or not something gave notice: also when it is to stop. */
#define PULSE_S 0.05

struct watching {
    char *folder;
    char inbox[4096], out[4096];
    atomic_int stop;
    pthread_t thread;
    pthread_mutex_t mutex; /* of said */
    char said[20000];
    struct tt_error error;
    bool is_well;
};

static inline void say(void *context, const char *line)
{
    struct watching *w = context;
    pthread_mutex_lock(&w->mutex);
    strncat(w->said, line, sizeof w->said - strlen(w->said) - 2);
    strcat(w->said, "\n");
    pthread_mutex_unlock(&w->mutex);
}

static inline int set_up(void **state)
{
    struct watching *w = calloc(1, sizeof *w);
    w->folder = folder_make();
    pthread_mutex_init(&w->mutex, NULL);
    snprintf(w->inbox, sizeof w->inbox, "%s/inbox", w->folder);
    snprintf(w->out, sizeof w->out, "%s/inbox.tidy", w->folder);
    mkdir(w->inbox, 0777);
    file_write(in_folder(w->inbox, "tidytake.ini"), "[watch]\nsettle_s = 0.2\n", 23);
    *state = w;
    return 0;
}

static inline int tear_down(void **state)
{
    struct watching *w = *state;
    folder_remove(w->folder);
    free(w);
    return 0;
}

static inline void *work(void *context)
{
    struct watching *w = context;
    struct tt_watch_options options = {.folder = w->inbox, .stop = &w->stop, .pulse_s = PULSE_S};
    struct tt_watch_words words = {.context = w, .sum_up = say, .note = say};
    w->is_well = tt_watch(&options, &words, &w->error);
    return NULL;
}

static inline bool watch_once(struct watching *w)
{
    struct tt_watch_options options = {.folder = w->inbox, .is_once = true};
    struct tt_watch_words words = {.context = w, .sum_up = say, .note = say};
    return tt_watch(&options, &words, &w->error);
}

/* True when path is there within some time; tests must not depend on how quick the machine is. */
static inline bool arrives(const char *path)
{
    for (int i = 0; i < 1200 && !file_exists(path); i++)
        nanosleep(&(struct timespec){.tv_nsec = 50000000}, NULL);
    return file_exists(path);
}

/* Less than a second. */
static inline void rest_s(double seconds) { nanosleep(&(struct timespec){.tv_nsec = (long)(seconds * 1e9)}, NULL); }

static inline void end_watch(struct watching *w)
{
    w->stop = 1;
    pthread_join(w->thread, NULL);
    assert_true(w->is_well);
}

static inline bool is_said(struct watching *w, const char *text, int times)
{
    int found = 0;
    pthread_mutex_lock(&w->mutex);
    for (const char *at = w->said; (at = strstr(at, text)); at++)
        found++;
    pthread_mutex_unlock(&w->mutex);
    return found == times;
}

/* The same, some time later at the latest. */
static inline bool gets_said(struct watching *w, const char *text, int times)
{
    for (int i = 0; i < 1200 && !is_said(w, text, times); i++)
        nanosleep(&(struct timespec){.tv_nsec = 50000000}, NULL);
    return is_said(w, text, times);
}

#endif
