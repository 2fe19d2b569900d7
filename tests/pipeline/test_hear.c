/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Hearing a take: what is known of it afterwards, what is remarked, and what makes it be heard anew. */
#include "pass_support.h"

static void hear_well(struct pass *pass, int channel)
{
    struct tt_error error = {0};
    assert_ok(pass_hear(pass, channel, &error), error);
}

static struct tt_settings usual(void)
{
    struct tt_settings settings;
    tt_settings_default(&settings);
    return settings;
}

static bool is_remarked(const struct pass *pass, const char *code)
{
    for (size_t i = 0; i < pass->heard.remark_count; i++)
        if (strcmp(pass->heard.remarks[i].code, code) == 0)
            return true;
    return false;
}

static void lines_room_and_levels_are_heard_where_they_are(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 6, .noise_rms = 0.001});
    struct pass *pass = pass_begin(p, "take.wav", usual());
    hear_well(pass, 0);
    const struct tt_heard *heard = &pass->heard;
    assert_int_equal(heard->facts.frame_count, 6 * 48000);
    assert_int_equal(heard->facts.rate_hz, 48000);
    assert_int_equal(heard->run_count, 2);
    /* The lines were laid from 0.8 to 2.4 s and from 3.6 to 5.2 s. */
    static const double edges_s[2][2] = {{0.8, 2.4}, {3.6, 5.2}};
    for (int i = 0; i < 2; i++) {
        assert_true(fabs((double)heard->runs[i].start_sample / 48000 - edges_s[i][0]) < 0.12);
        assert_true(fabs((double)heard->runs[i].end_sample / 48000 - edges_s[i][1]) < 0.12);
    }
    assert_true(fabs(heard->facts.floor_dbfs + 60) < 1);
    assert_true(fabs(heard->facts.speech_dbfs - 20 * log10(0.05)) < 3);
    assert_true(fabs(heard->facts.before.integrated_lufs - lufs_of(pass->take)) < 0.05);
    assert_int_equal(heard->step_count, 60);
    for (size_t i = 0; i < heard->remark_count; i++) /* pulses have an offset; nothing else is amiss */
        if (strcmp(heard->remarks[i].code, "dc-offset") != 0)
            fail_msg("remarked: %s", heard->remarks[i].message);
    pass_end(pass);
}

static void hearing_again_gives_the_same_bytes(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 44100, .seconds = 4});
    struct pass *pass = pass_begin(p, "take.wav", usual());
    hear_well(pass, 0);
    const char *first = file_digest(pass->heard_path);
    tt_heard_close(&pass->heard);
    tt_sheet_free(&pass->sheet);
    assert_int_equal(unlink(pass->heard_path), 0);
    hear_well(pass, 0);
    assert_string_equal(first, file_digest(pass->heard_path));
    pass_end(pass);
}

static void hearing_in_several_threads_gives_the_same_bytes(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 9.3});
    struct pass *pass = pass_begin(p, "take.wav", usual());
    hear_well(pass, 0);
    const char *alone = file_digest(pass->heard_path);
    tt_heard_close(&pass->heard);
    tt_sheet_free(&pass->sheet);
    assert_int_equal(unlink(pass->heard_path), 0);
    pass->threads = 2;
    hear_well(pass, 0);
    assert_string_equal(alone, file_digest(pass->heard_path));
    pass_end(pass);
}

static void only_what_hearing_depends_on_makes_it_be_heard_anew(void **state)
{
    (void)state;
    struct tt_settings settings = usual();
    struct tt_error error = {0};
    char key[65], other[65];
    const struct tt_channel_choice first = {.channel = 0}, second = {.channel = 1};
    assert_true(tt_hearing_key(&settings, &first, key, &error));
    assert_true(tt_hearing_key(&settings, &second, other, &error));
    assert_string_not_equal(key, other);
    static const char *const needed[] = {"take.highpass_hz=90", "floor.window_s=10", "gate.hum=50"};
    static const char *const not_needed[] = {"gate.depth_db=20", "pauses.stay_ms=700", "breaths.soften_db=6",
                                             "loudness.target_lufs=-23", "deliver.bits=16"};
    for (size_t i = 0; i < sizeof needed / sizeof *needed; i++) {
        settings = usual();
        assert_true(tt_settings_set_assignment(&settings, needed[i], NULL, &error) &&
                    tt_hearing_key(&settings, &first, other, &error));
        assert_string_not_equal(key, other);
    }
    for (size_t i = 0; i < sizeof not_needed / sizeof *not_needed; i++) {
        settings = usual();
        assert_true(tt_settings_set_assignment(&settings, not_needed[i], NULL, &error) &&
                    tt_hearing_key(&settings, &first, other, &error));
        assert_string_equal(key, other);
    }
}

