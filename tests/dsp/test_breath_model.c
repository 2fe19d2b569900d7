/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Clues of typical sounds; the bounds are what the words mean, no source. The rates of error are measured over labelled
 * sessions. */
#include "sounds.h"

#include "dsp/breath_model.h"

static const struct tt_breath_clues intake = {.duration_ms = 320.0f,
                                              .level_over_speech_db = -29.0f,
                                              .over_peak_db = 20.0f,
                                              .voiced_mean = 0.05f,
                                              .voiced_high = 0.12f,
                                              .band_db = {-4.0f, 0.0f, 3.0f, 3.0f, 4.0f, 1.0f, 0.0f, -7.0f},
                                              .peak_place = 0.5f,
                                              .centre_place = 0.5f,
                                              .spread_db = 4.5f,
                                              .turn_db = 3.0f,
                                              .since_word_ms = 600.0f,
                                              .until_word_ms = 110.0f,
                                              .dip_before_db = 3.2f,
                                              .dip_after_db = 3.4f};

static void an_intake_is_a_breath(void **state)
{
    (void)state;
    assert_true(tt_breath_likelihood(&intake) > 0.9f);
}

static void a_vowel_is_none(void **state)
{
    (void)state;
    struct tt_breath_clues vowel = intake;
    vowel.voiced_mean = 0.8f;
    vowel.voiced_high = 0.95f;
    vowel.level_over_speech_db = -12.0f;
    assert_true(tt_breath_likelihood(&vowel) < 0.05f);
}

static void a_long_s_is_none(void **state)
{
    (void)state;
    struct tt_breath_clues hiss = intake;
    static const float band_db[TT_BANDS] = {-13.5f, -1.1f, -7.1f, -0.5f,
                                            5.4f,   0.2f,  2.4f,  14.2f}; /* of a real 's' before a stop */
    memcpy(hiss.band_db, band_db, sizeof band_db);
    hiss.duration_ms = 219.0f;
    hiss.level_over_speech_db = -24.5f;
    hiss.until_word_ms = 21.0f;
    assert_true(tt_breath_likelihood(&hiss) < 0.3f);
}

static void a_click_is_none(void **state)
{
    (void)state;
    struct tt_breath_clues click = intake;
    click.duration_ms = 42.0f;
    click.spread_db = 9.0f;
    assert_true(tt_breath_likelihood(&click) < 0.5f);
}

static void likelihoods_stay_within_bounds_for_anything(void **state)
{
    (void)state;
    uint32_t random = 4;
    for (int i = 0; i < 20000; i++) {
        struct tt_breath_clues clues;
        float *values = (float *)&clues;
        for (size_t k = 0; k < sizeof clues / sizeof *values; k++)
            values[k] = (float)(1000.0 * test_noise(&random));
        float likelihood = tt_breath_likelihood(&clues);
        assert_true(likelihood >= 0.0f && likelihood <= 1.0f);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_intake_is_a_breath),
        cmocka_unit_test(a_vowel_is_none),
        cmocka_unit_test(a_long_s_is_none),
        cmocka_unit_test(a_click_is_none),
        cmocka_unit_test(likelihoods_stay_within_bounds_for_anything),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
