/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "report/timecode.h"

static void assert_pair(enum tt_frame_rate rate, int64_t frame, const char *expected)
{
    char text[TT_TIMECODE_CHARS];
    int64_t back = -1;
    tt_timecode_format(rate, frame, text);
    assert_string_equal(text, expected);
    assert_true(tt_timecode_parse(rate, expected, &back));
    assert_int_equal(back, frame);
}

/* Frame counts 17981 to 17984, 10789, 10790 and 1084319 at 29.97 are also those of OpenTimelineIO's unit tests; the
 * others follow from SMPTE ST 12-1's rule (numbers 0 and 1, at 59.94 0 to 3, are left out at each minute but every
 * tenth), computed by hand. */
static void dropped_numbers_fall_where_the_standard_has_them(void **state)
{
    (void)state;
    assert_pair(TT_FPS_2997DF, 1799, "00:00:59;29");
    assert_pair(TT_FPS_2997DF, 1800, "00:01:00;02");
    assert_pair(TT_FPS_2997DF, 10789, "00:05:59;29");
    assert_pair(TT_FPS_2997DF, 10790, "00:06:00;02");
    assert_pair(TT_FPS_2997DF, 17981, "00:09:59;29");
    assert_pair(TT_FPS_2997DF, 17982, "00:10:00;00");
    assert_pair(TT_FPS_2997DF, 17984, "00:10:00;02");
    assert_pair(TT_FPS_2997DF, 107891, "00:59:59;29");
    assert_pair(TT_FPS_2997DF, 107892, "01:00:00;00");
    assert_pair(TT_FPS_2997DF, 1084319, "10:03:00;05");
    assert_pair(TT_FPS_2997DF, 2589407, "23:59:59;29");
    assert_pair(TT_FPS_5994DF, 17982, "00:04:59;58");
    assert_pair(TT_FPS_5994DF, 17984, "00:05:00;04");
    assert_pair(TT_FPS_5994DF, 107891, "00:29:59;59");
    assert_pair(TT_FPS_5994DF, 107892, "00:30:00;00");
    assert_pair(TT_FPS_5994DF, 1084319, "05:01:30;03");
}

static void other_rates_count_every_number(void **state)
{
    (void)state;
    assert_pair(TT_FPS_23976, 86400, "01:00:00:00");
    assert_pair(TT_FPS_24, 24 * 61 + 23, "00:01:01:23");
    assert_pair(TT_FPS_25, 90000, "01:00:00:00");
    assert_pair(TT_FPS_2997, 1800, "00:01:00:00");
    assert_pair(TT_FPS_30, 30 * 86400 - 1, "23:59:59:29");
    assert_pair(TT_FPS_50, 49, "00:00:00:49");
    assert_pair(TT_FPS_5994, 3600, "00:01:00:00");
    assert_pair(TT_FPS_60, 60 * 3600 + 59, "01:00:00:59");
}

/* An independent count: label after label through a whole day, leaving out what the rule leaves out. */
static void a_whole_day_goes_round(void **state)
{
    (void)state;
    int64_t frame = 0, back;
    for (int minute = 0; minute < 1440; minute++)
        for (int second = 0; second < 60; second++)
            for (int number = 0; number < 30; number++) {
                char expected[TT_TIMECODE_CHARS], text[TT_TIMECODE_CHARS];
                snprintf(expected, sizeof expected, "%02d:%02d:%02d;%02d", (minute / 60) % 24, minute % 60, second % 60,
                         number % 30);
                if (second == 0 && number < 2 && minute % 10 != 0) {
                    assert_false(tt_timecode_parse(TT_FPS_2997DF, expected, &back));
                    continue;
                }
                tt_timecode_format(TT_FPS_2997DF, frame, text);
                if (strcmp(text, expected) != 0)
                    assert_string_equal(text, expected);
                frame++;
            }
    assert_int_equal(frame, 2589408);
    assert_pair(TT_FPS_2997DF, 0, "00:00:00;00");
    char text[TT_TIMECODE_CHARS];
    tt_timecode_format(TT_FPS_2997DF, frame, text);
    assert_string_equal(text, "00:00:00;00");
    tt_timecode_format(TT_FPS_25, -1, text);
    assert_string_equal(text, "23:59:59:24");
}

static void what_is_no_time_address_is_refused(void **state)
{
    (void)state;
    static const char *const wrong[] = {"",
                                        "01:00:00",
                                        "1:00:00:00",
                                        "01:00:00:25",
                                        "24:00:00:00",
                                        "00:60:00:00",
                                        "00:00:60:00",
                                        "00:00:00:0x",
                                        "00:00:00;00",
                                        "00;00:00:00",
                                        "01:00:00:00 "};
    int64_t frame;
    for (size_t i = 0; i < sizeof wrong / sizeof *wrong; i++)
        assert_false(tt_timecode_parse(TT_FPS_25, wrong[i], &frame));
    assert_false(tt_timecode_parse(TT_FPS_5994DF, "00:01:00;03", &frame));
    assert_true(tt_timecode_parse(TT_FPS_2997DF, "01:00:00:00", &frame));
    assert_int_equal(frame, 107892);
}

/* Samples a frame at 48 kHz: 2002, 2000, 1920, 1601.6, 1600, 960, 800.8: rate over frames a second. */
static void samples_round_to_the_nearest_frame(void **state)
{
    (void)state;
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_23976, 2002 * 1000, 48000), 1000);
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_24, 2000 * 1000 + 999, 48000), 1000);
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_24, 2000 * 1000 + 1000, 48000), 1001);
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_25, 1920 * 7, 48000), 7);
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_25, 1764 * 7, 44100), 7);
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_2997, 8008 * 2000, 48000), 10000);
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_2997DF, INT64_C(172799827), 48000),
                     107892); /* one drop-frame hour: 3599.9964 s */
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_5994, 8008 * 2000, 48000), 20000);
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_60, INT64_C(4492800000), 96000), 60 * 46800); /* 13:00:00 */
    assert_int_equal(tt_timecode_frame_of_sample(TT_FPS_60, INT64_MAX / 2, 192000) > 0, 1);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(dropped_numbers_fall_where_the_standard_has_them),
        cmocka_unit_test(other_rates_count_every_number),
        cmocka_unit_test(a_whole_day_goes_round),
        cmocka_unit_test(what_is_no_time_address_is_refused),
        cmocka_unit_test(samples_round_to_the_nearest_frame),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
