/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Breaths and other sounds: which become rows, and what softening does to the samples. */
#include "stages/heard_by_hand.h"

static void a_sure_breath_is_softened_by_what_was_asked_and_an_unsure_one_is_not(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    settings.breaths.soften_db = 9;
    struct hand_take take;
    hand_begin(&take, 10000);
    hand_line(&take, 0, 3000);
    hand_line(&take, 4000, 10000);
    hand_sound(&take, TT_SOUND_BREATH, 3200, 3500, 0.9, 15);
    hand_sound(&take, TT_SOUND_BREATH, 3600, 3800, 0.5, 15);
    hand_decide(&take, &tt_stage_breaths, &settings);
    assert_int_equal(take.sheet.count, 1);
    const struct tt_row *row = &take.sheet.rows[0];
    assert_int_equal(row->kind, TT_ROW_BREATH);
    assert_int_equal(row->action, TT_DO_SOFTEN);
    assert_int_equal(row->start_ms, 3200);
    assert_int_equal(row->end_ms, 3500);
    assert_true(row->amount == 9);
    tt_sheet_free(&take.sheet);
}

static void an_unsure_noise_is_asked_about_when_it_is_heard_and_left_alone_when_not(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 10000);
    hand_sound(&take, TT_SOUND_NOISE, 1000, 1300, 0.95, 20);
    hand_sound(&take, TT_SOUND_NOISE, 2000, 2300, 0.7, 20);
    hand_sound(&take, TT_SOUND_NOISE, 3000, 3300, 0.7, 5);
    hand_sound(&take, TT_SOUND_CLICK, 4000, 4010, 0.9, 20);
    hand_decide(&take, &tt_stage_breaths, &settings);
    hand_seal(&take);
    assert_int_equal(take.sheet.count, 3);
    assert_int_equal(take.sheet.rows[0].action, TT_DO_SOFTEN);
    assert_int_equal(take.sheet.rows[1].action, TT_DO_ASK);
    assert_true(take.sheet.rows[1].amount == settings.breaths.soften_db); /* wanted where the answer is to soften */
    assert_int_equal(take.sheet.rows[2].kind, TT_ROW_CLICK);
    tt_sheet_free(&take.sheet);
}

static void what_lies_beside_a_sound_that_may_be_a_whisper_is_not_softened(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 10000);
    hand_sound(&take, TT_SOUND_NOISE, 1000, 1100, 0.97, 20);
    hand_sound(&take, TT_SOUND_NOISE, 1500, 2000, 0.8, 20);
    hand_sound(&take, TT_SOUND_CLICK, 2450, 2500, 0.97, 20);
    hand_sound(&take, TT_SOUND_NOISE, 4000, 4100, 0.97, 20);
    hand_decide(&take, &tt_stage_breaths, &settings);
    hand_seal(&take);
    assert_int_equal(take.sheet.count, 2);
    assert_int_equal(take.sheet.rows[0].action, TT_DO_ASK);
    assert_int_equal(take.sheet.rows[0].start_ms, 1500);
    assert_int_equal(take.sheet.rows[1].action, TT_DO_SOFTEN);
    assert_int_equal(take.sheet.rows[1].start_ms, 4000);
    tt_sheet_free(&take.sheet);
}

static void a_run_that_is_hardly_voiced_and_stands_alone_is_asked_about(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 20000);
    hand_line(&take, 0, 3000);
    hand_line(&take, 4000, 4500)->voiced_share = 0.1f;  /* a cough */
    hand_line(&take, 5500, 6000)->voiced_share = 0.34f; /* a word with much hiss in it */
    hand_line(&take, 7000, 8500)->voiced_share = 0.1f;  /* too long for a cough */
    hand_line(&take, 8650, 9000)->voiced_share = 0.1f;  /* and this belongs to it */
    hand_decide(&take, &tt_stage_breaths, &settings);
    hand_seal(&take);
    assert_int_equal(take.sheet.count, 1);
    assert_int_equal(take.sheet.rows[0].kind, TT_ROW_NOISE);
    assert_int_equal(take.sheet.rows[0].action, TT_DO_ASK);
    assert_true(take.sheet.rows[0].amount == settings.breaths.soften_db);
    assert_int_equal(take.sheet.rows[0].start_ms, 4000);
    assert_int_equal(take.sheet.rows[0].end_ms, 4500);
    tt_sheet_free(&take.sheet);
}

static void what_is_cut_anyway_needs_no_softening_and_at_zero_all_is_kept(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 10000);
    hand_sound(&take, TT_SOUND_BREATH, 3200, 3500, 0.9, 15);
    hand_row(&take, 3000, 6000, TT_ROW_MISREAD, TT_DO_CUT);
    hand_decide(&take, &tt_stage_breaths, &settings);
    assert_null(hand_nth(&take, TT_ROW_BREATH, 0));
    tt_sheet_free(&take.sheet);
    settings.breaths.soften_db = 0;
    hand_begin(&take, 10000);
    hand_sound(&take, TT_SOUND_BREATH, 3200, 3500, 0.9, 15);
    hand_sound(&take, TT_SOUND_NOISE, 5000, 5300, 0.7, 20);
    hand_decide(&take, &tt_stage_breaths, &settings);
    hand_seal(&take);
    assert_int_equal(take.sheet.count, 2);
    assert_int_equal(take.sheet.rows[0].kind, TT_ROW_BREATH); /* a pause goes around it */
    assert_int_equal(take.sheet.rows[0].action, TT_DO_KEEP);
    assert_int_equal(take.sheet.rows[1].action, TT_DO_ASK);
    for (size_t i = 0; i < 2; i++) /* so that 'soften' can be written there */
        assert_true(take.sheet.rows[i].amount == 12);
    tt_sheet_free(&take.sheet);
}

