/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How sure a likeness is, by what is seen of it. */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <string.h>

#include <cmocka.h>

#include "stages/rereads.h"

enum { PHRASES = 24 };

/* Phrases of 2 s, 0.7 s apart, all equally loud. */
struct session {
    struct tt_phrase all[PHRASES];
    struct tt_phrases phrases;
};

static void begin(struct session *session)
{
    memset(session, 0, sizeof *session);
    for (size_t p = 0; p < PHRASES; p++)
        session->all[p] =
            (struct tt_phrase){.start_s = 2.7 * (double)p, .end_s = 2.7 * (double)p + 2.0, .level_db = -24.0f};
    session->phrases = (struct tt_phrases){.all = session->all, .count = PHRASES};
}

/* Two seconds that match well; the second goes on where the first, broken off, stopped. */
static struct tt_reread well_matched(size_t first, size_t again, float score)
{
    struct tt_reread reread = {.first = first, .last = first, .again = again, .again_last = again, .score = score};
    float *seen = reread.seen;
    seen[TT_SEEN_ALWAYS] = seen[TT_SEEN_GOES_ON] = 1.0f;
    seen[TT_SEEN_SCORE] = logf(score);
    seen[TT_SEEN_LENGTH] = logf(2.0f);
    seen[TT_SEEN_LIKENESS] = seen[TT_SEEN_OPENING] = seen[TT_SEEN_END_LIKENESS] = 6.0f;
    seen[TT_SEEN_WORST] = 5.0f;
    seen[TT_SEEN_WORST_LONG] = 5.5f;
    seen[TT_SEEN_PAUSE] = logf(0.7f);
    seen[TT_SEEN_END_FALL] = 0.3f;
    seen[TT_SEEN_LAST_SYLLABLE] = 0.1f;
    return reread;
}

static double judged(struct session *session, struct tt_reread *rereads, size_t count)
{
    struct tt_rereads all = {rereads, count, count};
    struct tt_error err = {0};
    assert_true(tt_rereads_judge(&session->phrases, &all, &err));
    return rereads[0].confidence;
}

static void what_matches_well_and_was_broken_off_is_sure(void **state)
{
    (void)state;
    struct session session;
    begin(&session);
    struct tt_reread reread = well_matched(4, 5, 90.0f);
    assert_true(judged(&session, &reread, 1) > 0.97);
}

static void other_words_within_a_match_leave_a_question_at_most(void **state)
{
    (void)state;
    static const struct {
        enum tt_evidence seen;
        float value;
    } other[] = {{TT_SEEN_WORST, -1.0f}, {TT_SEEN_WORST_LONG, 1.0f}};
    for (size_t k = 0; k < 2; k++) {
        struct session session;
        begin(&session);
        struct tt_reread reread = well_matched(4, 5, 600.0f);
        reread.seen[other[k].seen] = other[k].value;
        double confidence = judged(&session, &reread, 1);
        assert_true(confidence <= 0.9);
        assert_true(confidence >= 0.5);
    }
}

static void where_a_session_repeats_itself_the_same_likeness_is_less_sure(void **state)
{
    (void)state;
    struct session session;
    double alone, among_others;
    begin(&session);
    struct tt_reread rereads[8] = {well_matched(4, 5, 30.0f)};
    rereads[0].seen[TT_SEEN_LAST_SYLLABLE] = 0.1f;
    alone = judged(&session, rereads, 1);
    for (size_t k = 1; k < 8; k++) { /* a refrain, four lines apart */
        rereads[k] = well_matched(5 + k, 10 + k, 90.0f);
        rereads[k].seen[TT_SEEN_GOES_ON] = 0.0f;
        rereads[k].seen[TT_SEEN_BOTH_END] = 1.0f;
        rereads[k].seen[TT_SEEN_REST_SHARE] = 0.35f;
    }
    among_others = judged(&session, rereads, 8);
    assert_true(alone > among_others + 0.2);
}

/* Line 4 and line 7, and, or not, a third one farther off that sounds like both. */
static double from_afar(bool is_third)
{
    struct session session;
    begin(&session);
    for (size_t p = 5; p < 7; p++)
        session.all[p].end_s = session.all[p].start_s + 0.6;
    struct tt_reread rereads[2] = {well_matched(4, 7, 200.0f), well_matched(7, 12, 150.0f)};
    return judged(&session, rereads, is_third ? 2 : 1);
}

