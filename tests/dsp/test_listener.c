/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Made takes with known places: the bounds are the goals for edges (onset error at most 20-30 ms at 30 dB) and plain
 * common sense. How well it does on real voices is measured over labelled sessions, not here. */
#include "listener_take.h"

static const double voice_db = -24.0;

/* Three lines in a room; the pauses hold nothing. */
static const double line_start_s[] = {1.0, 4.0, 8.5}, line_end_s[] = {2.7, 7.1, 10.2};
enum { LINES = 3 };

static struct made_take three_lines(int rate_hz, double room_db)
{
    struct made_take take = made_take_open(rate_hz, 12.0);
    add_room(&take, 0.0, 12.0, room_db);
    for (int i = 0; i < LINES; i++)
        add_voice(&take, line_start_s[i], line_end_s[i], voice_db);
    return take;
}

static void check_three_lines(const struct heard_take *heard)
{
    assert_int_equal(heard->run_count, LINES);
    for (size_t i = 0; i < LINES; i++) {
        assert_within(run_start_s(heard, i), line_start_s[i], 0.040, 0.020);
        assert_within(run_end_s(heard, i), line_end_s[i], 0.020, 0.060);
        assert_true(heard->runs[i].voiced_share > 0.8f);
        assert_true(heard->runs[i].over_floor_db > 15.0f);
        assert_true(heard->runs[i].loud_start_sample >= heard->runs[i].start_sample);
        assert_true(heard->runs[i].loud_end_sample <= heard->runs[i].end_sample);
    }
}

/* What trails off under a word is in its run, and not in what it is heard to last. */
static void the_loud_edges_of_a_run_leave_out_what_trails_off(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -80.0);
    int64_t end = (int64_t)(line_end_s[0] * 48000), tail = 48000 / 5;
    for (int64_t k = 0; k < tail; k++)
        take.samples[end + k] += 0.0008f * (float)sin(0.05 * (double)k); /* 44 dB under the line, 0.2 s */
    struct heard_take heard = hear_take(&take);
    assert_true(run_end_s(&heard, 0) > line_end_s[0] + 0.12);
    assert_within((double)heard.runs[0].loud_end_sample / 48000.0, line_end_s[0], 0.060, 0.060);
    assert_within((double)heard.runs[0].loud_start_sample / 48000.0, line_start_s[0], 0.040, 0.060);
    heard_take_free(&heard, &take);
}

/* A click close behind a word stays with it, since it might be its last stop; the pause is heard to begin before it all
 * the same. */
static void a_click_behind_a_word_does_not_make_it_last_longer(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -80.0);
    int64_t click = (int64_t)((line_end_s[0] + 0.1) * 48000);
    for (int64_t k = 0; k < 384; k++)
        take.samples[click + k] += 0.05f * sinf(0.2f * (float)k);
    struct heard_take heard = hear_take(&take);
    assert_true(run_end_s(&heard, 0) > line_end_s[0] + 0.1);
    assert_within((double)heard.runs[0].loud_end_sample / 48000.0, line_end_s[0], 0.060, 0.060);
    heard_take_free(&heard, &take);
}

/* Rustle behind a word, 0.12 s: in a quiet room a listener hears it as the word's end; where it comes all the time, as
 * the room. */
static void rustle_behind_a_word_is_its_end_only_where_the_room_is_quiet(void **state)
{
    (void)state;
    for (int everywhere = 0; everywhere < 2; everywhere++) {
        struct made_take take = three_lines(48000, -80.0);
        const int64_t word_end = (int64_t)(line_end_s[0] * 48000), every = 48000 * 3 / 10, length = 48000 * 12 / 100;
        for (int64_t at = everywhere ? word_end % every : word_end; at + length < (int64_t)take.count; at += every) {
            add_room(&take, (double)at / 48000.0, (double)(at + length) / 48000.0, -58.0);
            if (!everywhere)
                break;
        }
        struct heard_take heard = hear_take(&take);
        assert_true(run_end_s(&heard, 0) > line_end_s[0] + 0.1);
        double end_s = (double)heard.runs[0].loud_end_sample / 48000.0 - line_end_s[0];
        if (everywhere)
            assert_within(end_s, 0.0, 0.060, 0.060);
        else
            assert_within(end_s, 0.12, 0.020, 0.040);
        heard_take_free(&heard, &take);
    }
}

