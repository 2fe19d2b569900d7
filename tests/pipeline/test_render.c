/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rendering: exact where nothing is to be done, exact in time where something is cut, whole or not at all. */
#include "pass_support.h"

#include "base/rescale.h"

/* The largest difference between two stretches of samples, the first times a gain. */
static double difference(const float *take, double gain, const float *out, size_t count)
{
    double most = 0;
    for (size_t i = 0; i < count; i++)
        most = fmax(most, fabs((double)take[i] * gain - (double)out[i]));
    return most;
}

static const double within = 1e-6; /* 24 bits step by 1.2e-7 */

static void with_all_stages_off_the_voice_is_the_take_times_one_gain(void **state)
{
    struct place *p = *state;
    static const int rates[] = {8000, 44100, 48000, 96000};
    for (size_t r = 0; r < sizeof rates / sizeof *rates; r++) {
        take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = rates[r], .seconds = 4, .offset = 0.01});
        struct tt_error error = {0};
        struct pass *pass = pass_begin(p, "take.wav", settings_that_do_nothing());
        assert_ok(pass_hear(pass, 0, &error), error);
        assert_true(pass->heard.run_count > 0);
        struct tt_rendered rendered = render_well(pass, 3.5);
        assert_true(rendered.gain_db == 3.5 && !rendered.is_held_back);
        size_t frames, voice_frames, whole_frames;
        float *take = sound_read(pass->take, &frames, NULL), *voice = sound_read(pass->voice, &voice_frames, NULL),
              *whole = sound_read(pass->whole, &whole_frames, NULL);
        assert_int_equal(voice_frames, frames);
        assert_int_equal(whole_frames, frames);
        assert_true(difference(take, pow(10, 3.5 / 20), voice, frames) < within);
        assert_true(difference(take, pow(10, 3.5 / 20), whole, frames) < within);
        free(take);
        free(voice);
        free(whole);
        pass_end(pass);
    }
}

static void the_chosen_channel_is_rendered_and_no_other(void **state)
{
    struct place *p = *state;
    size_t frames, out_frames;
    float *mono = take_samples((struct take_shape){.seconds = 4}, &frames);
    take_write_samples(take_path(p, "take.wav"), (struct take_shape){.channels = 3, .voice_channel = 2}, mono, frames);
    struct tt_error error = {0};
    struct pass *pass = pass_begin(p, "take.wav", settings_that_do_nothing());
    assert_ok(pass_hear(pass, 2, &error), error);
    render_well(pass, 0);
    float *voice = sound_read(pass->voice, &out_frames, NULL);
    assert_int_equal(out_frames, frames);
    assert_true(difference(mono, 1, voice, frames) < within);
    free(voice);
    free(mono);
    pass_end(pass);
}

static void cuts_lie_where_the_time_map_says_to_the_sample(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 44100, .seconds = 8});
    struct tt_error error = {0};
    struct pass *pass = pass_begin(p, "take.wav", settings_that_do_nothing());
    assert_ok(pass_hear(pass, 0, &error), error);
    pass_row(pass, 0, 700, TT_ROW_PAUSE, TT_DO_SHORTEN, 0.25);
    pass_row(pass, 1500, 1733, TT_ROW_OTHER, TT_DO_CUT, NAN);
    pass_row(pass, 3500, 4500, TT_ROW_PAUSE, TT_DO_SHORTEN, 0.4);
    pass_row(pass, 6000, 6000, TT_ROW_GAP, TT_DO_OPEN, 1.5);
    pass_row(pass, 7300, 8000, TT_ROW_PAUSE, TT_DO_CUT, NAN);
    struct tt_rendered rendered = render_well(pass, -6);
    size_t frames, out_frames;
    float *take = sound_read(pass->take, &frames, NULL), *voice = sound_read(pass->voice, &out_frames, NULL);
    assert_true(pass->map.count == 3);
    assert_int_equal(out_frames, pass->map.out_samples);
    assert_int_equal(rendered.out_frames, out_frames);
    for (size_t i = 0; i < pass->map.count; i++) {
        const struct tt_stretch *s = &pass->map.stretches[i];
        int64_t before = i > 0 ? s[-1].fade_samples / 2 : pass->map.lead_fade_samples / 2, behind = s->fade_samples / 2;
        size_t count = (size_t)(s->source_end - s->source_start - before - behind);
        assert_true(difference(take + s->source_start + before, pow(10, -6.0 / 20), voice + s->out_start + before,
                               count) < within);
    }
    for (size_t i = 1; i < out_frames; i++) /* no join clicks: no step larger than the take's own */
        assert_true(fabsf(voice[i] - voice[i - 1]) < 0.25f);
    free(take);
    free(voice);
    pass_end(pass);
}

