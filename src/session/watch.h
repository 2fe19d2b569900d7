/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Cleaning what arrives in a folder, until stopped. */
#ifndef TT_SESSION_WATCH_H
#define TT_SESSION_WATCH_H

#include <stdatomic.h>

#include "base/settings.h"
#include "tidytake/tidytake.h"

struct tt_watch_options {
    const char *folder;                 /* watched: its sub-folders are sessions, and itself where takes lie in it */
    const char *out;                    /* one folder a session inside; NULL: FOLDER.tidy beside it */
    const char *settings_file, *target; /* as of clean; NULL: none */
    int jobs;                           /* the same; 0: as many as processors */
    double pulse_s;                     /* look again after this long, also without notice; 0: a second */
    bool is_once;                       /* do what is there and settled, then end */
    const atomic_int *stop;             /* set from outside, by a thread or a signal: end */
    atomic_int *reload;                 /* set from outside: read the settings again; cleared here; may be NULL */
};

/* Words for the journal: one line each. Either may be NULL. */
struct tt_watch_words {
    void *context;
    void (*sum_up)(void *context, const char *line); /* what a run of a session did */
    void (*note)(void *context, const char *line);   /* complaints, and what goes on */
};

/* Returns false when the folder cannot be watched (any longer); with is_once, also when a take or a session could not
 * be done. Takes that fail are noted once and tried again when they change. */
bool tt_watch(const struct tt_watch_options *options, const struct tt_watch_words *words, struct tt_error *err);

#endif
