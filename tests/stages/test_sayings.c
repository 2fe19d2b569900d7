/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Readings that are stopped by the same word each time. */
#include "made_session.h"

#include "stages/sayings.h"

enum { STOP = 900, TIMES = 5 };
static const double stop_s = 0.7, sorry_again_s = 1.4, spoken_on_s = 1.3;

struct stopped {
    struct reading broken, stop, again;
};

static struct reading say_stop(struct made_session *session, double seconds)
{
    struct reading stop = read_part(session, STOP, 0.0, seconds, 0.0);
    pause_s(session, 0.5);
    return stop;
}

/* A line that is broken off, 'stop', or 'sorry, again', and the line. */
static struct stopped read_stopped(struct made_session *session, uint32_t text, double seconds)
{
    struct stopped stopped = {.broken = read_part(session, text, 0.0, spoken_on_s, 0.0)};
    pause_s(session, 0.25);
    stopped.stop = say_stop(session, seconds);
    stopped.again = read_line(session, text);
    return stopped;
}

static void assert_is_tidy(const struct made_session *session, struct stopped stopped)
{
    assert_gone(session, 0, stopped.broken);
    assert_gone(session, 0, stopped.stop);
    assert_stays(session, 0, stopped.again);
}

static void what_stops_a_reading_each_time_goes_with_it_at_full_level_too(void **state)
{
    (void)state;
    struct made_session *session = begin();
    struct stopped stopped[TIMES];
    for (uint32_t k = 0; k < TIMES; k++) {
        read_lines(session, 100 + 10 * k, 3);
        stopped[k] = read_stopped(session, 200 + k, stop_s);
    }
    read_lines(session, 300, 4);
    decide(session);
    for (size_t k = 0; k < TIMES; k++)
        assert_is_tidy(session, stopped[k]);
    end(session);
}

static void what_was_said_so_but_twice_stays(void **state)
{
    (void)state;
    struct made_session *session = begin();
    struct stopped stopped[2];
    for (uint32_t k = 0; k < 2; k++) {
        read_lines(session, 100 + 10 * k, 6);
        stopped[k] = read_stopped(session, 200 + k, stop_s);
    }
    read_lines(session, 300, 4);
    decide(session);
    for (size_t k = 0; k < 2; k++)
        assert_stays(session, 0, stopped[k].stop);
    end(session);
}

static void what_was_said_into_the_reading_goes_with_both(void **state)
{
    (void)state;
    struct made_session *session = begin();
    for (uint32_t k = 0; k < TIMES; k++) {
        read_lines(session, 100 + 10 * k, 3);
        read_stopped(session, 200 + k, sorry_again_s);
    }
    read_lines(session, 150, 3);
    struct made_take *take = take_of(session);
    struct reading broken = read_part(session, 220, 0.0, 0.7, 0.0), stop = say_stop(session, sorry_again_s);
    take->heard.run_count--; /* one run of speech: nothing parts them */
    take->runs[take->heard.run_count - 1].end_sample = (int64_t)(stop.end_s * RATE);
    struct reading again = read_line(session, 220);
    read_lines(session, 300, 4);
    decide(session);
    assert_is_tidy(session, (struct stopped){broken, stop, again});
    end(session);
}

/* Lines of 2 s; `times` of them are followed by a word, which is like the others, and by a line that is alike. */
static size_t sayings_among(size_t times, float goes_on, float fall_db, double word_s)
{
    enum { PHRASES = 24, MOST_PAIRS = 64 };
    struct tt_phrase all[PHRASES] = {0};
    struct tt_reread pairs[MOST_PAIRS] = {0};
    struct tt_phrases phrases = {.all = all, .count = PHRASES};
    struct tt_rereads rereads = {.all = pairs};
    for (size_t p = 0; p < PHRASES; p++)
        all[p] = (struct tt_phrase){.start_s = 3.0 * (double)p, .end_s = 3.0 * (double)p + 2.0, .row_count = 180};
    for (size_t k = 0; k < times; k++) {
        const size_t word = 4 * k + 1;
        all[word].end_s = all[word].start_s + word_s;
        all[word].row_count = 60;
        struct tt_reread around = {.first = word - 1, .last = word - 1, .again = word + 1, .score = 80.0f};
        around.seen[TT_SEEN_GOES_ON] = goes_on;
        around.seen[TT_SEEN_END_FALL] = 0.1f * fall_db;
        around.seen[TT_SEEN_WORST_LONG] = 6.0f;
        for (size_t other = 1; other < word; other += 4)
            pairs[rereads.count++] = (struct tt_reread){
                .first = other, .last = other, .again = word, .x_rows = 50, .y_rows = 50, .score = 40.0f};
        pairs[rereads.count++] = around;
    }
    struct tt_error err = {0};
    bool has_sayings;
    size_t count = 0;
    assert_true(tt_sayings_mark(&phrases, &rereads, &has_sayings, &err));
    for (size_t p = 0; p < PHRASES; p++)
        count += all[p].is_saying;
    assert_true(has_sayings == (count > 0));
    return count;
}

static void a_saying_is_short_and_comes_three_times_behind_readings_that_were_broken_off(void **state)
{
    (void)state;
    assert_int_equal(sayings_among(3, 1.0f, 1.0f, 0.7), 3);
    assert_int_equal(sayings_among(2, 1.0f, 1.0f, 0.7), 0);
    assert_int_equal(sayings_among(3, 1.0f, 1.0f, 1.9), 0);
}

/* 'Add one spoon. Stir. Add two spoons. Stir.' */
static void a_line_that_comes_behind_each_of_a_list_is_none(void **state)
{
    (void)state;
    assert_int_equal(sayings_among(5, 0.0f, 1.0f, 0.7), 0);
    assert_int_equal(sayings_among(5, 1.0f, 9.0f, 0.7), 0);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_stops_a_reading_each_time_goes_with_it_at_full_level_too),
        cmocka_unit_test(what_was_said_so_but_twice_stays),
        cmocka_unit_test(what_was_said_into_the_reading_goes_with_both),
        cmocka_unit_test(a_saying_is_short_and_comes_three_times_behind_readings_that_were_broken_off),
        cmocka_unit_test(a_line_that_comes_behind_each_of_a_list_is_none),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