static void each_line_is_one_run_at_every_rate(void **state)
{
    (void)state;
    static const int rates[] = {8000, 16000, 44100, 48000, 96000};
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++) {
        struct made_take take = three_lines(rates[r], -62.0);
        struct heard_take heard = hear_take(&take);
        check_three_lines(&heard);
        assert_int_equal(sounds_between(&heard, TT_SOUND_BREATH, 0.0, 12.0), 0);
        heard_take_free(&heard, &take);
    }
}

static void hum_is_no_voice(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -66.0);
    add_hum(&take, 60.0, -52.0);
    struct heard_take heard = hear_take(&take);
    check_three_lines(&heard);
    heard_take_free(&heard, &take);
}

static void what_is_quiet_is_room_and_nothing_else(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -62.0);
    struct heard_take heard = hear_take(&take);
    for (int i = 0; i < LINES; i++)
        assert_int_equal(states_between(&heard, TT_FRAME_QUIET, line_start_s[i] - 0.1, line_end_s[i] + 0.15), 0);
    int frames = states_between(&heard, TT_FRAME_QUIET, 2.7 + 0.4, 4.0 - 0.3);
    assert_within(frames, 0.6 * 187.5, 6.0, 6.0);
    heard_take_free(&heard, &take);
}

static void weak_hiss_at_the_edges_belongs_to_the_line(void **state)
{
    (void)state;
    struct made_take take = made_take_open(48000, 8.0);
    add_room(&take, 0.0, 8.0, -66.0);
    add_hiss(&take, 2.0, 2.11, 6000.0, 0.5, 0.02, voice_db - 24.0);
    add_voice(&take, 2.1, 4.0, voice_db);
    add_hiss(&take, 3.99, 4.16, 5500.0, 0.5, 0.02, voice_db - 24.0);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 1);
    assert_within(run_start_s(&heard, 0), 2.0, 0.03, 0.02);
    assert_within(run_end_s(&heard, 0), 4.16, 0.02, 0.03);
    heard_take_free(&heard, &take);
}

static void a_released_stop_belongs_to_its_word(void **state)
{
    (void)state;
    struct made_take take = made_take_open(48000, 8.0);
    add_room(&take, 0.0, 8.0, -66.0);
    add_voice(&take, 2.0, 4.0, voice_db);
    add_hiss(&take, 4.09, 4.13, 3000.0, 0.8, 0.004, voice_db - 20.0);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 1);
    assert_within(run_end_s(&heard, 0), 4.13, 0.01, 0.03);
    heard_take_free(&heard, &take);
}

static void a_breath_before_a_line_is_a_sound_and_the_line_stays_whole(void **state)
{
    (void)state;
    static const double apart_s[] = {0.07, 0.14, 0.4};
    for (size_t k = 0; k < sizeof apart_s / sizeof *apart_s; k++) {
        struct made_take take = three_lines(48000, -68.0);
        double breath_end_s = line_start_s[1] - apart_s[k];
        add_breath(&take, breath_end_s - 0.4, breath_end_s, voice_db - 28.0);
        struct heard_take heard = hear_take(&take);
        check_three_lines(&heard);
        assert_int_equal(sounds_between(&heard, TT_SOUND_BREATH, 0.0, 12.0), 1);
        assert_within((double)heard.sounds[0].start_sample / 48000.0, breath_end_s - 0.4, 0.03, 0.12);
        assert_within((double)heard.sounds[0].end_sample / 48000.0, breath_end_s, 0.12, 0.03);
        assert_true(heard.sounds[0].confidence > 0.5f && heard.sounds[0].confidence <= 1.0f);
        assert_true(heard.sounds[0].end_sample <= heard.runs[1].start_sample);
        heard_take_free(&heard, &take);
    }
}

