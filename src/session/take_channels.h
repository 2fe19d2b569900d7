/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Which channel of each take carries the voice. */
#ifndef TT_SESSION_TAKE_CHANNELS_H
#define TT_SESSION_TAKE_CHANNELS_H

#include "session/run.h"

/* By the settings, or by what is on the channels. A take that cannot be read through is marked as failed. */
void tt_session_choose_channels(struct tt_run_state *run);

#endif
