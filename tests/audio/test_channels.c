/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The survey against levels that are known by construction, and the choice in the cases a narrator meets. */
#include "audio_test.h"

#include "audio/reader.h"

enum { RATE_HZ = 48000, SECONDS = 10, FRAMES = RATE_HZ * SECONDS };

struct track {
    double voice, noise, offset;
    double ceiling;
};

/* A voice stand-in: 0.7 s of a tone, 0.3 s of pause, over a steady noise; clipped at the ceiling. */
static void fill(float *frames, int channel_count, int channel, struct track track)
{
    uint32_t noise = 77u + (uint32_t)channel;
    for (int64_t i = 0; i < FRAMES; i++) {
        double speech = i % RATE_HZ < RATE_HZ * 7 / 10 ? track.voice * sin(0.05 * (double)i) : 0.0;
        double value = speech + track.noise * (double)test_noise(&noise) + track.offset;
        value = fmin(fmax(value, -track.ceiling), track.ceiling);
        frames[i * channel_count + channel] = (float)value;
    }
}

static struct tt_channel_choice survey_and_choose(const struct track *tracks, int channel_count, int format,
                                                  struct tt_channel_stats *stats)
{
    struct tt_error err = {0};
    int found = 0;
    float *frames = calloc((size_t)FRAMES * (size_t)channel_count, sizeof *frames);
    assert_non_null(frames);
    for (int c = 0; c < channel_count; c++)
        fill(frames, channel_count, c, tracks[c]);
    write_sound(test_path("survey.wav"), SF_FORMAT_WAV | format, RATE_HZ, channel_count, frames, FRAMES);
    free(frames);
    assert_ok(tt_channels_survey(test_path("survey.wav"), NULL, NULL, stats, &found, &err), err);
    assert_int_equal(found, channel_count);
    return tt_channel_choose(stats, channel_count);
}

static double db(double amplitude) { return 20.0 * log10(amplitude); }

/* A sine of amplitude a has an RMS of a / sqrt 2, even noise within +-b one of b / sqrt 3. */
static void the_survey_measures_what_was_put_in(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    const struct track tracks[2] = {{0.5, 0.001, 0.0, 1.0}, {0.0, 0.002, 0.25, 1.0}};
    (void)survey_and_choose(tracks, 2, SF_FORMAT_FLOAT, stats);
    assert_near(db(stats[0].active_rms), db(0.5 / sqrt(2.0)), 0.1);
    assert_near(db(stats[0].quiet_rms), db(0.001 / sqrt(3.0)), 0.2);
    assert_near(db(stats[0].rms), db(0.5 / sqrt(2.0) * sqrt(0.7)), 0.02);
    assert_near(stats[0].peak, 0.501, 1e-4);
    assert_int_equal(stats[0].clipped_frames, 0);
    assert_near(db(stats[1].active_rms), db(0.002 / sqrt(3.0)), 0.3); /* the offset is no level */
    assert_near(db(stats[1].quiet_rms), db(0.002 / sqrt(3.0)), 0.3);
    assert_near(stats[1].peak, 0.252, 1e-4);
}

static void clipping_is_counted_in_runs_of_two_or_more(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    struct tt_error err = {0};
    int found;
    float *samples = calloc(9600, sizeof *samples);
    samples[10] = 1.0f;                                                  /* alone */
    samples[20] = samples[21] = -1.0f;                                   /* a run of two */
    samples[2399] = samples[2400] = samples[2401] = 32767.0f / 32768.0f; /* a run of three across two blocks of 50 ms */
    samples[4799] = samples[7200] = 1.0f;                                /* alone, with a quiet block between them */
    samples[5000] = samples[5001] = 32766.0f / 32768.0f;                 /* just below */
    write_sound(test_path("clips.wav"), SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE_HZ, 1, samples, 9600);
    free(samples);
    assert_ok(tt_channels_survey(test_path("clips.wav"), NULL, NULL, stats, &found, &err), err);
    assert_int_equal(stats[0].clipped_frames, 5);
}

