/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A take that was heard by hand: runs and sounds at times that the test sets. */
#ifndef TT_TESTS_HEARD_BY_HAND_H
#define TT_TESTS_HEARD_BY_HAND_H

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "stages/stage.h"
#include "support.h"

enum { HAND_RATE_HZ = 48000, HAND_MOST = 32 };

struct hand_take {
    struct tt_run runs[HAND_MOST];
    struct tt_sound sounds[HAND_MOST];
    struct tt_heard heard;
    struct tt_sheet sheet;
};

static inline int64_t hand_samples(double ms) { return (int64_t)(ms * HAND_RATE_HZ / 1000 + 0.5); }

static inline void hand_begin(struct hand_take *take, double length_ms)
{
    struct tt_error error = {0};
    memset(take, 0, sizeof *take);
    take->heard = (struct tt_heard){.runs = take->runs, .sounds = take->sounds};
    take->heard.facts.rate_hz = HAND_RATE_HZ;
    take->heard.facts.frame_count = hand_samples(length_ms);
    assert_ok(tt_sheet_start(&take->sheet, "01.wav", "3fa2c1000000000000000000000000000000000000000000000000000000000a",
                             &error),
              error);
}

/* A line of speech with sharp edges, 35 dB over the room unless said otherwise. */
static inline struct tt_run *hand_line(struct hand_take *take, double start_ms, double end_ms)
{
    struct tt_run *run = &take->runs[take->heard.run_count++];
    *run = (struct tt_run){.start_sample = hand_samples(start_ms),
                           .end_sample = hand_samples(end_ms),
                           .loud_start_sample = hand_samples(start_ms),
                           .loud_end_sample = hand_samples(end_ms),
                           .level_db = -25,
                           .over_floor_db = 35,
                           .voiced_share = 0.6f};
    return run;
}

static inline void hand_sound(struct hand_take *take, enum tt_sound_kind kind, double start_ms, double end_ms,
                              double confidence, double over_floor_db)
{
    take->sounds[take->heard.sound_count++] = (struct tt_sound){.start_sample = hand_samples(start_ms),
                                                                .end_sample = hand_samples(end_ms),
                                                                .kind = kind,
                                                                .confidence = (float)confidence,
                                                                .level_db = -45,
                                                                .over_floor_db = (float)over_floor_db};
}

static inline void hand_row(struct hand_take *take, double start_ms, double end_ms, enum tt_row_kind kind,
                            enum tt_row_action action)
{
    const struct tt_row row = row_of((int64_t)start_ms, (int64_t)end_ms, kind, action, NAN);
    sheet_propose(&take->sheet, &row);
}

static inline void hand_decide(struct hand_take *take, const struct tt_stage *stage, const struct tt_settings *settings)
{
    struct tt_error error = {0};
    struct tt_take_view view = {.name = "01.wav", .heard = &take->heard, .sheet = &take->sheet};
    struct tt_session_view session = {.takes = &view, .count = 1, .settings = settings};
    assert_ok(stage->decide(&session, &error), error);
}

static inline void hand_seal(struct hand_take *take)
{
    struct tt_error error = {0};
    assert_ok(tt_sheet_seal(&take->sheet, &error), error);
}

/* The n-th row of a kind, or NULL. */
static inline const struct tt_row *hand_nth(const struct hand_take *take, enum tt_row_kind kind, size_t n)
{
    for (size_t i = 0; i < take->sheet.count; i++)
        if (take->sheet.rows[i].kind == kind && n-- == 0)
            return &take->sheet.rows[i];
    return NULL;
}

static inline struct tt_settings hand_settings(void)
{
    struct tt_settings settings;
    tt_settings_default(&settings);
    return settings;
}

#endif
