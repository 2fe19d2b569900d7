/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The steps of a run, in order. Each fails only where the whole run must; takes that fail are marked. */
#ifndef TT_SESSION_STEPS_H
#define TT_SESSION_STEPS_H

#include "session/run.h"

/* sheet_news.c: rows of changes files go into the sheets of the takes that they name. */
bool tt_session_merge_changes(struct tt_run_state *run, struct tt_error *err);
/* How many of the program's rows are in the take's new sheet and in its last report, but not in the sheet that was
 * read: a person deleted them, which decides nothing. Then it is told. */
size_t tt_session_brought_back(const struct tt_take *take);
void tt_session_tell_brought_back(struct tt_run_state *run);
bool tt_session_remember(struct tt_run_state *run, struct tt_error *err); /* state.c: what earlier runs know */
bool tt_session_order(struct tt_run_state *run, struct tt_error *err);    /* order.c: OUT/order.csv */
bool tt_session_hear(struct tt_run_state *run, struct tt_error *err);     /* hearing.c */
bool tt_session_hold(struct tt_run_state *run,
                     struct tt_error *err); /* hold.c: an error where something would move by itself */
bool tt_session_held_sheets(struct tt_run_state *run,
                            struct tt_error *err); /* held.c: in place of deciding, what was decided */
void tt_session_held_gains(struct tt_run_state *run);
bool tt_session_held_exact_gains(struct tt_run_state *run, struct tt_error *err); /* once render keys are there */
bool tt_session_pace(struct tt_run_state *run, struct tt_error *err);             /* pacing.c */
/* sheet_files.c */
bool tt_session_read_sheet(const struct tt_run_state *run, struct tt_take *take, struct tt_error *err);
void tt_session_keep_sheet(struct tt_take *take, struct tt_text *text); /* as its file is now; takes the text over */
bool tt_session_sheet_moved(const struct tt_take *take);                /* its file is not as this run last knew it */
bool tt_session_decide_gains(struct tt_run_state *run, struct tt_error *err); /* gains.c */
/* render_key.c: digest of everything that a voice file depends on. */
bool tt_session_render_key(struct tt_run_state *run, struct tt_take *take, struct tt_error *err);
bool tt_session_decide(struct tt_run_state *run, struct tt_error *err); /* deciding.c: sheets, maps, gains */
bool tt_session_order_moved(const struct tt_run_state *run);            /* somebody saved order.csv since it was read */
bool tt_session_was_edited(
    struct tt_run_state *run); /* one of these, or a sheet that could not be read: the next run has work */
bool tt_session_sheets_moved(struct tt_run_state *run); /* somebody saved a sheet since it was decided */
bool tt_session_render(struct tt_run_state *run, struct tt_error *err);      /* rendering.c */
bool tt_session_narrate(struct tt_run_state *run, struct tt_error *err);     /* narration.c */
bool tt_session_copy_sounds(struct tt_run_state *run, struct tt_error *err); /* play_copies.c */
const char *tt_take_play_before(const struct tt_take *take);
const char *tt_take_play_after(const struct tt_run_state *run, const struct tt_take *take);
bool tt_session_show_take(struct tt_run_state *run, struct tt_take *take,
                          struct tt_error *err); /* its report/STEM.json alone */
bool tt_session_show(struct tt_run_state *run, struct tt_clean_result *result, struct tt_error *err); /* showing.c */

#endif