/* It does not move the level, but what stands over the room. */
static void a_breath_is_heard_over_a_rumble_that_is_as_loud(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -70.0);
    add_hiss(&take, 0.0, 12.0, 130.0, 0.5, 0.01, voice_db - 18.0);
    add_breath(&take, 3.30, 3.70, voice_db - 22.0);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(sounds_between(&heard, TT_SOUND_BREATH, 3.2, 3.8), 1);
    heard_take_free(&heard, &take);
}

/* Slow ones that hardly stand out of the room: nothing in their middles moves. */
static void a_quiet_breath_is_heard_from_its_beginning_to_its_end(void **state)
{
    (void)state;
    struct made_take take = made_take_open(48000, 24.0);
    add_room(&take, 0.0, 24.0, -62.0);
    for (int i = 0; i < 6; i++)
        add_voice(&take, 1.0 + 4.0 * i, 3.0 + 4.0 * i, voice_db);
    for (int i = 0; i < 5; i++)
        add_breath(&take, 3.8 + 4.0 * i, 4.6 + 4.0 * i, voice_db - 39.0);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.sound_count, 5);
    for (size_t i = 0; i < 5; i++) {
        const struct tt_sound *breath = &heard.sounds[i];
        assert_int_equal(breath->kind, TT_SOUND_BREATH);
        assert_within((double)breath->start_sample / 48000.0, 3.8 + 4.0 * (double)i, 0.0, 0.18);
        assert_within((double)breath->end_sample / 48000.0, 4.6 + 4.0 * (double)i, 0.18, 0.0);
    }
    heard_take_free(&heard, &take);
}

static void a_breath_that_sounds_voiced_for_a_moment_is_no_word(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -80.0);
    add_breath(&take, line_start_s[1] - 0.5, line_start_s[1] - 0.1, voice_db - 24.0);
    add_voice(&take, line_start_s[1] - 0.33, line_start_s[1] - 0.285, voice_db - 24.0);
    struct heard_take heard = hear_take(&take);
    check_three_lines(&heard);
    assert_int_equal(sounds_between(&heard, TT_SOUND_BREATH, 0.0, 12.0), 1);
    heard_take_free(&heard, &take);
}

/* Strokes of rustle all over a take, from the first line's end on in step, but for 0.3 s around one place. */
static void add_rustle(struct made_take *take, double rms_db, double spared_s)
{
    const double every_s = 0.25, stroke_s = 0.08;
    for (double at_s = fmod(line_end_s[0] + 0.02, every_s); at_s + stroke_s < 12.0; at_s += every_s)
        if (fabs(at_s - spared_s) > 0.3)
            add_room(take, at_s, at_s + stroke_s, rms_db);
}

static float likeliest_breath(const struct heard_take *heard, double start_s, double end_s)
{
    float confidence = 0.0f;
    for (size_t i = 0; i < heard->sound_count; i++) {
        const struct tt_sound *sound = &heard->sounds[i];
        if (sound->kind == TT_SOUND_BREATH && (double)sound->end_sample > start_s * 48000.0 &&
            (double)sound->start_sample < end_s * 48000.0)
            confidence = fmaxf(confidence, sound->confidence);
    }
    return confidence;
}

/* The same faint intake in a quiet room and in one that rustles louder all the time. */
static void what_is_like_a_breath_is_less_likely_one_where_it_rustles(void **state)
{
    (void)state;
    const double end_s = line_start_s[2] - 0.4, start_s = end_s - 0.1;
    float confidence[2];
    for (int rustles = 0; rustles < 2; rustles++) {
        struct made_take take = three_lines(48000, -80.0);
        if (rustles)
            add_rustle(&take, -58.0, end_s);
        add_breath(&take, start_s, end_s, -64.0);
        struct heard_take heard = hear_take(&take);
        confidence[rustles] = likeliest_breath(&heard, start_s, end_s);
        heard_take_free(&heard, &take);
    }
    assert_true(confidence[0] > 0.7f && confidence[1] < 0.7f);
}

/* Among the strokes of a room one that is louder than most, right behind a word: as loud as its end may be, but short.
 */
