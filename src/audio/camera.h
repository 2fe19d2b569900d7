/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The sound of camera and phone files (MP4, MOV, M4A, MKV, 3GP) through libavformat and libavcodec: an optional part,
 * found when the program is built. Pictures are never decoded. */
#ifndef TT_AUDIO_CAMERA_H
#define TT_AUDIO_CAMERA_H

#include "audio/reader.h"

/* formats.c. True when a name ends like a camera's or a phone's file and does not begin with a dot. */
bool tt_is_camera_name(const char *name);
/* Whether this build reads them. */
bool tt_camera_is_built_in(void);

struct tt_camera;
/* The first sound stream. Sample 0 is the moment 0 of the file's own time, where its picture begins; *info's
 * frame_count is what the header tells. Without the optional part the error names the package, and the command that
 * makes a WAV. */
struct tt_camera *tt_camera_open(const char *path, struct tt_audio_info *info, struct tt_error *err);
/* Interleaved frames; never fewer than asked except at the end; -1 on error. */
int64_t tt_camera_read(struct tt_camera *camera, float *interleaved, int64_t frame_count, struct tt_error *err);
void tt_camera_close(struct tt_camera *camera); /* NULL is fine */

#endif