static void digital_silence_is_not_a_floor(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    struct tt_error err = {0};
    int found;
    float *samples = calloc(FRAMES, sizeof *samples);
    uint32_t noise = 5;
    for (int i = 0; i < FRAMES / 2; i++)
        samples[i] = 0.01f * test_noise(&noise);
    write_sound(test_path("half.wav"), SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE_HZ, 1, samples, FRAMES);
    free(samples);
    assert_ok(tt_channels_survey(test_path("half.wav"), NULL, NULL, stats, &found, &err), err);
    assert_near(db(stats[0].quiet_rms), db(0.01 / sqrt(3.0)), 0.3);
}

static void one_knock_is_not_taken_for_a_voice(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    struct tt_error err = {0};
    int found;
    float *frames = calloc(2 * FRAMES, sizeof *frames);
    fill(frames, 2, 0, (struct track){0.0, 0.0001, 0.0, 1.0});
    fill(frames, 2, 1, (struct track){0.1, 0.002, 0.0, 1.0});
    for (int i = 0; i < 2000; i++)
        frames[2 * (RATE_HZ + i)] += 0.8f * (float)sin(0.3 * i); /* on the channel without a voice */
    write_sound(test_path("knock.wav"), SF_FORMAT_WAV | SF_FORMAT_FLOAT, RATE_HZ, 2, frames, FRAMES);
    free(frames);
    assert_ok(tt_channels_survey(test_path("knock.wav"), NULL, NULL, stats, &found, &err), err);
    assert_int_equal(tt_channel_choose(stats, 2).channel, 1);
}

static void one_channel_needs_no_choice(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    const struct track track = {0.5, 0.001, 0.0, 1.0};
    struct tt_channel_choice choice = survey_and_choose(&track, 1, SF_FORMAT_PCM_16, stats);
    assert_int_equal(choice.channel, 0);
    assert_string_equal(choice.why, "one channel");
}

static void a_voice_on_the_right_only_is_taken_from_there(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    struct track tracks[2] = {{0.0, 0.0, 0.0, 1.0}, {0.3, 0.002, 0.0, 1.0}};
    struct tt_channel_choice choice = survey_and_choose(tracks, 2, SF_FORMAT_PCM_24, stats);
    assert_int_equal(choice.channel, 1);
    assert_string_equal(choice.why, "right: the other one is silent");
    tracks[0].noise = 0.005; /* an open input */
    choice = survey_and_choose(tracks, 2, SF_FORMAT_PCM_24, stats);
    assert_int_equal(choice.channel, 1);
    assert_non_null(strstr(choice.why, "right: the voice stands"));
}

static void of_equal_channels_the_first_is_taken(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS] = {{0.1, 0.5, 0, 0.2, 0.001, {0}, {0}},
                                                       {0.1, 0.5, 0, 0.2, 0.001, {0}, {0}}};
    struct tt_channel_choice choice = tt_channel_choose(stats, 2);
    assert_int_equal(choice.channel, 0);
    assert_string_equal(choice.why, "the first: all channels are alike");
}

static void a_safety_channel_stands_in_where_the_main_one_clips(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    struct track tracks[2] = {{1.5, 0.002, 0.0, 1.0}, {0.375, 0.0005, 0.0, 1.0}};
    struct tt_channel_choice choice = survey_and_choose(tracks, 2, SF_FORMAT_PCM_24, stats);
    assert_true(stats[0].clipped_frames > 1000);
    assert_int_equal(choice.channel, 1);
    assert_string_equal(choice.why, "right: left clips");
    tracks[0].voice = 0.75; /* nothing clips: the louder one */
    tracks[1].voice = 0.1875;
    assert_int_equal(survey_and_choose(tracks, 2, SF_FORMAT_PCM_24, stats).channel, 0);
}

static void the_clearest_channel_is_passed_over_when_it_clips(void **state)
{
    (void)state;
    struct tt_channel_stats stats[3] = {{0.2, 1.0, 40, 0.4, 0.0004, {0}, {0}},
                                        {0.1, 0.5, 0, 0.2, 0.0004, {0}, {0}},
                                        {0.05, 0.3, 0, 0.1, 0.001, {0}, {0}}};
    struct tt_channel_choice choice = tt_channel_choose(stats, 3);
    assert_int_equal(choice.channel, 1);
    assert_string_equal(choice.why, "channel 2: channel 1 clips");
    stats[1].quiet_rms = stats[2].quiet_rms =
        0.02; /* far microphones in a loud room: more is lost than a few clipped peaks */
    assert_int_equal(tt_channel_choose(stats, 3).channel, 0);
}

