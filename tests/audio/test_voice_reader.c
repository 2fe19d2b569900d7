/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio_test.h"

#include "audio/reader.h"

enum { FRAMES = 40000 };

/* Channel c holds 0.1 * (c + 1) plus a ramp. */
static float expected_value(int channel, int64_t frame)
{
    return 0.1f * (float)(channel + 1) + (float)(frame % 1000) / 4096.0f;
}

static void write_ramps(const char *path, int channels)
{
    float *frames = malloc(sizeof *frames * FRAMES * (size_t)channels);
    for (int64_t i = 0; i < FRAMES; i++)
        for (int c = 0; c < channels; c++)
            frames[i * channels + c] = expected_value(c, i);
    write_sound(path, SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, channels, frames, FRAMES);
    free(frames);
}

static void one_channel_comes_out_whatever_the_block_size(void **state)
{
    (void)state;
    static const int channel_counts[] = {1, 2, 3, 64};
    static const int64_t blocks[] = {1, 999, 16384, 100000};
    float *samples = malloc(sizeof *samples * 100000);
    for (size_t n = 0; n < 4; n++) {
        const int channel = channel_counts[n] - 1;
        write_ramps(test_path("ramps.wav"), channel_counts[n]);
        for (size_t b = 0; b < 4; b++) {
            struct tt_audio_info info;
            struct tt_error err = {0};
            struct tt_voice_reader *voice = tt_voice_reader_open(test_path("ramps.wav"), channel, &info, &err);
            assert_ok(voice != NULL, err);
            int64_t total = 0, got;
            while ((got = tt_voice_reader_read(voice, samples, blocks[b], &err)) > 0) {
                if (got < blocks[b])
                    assert_int_equal(total + got, FRAMES);
                for (int64_t i = 0; i < got; i++)
                    if (samples[i] != expected_value(channel, total + i))
                        fail_msg("frame %lld", (long long)(total + i));
                total += got;
            }
            assert_int_equal(got, 0);
            assert_int_equal(total, FRAMES);
            assert_int_equal(tt_voice_reader_bad_samples(voice), 0);
            tt_voice_reader_close(voice);
        }
    }
    free(samples);
}

static void the_mean_of_all_channels_is_taken_for_minus_one(void **state)
{
    (void)state;
    float samples[100];
    struct tt_audio_info info;
    struct tt_error err = {0};
    write_ramps(test_path("mean.wav"), 3);
    struct tt_voice_reader *voice = tt_voice_reader_open(test_path("mean.wav"), -1, &info, &err);
    assert_ok(voice != NULL, err);
    assert_int_equal(tt_voice_reader_read(voice, samples, 100, &err), 100);
    for (int i = 0; i < 100; i++)
        assert_near((double)samples[i], (double)expected_value(1, i), 1e-6);
    tt_voice_reader_close(voice);
}

static void a_channel_that_is_not_there_is_an_error(void **state)
{
    (void)state;
    struct tt_audio_info info;
    struct tt_error err = {0};
    write_ramps(test_path("two.wav"), 2);
    assert_null(tt_voice_reader_open(test_path("two.wav"), 2, &info, &err));
    assert_int_equal(err.kind, TT_ERROR_INPUT);
    assert_non_null(strstr(err.message, "has 2 channels, there is no channel 3"));
}

static void values_that_are_no_numbers_become_zero_and_are_counted(void **state)
{
    (void)state;
    const float frames[8] = {0.5f, NAN, INFINITY, -INFINITY, 3.0e38f, -0.25f, 1e-42f, 0.0f};
    float samples[8];
    struct tt_audio_info info;
    struct tt_error err = {0};
    write_sound(test_path("nan.wav"), SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 1, frames, 8);
    struct tt_voice_reader *voice = tt_voice_reader_open(test_path("nan.wav"), 0, &info, &err);
    assert_ok(voice != NULL, err);
    assert_int_equal(tt_voice_reader_read(voice, samples, 8, &err), 8);
    const float expected[8] = {0.5f, 0.0f, 0.0f, 0.0f, 3.0e38f, -0.25f, 1e-42f, 0.0f};
    assert_memory_equal(samples, expected, sizeof expected);
    assert_int_equal(tt_voice_reader_bad_samples(voice), 3);
    tt_voice_reader_close(voice);
}

/* ---- several files, and a safety channel ---- */

