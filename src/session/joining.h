/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_SESSION_JOINING_H
#define TT_SESSION_JOINING_H

#include "session/run.h"

/* Takes that go on from the one before them in the running order become part of it and are not used by themselves. Once
 * headers are read. */
bool tt_session_join(struct tt_run_state *run, struct tt_error *err);
/* What sheets are tied to: the digest of a take's file, or of those of all its files. Once digests are known. */
bool tt_session_find_contents(struct tt_run_state *run, struct tt_error *err);

#endif
