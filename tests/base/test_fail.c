/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <errno.h>

#include "base/fail.h"

static void the_first_error_wins(void **state)
{
    (void)state;
    struct tt_error err = {0};
    assert_false(tt_fail(&err, TT_ERROR_INPUT, "%s: line %d", "take 3.csv", 7));
    assert_false(tt_fail(&err, TT_ERROR_OUTPUT, "later"));
    assert_int_equal(err.kind, TT_ERROR_INPUT);
    assert_string_equal(err.message, "take 3.csv: line 7");
}

static void nobody_has_to_listen(void **state)
{
    (void)state;
    assert_false(tt_fail(NULL, TT_ERROR_INPUT, "x"));
    assert_false(tt_fail_errno(NULL, TT_ERROR_INPUT, ENOSPC, "x"));
    assert_false(tt_fail_memory(NULL));
    tt_error_context(NULL, "x");
}

static void control_characters_cannot_steer_a_terminal(void **state)
{
    (void)state;
    struct tt_error err = {0};
    tt_fail(&err, TT_ERROR_INPUT, "a\x1b[2Jb\nc\x7f ruche-été");
    assert_string_equal(err.message, "a?[2Jb?c? ruche-été");
}

static void context_goes_in_front(void **state)
{
    (void)state;
    struct tt_error err = {0};
    tt_error_context(&err, "nothing happened");
    assert_string_equal(err.message, "");
    tt_fail(&err, TT_ERROR_OUTPUT, "disk");
    tt_error_context(&err, "take %d", 2);
    assert_string_equal(err.message, "take 2: disk");
    assert_int_equal(err.kind, TT_ERROR_OUTPUT);
}

static void a_long_name_does_not_push_the_reason_out(void **state)
{
    (void)state;
    char name[1201];
    for (size_t i = 0; i < sizeof name - 1; i += 2)
        memcpy(name + i, "é", 2);
    name[sizeof name - 1] = '\0';
    for (int shift = 0; shift < 2; shift++) { /* one of them cuts in the middle of a character */
        struct tt_error err = {0};
        tt_fail_errno(&err, TT_ERROR_OUTPUT, ENOSPC, "%s%s", shift ? "x" : "", name);
        const char *reason = strstr(err.message, ": ");
        assert_non_null(reason);
        char wanted[200];
        snprintf(wanted, sizeof wanted, "%s; make room, or choose another place", strerror(ENOSPC));
        assert_string_equal(reason + 2, wanted);
        assert_int_equal((reason - err.message - shift) % 2, 0);
        struct tt_error cut = {0};
        tt_fail(&cut, TT_ERROR_INPUT, "%s%s", shift ? "x" : "", name);
        assert_int_equal((strlen(cut.message) - (size_t)shift) % 2, 0);
        assert_true(strlen(cut.message) >= sizeof cut.message - 3);
    }
}

static void a_reason_without_advice_stands_alone(void **state)
{
    (void)state;
    struct tt_error err = {0};
    tt_fail_errno(&err, TT_ERROR_OUTPUT, ERANGE, "voice.wav");
    char wanted[200];
    snprintf(wanted, sizeof wanted, "voice.wav: %s", strerror(ERANGE));
    assert_string_equal(err.message, wanted);
}

static void what_failed_elsewhere_is_passed_on_whole_unless_something_failed_here(void **state)
{
    (void)state;
    struct tt_error none = {0}, there = {0}, here = {0};
    tt_fail_errno(&there, TT_ERROR_INPUT, ENOSPC, "hive.wav");
    assert_true(tt_error_pass_on(&none, &here));
    assert_int_equal(here.kind, TT_OK);
    assert_false(tt_error_pass_on(&there, &here));
    assert_memory_equal(&here, &there, sizeof here);
    struct tt_error first = {0};
    tt_fail(&first, TT_ERROR_USAGE, "first");
    assert_false(tt_error_pass_on(&there, &first));
    assert_string_equal(first.message, "first");
    assert_false(tt_error_pass_on(&there, NULL));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_failed_elsewhere_is_passed_on_whole_unless_something_failed_here),
        cmocka_unit_test(the_first_error_wins),
        cmocka_unit_test(nobody_has_to_listen),
        cmocka_unit_test(control_characters_cannot_steer_a_terminal),
        cmocka_unit_test(context_goes_in_front),
        cmocka_unit_test(a_reason_without_advice_stands_alone),
        cmocka_unit_test(a_long_name_does_not_push_the_reason_out),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
