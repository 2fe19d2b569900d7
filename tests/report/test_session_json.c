/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "hive_session.h"

#include "json_test.h"

#include "report/report.h"

static json_t *make(const struct tt_session_report *session)
{
    json_t *object = NULL;
    struct tt_error err = {0};
    if (!tt_report_session_json(session, &object, &err))
        fail_msg("%s", err.message);
    return object;
}

static void totals_leave_out_takes_that_failed(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *object = make(&hive.session);
    const json_t *totals = json_object_get(object, "totals");
    assert_float_equal(number(totals, "takes"), 4, 0);
    assert_float_equal(number(totals, "failed"), 1, 0);
    assert_float_equal(number(totals, "empty"), 1, 0);
    assert_float_equal(number(totals, "passed_over"), 2, 0);
    assert_float_equal(number(totals, "before_s"), 20 + 10 + 2, 1e-9);
    assert_float_equal(number(totals, "after_s"), 19.3 + 10, 1e-9);
    assert_float_equal(number(totals, "removed_s"), 4.7 + 2, 1e-9);
    assert_float_equal(number(totals, "questions"), 1, 0);
    json_decref(object);
}

static void each_take_says_how_it_came_out(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *object = make(&hive.session);
    const json_t *takes = json_object_get(object, "takes");
    static const char *const statuses[] = {"done", "done", "failed", "empty"};
    assert_int_equal(json_array_size(takes), 4);
    for (size_t i = 0; i < 4; i++)
        assert_string_equal(json_string_value(json_object_get(json_array_get(takes, i), "status")), statuses[i]);
    assert_string_equal(json_string_value(json_object_get(json_array_get(takes, 2), "error")), hive.takes[2].error);
    assert_true(json_is_null(json_object_get(json_array_get(takes, 2), "before_s")));
    assert_float_equal(number(json_array_get(takes, 0), "warnings"), 2, 0);
    assert_float_equal(number(json_array_get(takes, 1), "narration_start_frame"), 984000, 0);
    json_decref(object);
    hive.takes[0].has_voice = false;
    hive.session.is_plan = true;
    object = make(&hive.session);
    const json_t *planned = json_array_get(json_object_get(object, "takes"), 0);
    assert_string_equal(json_string_value(json_object_get(planned, "status")), "planned");
    assert_float_equal(number(planned, "after_s"), 19.3, 1e-9);
    json_decref(object);
    hive.takes[0].is_heard = false; /* order.csv says no to it */
    object = make(&hive.session);
    const json_t *left_out = json_array_get(json_object_get(object, "takes"), 0);
    assert_string_equal(json_string_value(json_object_get(left_out, "status")), "left out");
    json_decref(object);
}

static void the_narration_and_its_gains_are_there(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.session.common_gain_db = NAN;
    json_t *object = make(&hive.session);
    assert_float_equal(number(json_object_get(object, "narration"), "integrated_lufs"), -16, 0);
    assert_float_equal(number(json_object_get(object, "narration"), "frames"), 1488000, 0);
    assert_true(json_is_null(json_object_get(object, "common_gain_db")));
    assert_float_equal(number(object, "narration_trim_db"), 0.05, 1e-12);
    assert_int_equal(json_array_size(json_object_get(object, "warnings")), 1);
    json_decref(object);
    hive.session.has_narration = false;
    object = make(&hive.session);
    assert_true(json_is_null(json_object_get(object, "narration")));
    json_decref(object);
}

static void the_caller_may_add_keys_and_have_the_text(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    json_t *object = make(&hive.session);
    assert_int_equal(json_object_set_new(object, "fingerprints", json_pack("{s:f}", "gain_db", 0.1)), 0);
    struct tt_text text = {0};
    struct tt_error err = {0};
    assert_true(tt_report_json_text(object, &text, &err));
    assert_non_null(strstr(text.data, "\"gain_db\": 0.1\n")); /* not 0.10000000000000001 */
    json_t *again = json_loads(text.data, JSON_REJECT_DUPLICATES, NULL);
    assert_non_null(json_object_get(again, "fingerprints"));
    json_decref(again);
    json_decref(object);
    tt_text_free(&text);
}

static bool make_object(const void *of, struct tt_error *err)
{
    json_t *object = NULL;
    bool ok = tt_report_session_json(of, &object, err);
    assert_true(ok || !object);
    json_decref(object);
    return ok;
}

static void every_failed_allocation_is_an_error(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    assert_each_allocation_is_checked(make_object, &hive.session, 100);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(totals_leave_out_takes_that_failed),
        cmocka_unit_test(each_take_says_how_it_came_out),
        cmocka_unit_test(the_narration_and_its_gains_are_there),
        cmocka_unit_test(the_caller_may_add_keys_and_have_the_text),
        cmocka_unit_test(every_failed_allocation_is_an_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
