/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Takes that are one recording, and takes that only say the same. */
#include "clean_support.h"
#include "session/same_recording.h"
#include "stages/made_session.h"

#include <sndfile.h>

/* A copy of the session's first take: gain_db louder, what passes full scale clipped, and so many frames late. */
static void add_copy(const struct fixture *f, const char *name, double gain_db, size_t late_frames)
{
    size_t frames;
    int rate_hz;
    float *sound = sound_read(in_folder(f->session, "01.flac"), &frames, &rate_hz),
          *copy = calloc(frames + late_frames, sizeof *copy);
    assert_non_null(copy);
    for (size_t i = 0; i < frames; i++) {
        double value = (double)sound[i] * pow(10.0, gain_db / 20.0);
        copy[late_frames + i] = (float)fmax(-1.0, fmin(1.0, value));
    }
    sound_write(in_folder(f->session, name), SF_FORMAT_WAV | SF_FORMAT_PCM_24, rate_hz, 1, copy, frames + late_frames);
    free(copy);
    free(sound);
}

/* What the report says of a take: why, or "" . */
static void assert_why(const struct fixture *f, const char *report, const char *words, bool is_there)
{
    char *text = file_read(in_folder(f->out, report), NULL);
    if ((strstr(text, words) != NULL) != is_there)
        fail_msg("%s: '%s' %s", report, words, is_there ? "is missing" : "is there");
    free(text);
}

static void a_safety_copy_is_listed_and_not_used(void **state)
{
    struct fixture *f = *state;
    add_copy(f, "01b.wav", -14.0, 1105); /* as late as a common encoder makes it */
    struct tt_clean_result result = clean_well(f->session, f->out, (struct clean_run){.is_plan = true});
    assert_why(f, "session.json", "same recording as 01.flac", true);
    assert_false(file_exists(in_folder(f->out, "sheets/01b.csv")));
    assert_true(file_exists(in_folder(f->out, "sheets/01.csv")));
    assert_true(file_exists(in_folder(f->out, "sheets/02.csv")));
    tt_clean_result_free(&result);
}

static void the_unclipped_one_is_used(void **state)
{
    struct fixture *f = *state;
    add_copy(f, "00.wav", 24.0, 0);
    struct tt_clean_result result = clean_well(f->session, f->out, (struct clean_run){.is_plan = true});
    assert_why(f, "session.json", "same recording as 01.flac", true);
    assert_false(file_exists(in_folder(f->out, "sheets/00.csv")));
    tt_clean_result_free(&result);
}