/* Sends ones through the softening of a sheet in parts of a size: what comes out is the gain. */
static float *gain_of(struct hand_take *take, const struct tt_settings *settings, size_t part, size_t *count)
{
    struct tt_error error = {0};
    struct tt_link link = {0};
    struct tt_rendering rendering = {.heard = &take->heard, .sheet = &take->sheet, .settings = settings};
    assert_ok(tt_stage_breaths.render_open(&rendering, &link, &error), error);
    assert_non_null(link.run);
    *count = (size_t)take->heard.facts.frame_count;
    float *gain = malloc(*count * sizeof *gain);
    assert_non_null(gain);
    for (size_t i = 0; i < *count; i++)
        gain[i] = 1;
    for (size_t at = 0; at < *count; at += part) {
        size_t n = *count - at < part ? *count - at : part;
        assert_int_equal(link.run(link.state, gain + at, n, gain + at), n);
    }
    tt_link_destroy(&link);
    return gain;
}

static void softening_is_as_deep_as_asked_in_the_middle_ramped_and_nothing_outside(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 1000);
    hand_sound(&take, TT_SOUND_BREATH, 300, 600, 0.9, 15);
    hand_decide(&take, &tt_stage_breaths, &settings);
    hand_seal(&take);
    size_t count;
    float *gain = gain_of(&take, &settings, 48000, &count);
    const size_t start = 14400, end = 28800, ten_ms = 480; /* ramps of 10 ms at least (the goal for breaths) */
    for (size_t i = 0; i < count; i++)
        if (i < start || i >= end)
            assert_true(gain[i] == 1);
    for (size_t i = start + 2 * ten_ms; i < end - 2 * ten_ms; i++)
        assert_true(fabs(20 * log10((double)gain[i]) + 12) < 0.01);
    for (size_t i = start; i < start + ten_ms; i++)
        assert_true(gain[i] > gain[i + 1] && fabsf(gain[i] - gain[i + 1]) < 0.003f &&
                    fabsf(gain[i] - gain[end - 1 - (i - start)]) < 1e-6f);
    free(gain);
    tt_sheet_free(&take.sheet);
}

static void parts_of_any_size_give_the_same_bits(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 1000);
    hand_sound(&take, TT_SOUND_BREATH, 100, 300, 0.9, 15);
    hand_sound(&take, TT_SOUND_CLICK, 400, 402, 0.9, 15);
    hand_sound(&take, TT_SOUND_BREATH, 900, 1000, 0.9, 15);
    hand_decide(&take, &tt_stage_breaths, &settings);
    hand_seal(&take);
    size_t count;
    float *whole = gain_of(&take, &settings, 48000, &count);
    static const size_t parts[] = {1, 7, 1000, 16384};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        float *other = gain_of(&take, &settings, parts[i], &count);
        assert_memory_equal(whole, other, count * sizeof *whole);
        free(other);
    }
    free(whole);
    tt_sheet_free(&take.sheet);
}

static void a_person_may_soften_any_sound_by_any_amount_and_keep_any(void **state)
{
    (void)state;
    struct tt_settings settings = hand_settings();
    struct hand_take take;
    hand_begin(&take, 1000);
    hand_sound(&take, TT_SOUND_NOISE, 300, 600, 0.7, 20);
    hand_sound(&take, TT_SOUND_BREATH, 700, 900, 0.9, 20);
    hand_decide(&take, &tt_stage_breaths, &settings);
    hand_seal(&take);
    take.sheet.rows[0].action = TT_DO_SOFTEN;
    take.sheet.rows[0].amount = 30;
    take.sheet.rows[1].action = TT_DO_KEEP;
    size_t count;
    float *gain = gain_of(&take, &settings, 48000, &count);
    assert_true(fabs(20 * log10((double)gain[21600]) + 30) < 0.01);
    assert_true(gain[38400] == 1);
    free(gain);
    tt_sheet_free(&take.sheet);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_sure_breath_is_softened_by_what_was_asked_and_an_unsure_one_is_not),
        cmocka_unit_test(an_unsure_noise_is_asked_about_when_it_is_heard_and_left_alone_when_not),
        cmocka_unit_test(what_lies_beside_a_sound_that_may_be_a_whisper_is_not_softened),
        cmocka_unit_test(a_run_that_is_hardly_voiced_and_stands_alone_is_asked_about),
        cmocka_unit_test(what_is_cut_anyway_needs_no_softening_and_at_zero_all_is_kept),
        cmocka_unit_test(softening_is_as_deep_as_asked_in_the_middle_ramped_and_nothing_outside),
        cmocka_unit_test(parts_of_any_size_give_the_same_bits),
        cmocka_unit_test(a_person_may_soften_any_sound_by_any_amount_and_keep_any),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