static void a_stroke_of_rustle_does_not_make_a_word_last_longer(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -57.0);
    add_rustle(&take, -46.0, -1.0);
    add_room(&take, line_end_s[0] + 0.09, line_end_s[0] + 0.16, -37.0);
    struct heard_take heard = hear_take(&take);
    assert_within((double)heard.runs[0].loud_end_sample / 48000.0, line_end_s[0], 0.060, 0.060);
    heard_take_free(&heard, &take);
}

static void a_click_alone_in_a_pause_is_a_click(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -66.0);
    add_click(&take, 3.3, -20.0);
    struct heard_take heard = hear_take(&take);
    check_three_lines(&heard);
    assert_int_equal(sounds_between(&heard, TT_SOUND_CLICK, 3.25, 3.35), 1);
    assert_int_equal(heard.sound_count, 1);
    heard_take_free(&heard, &take);
}

/* The recorder is switched off: its switch may be the last that is heard, in a frame that is not full. */
static void a_click_at_the_very_end_of_a_take_ends_with_it(void **state)
{
    (void)state;
    for (size_t lost = 0; lost < 512; lost += 85) {
        struct made_take take = three_lines(48000, -66.0);
        take.count -= lost;
        add_click(&take, (double)take.count / 48000.0 - 0.006, -20.0);
        struct heard_take heard = hear_take(&take);
        assert_int_equal(heard.sound_count, 1);
        assert_true(heard.sounds[0].start_sample < heard.sounds[0].end_sample);
        assert_true(heard.sounds[0].end_sample <= (int64_t)take.count);
        heard_take_free(&heard, &take);
    }
}

static void a_crackle_of_paper_in_a_pause_is_a_noise(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -66.0);
    for (int i = 0; i < 10; i++)
        add_hiss(&take, 7.5 + 0.04 * i, 7.5 + 0.04 * i + 0.03, 7000.0, 0.9, 0.002, voice_db - 14.0 - 5.0 * (i % 3));
    struct heard_take heard = hear_take(&take);
    check_three_lines(&heard);
    assert_int_equal(sounds_between(&heard, TT_SOUND_NOISE, 7.4, 8.0), 1);
    heard_take_free(&heard, &take);
}

static void two_clicks_of_the_lips_are_one_click(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -66.0);
    for (int i = 0; i < 2; i++)
        add_hiss(&take, 3.3 + 0.04 * i, 3.312 + 0.04 * i, 4000.0, 0.7, 0.002, voice_db - 8.0);
    struct heard_take heard = hear_take(&take);
    check_three_lines(&heard);
    assert_int_equal(sounds_between(&heard, TT_SOUND_CLICK, 3.25, 3.45), 1);
    assert_int_equal(heard.sound_count, 1);
    heard_take_free(&heard, &take);
}

/* Whispered words of 250 ms and more are what a long noise may be. */
static void a_short_knock_is_surely_no_word_and_a_long_hiss_is_not(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -66.0);
    add_hiss(&take, 3.3, 3.36, 250.0, 0.5, 0.01, voice_db - 8.0);
    add_hiss(&take, 7.4, 7.8, 2500.0, 1.2, 0.03, voice_db - 10.0);
    struct heard_take heard = hear_take(&take);
    check_three_lines(&heard);
    assert_int_equal(heard.sound_count, 2);
    assert_int_equal(heard.sounds[0].kind, TT_SOUND_NOISE);
    assert_true(heard.sounds[0].confidence >= 0.9f);
    assert_int_equal(heard.sounds[1].kind, TT_SOUND_NOISE);
    assert_true(heard.sounds[1].confidence < 0.9f && heard.sounds[1].confidence >= 0.5f);
    heard_take_free(&heard, &take);
}

static void a_knock_over_a_word_is_told_and_words_alone_are_not(void **state)
{
    (void)state;
    struct made_take take = three_lines(48000, -70.0);
    struct heard_take plain = hear_take(&take);
    size_t count;
    (void)tt_listener_over_words(plain.listener, &count);
    assert_int_equal(count, 0);
    heard_take_free(&plain, &take);
    take = three_lines(48000, -70.0);
    add_room(&take, 5.500, 5.530, voice_db + 12.0); /* amid the second line */
    add_room(&take, 7.600, 7.630, voice_db + 12.0); /* between two */
    struct heard_take heard = hear_take(&take);
    const int64_t *over = tt_listener_over_words(heard.listener, &count);
    assert_int_equal(count, 1);
    assert_within((double)over[0] / 48000.0, 5.5, 0.02, 0.02);
    heard_take_free(&heard, &take);
}