static void a_person_may_use_the_other_one(void **state)
{
    struct fixture *f = *state;
    add_copy(f, "01b.wav", -14.0, 0);
    struct tt_clean_result first = clean_well(f->session, f->out, (struct clean_run){.is_plan = true});
    static const char order[] = "take,use\n01.flac,no\n01b.wav,yes\n02.flac,yes\n";
    file_write(in_folder(f->out, "order.csv"), order, sizeof order - 1);
    struct tt_clean_result second = clean_well(f->session, f->out, (struct clean_run){.is_plan = true});
    assert_true(file_exists(in_folder(f->out, "sheets/01b.csv")));
    assert_why(f, "session.json", "same recording", false);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

static void of_three_copies_one_is_used(void **state)
{
    struct fixture *f = *state;
    add_copy(f, "01b.wav", -14.0, 0);
    add_copy(f, "01c.wav", -6.0, 1105);
    struct tt_clean_result result = clean_well(f->session, f->out, (struct clean_run){.is_plan = true});
    assert_true(file_exists(in_folder(f->out, "sheets/01.csv")));
    assert_false(file_exists(in_folder(f->out, "sheets/01b.csv")));
    assert_false(file_exists(in_folder(f->out, "sheets/01c.csv")));
    char *text = file_read(in_folder(f->out, "session.json"), NULL);
    size_t told = 0;
    for (const char *at = text; (at = strstr(at, "is the same recording as ")); at++)
        told++;
    assert_int_equal(told, 2); /* each once, though they are copies of each other, too */
    free(text);
    tt_clean_result_free(&result);
}

/* ---- in step or not, by numbers ---- */

/* A take of eight lines; returns it with steps made of its runs. seed: another reading of the same. */
static struct made_session *eight_lines(uint32_t seed, float *steps, int shift_rows)
{
    struct made_session *session = begin();
    session->chance = seed;
    for (uint32_t k = 0; k < 8; k++) {
        read_part(session, 200 + k, 0.0, 2.4, 0.0);
        take_of(session)->at_s = 1.0 + 3.2 * (k + 1);
    }
    struct made_take *take = take_of(session);
    struct tt_heard *heard = &take->heard;
    heard->facts = (struct tt_heard_facts){
        .rate_hz = RATE, .feature_hop_samples = HOP, .frame_count = (int64_t)(take->at_s * RATE), .speech_dbfs = -24.0};
    memmove(take->cepstra + shift_rows * TT_CEPSTRA, take->cepstra, (size_t)(MOST_ROWS - shift_rows) * TT_CEPSTRA);
    heard->runs = take->runs;
    heard->cepstra = take->cepstra;
    heard->feature_count = (size_t)(heard->facts.frame_count / HOP);
    heard->steps = steps;
    heard->step_count = (size_t)(heard->facts.frame_count * 10 / RATE);
    for (size_t i = 0; i < heard->step_count; i++) {
        double at_s = 0.1 * (double)i + 0.05;
        steps[i] = 1e-7f;
        for (size_t r = 0; r < heard->run_count; r++)
            if (at_s * RATE >= (double)take->runs[r].start_sample && at_s * RATE < (double)take->runs[r].end_sample)
                steps[i] = 4e-3f;
    }
    return session;
}

static bool in_step(const struct tt_heard *a, const struct tt_heard *b)
{
    struct tt_compared compared[2];
    struct tt_error err = {0};
    assert_true(tt_compared_open(a, &compared[0], &err) && tt_compared_open(b, &compared[1], &err));
    const bool is_so = tt_compared_in_step(&compared[0], &compared[1]);
    tt_compared_free(&compared[0]);
    tt_compared_free(&compared[1]);
    return is_so;
}

static void the_same_sound_some_rows_late_runs_in_step(void **state)
{
    (void)state;
    float steps[2][400];
    struct made_session *one = eight_lines(1, steps[0], 0), *other = eight_lines(1, steps[1], 3);
    assert_true(in_step(&one->takes[0].heard, &other->takes[0].heard));
    assert_true(in_step(&other->takes[0].heard, &one->takes[0].heard));
    end(one);
    end(other);
}

static void two_readings_of_one_text_do_not_run_in_step(void **state)
{
    (void)state;
    float steps[2][400];
    struct made_session *one = eight_lines(1, steps[0], 0), *other = eight_lines(77, steps[1], 0);
    assert_int_equal(one->takes[0].heard.facts.frame_count, other->takes[0].heard.facts.frame_count);
    assert_false(in_step(&one->takes[0].heard, &other->takes[0].heard));
    end(one);
    end(other);
}

static void takes_of_different_lengths_are_not_even_compared(void **state)
{
    (void)state;
    float steps[2][400];
    struct made_session *one = eight_lines(1, steps[0], 0), *other = eight_lines(1, steps[1], 0);
    other->takes[0].heard.facts.frame_count += RATE / 2;
    assert_false(in_step(&one->takes[0].heard, &other->takes[0].heard));
    end(one);
    end(other);
}

/* So many seconds of one line, for takes too short to be judged as others are. */
static struct made_session *short_take(uint32_t seed, double seconds, float *steps)
{
    struct made_session *session = begin();
    session->chance = seed;
    read_part(session, 200, 0.0, seconds, 0.0);
    struct made_take *take = take_of(session);
    take->at_s = 1.0 + seconds * 1.1;
    struct tt_heard *heard = &take->heard;
    heard->facts = (struct tt_heard_facts){.rate_hz = RATE,
                                           .feature_hop_samples = HOP,
                                           .frame_count = (int64_t)((seconds * 1.1 + 2.0) * RATE),
                                           .speech_dbfs = -24.0};
    heard->runs = take->runs;
    heard->cepstra = take->cepstra;
    heard->feature_count = (size_t)(heard->facts.frame_count / HOP);
    heard->steps = steps;
    heard->step_count = (size_t)(heard->facts.frame_count * 10 / RATE);
    for (size_t i = 0; i < heard->step_count; i++)
        steps[i] = i >= 10 && (double)i < 10.0 + seconds * 10.0 ? 4e-3f : 1e-7f;
    return session;
}

static void a_copy_of_two_seconds_is_known_and_another_reading_of_them_is_not_taken_for_one(void **state)
{
    (void)state;
    for (int other = 0; other < 2; other++) {
        float steps[2][100];
        struct made_session *one = short_take(1, 2.0, steps[0]), *two = short_take(other ? 77 : 1, 2.0, steps[1]);
        assert_int_equal(in_step(&one->takes[0].heard, &two->takes[0].heard), !other);
        end(one);
        end(two);
    }
}

static void of_less_than_a_second_nothing_is_said(void **state)
{
    (void)state;
    float steps[2][100];
    struct made_session *one = short_take(1, 0.9, steps[0]), *two = short_take(1, 0.9, steps[1]);
    assert_false(in_step(&one->takes[0].heard, &two->takes[0].heard));
    end(one);
    end(two);
}

static void the_same_file_is_the_same_recording_however_short_it_is_or_silent(void **state)
{
    (void)state;
    for (int is_silent = 0; is_silent < 2; is_silent++) {
        float steps[2][100];
        struct made_session *one = short_take(1, 0.5, steps[0]), *two = short_take(1, 0.5, steps[1]);
        struct tt_heard *heard[] = {&one->takes[0].heard, &two->takes[0].heard};
        for (int i = 0; i < 2; i++) {
            strcpy(heard[i]->facts.content_sha256, "3fa2c1");
            if (is_silent)
                heard[i]->facts.speech_dbfs = -INFINITY;
        }
        assert_true(in_step(heard[0], heard[1]));
        strcpy(heard[1]->facts.content_sha256, "3fa2c2");
        assert_false(in_step(heard[0], heard[1]));
        end(one);
        end(two);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_safety_copy_is_listed_and_not_used, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(the_unclipped_one_is_used, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_person_may_use_the_other_one, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(of_three_copies_one_is_used, fixture_set_up, fixture_tear_down),
        cmocka_unit_test(the_same_sound_some_rows_late_runs_in_step),
        cmocka_unit_test(two_readings_of_one_text_do_not_run_in_step),
        cmocka_unit_test(takes_of_different_lengths_are_not_even_compared),
        cmocka_unit_test(a_copy_of_two_seconds_is_known_and_another_reading_of_them_is_not_taken_for_one),
        cmocka_unit_test(of_less_than_a_second_nothing_is_said),
        cmocka_unit_test(the_same_file_is_the_same_recording_however_short_it_is_or_silent),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
