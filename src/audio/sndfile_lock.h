/* SPDX-License-Identifier: GPL-2.0-or-later */
/* libsndfile keeps the error of a failed open in a static variable: opening is done by one thread at a time. */
#ifndef TT_AUDIO_SNDFILE_LOCK_H
#define TT_AUDIO_SNDFILE_LOCK_H

#include <sndfile.h>

/* Opens for reading from the start of fd, which stays the caller's to close. NULL on failure: why then holds libsndfile's text. */
SNDFILE *tt_sndfile_open_fd(int fd, SF_INFO *info, char *why, int why_size);

/* The same for writing through callbacks. */
SNDFILE *tt_sndfile_open_sink(SF_VIRTUAL_IO *calls, void *sink, SF_INFO *info, char *why, int why_size);

#endif