static void a_line_that_comes_again_and_again_is_not_asked_about(void **state)
{
    (void)state;
    assert_true(from_afar(true) <= 0.3);
    assert_true(from_afar(false) >= 0.5);
}

/* A word of 0.4 s in line 4 and in line 5, both of them in a passage that comes again, or not. */
static double word_again(bool is_passage)
{
    struct session session;
    begin(&session);
    struct tt_reread rereads[2] = {well_matched(4, 5, 40.0f), well_matched(4, 14, 300.0f)};
    rereads[0].seen[TT_SEEN_LENGTH] = logf(0.4f);
    rereads[0].seen[TT_SEEN_LIKENESS] = rereads[0].seen[TT_SEEN_OPENING] = 10.0f;
    rereads[1].last = is_passage ? 5 : 4;
    rereads[1].again_last = is_passage ? 15 : 14;
    return judged(&session, rereads, 2);
}

static void a_word_that_comes_again_in_a_passage_that_does_is_not_asked_about(void **state)
{
    (void)state;
    assert_true(word_again(true) <= 0.3);
    assert_true(word_again(false) >= 0.5);
}

/* Line 4 is like line 5, and more so, or not, both are a refrain. */
static double beside_a_refrain(float score)
{
    struct session session;
    begin(&session);
    struct tt_reread rereads[3] = {well_matched(4, 5, 400.0f), well_matched(4, 9, score), well_matched(9, 14, 600.0f)};
    rereads[0].seen[TT_SEEN_GOES_ON] = 0.0f;
    rereads[0].seen[TT_SEEN_BOTH_END] = 1.0f;
    return judged(&session, rereads, 3);
}

static void a_line_that_is_liker_to_a_refrain_is_asked_about_at_most(void **state)
{
    (void)state;
    assert_true(beside_a_refrain(700.0f) <= 0.9);
    assert_true(beside_a_refrain(300.0f) > 0.97);
}

static void the_more_stays_between_the_less_sure(void **state)
{
    (void)state;
    double before = 1.0;
    for (size_t lines = 0; lines < 4; lines++) {
        struct session session;
        begin(&session);
        struct tt_reread reread = well_matched(4, 5 + lines, 60.0f);
        double confidence = judged(&session, &reread, 1);
        assert_true(confidence < before);
        before = confidence;
    }
}

static void beyond_twenty_seconds_of_lines_nothing_is_a_re_read(void **state)
{
    (void)state;
    struct session session;
    begin(&session);
    struct tt_reread far = well_matched(4, 16, 3000.0f), near = well_matched(4, 13, 3000.0f);
    assert_true(judged(&session, &far, 1) <= 0.0);
    assert_true(judged(&session, &near, 1) > 0.0);
}

static void lines_that_turn_out_to_stay_make_a_pair_around_them_less_sure(void **state)
{
    (void)state;
    struct session session;
    begin(&session);
    struct tt_reread rereads[2] = {well_matched(4, 6, 60.0f),
                                   well_matched(5, 9, 60.0f)}; /* 5 seems to be read again, too */
    double before = judged(&session, rereads, 2);
    struct tt_rereads all = {rereads, 2, 2};
    bool given_up[PHRASES] = {[4] = true, [5] = true};
    tt_rereads_judge_again(&session.phrases, &all, given_up);
    assert_true(rereads[0].confidence >= before && rereads[0].confidence <= before);
    given_up[5] = false;
    tt_rereads_judge_again(&session.phrases, &all, given_up);
    assert_true(rereads[0].confidence < before - 0.05);
}