static void a_recording_of_the_empty_room_is_the_floor_whatever_its_rate(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 4, .noise_rms = 0.0003});
    static const int rates[] = {48000, 44100, 24000};
    for (size_t i = 0; i < sizeof rates / sizeof *rates; i++) {
        char room[64];
        snprintf(room, sizeof room, "room%d.wav", rates[i]);
        take_write(take_path(p, room),
                   (struct take_shape){.rate_hz = rates[i], .seconds = 3, .voice_rms = -1, .noise_rms = 0.003});
        struct tt_settings settings = usual();
        snprintf(settings.floor.room_tone, sizeof settings.floor.room_tone, "%s", take_path(p, room));
        struct pass *pass = pass_begin(p, "take.wav", settings);
        hear_well(pass, 0);
        assert_int_equal(pass->heard.floor.node_count, 1);
        if (fabs(pass->heard.facts.floor_dbfs - 20 * log10(0.003)) > 1)
            fail_msg("a room at %d Hz of -50.5 dBFS reads %.2f", rates[i], pass->heard.facts.floor_dbfs);
        pass_end(pass);
    }
}

static void a_room_that_cannot_be_read_or_is_too_short_is_a_clear_error(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.seconds = 4});
    take_write(take_path(p, "short.wav"), (struct take_shape){.seconds = 0.01, .voice_rms = -1});
    file_write(take_path(p, "words.wav"), "words", 5);
    static const char *const rooms[] = {"nowhere.wav", "short.wav", "words.wav"};
    for (size_t i = 0; i < 3; i++) {
        struct tt_settings settings = usual();
        snprintf(settings.floor.room_tone, sizeof settings.floor.room_tone, "%s", take_path(p, rooms[i]));
        struct pass *pass = pass_begin(p, "take.wav", settings);
        struct tt_error error = {0};
        assert_false(pass_hear(pass, 0, &error));
        assert_non_null(strstr(error.message, "room_tone"));
        assert_non_null(strstr(error.message, rooms[i]));
        assert_false(file_exists(pass->heard_path));
        assert_int_equal(count_unpublished(p->folder), 0);
        pass_end(pass);
    }
}

static void what_is_wrong_with_a_recording_is_remarked(void **state)
{
    struct place *p = *state;
    size_t frames;
    /* A recorder that mutes the pauses. */
    float *samples = take_samples((struct take_shape){.noise_rms = -1}, &frames);
    take_write_samples(take_path(p, "muted.wav"), (struct take_shape){0}, samples, frames);
    free(samples);
    /* Mains hum: 50 Hz and three harmonics 30 dB over the room's bands. */
    samples = take_samples((struct take_shape){.seconds = 8, .noise_rms = 0.0003}, &frames);
    for (size_t i = 0; i < frames; i++)
        for (int k = 1; k <= 4; k++)
            samples[i] += (float)(0.004 / k * sin(2 * 3.14159265358979323846 * 50 * k * (double)i / 24000));
    take_write_samples(take_path(p, "hum.wav"), (struct take_shape){0}, samples, frames);
    free(samples);
    take_write(take_path(p, "noisy.wav"), (struct take_shape){.voice_rms = 0.05, .noise_rms = 0.016, .seconds = 8});
    static const char *const names[] = {"muted", "hum", "noisy"};
    for (int i = 0; i < 3; i++) {
        char take[40];
        snprintf(take, sizeof take, "%s.wav", names[i]);
        struct pass *pass = pass_begin(p, take, usual());
        hear_well(pass, 0);
        if (!is_remarked(pass, names[i]))
            fail_msg("%s: not remarked (%zu others; floor %.1f, speech %.1f)", names[i], pass->heard.remark_count,
                     pass->heard.facts.floor_dbfs, pass->heard.facts.speech_dbfs);
        pass_end(pass);
    }
}

static void a_stopped_hearing_leaves_no_file(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 4});
    struct tt_settings settings = usual();
    struct countdown countdown = {3};
    struct pass *pass = pass_begin(p, "take.wav", settings);
    struct tt_hear_request request = {.path = pass->take,
                                      .heard_path = pass->heard_path,
                                      .content_sha256 = "",
                                      .hearing_key = "",
                                      .settings = &settings,
                                      .tick = count_down,
                                      .tick_context = &countdown};
    struct tt_error error = {0};
    assert_false(tt_hear(&request, &error));
    assert_int_equal(error.kind, TT_ERROR_STOPPED);
    assert_false(file_exists(pass->heard_path));
    assert_int_equal(count_unpublished(p->folder), 0);
    pass_end(pass);
}

#define IN_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_PLACE(lines_room_and_levels_are_heard_where_they_are),
        IN_PLACE(hearing_again_gives_the_same_bytes),
        IN_PLACE(hearing_in_several_threads_gives_the_same_bytes),
        IN_PLACE(only_what_hearing_depends_on_makes_it_be_heard_anew),
        IN_PLACE(a_recording_of_the_empty_room_is_the_floor_whatever_its_rate),
        IN_PLACE(a_room_that_cannot_be_read_or_is_too_short_is_a_clear_error),
        IN_PLACE(what_is_wrong_with_a_recording_is_remarked),
        IN_PLACE(a_stopped_hearing_leaves_no_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
