/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Gains: what is decided for one take and for many. Levels of known steps: ITU-R BS.1770 (-0.691 + 10 log10 of the mean
 * K-weighted power). */
#include "stages/loudness.h"

#include "stages/heard_by_hand.h"

enum { STEPS = 100 };

/* A take of ten seconds whose every step reads the same loudness, with a map that keeps it whole. */
struct level_take {
    struct tt_heard heard;
    float steps[STEPS];
    struct tt_run run;
    struct tt_stretch stretch;
    struct tt_time_map map;
};

static void level_take(struct level_take *take, double lufs)
{
    memset(take, 0, sizeof *take);
    for (int i = 0; i < STEPS; i++)
        take->steps[i] = (float)pow(10, (lufs + 0.691) / 10);
    take->heard.facts.rate_hz = HAND_RATE_HZ;
    take->heard.facts.frame_count = STEPS * HAND_RATE_HZ / 10;
    take->heard.facts.before.integrated_lufs = lufs;
    take->heard.facts.before.rms_dbfs = lufs - 3;
    take->heard.steps = take->steps;
    take->run = (struct tt_run){
        .start_sample = 0, .end_sample = take->heard.facts.frame_count, .level_db = (float)lufs, .over_floor_db = 35};
    take->heard.runs = &take->run;
    take->heard.run_count = 1;
    take->heard.step_count = STEPS;
    take->stretch = (struct tt_stretch){.source_start = 0, .source_end = take->heard.facts.frame_count};
    take->map = (struct tt_time_map){
        .rate_hz = HAND_RATE_HZ, .stretches = &take->stretch, .count = 1, .out_samples = take->heard.facts.frame_count};
}

static double decide(struct level_take *takes, struct tt_gain_take *gains, size_t count,
                     const struct tt_settings *settings, double earlier_db)
{
    struct tt_error error = {0};
    double common;
    for (size_t i = 0; i < count; i++)
        gains[i] = (struct tt_gain_take){.heard = &takes[i].heard, .map = &takes[i].map};
    assert_ok(tt_loudness_decide(gains, count, settings, earlier_db, &common, &error), error);
    return common;
}

static void takes_recorded_alike_get_one_gain_to_the_target(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct level_take takes[3];
    struct tt_gain_take gains[3];
    for (int i = 0; i < 3; i++)
        level_take(&takes[i], -26);
    double common = decide(takes, gains, 3, &settings, NAN);
    assert_true(fabs(common - 10) < 0.01);
    for (int i = 0; i < 3; i++)
        assert_true(gains[i].gain_db == common && !gains[i].is_apart);
}

static void a_take_more_than_3_lu_from_the_others_gets_its_own(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct level_take takes[4];
    struct tt_gain_take gains[4];
    for (int i = 0; i < 4; i++)
        level_take(&takes[i], i == 2 ? -18 : -26);
    double common = decide(takes, gains, 4, &settings, NAN);
    assert_true(fabs(common - 10) < 0.01);
    assert_true(gains[2].is_apart && fabs(gains[2].gain_db - 2) < 0.01);
    assert_true(!gains[0].is_apart && gains[0].gain_db == common);
    level_take(&takes[2], -23.1);
    decide(takes, gains, 4, &settings, NAN);
    assert_false(gains[2].is_apart);
}

static void each_take_alone_is_left_to_the_render(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    settings.loudness.across = TT_ACROSS_TAKE;
    struct level_take takes[2];
    struct tt_gain_take gains[2];
    level_take(&takes[0], -26);
    level_take(&takes[1], -20);
    assert_true(isnan(decide(takes, gains, 2, &settings, NAN)));
    assert_true(isnan(gains[0].gain_db) && isnan(gains[1].gain_db));
}

static void a_stored_gain_moves_only_when_it_is_off_by_more_than_a_fifth(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct level_take take;
    struct tt_gain_take gain;
    level_take(&take, -26);
    assert_true(decide(&take, &gain, 1, &settings, 10.15) == 10.15);
    assert_true(decide(&take, &gain, 1, &settings, 9.85) == 9.85);
    assert_true(fabs(decide(&take, &gain, 1, &settings, 10.25) - 10) < 0.01);
}

static void only_what_stays_counts(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct level_take take;
    struct tt_gain_take gain;
    level_take(&take, -26);
    for (int i = STEPS / 2; i < STEPS; i++)
        take.steps[i] *= 100; /* shouted, and cut */
    take.stretch.source_end = take.heard.facts.frame_count / 2;
    assert_true(fabs(decide(&take, &gain, 1, &settings, NAN) - 10) < 0.01);
}

static void two_channels_alike_need_3_db_less(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct level_take take;
    struct tt_gain_take gain;
    level_take(&take, -26);
    settings.deliver.channels = TT_CHANNELS_DUAL;
    assert_true(tt_channel_weight(&settings) == 2);
    assert_true(fabs(decide(&take, &gain, 1, &settings, NAN) - (10 - 3.0103)) < 0.01);
}

