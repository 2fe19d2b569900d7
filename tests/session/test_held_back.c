/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is said of a voice that its peaks kept under where it should be. */
#include "session/judging.h"
#include "take_support.h"

#include <string.h>

/* What a report warns of a target that was missed; "" where it does not. */
static const char *missed_of(const json_t *report)
{
    size_t i;
    const json_t *warning;
    json_array_foreach(json_object_get(report, "warnings"), i,
                       warning) if (strcmp(json_string_value(json_object_get(warning, "code")), "target-missed") ==
                                    0) return json_string_value(json_object_get(warning, "message"));
    return "";
}

/* The first take has a peak that the gain of all would lift far over the ceiling. */
static void beside_others_a_voice_is_measured_against_them(void **state)
{
    struct place *p = *state;
    size_t frames;
    float *samples = take_samples((struct take_shape){.seconds = 4}, &frames);
    samples[frames / 3] = 0.9f;
    sound_write(take_path(p, "01.wav"), WAV_24, 24000, 1, samples, frames);
    free(samples);
    take_write(take_path(p, "02.wav"), (struct take_shape){.seconds = 4, .seed = 2});
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {"misreads.action=off", "loudness.limit_most_db=1",
                                                          "loudness.target_lufs=-20"}});
    json_t *held = report_of(p->out, "01"), *other = report_of(p->out, "02");
    const double gain_db = json_number_value(json_object_get(held, "gain_db")),
                 other_db = json_number_value(json_object_get(other, "gain_db"));
    char wanted[120];
    assert_true(other_db > gain_db + 1);
    snprintf(wanted, sizeof wanted, "it stays %.1f dB under the takes around it: ", other_db - gain_db);
    assert_non_null(strstr(missed_of(held), wanted));
    assert_string_equal(missed_of(other), "");
    json_decref(held);
    json_decref(other);
    tt_clean_result_free(&result);
}

static void what_nobody_would_miss_is_not_told(void **state)
{
    (void)state;
    const struct tt_settings settings = {.loudness.limit_most_db = 6};
    char text[TT_HELD_BACK_CHARS];
    assert_false(tt_held_back_say(&settings, 0.04, "the target", text, sizeof text));
    assert_false(tt_held_back_say(&settings, -0.3, "the target", text, sizeof text));
    assert_true(tt_held_back_say(&settings, 0.06, "the target", text, sizeof text));
    assert_non_null(strstr(text, "it stays 0.1 dB under the target: "));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(beside_others_a_voice_is_measured_against_them, place_set_up, place_tear_down),
        cmocka_unit_test(what_nobody_would_miss_is_not_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
