/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/portrait.h"

#include <stdlib.h>
#include <string.h>

#include "pipeline/picture.h"
#include "sheet/voice_heard.h"

struct tt_portrait {
    struct tt_stft_shape shape;
    const char *heard_path;
    struct tt_picture *picture;
    struct tt_stft *stft;
    float *window, *power;
    size_t filled;
};

struct tt_portrait *tt_portrait_create(int rate_hz, const char *heard_path, const char *picture_prefix,
                                       struct tt_error *err)
{
    struct tt_portrait *portrait = calloc(1, sizeof *portrait);
    if (!portrait) {
        tt_fail_memory(err);
        return NULL;
    }
    portrait->shape = tt_stft_shape_for(rate_hz);
    portrait->heard_path = heard_path;
    if (!picture_prefix)
        return portrait;
    size_t bins = (size_t)portrait->shape.bin_count, window = (size_t)portrait->shape.window_samples;
    portrait->window = calloc(window, sizeof(float));
    portrait->power = malloc(bins * sizeof(float));
    if (!portrait->window || !portrait->power)
        tt_fail_memory(err);
    else if ((portrait->picture = tt_picture_create(portrait->shape, picture_prefix, err)) &&
             (portrait->stft = tt_stft_create(portrait->shape, err))) {
        portrait->filled = window / 2; /* the first frame is centred on the first sample, as those of hearing are */
        return portrait;
    }
    tt_portrait_destroy(portrait);
    return NULL;
}

static bool end_window(struct tt_portrait *portrait, struct tt_error *err)
{
    tt_stft_powers(portrait->stft, portrait->window, portrait->power);
    portrait->filled = 0; /* windows of four hops stand side by side: TT_PICTURE_HOPS */
    return tt_picture_add(portrait->picture, portrait->power, err);
}

bool tt_portrait_add(struct tt_portrait *portrait, const float *samples, size_t count, struct tt_error *err)
{
    while (portrait->picture && count > 0) {
        size_t room = (size_t)portrait->shape.window_samples - portrait->filled, part = count < room ? count : room;
        memcpy(portrait->window + portrait->filled, samples, part * sizeof(float));
        portrait->filled += part;
        samples += part;
        count -= part;
        if (part == room && !end_window(portrait, err))
            return false;
    }
    return true;
}

bool tt_portrait_finish(struct tt_portrait *portrait, const struct tt_meter *meter, const struct tt_quiet_meter *quiet,
                        struct tt_error *err)
{
    if (portrait->picture) {
        if (portrait->filled > 0) {
            memset(portrait->window + portrait->filled, 0,
                   ((size_t)portrait->shape.window_samples - portrait->filled) * sizeof(float));
            if (!end_window(portrait, err))
                return false;
        }
        if (!tt_picture_finish(portrait->picture, err))
            return false;
    }
    struct tt_voice_heard heard = {.steps = NULL};
    heard.steps = (float *)(uintptr_t)tt_meter_steps(meter, &heard.step_count); /* only read */
    tt_quiet_meter_thirds(quiet, heard.thirds);
    return tt_voice_heard_write(portrait->heard_path, &heard, err);
}

void tt_portrait_destroy(struct tt_portrait *portrait)
{
    if (!portrait)
        return;
    tt_picture_destroy(portrait->picture);
    tt_stft_destroy(portrait->stft);
    free(portrait->window);
    free(portrait->power);
    free(portrait);
}