static void rms_is_aimed_at_when_asked(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    settings.loudness.aim = TT_AIM_RMS;
    struct level_take take;
    struct tt_gain_take gain;
    level_take(&take, -26); /* -29 dBFS RMS; the target is -20 */
    assert_true(fabs(decide(&take, &gain, 1, &settings, NAN) - 9) < 0.01);
    struct tt_levels levels = {.integrated_lufs = -26, .rms_dbfs = -29};
    assert_true(tt_gain_to_target_db(&levels, &settings) == 9);
    settings.loudness.aim = TT_AIM_LUFS;
    assert_true(tt_gain_to_target_db(&levels, &settings) == 10);
}

static void silence_gets_no_gain_and_moves_no_other(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct level_take takes[2];
    struct tt_gain_take gains[2];
    level_take(&takes[0], -26);
    level_take(&takes[1], -26);
    memset(takes[1].steps, 0, sizeof takes[1].steps);
    takes[1].heard.facts.before.integrated_lufs = -INFINITY;
    assert_true(fabs(decide(takes, gains, 2, &settings, NAN) - 10) < 0.01);
    assert_false(gains[1].is_apart);
    assert_true(isnan(decide(&takes[1], gains, 1, &settings, NAN)));
    struct tt_levels levels = {.integrated_lufs = -INFINITY};
    assert_true(isnan(tt_gain_to_target_db(&levels, &settings)));
}

static void a_room_without_a_voice_moves_no_gain(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct level_take takes[3];
    struct tt_gain_take gains[3];
    for (int i = 0; i < 3; i++)
        level_take(&takes[i], i == 1 ? -60 : -26);
    takes[1].heard.run_count = 0;
    double common = decide(takes, gains, 3, &settings, NAN);
    assert_true(fabs(common - 10) < 0.01);
    assert_true(!gains[1].is_apart && gains[1].gain_db == common); /* not raised to the level of a voice */
}

/* ---- evening ---- */

static float *evened(struct hand_take *take, const struct tt_settings *settings, size_t part, size_t *count)
{
    struct tt_error error = {0};
    struct tt_link link = {0};
    struct tt_rendering rendering = {.heard = &take->heard, .sheet = &take->sheet, .settings = settings};
    assert_ok(tt_stage_loudness.render_open(&rendering, &link, &error), error);
    assert_non_null(link.run);
    *count = (size_t)take->heard.facts.frame_count;
    float *gain = malloc(*count * sizeof *gain);
    assert_non_null(gain);
    for (size_t i = 0; i < *count; i++)
        gain[i] = 1;
    for (size_t at = 0; at < *count; at += part)
        link.run(link.state, gain + at, *count - at < part ? *count - at : part, gain + at);
    tt_link_destroy(&link);
    return gain;
}

static void lines_move_towards_the_middle_one_by_what_was_allowed_and_only_in_pauses(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    settings.loudness.even_db = 4;
    struct hand_take take;
    hand_begin(&take, 10000);
    hand_line(&take, 500, 2500)->level_db = -30;
    hand_line(&take, 3500, 5500)->level_db = -27;
    hand_line(&take, 6500, 9500)->level_db = -20;
    size_t count;
    float *gain = evened(&take, &settings, 48000, &count);
    static const struct {
        double from_ms, to_ms, db;
    } lines[] = {{0, 2500, 3}, {3500, 5500, 0}, {6500, 10000, -4}};
    for (int l = 0; l < 3; l++)
        for (int64_t i = hand_samples(lines[l].from_ms); i < hand_samples(lines[l].to_ms); i++)
            assert_true(fabs(20 * log10((double)gain[i]) - lines[l].db) < 1e-4);
    for (size_t i = 1; i < count; i++)
        assert_true(fabsf(gain[i] - gain[i - 1]) < 1e-4f); /* no step */
    float *other = evened(&take, &settings, 777, &count);
    assert_memory_equal(gain, other, count * sizeof *gain);
    free(gain);
    free(other);
    tt_sheet_free(&take.sheet);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(takes_recorded_alike_get_one_gain_to_the_target),
        cmocka_unit_test(a_take_more_than_3_lu_from_the_others_gets_its_own),
        cmocka_unit_test(each_take_alone_is_left_to_the_render),
        cmocka_unit_test(a_stored_gain_moves_only_when_it_is_off_by_more_than_a_fifth),
        cmocka_unit_test(only_what_stays_counts),
        cmocka_unit_test(two_channels_alike_need_3_db_less),
        cmocka_unit_test(rms_is_aimed_at_when_asked),
        cmocka_unit_test(silence_gets_no_gain_and_moves_no_other),
        cmocka_unit_test(a_room_without_a_voice_moves_no_gain),
        cmocka_unit_test(lines_move_towards_the_middle_one_by_what_was_allowed_and_only_in_pauses),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
