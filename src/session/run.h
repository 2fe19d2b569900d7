/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One run over one session, and what it says while it works. */
#ifndef TT_SESSION_RUN_H
#define TT_SESSION_RUN_H

#include <pthread.h>
#include <stdatomic.h>

#include "session/take.h"
#include "tidytake/tidytake.h"

struct json_t;

struct tt_run_state {
    const struct tt_clean_options *options;
    const struct tt_clean_watcher *watcher;
    struct tt_take_list list;
    struct tt_settings settings;
    char *out;
    int lock_fd;
    struct tt_take *takes; /* running order */
    size_t take_count;
    double earlier_common_gain_db, common_gain_db;
    char earlier_gain_aim[128], gain_aim[128]; /* what the common gain was decided for */
    struct json_t *earlier_state;              /* session.json as the last run left it, or NULL */
    struct json_t *tracks;                     /* what the next run wants to know of narration and pieces */
    char order_sha256[65];                     /* of order.csv as this run knows it */
    bool is_held;                              /* deliver.hold, and there is something that was handed over */

    bool has_narration;
    int narration_rate_hz;
    int64_t narration_frames;
    struct tt_after narration;
    double narration_trim_db;
    bool is_narration_new; /* written in this run */
    char replaced[64];     /* the file below OUT that holds the narration before this one; "" when none was replaced */
    struct tt_warning warnings[TT_MOST_TAKE_WARNINGS];
    size_t warning_count;

    pthread_mutex_t mutex;  /* of progress */
    bool has_spare_threads; /* for each take that is under way: three then keep two processors busy */
    atomic_bool is_stopped;
    double work_total, work_done; /* frames */
    double work_expected;         /* frames that may have to be rendered, until it is known which */
    double share_told;            /* of the run: never less than before */
};

/* Whether spectrograms are wanted: with the pages only. */
bool tt_run_wants_pictures(const struct tt_run_state *run);
/* What is in force for the hearing of a take. */
const struct tt_settings *tt_take_settings(const struct tt_run_state *run, const struct tt_take *take);

/* Files of a take in OUT. */
bool tt_take_paths(struct tt_run_state *run, struct tt_take *take, struct tt_error *err);

void tt_take_fail(struct tt_run_state *run, struct tt_take *take, const struct tt_error *error);
void tt_take_warn(struct tt_take *take, const char *code, double at_s, const char *format, ...) TT_PRINTF(4, 5);
void tt_run_warn(struct tt_run_state *run, const char *code, const char *format, ...) TT_PRINTF(3, 4);
void tt_run_note(struct tt_run_state *run, const char *format, ...) TT_PRINTF(2, 3);
/* A tt_tick over a take: context is a struct tt_work. */
struct tt_work {
    struct tt_run_state *run;
    struct tt_take *take;
    const char *what;
    double frames, reported;
};
bool tt_work_tick(void *context, double share);
bool tt_run_is_going(struct tt_run_state *run, struct tt_error *err); /* not stopped: before each take */
bool tt_work_goes_on(void *context);                                  /* the same where nothing is known of the share */
/* For the tracks behind the takes: context is the run; asked from one thread only. */
bool tt_run_goes_on(void *context);
bool tt_run_decides_on(void *context);                    /* the same between hearing and rendering */
void tt_work_end(struct tt_work *work, const char *done); /* done: "heard", "rendered" */

#endif