static void the_whole_chain_moves_nothing_in_time(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 5, .noise_rms = 0.001});
    struct tt_settings settings;
    tt_settings_default(&settings);
    settings.loudness.even_db = 3;
    struct tt_error error = {0};
    struct pass *pass = pass_begin(p, "take.wav", settings);
    assert_ok(pass_hear(pass, 0, &error), error);
    render_well(pass, 0);
    size_t frames, whole_frames;
    float *take = sound_read(pass->take, &frames, NULL), *whole = sound_read(pass->whole, &whole_frames, NULL);
    assert_int_equal(frames, whole_frames);
    assert_int_equal(lag_of(take, whole, frames, 20), 0);
    free(take);
    free(whole);
    pass_end(pass);
}

static void the_same_take_sheet_and_gain_give_the_same_bytes(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 44100, .seconds = 4});
    struct tt_settings settings;
    tt_settings_default(&settings);
    settings.deliver.bits = TT_BITS_16; /* dithered, and still the same */
    settings.deliver.rate_hz = TT_RATE_48000;
    struct tt_error error = {0};
    struct pass *pass = pass_begin(p, "take.wav", settings);
    assert_ok(pass_hear(pass, 0, &error), error);
    pass_row(pass, 2000, 2000, TT_ROW_GAP, TT_DO_OPEN, 1);
    render_well(pass, NAN);
    const char *voice = file_digest(pass->voice), *whole = file_digest(pass->whole);
    SF_INFO info = info_of(pass->voice);
    assert_int_equal(info.frames, tt_rescale_frames(pass->map.out_samples, 44100, 48000));
    assert_int_equal(unlink(pass->voice), 0);
    render_well(pass, NAN);
    assert_string_equal(voice, file_digest(pass->voice));
    assert_string_equal(whole, file_digest(pass->whole));
    pass_end(pass);
}

static void what_is_cut_out_need_not_be_cleaned_for_the_same_voice(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 6, .noise_rms = 0.001});
    struct tt_settings settings;
    struct tt_error error = {0};
    tt_settings_default(&settings);
    struct pass *pass = pass_begin(p, "take.wav", settings);
    assert_ok(pass_hear(pass, 0, &error), error);
    pass_row(pass, 0, 800, TT_ROW_PAUSE, TT_DO_SHORTEN, 0.25);
    pass_row(pass, 1500, 1733, TT_ROW_OTHER, TT_DO_CUT, NAN);
    pass_row(pass, 3000, 4500, TT_ROW_OTHER, TT_DO_CUT, NAN);
    struct tt_render_request request = pass_request(pass, 3);
    struct tt_rendered rendered;
    assert_ok(tt_render(&request, &rendered, &error), error);
    char all_cleaned[80];
    snprintf(all_cleaned, sizeof all_cleaned, "%s", file_digest(pass->voice));
    request.whole_path = NULL;
    assert_int_equal(unlink(pass->voice), 0);
    assert_ok(tt_render(&request, &rendered, &error), error);
    assert_string_equal(all_cleaned, file_digest(pass->voice));
    pass_end(pass);
}

static void render_in_threads(struct pass *pass, double gain_db, int threads)
{
    if (file_exists(pass->voice))
        assert_int_equal(unlink(pass->voice), 0);
    pass->threads = threads;
    render_well(pass, gain_db);
}

/* Long enough for three units of the gate; with nothing that is done in units; and with a gain with which the voice
 * goes straight into its file. */
static void rendering_in_one_two_and_five_threads_gives_the_same_bytes(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 8000, .seconds = 37.3, .noise_rms = 0.001});
    struct tt_settings settings;
    struct tt_error error = {0};
    tt_settings_default(&settings);
    for (int way = 0; way < 3; way++) {
        settings.gate.depth_db = way == 1 ? 0 : 15;
        const double gain_db = way == 2 ? 3 : (double)NAN;
        struct pass *pass = pass_begin(p, "take.wav", settings);
        assert_ok(pass_hear(pass, 0, &error), error);
        pass_row(pass, 2000, 2000, TT_ROW_GAP, TT_DO_OPEN, 1);
        render_in_threads(pass, gain_db, 1);
        const char *voice = file_digest(pass->voice), *whole = file_digest(pass->whole);
        for (int threads = 2; threads <= 5; threads += 3) {
            render_in_threads(pass, gain_db, threads);
            assert_string_equal(voice, file_digest(pass->voice));
            assert_string_equal(whole, file_digest(pass->whole));
        }
        pass_end(pass);
    }
}