/* Phrases 4 and 5 are said again by 6, a word, and 7; what is seen of the end alone is stronger. */
static double whole_beside_its_end(size_t rows_of_6)
{
    struct session session;
    begin(&session);
    for (size_t p = 0; p < PHRASES; p++)
        session.all[p].row = 30 * p + (p > 6 ? rows_of_6 - 30 : 0);
    session.all[6].end_s = session.all[6].start_s + 0.2;
    struct tt_reread rereads[2] = {well_matched(4, 6, 36.0f), well_matched(5, 7, 90.0f)};
    rereads[0].last = 5;
    rereads[0].again_last = 7;
    double alone = judged(&session, rereads, 1), beside = judged(&session, rereads, 2);
    assert_in_range(100.0 * alone, 20, 90);
    assert_true(rereads[1].confidence > 0.97);
    return beside - alone;
}

static void a_reading_is_as_sure_as_its_end_is_alone(void **state)
{
    (void)state;
    assert_true(whole_beside_its_end(30) > 0.05);
}

static void unless_another_line_was_drawn_in(void **state)
{
    (void)state;
    assert_true(whole_beside_its_end(90) <= 0.0);
}

/* Phrases 4 and 5 are said again by 6 and 7, and who knows why; of their ends alone nothing is doubtful. */
static double end_of_a_doubtful_whole(double pause_before_end_s)
{
    struct session session;
    begin(&session);
    for (size_t p = 0; p < PHRASES; p++)
        session.all[p].row = 200 * p;
    session.all[6].end_s = session.all[7].start_s - pause_before_end_s;
    struct tt_reread rereads[2] = {well_matched(4, 6, 600.0f), well_matched(5, 7, 200.0f)};
    rereads[0].last = 5;
    rereads[0].again_last = 7;
    rereads[0].seen[TT_SEEN_WORST_LONG] = 1.4f;
    judged(&session, rereads, 2);
    return rereads[1].confidence;
}

static void the_end_of_a_doubtful_reading_is_no_surer_where_first_words_would_be_left(void **state)
{
    (void)state;
    assert_true(end_of_a_doubtful_whole(0.5) <= 0.9);
    assert_true(end_of_a_doubtful_whole(0.1) > 0.97);
}

/* Line 4 and the next, well alike, where each line from 5 on sounds like the fifth behind it, so strongly. */
static double among_lines_alike(bool was_whole, size_t lines, float score)
{
    enum { MOST = 13 };
    struct session session;
    begin(&session);
    struct tt_reread rereads[1 + MOST] = {well_matched(4, 5, 400.0f)};
    rereads[0].seen[TT_SEEN_END_FALL] = was_whole ? 0.8f : 0.1f;
    for (size_t k = 0; k < lines; k++) {
        rereads[1 + k] = well_matched(5 + k, 10 + k, score);
        rereads[1 + k].seen[TT_SEEN_REST_SHARE] = 0.45f;
    }
    return judged(&session, rereads, 1 + lines);
}

static void a_whole_line_of_a_list_is_asked_about_at_most(void **state)
{
    (void)state;
    assert_true(among_lines_alike(true, 13, 90.0f) <= 0.9);
    assert_true(among_lines_alike(true, 13, 90.0f) >= 0.5);
}

static void unless_it_was_broken_off_or_little_else_is_like_it(void **state)
{
    (void)state;
    assert_true(among_lines_alike(false, 13, 90.0f) > 0.97);
    assert_true(among_lines_alike(true, 6, 90.0f) > 0.97);
    assert_true(among_lines_alike(true, 13, 30.0f) > 0.97);
}

/* Two whole lines, the second like the first, in a session in which so many of 44 sound like distant ones. */
static double whole_among_lines_alike(size_t lines, double ring_s)
{
    enum { MOST = 9 };
    struct session session;
    begin(&session);
    session.all[4].ring_s = ring_s;
    struct tt_reread rereads[1 + MOST] = {well_matched(4, 5, 400.0f)};
    rereads[0].seen[TT_SEEN_GOES_ON] = 0.0f;
    rereads[0].seen[TT_SEEN_BOTH_END] = 1.0f;
    for (size_t k = 0; k < lines; k++) {
        rereads[1 + k] = well_matched(7 + k, 12 + k, 40.0f);
        rereads[1 + k].seen[TT_SEEN_REST_SHARE] = 0.45f;
    }
    return judged(&session, rereads, 1 + lines);
}

