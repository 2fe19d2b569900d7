/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What the parts of watching share: watch.c goes round, watch_find.c looks for sessions, watch_run.c works on one,
 * watch_places.c knows folders that go and come, watch_tell.c speaks. */
#ifndef TT_SESSION_WATCH_PARTS_H
#define TT_SESSION_WATCH_PARTS_H

#include <sys/types.h>

#include "session/notice.h"
#include "session/snapshot.h"
#include "session/watch.h"

struct tt_watched {
    char *folder, *out;
    struct tt_snapshot seen; /* at the last look */
    struct tt_snapshot done; /* before the last run */
    double still_since_s;    /* monotonic: since when seen looks as it does */
    bool has_run, is_there;
    bool had_takes; /* when the folders were looked at before */
    char **said;    /* complaints, each once until takes change */
    size_t said_count;
    size_t failed_count; /* takes in its last run; 1 where the session itself failed */
    bool may_pass;       /* what failed is tried again without a change */
    double again_at_s, again_after_s;
};

/* A folder that may lie on a medium which goes and comes. */
struct tt_place {
    dev_t device;
    ino_t inode;
    bool is_known;
};

struct tt_watch {
    const struct tt_watch_options *options;
    const struct tt_watch_words *words;
    char *folder, *out;
    struct tt_settings settings;
    struct tt_watched *sessions;
    size_t count;
    struct tt_notice *notice; /* NULL: looking again after a while only */
    struct tt_place folder_place, out_place;
    bool is_folder_lost, is_out_away;
    bool was_out_with_folder; /* on one medium */
};

/* Monotonic: nobody sets this clock. */
double tt_watch_now_s(void);
double tt_watch_pulse_s(const struct tt_watch *watch);
void tt_watch_sum_up(const struct tt_watch *watch, const char *format, ...) TT_PRINTF(2, 3);
void tt_watch_note(const struct tt_watch *watch, const char *format, ...) TT_PRINTF(2, 3);
/* The settings in force for a session (or for the watched folder itself). */
bool tt_watch_load(const struct tt_watch *watch, const char *folder, struct tt_settings *settings,
                   struct tt_error *err);

/* Looks at the folder and all sessions in it. */
bool tt_watch_look(struct tt_watch *watch, struct tt_error *err);
/* A take came, or is another one than before the last run. */
bool tt_watched_has_other_takes(const struct tt_watched *session);
/* A take whose head promises more than is there yet. */
bool tt_watched_is_arriving(const struct tt_watched *session);
/* True the first time that a line is said of a session. */
bool tt_watched_is_news(struct tt_watched *session, const char *line);
void tt_watched_forget_words(struct tt_watched *session);
void tt_watched_free(struct tt_watched *session);

/* A run over a session; is_again: nothing changed, it is the one before that failed. */
void tt_watch_run(struct tt_watch *watch, struct tt_watched *session, bool is_again);

/* After a look that found the folder, or did not; both say it once. False when another folder is there now. */
bool tt_watch_folder_found(struct tt_watch *watch);
void tt_watch_folder_lost(struct tt_watch *watch, const struct tt_error *error);
/* The results lay on a medium that is not there now: writing would fill what lies below it. Says it once. */
bool tt_watch_out_is_away(struct tt_watch *watch);

#endif