static void without_a_gain_the_target_is_met_by_another_meter_too(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 5});
    static const double targets[] = {-30, -23, -18};
    for (size_t i = 0; i < sizeof targets / sizeof *targets; i++) {
        struct tt_settings settings;
        tt_settings_default(&settings);
        settings.loudness.target_lufs = targets[i];
        settings.loudness.limit_most_db = 20;
        struct tt_error error = {0};
        struct pass *pass = pass_begin(p, "take.wav", settings);
        assert_ok(pass_hear(pass, 0, &error), error);
        struct tt_rendered rendered = render_well(pass, NAN);
        assert_false(rendered.is_held_back);
        assert_true(fabs(lufs_of(pass->voice) - targets[i]) < 0.05); /* the goal for delivered files */
        assert_true(fabs(rendered.levels.integrated_lufs - targets[i]) < 0.05);
        assert_true(rendered.levels.max_true_peak_dbtp <= -1.0);
        pass_end(pass);
    }
}

static void a_take_that_changed_since_it_was_heard_is_an_error_and_the_old_voice_stays(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.seconds = 4});
    struct tt_error error = {0};
    struct pass *pass = pass_begin(p, "take.wav", settings_that_do_nothing());
    assert_ok(pass_hear(pass, 0, &error), error);
    file_write(pass->voice, "the old voice", 13);
    take_write(pass->take, (struct take_shape){.seconds = 3.5});
    struct tt_rendered rendered;
    struct tt_render_request request = pass_request(pass, 0);
    assert_false(tt_render(&request, &rendered, &error));
    assert_int_equal(error.kind, TT_ERROR_INPUT);
    assert_non_null(strstr(error.message, "changed"));
    size_t size;
    free(file_read(pass->voice, &size));
    assert_int_equal(size, 13);
    assert_int_equal(count_unpublished(p->folder), 0);
    pass_end(pass);
}

static void it_can_be_stopped_in_every_pass_and_leaves_nothing(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 5});
    struct tt_error error = {0};
    struct pass *pass = pass_begin(p, "take.wav", settings_that_do_nothing());
    assert_ok(pass_hear(pass, 0, &error), error);
    struct tt_render_request request = pass_request(pass, NAN);
    struct countdown countdown;
    request.tick = count_down;
    request.tick_context = &countdown;
    int at = 0;
    for (;; at++) {
        struct tt_rendered rendered;
        countdown.left = at;
        error = (struct tt_error){0};
        if (tt_render(&request, &rendered, &error))
            break;
        assert_int_equal(error.kind, TT_ERROR_STOPPED);
        assert_false(file_exists(pass->whole));
        assert_int_equal(count_unpublished(p->folder), 0);
    }
    assert_true(at > 2 * 15); /* blocks of the first pass, of writing */
    pass_end(pass);
}

#define IN_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)

/* ---- a part of a long recording ---- */

struct ticks {
    int count;
    double last;
};

static bool count_tick(void *context, double share)
{
    struct ticks *ticks = context;
    ticks->count++;
    ticks->last = share;
    return true;
}

/* Four minutes of lines, of which ten seconds are wanted. */
static struct pass *hear_long_take(const struct place *p, double from_s, double to_s, bool has_hum)
{
    enum { LONG_RATE = 16000, LONG_SECONDS = 240 };
    size_t frames = (size_t)LONG_RATE * LONG_SECONDS;
    float *samples = calloc(frames, sizeof *samples);
    assert_non_null(samples);
    noise_add(samples, frames, 0.001, 4);
    for (int i = 0; i < LONG_SECONDS / 4; i++)
        voice_add(samples + (size_t)i * 4 * LONG_RATE + LONG_RATE / 2, (size_t)(2.5 * LONG_RATE), LONG_RATE, 0.05,
                  70 + (uint64_t)i);
    for (size_t i = 0; i < frames; i++)
        for (int h = 1; has_hum && h <= 5; h++)
            samples[i] += 0.004f / (float)h * (float)sin(2 * 3.14159265358979 * 50.03 * h * (double)i / LONG_RATE);
    sound_write(take_path(p, "take.wav"), WAV_24, LONG_RATE, 1, samples, frames);
    free(samples);
    struct tt_settings settings;
    struct tt_error error = {0};
    tt_settings_default(&settings);
    settings.loudness.even_db = 3;
    settings.deliver.bits = TT_BITS_32F;
    struct pass *pass = pass_begin(p, "take.wav", settings);
    assert_ok(pass_hear(pass, 0, &error), error);
    assert_true((pass->heard.facts.hum.base_hz > 0) == has_hum);
    assert_ok(tt_heard_narrow(&pass->heard, (int64_t)(from_s * LONG_RATE), (int64_t)(to_s * LONG_RATE), &error), error);
    pass_row(pass, (int64_t)(1000 * from_s) + 3000, (int64_t)(1000 * from_s) + 4200, TT_ROW_PAUSE, TT_DO_SHORTEN, 0.6);
    pass_row(pass, (int64_t)(1000 * from_s) + 7500, (int64_t)(1000 * from_s) + 7500, TT_ROW_GAP, TT_DO_OPEN, 1.5);
    pass_row(pass, (int64_t)(1000 * from_s) + 1000, (int64_t)(1000 * from_s) + 1300, TT_ROW_BREATH, TT_DO_SOFTEN, 12);
    return pass;
}