static void where_the_room_rings_a_whole_line_is_asked_about_among_fewer_lines_alike(void **state)
{
    (void)state;
    assert_true(whole_among_lines_alike(9, 0.2) <= 0.9);
    assert_true(whole_among_lines_alike(9, 0.0) > 0.97);
    assert_true(whole_among_lines_alike(4, 0.2) > 0.97);
}

/* So many seconds are as like as this, all of them. */
static void make_alike(struct tt_reread *reread, float seconds, float likeness)
{
    float *seen = reread->seen;
    seen[TT_SEEN_LENGTH] = logf(seconds);
    seen[TT_SEEN_LIKENESS] = seen[TT_SEEN_OPENING] = seen[TT_SEEN_END_LIKENESS] = likeness;
    seen[TT_SEEN_WORST] = seen[TT_SEEN_WORST_LONG] = likeness;
}

/* So much of a phrase of a second is alike, very clearly, and then it goes on otherwise. */
static double with_seconds_alike(float seconds)
{
    struct session session;
    begin(&session);
    struct tt_reread reread = well_matched(4, 5, 110.0f * seconds);
    make_alike(&reread, seconds, 10.0f);
    return judged(&session, &reread, 1);
}

static void a_syllable_alike_is_asked_about_at_most(void **state)
{
    (void)state;
    assert_true(with_seconds_alike(0.3f) <= 0.9);
    assert_true(with_seconds_alike(0.5f) > 0.97);
}

/* Few words of line 4, well alike, come again behind a line that stays; so long it was silent behind them. */
static double few_words_from_afar(float pause_s)
{
    struct session session;
    begin(&session);
    session.all[5].end_s = session.all[5].start_s + 1.2;
    struct tt_reread reread = well_matched(4, 6, 90.0f);
    make_alike(&reread, 0.85f, 10.0f);
    reread.seen[TT_SEEN_PAUSE] = logf(pause_s);
    return judged(&session, &reread, 1);
}

static void a_few_words_with_others_at_once_behind_them_that_stay_are_asked_about_at_most(void **state)
{
    (void)state;
    assert_true(few_words_from_afar(0.2f) <= 0.9);
    assert_true(few_words_from_afar(0.4f) > 0.97);
}

/* Not half a second alike, and so strongly. */
static double scrap_alike(float score)
{
    struct session session;
    begin(&session);
    struct tt_reread reread = well_matched(4, 5, score);
    make_alike(&reread, 0.4f, 7.0f);
    reread.seen[TT_SEEN_END_STRETCH] = 0.3f;
    return judged(&session, &reread, 1);
}

static void a_scrap_hardly_alike_is_asked_about_at_most(void **state)
{
    (void)state;
    assert_true(scrap_alike(20.0f) <= 0.9);
    assert_true(scrap_alike(30.0f) > 0.97);
}

/* A second alike behind a rest, the second of the two like a distant line, so strongly, or not. */
static double behind_a_rest(float likeness, double rest_s, float fall_db, float rival)
{
    struct session session;
    begin(&session);
    struct tt_reread rereads[2] = {well_matched(4, 5, 90.0f), well_matched(5, 14, rival)};
    float *seen = rereads[0].seen;
    seen[TT_SEEN_LENGTH] = logf(1.0f);
    seen[TT_SEEN_LIKENESS] = seen[TT_SEEN_OPENING] = seen[TT_SEEN_END_LIKENESS] = likeness;
    seen[TT_SEEN_PAUSE] = logf((float)rest_s);
    seen[TT_SEEN_END_FALL] = 0.1f * fall_db;
    return judged(&session, rereads, 2);
}

static void after_a_rest_what_is_as_like_a_distant_line_is_asked_about_at_most(void **state)
{
    (void)state;
    assert_in_range(100.0 * behind_a_rest(8.0f, 2.5, 1.0f, 40.0f), 50, 90);
    assert_true(behind_a_rest(8.0f, 2.5, 1.0f, 15.0f) > 0.97);
    assert_true(behind_a_rest(9.0f, 2.5, 1.0f, 40.0f) > 0.97);
    assert_true(behind_a_rest(8.0f, 1.2, 1.0f, 40.0f) > 0.97);
}

