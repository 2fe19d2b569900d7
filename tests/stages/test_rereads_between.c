/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A search between takes finds what a search through everything finds between them, and nothing else. */
#include "stages/made_session.h"
#include "stages/rereads.h"

/* Opens the phrases of a session that was decided on. */
static void open_phrases(struct made_session *session, struct tt_take_view *views, struct tt_session_view *view,
                         struct tt_phrases *phrases)
{
    double clock_s = 0.0;
    struct tt_error err = {0};
    session->settings.misreads.action = TT_POLICY_OFF;
    session->settings.misreads.talk = TT_POLICY_OFF;
    decide(session);
    for (size_t t = 0; t < session->count; t++) {
        views[t] =
            (struct tt_take_view){session->takes[t].name, &session->takes[t].heard, &session->takes[t].sheet, clock_s};
        clock_s += (double)session->takes[t].heard.facts.frame_count / RATE;
    }
    *view = (struct tt_session_view){.takes = views, .count = session->count, .settings = &session->settings};
    assert_true(tt_phrases_open(view, NULL, phrases, &err));
}

static bool is_same(const struct tt_reread *a, const struct tt_reread *b)
{
    return a->first == b->first && a->last == b->last && a->again == b->again && a->again_last == b->again_last &&
           a->x_rows == b->x_rows && a->y_rows == b->y_rows && memcmp(&a->score, &b->score, sizeof a->score) == 0 &&
           memcmp(a->seen, b->seen, sizeof a->seen) == 0;
}

static void between_takes_the_same_pairs_are_found_and_none_within_one(void **state)
{
    (void)state;
    struct made_session *session = begin();
    read_lines(session, 100, 6);
    read_lines(session, 102, 2); /* within the first */
    begin_take(session);
    read_lines(session, 103, 2); /* in the first, and twice here */
    read_lines(session, 300, 2);
    read_lines(session, 103, 2);
    struct tt_take_view views[MOST_TAKES];
    struct tt_session_view view;
    struct tt_phrases phrases;
    struct tt_rereads all, between;
    struct tt_error err = {0};
    open_phrases(session, views, &view, &phrases);
    assert_true(tt_rereads_find(&phrases, 1000.0, false, &all, &err) &&
                tt_rereads_find(&phrases, 1000.0, true, &between, &err));
    size_t k = 0;
    for (size_t i = 0; i < all.count; i++)
        if (phrases.all[all.all[i].first].take == 0 && phrases.all[all.all[i].again].take == 1) {
            assert_true(k < between.count && is_same(&all.all[i], &between.all[k]));
            k++;
        }
    assert_int_equal(k, between.count);
    assert_true(between.count >= 4 && all.count >= between.count + 4);
    tt_rereads_free(&all);
    tt_rereads_free(&between);
    tt_phrases_close(&phrases);
    end(session);
}

static void a_take_without_lines_has_nothing_in_common_with_another(void **state)
{
    (void)state;
    for (int is_second = 0; is_second < 2; is_second++) {
        struct made_session *session = begin();
        if (is_second)
            read_lines(session, 100, 3), read_lines(session, 100, 3);
        begin_take(session);
        if (!is_second)
            read_lines(session, 100, 3), read_lines(session, 100, 3);
        struct tt_take_view views[MOST_TAKES];
        struct tt_session_view view;
        struct tt_phrases phrases;
        struct tt_rereads between;
        struct tt_error err = {0};
        open_phrases(session, views, &view, &phrases);
        assert_true(phrases.count >= 6 && tt_rereads_find(&phrases, 1000.0, true, &between, &err));
        assert_int_equal(between.count, 0);
        tt_rereads_free(&between);
        tt_phrases_close(&phrases);
        end(session);
    }
}

/* More phrases than are looked at at once, by one, two and five threads. */
static void the_same_pairs_are_found_in_the_same_order_whatever_the_threads(void **state)
{
    (void)state;
    struct made_session *session = begin();
    for (int i = 0; i < 3; i++)
        read_lines(session, 100, 14);
    struct tt_take_view views[MOST_TAKES];
    struct tt_session_view view;
    struct tt_phrases phrases;
    struct tt_rereads alone, more;
    struct tt_error err = {0};
    open_phrases(session, views, &view, &phrases);
    assert_true(tt_rereads_find(&phrases, 1000.0, false, &alone, &err));
    assert_true(phrases.count >= 42 && alone.count >= 42);
    for (size_t i = 1; i < alone.count; i++) {
        const struct tt_reread *a = &alone.all[i - 1], *b = &alone.all[i];
        assert_true(a->again < b->again || (a->again == b->again && a->first < b->first));
    }
    for (view.threads = 2; view.threads <= 5; view.threads += 3) {
        assert_true(tt_rereads_find(&phrases, 1000.0, false, &more, &err));
        assert_int_equal(more.count, alone.count);
        for (size_t i = 0; i < alone.count; i++)
            assert_true(is_same(&alone.all[i], &more.all[i]));
        tt_rereads_free(&more);
    }
    tt_rereads_free(&alone);
    tt_phrases_close(&phrases);
    end(session);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(between_takes_the_same_pairs_are_found_and_none_within_one),
        cmocka_unit_test(a_take_without_lines_has_nothing_in_common_with_another),
        cmocka_unit_test(the_same_pairs_are_found_in_the_same_order_whatever_the_threads),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