static void a_room_that_steps_up_is_no_speech(void **state)
{
    (void)state;
    struct made_take take = made_take_open(16000, 90.0);
    add_room(&take, 0.0, 45.0, -66.0);
    add_room(&take, 45.0, 90.0, -58.0);
    for (int i = 0; i < 14; i++)
        add_voice(&take, 2.0 + 6.0 * i, 5.0 + 6.0 * i, voice_db);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 14);
    for (size_t i = 0; i < 14; i++) {
        assert_within(run_start_s(&heard, i), 2.0 + 6.0 * (double)i, 0.04, 0.02);
        assert_within(run_end_s(&heard, i), 5.0 + 6.0 * (double)i, 0.02, 0.06);
    }
    heard_take_free(&heard, &take);
}

/* Traffic between the lines, or a recorder that turns itself up there: 12 dB over the room, up to both of them. */
static void a_room_that_rises_slowly_between_lines_is_no_end_of_theirs(void **state)
{
    (void)state;
    struct made_take take = made_take_open(16000, 70.0);
    add_room(&take, 0.0, 70.0, -66.0);
    for (int i = 0; i < 10; i++) {
        add_voice(&take, 2.0 + 6.0 * i, 5.0 + 6.0 * i, voice_db);
        add_hiss(&take, 3.0 + 6.0 * i, 10.0 + 6.0 * i, 450.0, 1.5, 2.5, -54.0);
    }
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 10);
    for (size_t i = 0; i < 10; i++) {
        assert_within(run_start_s(&heard, i), 2.0 + 6.0 * (double)i, 0.3, 0.02);
        assert_within(run_end_s(&heard, i), 5.0 + 6.0 * (double)i, 0.02, 0.3);
    }
    heard_take_free(&heard, &take);
}

static void digital_silence_is_not_taken_for_the_room(void **state)
{
    (void)state;
    struct made_take take = made_take_open(48000, 30.0);
    for (int i = 0; i < 5; i++) { /* a recorder that mutes between its lines, and a room without a line */
        add_room(&take, 6.0 * i + 1.0, 6.0 * i + 4.0, -60.0);
        if (i != 3)
            add_voice(&take, 6.0 * i + 1.6, 6.0 * i + 3.4, voice_db);
    }
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 4);
    assert_within(run_start_s(&heard, 0), 1.6, 0.04, 0.02);
    assert_within(states_between(&heard, TT_FRAME_SILENT, 4.2, 6.8), 2.6 * 187.5, 4.0, 1.0);
    assert_int_equal(states_between(&heard, TT_FRAME_SPEECH, 19.3, 21.9), 0);
    heard_take_free(&heard, &take);
}

static void a_room_without_speech_has_no_runs(void **state)
{
    (void)state;
    struct made_take take = made_take_open(16000, 70.0);
    add_room(&take, 0.0, 70.0, -60.0);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 0);
    assert_int_equal(heard.sound_count, 0);
    assert_true(states_between(&heard, TT_FRAME_QUIET, 0.0, 70.0) > 0.99 * (double)heard.frames);
    heard_take_free(&heard, &take);
}

static void traffic_that_swells_where_nobody_speaks_is_the_room(void **state)
{
    (void)state;
    struct made_take take = made_take_open(16000, 70.0);
    add_room(&take, 0.0, 70.0, -64.0);
    for (int i = 0; i < 7; i++)
        add_hiss(&take, 9.0 * i + 3.0, 9.0 * i + 10.0, 450.0, 1.5, 2.5, -54.0);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 0);
    assert_int_equal(heard.sound_count, 0);
    heard_take_free(&heard, &take);
}