static void after_a_short_rest_where_it_ends_as_sentences_do_and_is_little_alike(void **state)
{
    (void)state;
    assert_in_range(100.0 * behind_a_rest(6.8f, 1.0, 5.0f, 60.0f), 50, 90);
    assert_true(behind_a_rest(6.8f, 1.0, 1.0f, 60.0f) > 0.97);
    assert_true(behind_a_rest(6.8f, 1.0, 5.0f, 30.0f) > 0.97);
    assert_true(behind_a_rest(7.2f, 1.0, 5.0f, 60.0f) > 0.97);
    assert_true(behind_a_rest(6.8f, 0.6, 5.0f, 60.0f) > 0.97);
}

/* Two seconds alike in a room that goes on sounding: no pause is heard, and no word that is cut off. */
static struct tt_reread in_a_ringing_room(size_t first, size_t again, float score)
{
    struct tt_reread reread = well_matched(first, again, score);
    reread.seen[TT_SEEN_PAUSE] = logf(0.1f);
    reread.seen[TT_SEEN_END_FALL] = 2.0f;
    reread.seen[TT_SEEN_LAST_SYLLABLE] = 0.5f;
    reread.seen[TT_SEEN_WORST] = reread.seen[TT_SEEN_END_LIKENESS] = 3.6f;
    reread.seen[TT_SEEN_WORST_LONG] = 4.5f;
    return reread;
}

/* Judged among so many lines that begin like the fifth behind them. */
static double among_lines_that_begin_alike(struct tt_reread reread, size_t lines)
{
    enum { MOST = 13 };
    struct session session;
    begin(&session);
    struct tt_reread rereads[1 + MOST] = {reread};
    for (size_t k = 1; k <= lines; k++) {
        rereads[k] = well_matched(5 + k, 10 + k, 90.0f);
        rereads[k].seen[TT_SEEN_REST_SHARE] = 0.45f;
    }
    return judged(&session, rereads, 1 + lines);
}

static void what_is_strikingly_alike_is_asked_about_however_it_ends(void **state)
{
    (void)state;
    struct tt_reread partial = in_a_ringing_room(4, 5, 110.0f);
    partial.seen[TT_SEEN_REST_SHARE] = 0.4f;
    assert_in_range(100.0 * among_lines_that_begin_alike(in_a_ringing_room(4, 5, 110.0f), 7), 50, 90);
    assert_true(among_lines_that_begin_alike(in_a_ringing_room(4, 5, 40.0f), 7) < 0.5);
    assert_true(among_lines_that_begin_alike(in_a_ringing_room(4, 6, 110.0f), 7) < 0.5);
    assert_true(among_lines_that_begin_alike(partial, 5) < 0.5);
}

/* A line is begun, somebody says as loudly that it was no good, and it is read again; so much of it is alike. */
static struct tt_reread spoken_into(float likeness, float share_of_others)
{
    struct tt_reread reread = well_matched(4, 5, 120.0f);
    float *seen = reread.seen;
    seen[TT_SEEN_GOES_ON] = 0.0f;
    seen[TT_SEEN_LIKENESS] = seen[TT_SEEN_OPENING] = seen[TT_SEEN_END_LIKENESS] = likeness;
    seen[TT_SEEN_WORST_LONG] = 5.2f;
    seen[TT_SEEN_WORST] = 4.2f;
    seen[TT_SEEN_REST] = 0.9f;
    seen[TT_SEEN_REST_SHARE] = share_of_others;
    return reread;
}

static void a_line_that_somebody_may_have_spoken_into_is_asked_about(void **state)
{
    (void)state;
    assert_in_range(100.0 * among_lines_that_begin_alike(spoken_into(6.2f, 0.4f), 4), 50, 90);
    assert_true(among_lines_that_begin_alike(spoken_into(6.2f, 0.5f), 4) < 0.5);
    assert_true(among_lines_that_begin_alike(spoken_into(5.8f, 0.4f), 4) < 0.5);
    assert_true(among_lines_that_begin_alike(spoken_into(6.2f, 0.4f), 13) < 0.5);
}

