/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/rescale.h"

#include "support.h"

static void a_place_goes_to_the_nearest_frame_of_the_other_rate(void **state)
{
    (void)state;
    assert_int_equal(tt_rescale_frames(0, 44100, 48000), 0);
    assert_int_equal(tt_rescale_frames(44100, 44100, 48000), 48000);
    assert_int_equal(tt_rescale_frames(1, 44100, 48000), 1); /* 1.088 */
    assert_int_equal(tt_rescale_frames(6, 44100, 48000), 7); /* 6.53 */
}

static void a_half_goes_away_from_zero_on_both_sides_of_it(void **state)
{
    (void)state;
    assert_int_equal(tt_rescale_frames(1, 96000, 48000), 1);
    assert_int_equal(tt_rescale_frames(-1, 96000, 48000), -1);
    assert_int_equal(tt_rescale_frames(-6, 44100, 48000), -7);
}

static void places_in_years_of_sound_do_not_overflow(void **state)
{
    (void)state;
    assert_int_equal(tt_rescale_frames(INT64_C(192000) * 86400 * 365 + 3, 192000, 44100),
                     INT64_C(44100) * 86400 * 365 + 1);
    assert_int_equal(tt_rescale_frames(INT64_C(1000000000000) * 44100, 44100, 192000), INT64_C(1000000000000) * 192000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_place_goes_to_the_nearest_frame_of_the_other_rate),
        cmocka_unit_test(a_half_goes_away_from_zero_on_both_sides_of_it),
        cmocka_unit_test(places_in_years_of_sound_do_not_overflow),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
