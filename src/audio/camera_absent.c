/* SPDX-License-Identifier: GPL-2.0-or-later */
/* In place of camera.c where the libraries for it were not there: see CAMERA in the Makefile. */
#include "audio/camera.h"

bool tt_camera_is_built_in(void) { return false; }

struct tt_camera *tt_camera_open(const char *path, struct tt_audio_info *info, struct tt_error *err)
{
    (void)info;
    (void)tt_fail(
        err, TT_ERROR_INPUT,
        "%s: this build reads no camera files; make a WAV of its sound: ffmpeg -i FILE -vn -c:a pcm_s24le TAKE.wav, "
        "or build with libavformat-dev, libavcodec-dev and libswresample-dev",
        path);
    return NULL;
}

int64_t tt_camera_read(struct tt_camera *camera, float *interleaved, int64_t frame_count, struct tt_error *err)
{
    (void)camera, (void)interleaved, (void)frame_count, (void)err;
    return 0;
}

void tt_camera_close(struct tt_camera *camera) { (void)camera; }
