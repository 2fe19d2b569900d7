/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Rendered sound goes straight into its file where its gain is surely allowed, by way of a scratch file where it may
 * not be: nobody can tell which. */
#include "pass_support.h"

#include "pipeline/outlet.h"

struct made {
    struct tt_rendered rendered;
    char voice[80], whole[80], limits[80];
};

/* With a gain, although the highest peak that was heard is said to be another. */
static struct made make(const struct place *p, struct tt_settings settings, double gain_db, double said_peak_dbtp)
{
    struct tt_error error = {0};
    struct pass *pass = pass_begin(p, "take.wav", settings);
    assert_ok(pass_hear(pass, 0, &error), error);
    pass_row(pass, 2000, 2000, TT_ROW_GAP, TT_DO_OPEN, 1);
    pass->heard.facts.before.max_true_peak_dbtp = said_peak_dbtp;
    struct tt_render_request request = pass_request(pass, gain_db);
    char limits[2200];
    snprintf(limits, sizeof limits, "%s/take.lim", p->folder);
    request.limit_path = limits;
    struct made made;
    assert_ok(tt_render(&request, &made.rendered, &error), error);
    snprintf(made.voice, sizeof made.voice, "%s", file_digest(pass->voice));
    snprintf(made.whole, sizeof made.whole, "%s", file_digest(pass->whole));
    snprintf(made.limits, sizeof made.limits, "%s", file_digest(limits));
    assert_int_equal(count_unpublished(p->folder), 0);
    pass_end(pass);
    return made;
}

static void assert_alike(const struct made *a, const struct made *b)
{
    assert_string_equal(a->voice, b->voice);
    assert_string_equal(a->whole, b->whole);
    assert_string_equal(a->limits, b->limits);
    assert_memory_equal(&a->rendered.levels, &b->rendered.levels, sizeof a->rendered.levels);
    assert_true(a->rendered.gain_db == b->rendered.gain_db && a->rendered.limited_db == b->rendered.limited_db &&
                a->rendered.out_frames == b->rendered.out_frames);
    assert_true(a->rendered.floor_dbfs == b->rendered.floor_dbfs &&
                a->rendered.is_held_back == b->rendered.is_held_back);
}

static struct tt_settings settings_for(int out_rate)
{
    struct tt_settings settings;
    tt_settings_default(&settings);
    settings.loudness.limit_most_db = 3;
    settings.deliver.rate_hz = out_rate;
    return settings;
}

static const double surely_low = -90, surely_high = 60;

static void both_ways_give_the_same_bytes_also_where_the_limiter_acts(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 4});
    static const int rates[] = {TT_RATE_KEEP, TT_RATE_44100};
    for (size_t r = 0; r < 2; r++) {
        struct tt_settings settings = settings_for(rates[r]);
        settings.loudness.ceiling_dbtp = -12;
        struct made straight = make(p, settings, -1, surely_low), by_scratch = make(p, settings, -1, surely_high);
        assert_true(straight.rendered.limited_db > 0 && !straight.rendered.is_held_back &&
                    straight.rendered.gain_db == -1);
        assert_alike(&straight, &by_scratch);
    }
}

static void a_voice_whose_peaks_were_higher_than_thought_is_held_back_all_the_same(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = 48000, .seconds = 4});
    struct made straight = make(p, settings_for(TT_RATE_KEEP), 40, surely_low),
                by_scratch = make(p, settings_for(TT_RATE_KEEP), 40, surely_high);
    assert_true(straight.rendered.is_held_back && straight.rendered.gain_db < 40);
    assert_alike(&straight, &by_scratch);
}

static void a_gain_that_is_yet_to_be_found_or_may_not_be_allowed_waits_in_a_scratch_file(void **state)
{
    (void)state;
    struct tt_settings settings = settings_for(TT_RATE_KEEP); /* the ceiling is -1: peaks up to 2 dB are allowed */
    struct tt_heard heard = {.facts = {.before = {.max_true_peak_dbtp = -10}}};
    struct tt_render_request request = {.heard = &heard, .settings = &settings, .gain_db = 12};
    assert_true(tt_outlet_may_be_straight(&request));
    request.gain_db = 12.1;
    assert_false(tt_outlet_may_be_straight(&request));
    request.gain_db = NAN;
    assert_false(tt_outlet_may_be_straight(&request));
    request.gain_db = 9;
    assert_true(tt_outlet_may_be_straight(&request));
    settings.loudness.even_db = 4; /* a line may be raised by as much */
    assert_false(tt_outlet_may_be_straight(&request));
}

#define IN_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_PLACE(both_ways_give_the_same_bytes_also_where_the_limiter_acts),
        IN_PLACE(a_voice_whose_peaks_were_higher_than_thought_is_held_back_all_the_same),
        cmocka_unit_test(a_gain_that_is_yet_to_be_found_or_may_not_be_allowed_waits_in_a_scratch_file),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
