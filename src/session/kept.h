/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a run keeps for the next in session.json beside its summary: recordings, gains, settings, and of the narration
 * and its pieces what they were made from. */
#ifndef TT_SESSION_KEPT_H
#define TT_SESSION_KEPT_H

#include "session/run.h"

struct json_t;

/* Of the narration (piece NULL) or a piece. */
struct tt_kept_track {
    char key[65];      /* digest of all that it is made from */
    bool is_held_back; /* the target was missed */
    double trim_db;
    int rate_hz;
    int64_t frames;
    struct tt_after after;
};
/* False when the earlier run left none. */
bool tt_kept_track_find(const struct tt_run_state *run, const char *piece, struct tt_kept_track *track);
bool tt_kept_track_put(struct tt_run_state *run, const char *piece, const struct tt_kept_track *track,
                       struct tt_error *err);

/* The gain that was decided for a take by the earlier run; NAN: none, or exact. *is_known: the take was there. */
double tt_kept_gain_db(const struct tt_run_state *run, const struct tt_take *take, bool *is_known);
/* Settings that the sound or the times depend on. */
bool tt_kept_settings(const struct tt_settings *settings, struct json_t **object, struct tt_error *err);

/* Puts everything into the new session.json. layout: of the narration, owned from here on, or NULL. */
bool tt_kept_add(struct tt_run_state *run, struct json_t *layout, struct json_t *state, struct tt_error *err);

#endif