static void files_that_go_on_are_read_as_one_whatever_the_block_size(void **state)
{
    (void)state;
    static const int64_t blocks[] = {1, 999, 16384, 100000};
    float *all = malloc(sizeof *all * FRAMES * 2), *samples = malloc(sizeof *samples * 100000);
    for (int64_t i = 0; i < FRAMES; i++)
        for (int c = 0; c < 2; c++)
            all[2 * i + c] = expected_value(c, i);
    write_sound(test_path("a.wav"), SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 2, all, 10001);
    write_sound(test_path("b.wav"), SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 2, all + 2 * 10001, 1);
    write_sound(test_path("c.wav"), SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 2, all + 2 * 10002, FRAMES - 10002);
    char b_path[4096], c_path[4096];
    snprintf(b_path, sizeof b_path, "%s", test_path("b.wav"));
    snprintf(c_path, sizeof c_path, "%s", test_path("c.wav"));
    const char *const more[] = {b_path, c_path};
    const struct tt_recording recording = {
        .path = test_path("a.wav"), .more_paths = more, .more_count = 2, .channel = 1};
    for (size_t b = 0; b < 4; b++) {
        struct tt_audio_info info;
        struct tt_error err = {0};
        struct tt_voice_reader *voice = tt_recording_open(&recording, &info, &err);
        assert_ok(voice != NULL, err);
        assert_int_equal(info.frame_count, FRAMES);
        int64_t total = 0, got;
        while ((got = tt_voice_reader_read(voice, samples, blocks[b], &err)) > 0) {
            for (int64_t i = 0; i < got; i++)
                if (samples[i] != expected_value(1, total + i))
                    fail_msg("frame %lld", (long long)(total + i));
            total += got;
        }
        assert_int_equal(total, FRAMES);
        tt_voice_reader_close(voice);
    }
    static const int64_t left_out[] = {5, 10000, 10001, 10002, 20000, FRAMES - 1, FRAMES};
    for (size_t l = 0; l < sizeof left_out / sizeof *left_out; l++) {
        struct tt_audio_info info;
        struct tt_error err = {0};
        struct tt_voice_reader *voice = tt_recording_open(&recording, &info, &err);
        assert_ok(voice != NULL && tt_voice_reader_skip(voice, left_out[l], &err), err);
        const int64_t got = tt_voice_reader_read(voice, samples, 100000, &err);
        assert_int_equal(got, FRAMES - left_out[l]);
        for (int64_t i = 0; i < got; i++)
            if (samples[i] != expected_value(1, left_out[l] + i))
                fail_msg("frame %lld behind %lld left out", (long long)i, (long long)left_out[l]);
        tt_voice_reader_close(voice);
    }
    free(all);
    free(samples);
}

static void a_safety_channel_stands_in_around_what_clips_whatever_the_block_size(void **state)
{
    (void)state;
    static const int64_t blocks[] = {1, 77, 16384, 100000};
    float *both = malloc(sizeof *both * FRAMES * 2), *samples = malloc(sizeof *samples * 100000),
          *first = malloc(sizeof *first * FRAMES);
    for (int64_t i = 0; i < FRAMES; i++) {
        float value = 0.5f * (float)sin(0.01 * (double)i) * (i > 20000 && i < 21000 ? 3.0f : 1.0f);
        both[2 * i] = fminf(fmaxf(value, -1.0f), 1.0f);
        both[2 * i + 1] = 0.25f * value;
    }
    both[2 * 35000] = 1.0f; /* a spoilt sample: the safety channel has what belongs there */
    write_sound(test_path("safety.wav"), SF_FORMAT_WAV | SF_FORMAT_FLOAT, 48000, 2, both, FRAMES);
    const struct tt_recording recording = {.path = test_path("safety.wav"), .safety_number = 2, .safety_gain = 4.0};
    for (size_t b = 0; b < 4; b++) {
        struct tt_audio_info info;
        struct tt_error err = {0};
        struct tt_voice_reader *voice = tt_recording_open(&recording, &info, &err);
        assert_ok(voice != NULL, err);
        int64_t total = 0, got, first_place;
        while ((got = tt_voice_reader_read(voice, samples, blocks[b], &err)) > 0) {
            for (int64_t i = 0; i < got; i++) {
                if (fabsf(samples[i] - 4.0f * both[2 * (total + i) + 1]) > 1e-6f)
                    fail_msg("frame %lld: %f", (long long)(total + i), (double)samples[i]);
                if (b == 0)
                    first[total + i] = samples[i];
                else if (memcmp(&samples[i], &first[total + i], sizeof samples[i]) != 0)
                    fail_msg("frame %lld depends on the blocks", (long long)(total + i));
            }
            total += got;
        }
        assert_int_equal(total, FRAMES);
        assert_int_equal(tt_voice_reader_mended(voice, &first_place), 2);
        assert_true(first_place > 20000 && first_place < 20500);
        tt_voice_reader_close(voice);
    }
    free(both);
    free(samples);
    free(first);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_channel_comes_out_whatever_the_block_size),
        cmocka_unit_test(the_mean_of_all_channels_is_taken_for_minus_one),
        cmocka_unit_test(a_channel_that_is_not_there_is_an_error),
        cmocka_unit_test(values_that_are_no_numbers_become_zero_and_are_counted),
        cmocka_unit_test(files_that_go_on_are_read_as_one_whatever_the_block_size),
        cmocka_unit_test(a_safety_channel_stands_in_around_what_clips_whatever_the_block_size),
    };
    return cmocka_run_group_tests(tests, make_test_folder, remove_test_folder);
}
