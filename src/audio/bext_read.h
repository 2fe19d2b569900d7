/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The broadcast extension of an open sound file (EBU Tech 3285). */
#ifndef TT_AUDIO_BEXT_READ_H
#define TT_AUDIO_BEXT_READ_H

#include <sndfile.h>

#include "audio/reader.h"
#include "audio/writer.h"

/* Time reference, date and time, and whether this program wrote the file. */
void tt_bext_describe(SNDFILE *file, struct tt_audio_info *info);

/* As tt_reader_bext; *bext and *coding_history are all zeros before. */
bool tt_bext_read(SNDFILE *file, struct tt_bext *bext, char **coding_history);

#endif