/* Between the readings somebody says something as loudly for so long; the second goes on, or not. */
static double spoken_behind(double seconds, float goes_on)
{
    struct session session;
    begin(&session);
    session.all[5].end_s = session.all[5].start_s + seconds;
    struct tt_reread rereads[7] = {well_matched(4, 6, 85.0f)};
    float *seen = rereads[0].seen;
    seen[TT_SEEN_GOES_ON] = goes_on;
    seen[TT_SEEN_LIKENESS] = seen[TT_SEEN_OPENING] = seen[TT_SEEN_END_LIKENESS] = 6.2f;
    seen[TT_SEEN_WORST_LONG] = 5.2f;
    seen[TT_SEEN_WORST] = 4.2f;
    for (size_t k = 1; k < 7; k++) {
        rereads[k] = well_matched(6 + k, 12 + k, 40.0f);
        rereads[k].seen[TT_SEEN_REST_SHARE] = 0.45f;
    }
    return judged(&session, rereads, 7);
}

static void so_is_one_behind_which_somebody_may_have_spoken(void **state)
{
    (void)state;
    assert_in_range(100.0 * spoken_behind(1.4, 1.0f), 50, 90);
    assert_true(spoken_behind(1.8, 1.0f) < 0.5);
    assert_true(spoken_behind(1.4, 0.0f) < 0.5);
}

static void but_not_where_lines_are_alike_anyway(void **state)
{
    (void)state;
    assert_true(among_lines_that_begin_alike(in_a_ringing_room(4, 5, 110.0f), 13) < 0.5);
}

/* Both read to the end; a quarter of a second is so much like. */
static struct tt_reread whole(size_t again, float seconds, float worst)
{
    struct tt_reread reread = well_matched(4, again, 200.0f * seconds);
    float *seen = reread.seen;
    seen[TT_SEEN_GOES_ON] = 0.0f;
    seen[TT_SEEN_BOTH_END] = 1.0f;
    seen[TT_SEEN_LENGTH] = logf(seconds);
    seen[TT_SEEN_LIKENESS] = seen[TT_SEEN_OPENING] = seen[TT_SEEN_END_LIKENESS] = seen[TT_SEEN_WORST_LONG] = 8.0f;
    seen[TT_SEEN_WORST] = worst;
    return reread;
}

static void a_whole_line_with_another_word_is_asked_about_among_lines_alike(void **state)
{
    (void)state;
    assert_in_range(100.0 * among_lines_that_begin_alike(whole(5, 2.2f, 4.0f), 7), 50, 90);
    assert_true(among_lines_that_begin_alike(whole(5, 2.2f, 6.0f), 7) > 0.97);
    assert_true(among_lines_that_begin_alike(whole(5, 2.2f, 4.0f), 3) > 0.97);
    assert_true(among_lines_that_begin_alike(whole(5, 4.0f, 4.0f), 7) > 0.97);
}

/* A line that goes on in the next one, ending so many dB under its level; a word of it is so much like. */
static double goes_on_with_another_word(float fall_db, float worst)
{
    struct tt_reread reread = whole(5, 2.2f, worst);
    reread.seen[TT_SEEN_GOES_ON] = 1.0f;
    reread.seen[TT_SEEN_BOTH_END] = 0.0f;
    reread.seen[TT_SEEN_END_FALL] = fall_db / 10.0f;
    return among_lines_that_begin_alike(reread, 7);
}

static void so_is_one_that_ends_as_lines_do_though_the_next_goes_on(void **state)
{
    (void)state;
    assert_true(goes_on_with_another_word(7.0f, 3.0f) <= 0.9);
    assert_true(goes_on_with_another_word(7.0f, 4.0f) > 0.97);
    assert_true(goes_on_with_another_word(2.0f, 3.0f) > 0.97);
}

/* Two seconds with no pause behind them, among lines some of which begin alike; so much of it is so much like. */
static double alike_throughout(float likeness, float worst_long, float worst, float rest_share)
{
    struct tt_reread reread = well_matched(4, 5, 120.0f);
    float *seen = reread.seen;
    seen[TT_SEEN_PAUSE] = logf(0.1f);
    seen[TT_SEEN_END_FALL] = 0.3f;
    seen[TT_SEEN_LIKENESS] = seen[TT_SEEN_OPENING] = seen[TT_SEEN_END_LIKENESS] = likeness;
    seen[TT_SEEN_WORST_LONG] = worst_long;
    seen[TT_SEEN_WORST] = worst;
    seen[TT_SEEN_REST_SHARE] = rest_share;
    return among_lines_that_begin_alike(reread, 3);
}

