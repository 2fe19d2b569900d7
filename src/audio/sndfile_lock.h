/* SPDX-License-Identifier: GPL-2.0-or-later */
/* libsndfile keeps the error of a failed open in a static variable: opening is done by one thread at a time. Always
 * through callbacks: an open by name would take text that is named .au for headerless sound. */
#ifndef TT_AUDIO_SNDFILE_LOCK_H
#define TT_AUDIO_SNDFILE_LOCK_H

#include <sndfile.h>

/* NULL on failure: why then holds libsndfile's text. */
SNDFILE *tt_sndfile_open(SF_VIRTUAL_IO *calls, int mode, void *user, SF_INFO *info, char *why, int why_size);

#endif