/* Four syllables a second, as loud as the traffic above. */
static void words_that_are_whispered_throughout_a_take_are_words(void **state)
{
    (void)state;
    struct made_take take = made_take_open(16000, 70.0);
    add_room(&take, 0.0, 70.0, -64.0);
    for (int i = 0; i < 7; i++)
        for (int k = 0; k < 8; k++)
            add_hiss(&take, 9.0 * i + 3.0 + 0.25 * k, 9.0 * i + 3.2 + 0.25 * k, 1500.0, 1.5, 0.06, -51.0);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 7);
    for (size_t i = 0; i < 7; i++) {
        assert_within(run_start_s(&heard, i), 9.0 * (double)i + 3.0, 0.1, 0.1);
        assert_within(run_end_s(&heard, i), 9.0 * (double)i + 4.95, 0.1, 0.1);
    }
    heard_take_free(&heard, &take);
}

static void nothing_at_all_is_silent(void **state)
{
    (void)state;
    static const double lengths_s[] = {0.0, 0.003, 0.02, 3.0};
    for (size_t i = 0; i < sizeof lengths_s / sizeof *lengths_s; i++) {
        struct made_take take = made_take_open(48000, lengths_s[i]);
        struct heard_take heard = hear_take(&take);
        assert_int_equal(heard.run_count, 0);
        assert_int_equal(states_between(&heard, TT_FRAME_SILENT, 0.0, 4.0), heard.frames);
        heard_take_free(&heard, &take);
    }
}

static void a_take_cut_hard_at_both_ends_loses_nothing(void **state)
{
    (void)state;
    struct made_take take = made_take_open(48000, 5.0);
    add_room(&take, 0.0, 5.0, -62.0);
    add_voice(&take, 0.0, 1.5, voice_db);
    add_voice(&take, 2.5, 5.2, voice_db);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 2);
    assert_int_equal(heard.runs[0].start_sample, 0);
    assert_within(run_end_s(&heard, 1), 5.0, 0.006, 0.006);
    heard_take_free(&heard, &take);
}

/* An s as loud as the vowel before it, and nothing behind it. */
static void a_take_cut_hard_in_a_hiss_that_ends_a_word_keeps_it(void **state)
{
    (void)state;
    struct made_take take = made_take_open(48000, 5.0);
    add_room(&take, 0.0, 5.0, -62.0);
    add_voice(&take, 1.0, 4.8, voice_db);
    add_hiss(&take, 4.8, 5.2, 3000.0, 1.0, 0.005, voice_db);
    struct heard_take heard = hear_take(&take);
    assert_int_equal(heard.run_count, 1);
    assert_within(run_end_s(&heard, 0), 5.0, 0.006, 0.006);
    heard_take_free(&heard, &take);
}

/* What was told of a frame when it settled holds, whatever comes behind it. */
static void later_sound_changes_no_settled_frame(void **state)
{
    (void)state;
    struct made_take shorter = made_take_open(16000, 50.0), longer = made_take_open(16000, 80.0);
    for (int which = 0; which < 2; which++) {
        struct made_take *take = which == 0 ? &shorter : &longer;
        double end_s = which == 0 ? 50.0 : 80.0;
        for (int i = 0; i < 9; i++)
            add_voice(take, 1.0 + 5.0 * i, 3.9 + 5.0 * i, voice_db);
        for (int i = 0; i < 9; i++)
            add_breath(take, 4.3 + 5.0 * i, 4.7 + 5.0 * i, voice_db - 26.0);
        add_room(take, 0.0, end_s, -64.0);
        if (which == 1)
            add_voice(take, 52.0, 79.0, voice_db + 6.0);
    }
    struct heard_take first = hear_take(&shorter), second = hear_take(&longer);
    assert_true(tt_listener_delay_frames(first.listener) <= (int64_t)(32.0 * first.rate_hz / first.hop));
    int64_t settled = first.frames - tt_listener_delay_frames(first.listener) - 4;
    assert_true(settled > 3000);
    assert_memory_equal(first.states, second.states, (size_t)settled);
    heard_take_free(&first, &shorter);
    heard_take_free(&second, &longer);
}

