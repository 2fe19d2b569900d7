/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How much room a run asks for before it starts. */
#include "support.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "session/space.h"

enum { RATE_HZ = 48000, HOUR_S = 3600 };
static bool with_copies, in_two_channels;

/* So many takes of an hour at 48 kHz; the first `done` have their voices, of `there_bytes` each. */
static double needed_bytes(size_t count, size_t done, double there_bytes, int jobs)
{
    char *folder = folder_make(), there[4096], not_there[] = "/no such voice";
    snprintf(there, sizeof there, "%s/voice.wav", folder);
    file_write(there, "", 0);
    assert_int_equal(truncate(there, (off_t)there_bytes), 0);
    struct tt_clean_options options = {.jobs = jobs};
    struct tt_run_state run = {.options = &options, .take_count = count, .takes = calloc(count, sizeof *run.takes)};
    assert_non_null(run.takes);
    tt_settings_default(&run.settings);
    run.settings.deliver.narration = false;
    run.settings.deliver.channels = in_two_channels ? TT_CHANNELS_DUAL : TT_CHANNELS_MONO;
    for (size_t i = 0; i < count; i++)
        run.takes[i] = (struct tt_take){
            .is_used = true,
            .is_ours = true,
            .to_ms = -1,
            .voice_path = i < done ? there : not_there,
            .info = {.rate_hz = RATE_HZ, .frame_count = (int64_t)RATE_HZ * HOUR_S, .plays_in_browser = !with_copies}};
    double bytes = tt_space_needed(&run);
    free(run.takes);
    folder_remove(folder);
    return bytes;
}

static const double voice_bytes = 3.0 * RATE_HZ * HOUR_S, under_way_bytes = 4.0 * RATE_HZ * HOUR_S; /* 24 bit; floats */

static void no_more_takes_are_under_way_than_there_are(void **state)
{
    (void)state;
    assert_float_equal(needed_bytes(1, 0, 0, 16), needed_bytes(1, 0, 0, 1), 1);
    assert_float_equal(needed_bytes(3, 0, 0, 2) - needed_bytes(3, 0, 0, 1), under_way_bytes, 1);
}

static void a_voice_that_is_there_asks_for_no_more_place(void **state)
{
    (void)state;
    assert_float_equal(needed_bytes(4, 0, 0, 1) - needed_bytes(4, 3, voice_bytes, 1), 3 * voice_bytes, 1);
    assert_float_equal(needed_bytes(4, 0, 0, 1) - needed_bytes(4, 3, 1e9, 1), 3 * voice_bytes, 1);
    assert_float_equal(needed_bytes(4, 0, 0, 1) - needed_bytes(4, 3, 1e8, 1), 3e8, 1); /* as 16 bits it was smaller */
}

static void a_take_more_asks_for_its_voice_and_what_goes_beside_it(void **state)
{
    (void)state;
    double more = needed_bytes(2, 0, 0, 1) - needed_bytes(1, 0, 0, 1);
    assert_true(more >= voice_bytes && more < 1.1 * voice_bytes);
}

static void a_voice_in_two_channels_asks_for_twice_its_place(void **state)
{
    (void)state;
    const double in_one = needed_bytes(1, 0, 0, 1);
    in_two_channels = true;
    const double in_two = needed_bytes(1, 0, 0, 1);
    in_two_channels = false;
    assert_float_equal(in_two - in_one, voice_bytes, 1);
}

static void copies_for_the_pages_are_counted(void **state)
{
    (void)state;
    const double without = needed_bytes(1, 0, 0, 1);
    with_copies = true;
    const double with = needed_bytes(1, 0, 0, 1);
    with_copies = false;
    assert_float_equal(with - without, 2.0 * RATE_HZ * HOUR_S, 1);
}

/* What is said of a place with so much free, where so much is needed. */
static const char *refusal(double needed, double free_space)
{
    static struct tt_error err;
    err = (struct tt_error){0};
    assert_false(tt_space_is_enough("/films/hive.tidy", needed, free_space, &err));
    return err.message;
}

static void what_is_missing_can_be_seen_from_the_two_sizes(void **state)
{
    (void)state;
    struct tt_error err = {0};
    assert_true(tt_space_is_enough("/films/hive.tidy", 3e6, 3e6, &err));
    assert_non_null(strstr(refusal(2.7e6, 2.6e6), "up to 2700 kB there, and 2600 kB are free"));
    assert_non_null(strstr(refusal(20.4e6, 20.3e6), "up to 21 MB there, and 20 MB are free"));
    assert_non_null(strstr(refusal(3.04e9, 3.03e9), "up to 3.1 GB there, and 3.0 GB are free"));
    assert_non_null(strstr(refusal(1e9, 999e6), "up to 1.0 GB there, and 999 MB are free"));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(no_more_takes_are_under_way_than_there_are),
        cmocka_unit_test(a_voice_that_is_there_asks_for_no_more_place),
        cmocka_unit_test(a_voice_in_two_channels_asks_for_twice_its_place),
        cmocka_unit_test(copies_for_the_pages_are_counted),
        cmocka_unit_test(what_is_missing_can_be_seen_from_the_two_sizes),
        cmocka_unit_test(a_take_more_asks_for_its_voice_and_what_goes_beside_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