static void what_is_alike_from_end_to_end_is_sure(void **state)
{
    (void)state;
    assert_true(alike_throughout(7.5f, 6.2f, 4.5f, 0.0f) > 0.97);
    assert_in_range(100.0 * alike_throughout(6.8f, 6.2f, 4.5f, 0.0f), 50, 96);
    assert_in_range(100.0 * alike_throughout(7.5f, 5.8f, 4.5f, 0.0f), 50, 96);
    assert_in_range(100.0 * alike_throughout(7.5f, 6.2f, 3.8f, 0.0f), 50, 96);
    assert_in_range(100.0 * alike_throughout(7.5f, 6.2f, 4.5f, 0.065f), 50, 96);
}

static void a_whole_line_with_another_one_behind_it_is_asked_about_at_most(void **state)
{
    (void)state;
    assert_in_range(100.0 * among_lines_that_begin_alike(whole(6, 2.2f, 7.0f), 0), 50, 90);
    struct tt_reread broken = whole(6, 2.2f, 7.0f);
    broken.seen[TT_SEEN_GOES_ON] = 1.0f;
    broken.seen[TT_SEEN_BOTH_END] = 0.0f;
    assert_true(among_lines_that_begin_alike(broken, 0) > 0.97);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_matches_well_and_was_broken_off_is_sure),
        cmocka_unit_test(other_words_within_a_match_leave_a_question_at_most),
        cmocka_unit_test(where_a_session_repeats_itself_the_same_likeness_is_less_sure),
        cmocka_unit_test(a_line_that_comes_again_and_again_is_not_asked_about),
        cmocka_unit_test(a_word_that_comes_again_in_a_passage_that_does_is_not_asked_about),
        cmocka_unit_test(a_line_that_is_liker_to_a_refrain_is_asked_about_at_most),
        cmocka_unit_test(the_more_stays_between_the_less_sure),
        cmocka_unit_test(beyond_twenty_seconds_of_lines_nothing_is_a_re_read),
        cmocka_unit_test(lines_that_turn_out_to_stay_make_a_pair_around_them_less_sure),
        cmocka_unit_test(a_reading_is_as_sure_as_its_end_is_alone),
        cmocka_unit_test(unless_another_line_was_drawn_in),
        cmocka_unit_test(the_end_of_a_doubtful_reading_is_no_surer_where_first_words_would_be_left),
        cmocka_unit_test(a_whole_line_of_a_list_is_asked_about_at_most),
        cmocka_unit_test(unless_it_was_broken_off_or_little_else_is_like_it),
        cmocka_unit_test(where_the_room_rings_a_whole_line_is_asked_about_among_fewer_lines_alike),
        cmocka_unit_test(a_syllable_alike_is_asked_about_at_most),
        cmocka_unit_test(a_scrap_hardly_alike_is_asked_about_at_most),
        cmocka_unit_test(after_a_rest_what_is_as_like_a_distant_line_is_asked_about_at_most),
        cmocka_unit_test(after_a_short_rest_where_it_ends_as_sentences_do_and_is_little_alike),
        cmocka_unit_test(a_few_words_with_others_at_once_behind_them_that_stay_are_asked_about_at_most),
        cmocka_unit_test(what_is_strikingly_alike_is_asked_about_however_it_ends),
        cmocka_unit_test(a_line_that_somebody_may_have_spoken_into_is_asked_about),
        cmocka_unit_test(so_is_one_behind_which_somebody_may_have_spoken),
        cmocka_unit_test(but_not_where_lines_are_alike_anyway),
        cmocka_unit_test(a_whole_line_with_another_word_is_asked_about_among_lines_alike),
        cmocka_unit_test(so_is_one_that_ends_as_lines_do_though_the_next_goes_on),
        cmocka_unit_test(what_is_alike_from_end_to_end_is_sure),
        cmocka_unit_test(a_whole_line_with_another_one_behind_it_is_asked_about_at_most),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
