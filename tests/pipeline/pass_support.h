/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One take through hearing, an empty or hand-made sheet, and rendering. */
#ifndef TT_TESTS_PASS_SUPPORT_H
#define TT_TESTS_PASS_SUPPORT_H

#include "base/file.h"
#include "pipeline/hear.h"
#include "pipeline/render.h"
#include "session/take_support.h"

struct pass {
    char take[2100], heard_path[2100], voice[2100], whole[2100];
    struct tt_settings settings;
    struct tt_heard heard;
    struct tt_sheet sheet;
    struct tt_time_map map;
    int threads;
};

/* Nothing is done to the sound but one gain. */
static inline struct tt_settings settings_that_do_nothing(void)
{
    struct tt_settings settings;
    tt_settings_default(&settings);
    settings.take.highpass_hz = 0;
    settings.gate.depth_db = 0;
    settings.gate.hum = TT_HUM_OFF;
    settings.breaths.soften_db = 0;
    return settings;
}

static inline struct pass *pass_begin(const struct place *place, const char *take, struct tt_settings settings)
{
    struct pass *pass = calloc(1, sizeof *pass);
    assert_non_null(pass);
    snprintf(pass->take, sizeof pass->take, "%s/%s", place->session, take);
    snprintf(pass->heard_path, sizeof pass->heard_path, "%s/take.bin", place->folder);
    snprintf(pass->voice, sizeof pass->voice, "%s/voice.wav", place->folder);
    snprintf(pass->whole, sizeof pass->whole, "%s/whole.wav", place->folder);
    pass->settings = settings;
    return pass;
}

static inline bool pass_hear(struct pass *pass, int channel, struct tt_error *error)
{
    char digest[65], key[65];
    assert_ok(tt_file_sha256(pass->take, digest, error), *error);
    if (!tt_hearing_key(&pass->settings, &(struct tt_channel_choice){.channel = channel}, key, error))
        return false;
    struct tt_hear_request request = {.path = pass->take,
                                      .heard_path = pass->heard_path,
                                      .content_sha256 = digest,
                                      .hearing_key = key,
                                      .channel = {.channel = channel, .why = "the test says so"},
                                      .settings = &pass->settings,
                                      .has_second_thread = pass->threads > 1};
    return tt_hear(&request, error) && tt_heard_open(pass->heard_path, digest, key, &pass->heard, error) &&
           tt_sheet_start(&pass->sheet, tt_path_name(pass->take), digest, error);
}

static inline void pass_row(struct pass *pass, int64_t start_ms, int64_t end_ms, enum tt_row_kind kind,
                            enum tt_row_action action, double amount)
{
    const struct tt_row row = row_of(start_ms, end_ms, kind, action, amount);
    sheet_propose(&pass->sheet, &row);
}

static inline struct tt_render_request pass_request(struct pass *pass, double gain_db)
{
    struct tt_error error = {0};
    assert_ok(tt_sheet_seal(&pass->sheet, &error), error);
    tt_time_map_free(&pass->map);
    assert_ok(tt_time_map_build(&pass->sheet, &pass->heard, &pass->map, &error), error);
    char *slash = strrchr(pass->voice, '/');
    static char folder[2100];
    snprintf(folder, sizeof folder, "%.*s", (int)(slash - pass->voice), pass->voice);
    return (struct tt_render_request){.path = pass->take,
                                      .heard = &pass->heard,
                                      .sheet = &pass->sheet,
                                      .map = &pass->map,
                                      .settings = &pass->settings,
                                      .gain_db = gain_db,
                                      .out_rate_hz = tt_delivery_rate_hz(&pass->settings, pass->heard.facts.rate_hz),
                                      .voice_path = pass->voice,
                                      .whole_path = pass->whole,
                                      .scratch_folder = folder,
                                      .threads = pass->threads};
}

static inline struct tt_rendered render_well(struct pass *pass, double gain_db)
{
    struct tt_error error = {0};
    struct tt_rendered rendered;
    struct tt_render_request request = pass_request(pass, gain_db);
    assert_ok(tt_render(&request, &rendered, &error), error);
    return rendered;
}

static inline void pass_end(struct pass *pass)
{
    tt_time_map_free(&pass->map);
    tt_sheet_free(&pass->sheet);
    tt_heard_close(&pass->heard);
    free(pass);
}

/* A tick that stops the work when it has been asked so often. */
struct countdown {
    int left;
};
static inline bool count_down(void *context, double share)
{
    assert_true(share >= 0 && share <= 1);
    return ((struct countdown *)context)->left-- > 0;
}

#endif