static void runs_and_sounds_are_in_order_and_apart(void **state)
{
    (void)state;
    struct made_take take = made_take_open(16000, 60.0);
    add_room(&take, 0.0, 60.0, -62.0);
    for (int i = 0; i < 11; i++) {
        double at_s = 1.0 + 5.0 * i;
        add_breath(&take, at_s, at_s + 0.3, voice_db - 26.0);
        add_voice(&take, at_s + 0.4, at_s + 2.5, voice_db);
        add_click(&take, at_s + 3.1 + 0.05 * i, -24.0);
        add_hiss(&take, at_s + 3.8, at_s + 4.2, 5000.0, 0.9, 0.01, voice_db - 16.0);
    }
    struct heard_take heard = hear_take(&take);
    assert_true(heard.run_count >= 11 && heard.sound_count >= 22);
    for (size_t i = 1; i < heard.run_count; i++)
        assert_true(heard.runs[i - 1].end_sample <= heard.runs[i].start_sample);
    for (size_t i = 1; i < heard.sound_count; i++)
        assert_true(heard.sounds[i - 1].end_sample <= heard.sounds[i].start_sample);
    for (size_t i = 0; i < heard.sound_count; i++)
        for (size_t k = 0; k < heard.run_count; k++)
            assert_true(heard.sounds[i].end_sample <= heard.runs[k].start_sample ||
                        heard.sounds[i].start_sample >= heard.runs[k].end_sample);
    heard_take_free(&heard, &take);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_loud_edges_of_a_run_leave_out_what_trails_off),
        cmocka_unit_test(a_click_behind_a_word_does_not_make_it_last_longer),
        cmocka_unit_test(rustle_behind_a_word_is_its_end_only_where_the_room_is_quiet),
        cmocka_unit_test(each_line_is_one_run_at_every_rate),
        cmocka_unit_test(hum_is_no_voice),
        cmocka_unit_test(what_is_quiet_is_room_and_nothing_else),
        cmocka_unit_test(weak_hiss_at_the_edges_belongs_to_the_line),
        cmocka_unit_test(a_released_stop_belongs_to_its_word),
        cmocka_unit_test(a_breath_before_a_line_is_a_sound_and_the_line_stays_whole),
        cmocka_unit_test(a_breath_is_heard_over_a_rumble_that_is_as_loud),
        cmocka_unit_test(a_quiet_breath_is_heard_from_its_beginning_to_its_end),
        cmocka_unit_test(a_breath_that_sounds_voiced_for_a_moment_is_no_word),
        cmocka_unit_test(what_is_like_a_breath_is_less_likely_one_where_it_rustles),
        cmocka_unit_test(a_stroke_of_rustle_does_not_make_a_word_last_longer),
        cmocka_unit_test(a_click_alone_in_a_pause_is_a_click),
        cmocka_unit_test(a_click_at_the_very_end_of_a_take_ends_with_it),
        cmocka_unit_test(a_crackle_of_paper_in_a_pause_is_a_noise),
        cmocka_unit_test(two_clicks_of_the_lips_are_one_click),
        cmocka_unit_test(a_short_knock_is_surely_no_word_and_a_long_hiss_is_not),
        cmocka_unit_test(a_knock_over_a_word_is_told_and_words_alone_are_not),
        cmocka_unit_test(a_room_that_steps_up_is_no_speech),
        cmocka_unit_test(a_room_that_rises_slowly_between_lines_is_no_end_of_theirs),
        cmocka_unit_test(digital_silence_is_not_taken_for_the_room),
        cmocka_unit_test(a_room_without_speech_has_no_runs),
        cmocka_unit_test(traffic_that_swells_where_nobody_speaks_is_the_room),
        cmocka_unit_test(words_that_are_whispered_throughout_a_take_are_words),
        cmocka_unit_test(nothing_at_all_is_silent),
        cmocka_unit_test(a_take_cut_hard_at_both_ends_loses_nothing),
        cmocka_unit_test(a_take_cut_hard_in_a_hiss_that_ends_a_word_keeps_it),
        cmocka_unit_test(later_sound_changes_no_settled_frame),
        cmocka_unit_test(runs_and_sounds_are_in_order_and_apart),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
