/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/coughs.h"

#include "heard_by_hand.h"

/* A line, then something of two strokes, of which the first is asked about as a misread of the second; at 1,000 samples
 * a second. */
struct strokes {
    struct tt_run runs[2];
    struct tt_heard heard;
    struct tt_take_view take;
    struct tt_session_view view;
    struct tt_phrase all[3];
    struct tt_phrases phrases;
    struct tt_reread reread;
    struct tt_phrase_choice choices[3];
};

static void start(struct strokes *s)
{
    *s = (struct strokes){.runs = {{.start_sample = 500, .end_sample = 3000, .voiced_share = 0.6f},
                                   {.start_sample = 4000,
                                    .end_sample = 4800,
                                    .loud_start_sample = 4000,
                                    .loud_end_sample = 4800,
                                    .over_floor_db = 30,
                                    .voiced_share = 0.05f}},
                          .all = {{.start_sample = 500, .end_sample = 3000},
                                  {.start_sample = 4000, .end_sample = 4300},
                                  {.start_sample = 4420, .end_sample = 4800}},
                          .reread = {.first = 1, .last = 1, .again = 2, .again_last = 2, .confidence = 0.9}};
    s->heard = (struct tt_heard){.runs = s->runs, .run_count = 2, .facts.rate_hz = 1000};
    s->take.heard = &s->heard;
    s->view = (struct tt_session_view){.takes = &s->take, .count = 1};
    s->phrases = (struct tt_phrases){.view = &s->view, .all = s->all, .count = 3};
    s->choices[1] =
        (struct tt_phrase_choice){.fate = TT_PHRASE_MISREAD, .action = TT_DO_ASK, .reread = &s->reread, .part = 1};
}

static bool is_still_asked(struct strokes *s)
{
    tt_cough_strokes_stay(&s->phrases, s->choices);
    return s->choices[1].fate == TT_PHRASE_MISREAD && s->choices[1].action == TT_DO_ASK;
}

static void of_the_strokes_of_one_cough_none_is_asked_about_as_a_misread(void **state)
{
    (void)state;
    struct strokes s;
    start(&s);
    assert_false(is_still_asked(&s));
    assert_int_equal(s.choices[1].fate, TT_PHRASE_STAYS);
}

static void a_voiced_misread_and_one_read_again_elsewhere_are_asked_about_all_the_same(void **state)
{
    (void)state;
    struct strokes s;
    start(&s);
    s.runs[1].voiced_share = 0.4f;
    assert_true(is_still_asked(&s));
    start(&s);
    s.runs[1].end_sample = 4300; /* the other is a run of its own, close by */
    assert_true(is_still_asked(&s));
    start(&s);
    s.all[2].take = 1; /* or lies in the next take, which does not matter to what is heard of this one */
    assert_true(is_still_asked(&s));
}

static void what_is_cut_as_a_misread_stays_cut(void **state)
{
    (void)state;
    struct strokes s;
    start(&s);
    s.choices[1].action = TT_DO_CUT;
    tt_cough_strokes_stay(&s.phrases, s.choices);
    assert_int_equal(s.choices[1].fate, TT_PHRASE_MISREAD);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(of_the_strokes_of_one_cough_none_is_asked_about_as_a_misread),
        cmocka_unit_test(a_voiced_misread_and_one_read_again_elsewhere_are_asked_about_all_the_same),
        cmocka_unit_test(what_is_cut_as_a_misread_stays_cut),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