static void a_channel_without_a_voice_does_not_stand_in_for_one_that_clips(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    const struct track tracks[2] = {{1.5, 0.002, 0.0, 1.0}, {0.0, 0.004, 0.0, 1.0}};
    assert_int_equal(survey_and_choose(tracks, 2, SF_FORMAT_PCM_24, stats).channel, 0);
}

static void of_two_microphones_the_nearer_is_taken_though_it_is_weaker(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    const struct track tracks[2] = {{0.5, 0.02, 0.0, 1.0}, {0.25, 0.002, 0.0, 1.0}};
    struct tt_channel_choice choice = survey_and_choose(tracks, 2, SF_FORMAT_PCM_24, stats);
    assert_int_equal(choice.channel, 1);
    assert_non_null(strstr(choice.why, "dB over the noise there"));
}

static void a_track_with_the_same_some_db_lower_is_kept_for_where_the_louder_one_clips(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    const struct track tracks[2] = {{0.25, 0.0002, 0.0, 1.0}, {1.5, 0.0004, 0.0, 1.0}};
    /* Blocks that clip tell nothing: a quieter second between. */
    struct track quiet[2] = {{0.125, 0.0002, 0.0, 1.0}, {0.75, 0.0004, 0.0, 1.0}};
    struct tt_channel_choice choice = survey_and_choose(quiet, 2, SF_FORMAT_PCM_24, stats);
    assert_int_equal(choice.channel, 1);
    assert_int_equal(choice.safety_number, 1);
    assert_near(choice.safety_gain, 6.0, 0.01);
    assert_non_null(strstr(choice.why, "right: left holds the same 16 dB lower, and is heard where right clips"));
    /* Where all that is loud clips there is nothing to fit the levels by: the one that does not clip is taken. */
    choice = survey_and_choose(tracks, 2, SF_FORMAT_PCM_24, stats);
    assert_int_equal(choice.channel, 0);
    assert_int_equal(choice.safety_number, 0);
}

static void of_eight_channels_the_one_with_the_voice_is_taken(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    struct track tracks[8];
    for (int c = 0; c < 8; c++)
        tracks[c] = (struct track){0.0, 0.0005 * (c + 1), 0.01 * c, 1.0};
    tracks[5].voice = 0.1;
    struct tt_channel_choice choice = survey_and_choose(tracks, 8, SF_FORMAT_PCM_24, stats);
    assert_int_equal(choice.channel, 5);
    assert_non_null(strstr(choice.why, "channel 6: "));
}

static void of_silent_channels_the_first_is_taken(void **state)
{
    (void)state;
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    const struct track tracks[2] = {{0.0, 0.0, 0.0, 1.0}, {0.0, 0.0, 0.0, 1.0}};
    struct tt_channel_choice choice = survey_and_choose(tracks, 2, SF_FORMAT_PCM_16, stats);
    assert_int_equal(choice.channel, 0);
    assert_string_equal(choice.why, "the first: all channels are silent");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_survey_measures_what_was_put_in),
        cmocka_unit_test(clipping_is_counted_in_runs_of_two_or_more),
        cmocka_unit_test(digital_silence_is_not_a_floor),
        cmocka_unit_test(one_knock_is_not_taken_for_a_voice),
        cmocka_unit_test(one_channel_needs_no_choice),
        cmocka_unit_test(a_voice_on_the_right_only_is_taken_from_there),
        cmocka_unit_test(of_equal_channels_the_first_is_taken),
        cmocka_unit_test(a_safety_channel_stands_in_where_the_main_one_clips),
        cmocka_unit_test(the_clearest_channel_is_passed_over_when_it_clips),
        cmocka_unit_test(a_channel_without_a_voice_does_not_stand_in_for_one_that_clips),
        cmocka_unit_test(of_two_microphones_the_nearer_is_taken_though_it_is_weaker),
        cmocka_unit_test(a_track_with_the_same_some_db_lower_is_kept_for_where_the_louder_one_clips),
        cmocka_unit_test(of_eight_channels_the_one_with_the_voice_is_taken),
        cmocka_unit_test(of_silent_channels_the_first_is_taken),
    };
    return cmocka_run_group_tests(tests, make_test_folder, remove_test_folder);
}
