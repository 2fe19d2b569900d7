/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Deciding which readings were given up and read again, and what was said in between. */
#ifndef TT_STAGES_MISREADS_H
#define TT_STAGES_MISREADS_H

#include "stages/stage.h"

/* Proposes misread and talk rows in the sheets of all takes of the session. Uses settings->misreads. */
bool tt_misreads_decide(const struct tt_session_view *view, struct tt_error *err);

#endif
