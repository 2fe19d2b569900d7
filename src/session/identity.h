/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a recording holds: the digest of its bytes, asked for again only where size, times or inode are not those of the
 * last run. */
#ifndef TT_SESSION_IDENTITY_H
#define TT_SESSION_IDENTITY_H

#include <pthread.h>

#include "base/file.h"
#include "session/run.h"

bool tt_identity_find(struct tt_take *take, struct tt_work *work, struct tt_error *err);

/* Takes that are heard for the first time, whatever they hold, are marked as identified late and lose their weight:
 * their digest is found while they are heard, on a processor that has nothing else to do, or out of what hearing reads.
 */
void tt_identity_put_off(struct tt_run_state *run, double *weights);

struct tt_late_identity {
    struct tt_take *take;
    struct tt_work work;
    struct tt_identity identity;   /* what is known of it before hearing */
    struct tt_file_digest *digest; /* gets what hearing reads; NULL: the thread reads the file, or, in the end, find */
    pthread_t thread;
    bool has_thread, is_done, is_found;
    struct tt_error error;
};
void tt_identity_begin(struct tt_late_identity *late, struct tt_run_state *run, struct tt_take *take);
/* For tt_hear, which shows what it reads and asks at its end; context: a struct tt_late_identity. */
void tt_identity_show_late(void *late, int64_t offset, const void *data, size_t size);
const char *tt_identity_of_late(void *late, struct tt_error *err);
/* Returns when nobody works on it any more; in any case behind tt_identity_begin. */
void tt_identity_end(struct tt_late_identity *late);
/* Those that never came to be heard. What cannot be read has failed already, or fails in the next run. */
void tt_identity_catch_up(struct tt_run_state *run);

#endif
