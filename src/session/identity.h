/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a recording holds: the digest of its bytes, asked for again only where size, times or inode are not those of the
 * last run. */
#ifndef TT_SESSION_IDENTITY_H
#define TT_SESSION_IDENTITY_H

#include <pthread.h>

#include "session/run.h"

bool tt_identity_find(struct tt_take *take, struct tt_work *work, struct tt_error *err);

/* Takes that are heard for the first time, whatever they hold, are marked as identified late and lose their weight:
 * their digest is found beside hearing, on a processor that has nothing else to do. */
void tt_identity_put_off(struct tt_run_state *run, double *weights);

struct tt_late_identity {
    struct tt_take *take;
    struct tt_work work;
    pthread_t thread;
    bool has_thread, is_done, is_found;
    struct tt_error error;
};
void tt_identity_begin(struct tt_late_identity *late, struct tt_run_state *run, struct tt_take *take);
/* For tt_hear, which asks at its end; context: a struct tt_late_identity. */
const char *tt_identity_of_late(void *late, struct tt_error *err);
/* Returns when nobody works on it any more; in any case behind tt_identity_begin. */
void tt_identity_end(struct tt_late_identity *late);
/* Those that never came to be heard. What cannot be read has failed already, or fails in the next run. */
void tt_identity_catch_up(struct tt_run_state *run);

#endif