static void compare_late_part(const struct place *p, bool has_hum)
{
    struct pass *pass = hear_long_take(p, 220, 230, has_hum);
    struct tt_error error = {0};
    struct tt_rendered rendered;
    struct ticks all = {0}, part = {0};
    struct tt_render_request request = pass_request(pass, 3);
    request.tick = count_tick;
    request.tick_context = &all;
    assert_ok(tt_render(&request, &rendered, &error), error); /* with the whole take beside it: from its start */
    size_t frames, part_frames;
    float *full = sound_read(pass->voice, &frames, NULL);
    request.whole_path = NULL;
    request.tick_context = &part;
    assert_ok(tt_render(&request, &rendered, &error), error);
    float *voice = sound_read(pass->voice, &part_frames, NULL);
    assert_int_equal(part_frames, frames);
    /* 10 s, half a minute ahead of it for the filters, some seconds of the gate's grid, one behind. */
    if (part.count > all.count / 4)
        fail_msg("%d blocks in place of %d", part.count, all.count);
    assert_true(part.last > 0.99 && part.last <= 1);
    /* The hum filter follows what it heard for minutes; all else has forgotten, and the same bits come out. */
    if (difference(full, 1, voice, frames) > (has_hum ? 1.6e-5 : 0.0))
        fail_msg("up to %g apart", difference(full, 1, voice, frames));
    free(full);
    free(voice);
    pass_end(pass);
}

static void a_late_part_has_the_bits_of_the_whole_take_and_costs_no_more_than_it_is_long(void **state)
{
    compare_late_part(*state, false);
}
static void with_hum_a_late_part_is_the_same_to_96_db_below_full_scale(void **state)
{
    compare_late_part(*state, true);
}

static void an_early_part_is_rendered_from_the_take_s_start(void **state)
{
    struct place *p = *state;
    struct pass *pass = hear_long_take(p, 20, 30, true);
    struct tt_error error = {0};
    struct tt_rendered rendered;
    struct tt_render_request request = pass_request(pass, 3);
    assert_ok(tt_render(&request, &rendered, &error), error);
    char digest[80];
    snprintf(digest, sizeof digest, "%s", file_digest(pass->voice));
    request.whole_path = NULL;
    assert_ok(tt_render(&request, &rendered, &error), error);
    assert_string_equal(digest, file_digest(pass->voice));
    pass_end(pass);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_PLACE(with_all_stages_off_the_voice_is_the_take_times_one_gain),
        IN_PLACE(the_chosen_channel_is_rendered_and_no_other),
        IN_PLACE(cuts_lie_where_the_time_map_says_to_the_sample),
        IN_PLACE(the_whole_chain_moves_nothing_in_time),
        IN_PLACE(the_same_take_sheet_and_gain_give_the_same_bytes),
        IN_PLACE(what_is_cut_out_need_not_be_cleaned_for_the_same_voice),
        IN_PLACE(rendering_in_one_two_and_five_threads_gives_the_same_bytes),
        IN_PLACE(without_a_gain_the_target_is_met_by_another_meter_too),
        IN_PLACE(a_take_that_changed_since_it_was_heard_is_an_error_and_the_old_voice_stays),
        IN_PLACE(it_can_be_stopped_in_every_pass_and_leaves_nothing),
        IN_PLACE(a_late_part_has_the_bits_of_the_whole_take_and_costs_no_more_than_it_is_long),
        IN_PLACE(with_hum_a_late_part_is_the_same_to_96_db_below_full_scale),
        IN_PLACE(an_early_part_is_rendered_from_the_take_s_start),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
