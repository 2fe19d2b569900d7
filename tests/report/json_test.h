/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Reading JSON in tests of reports; include hive_session.h first. */
#ifndef TT_TESTS_JSON_TEST_H
#define TT_TESTS_JSON_TEST_H

#include <jansson.h>

#include "base/text.h"

static size_t json_allocations_left;
static inline void *json_failing_malloc(size_t size)
{
    return json_allocations_left > 0 && json_allocations_left-- > 0 ? malloc(size) : NULL;
}

/* make is called until nothing fails, each time with one allocation more than before; least: fewer would mean that it
 * makes something else. */
static inline void assert_each_allocation_is_checked(bool (*make)(const void *of, struct tt_error *err), const void *of,
                                                     size_t least)
{
    bool is_done = false;
    size_t tried = 0;
    json_set_alloc_funcs(json_failing_malloc, free);
    for (; !is_done && tried < 10000; tried++) {
        struct tt_error err = {0};
        json_allocations_left = tried;
        is_done = make(of, &err);
        if (!is_done && err.kind != TT_ERROR_MEMORY)
            break;
    }
    json_set_alloc_funcs(malloc, free);
    assert_true(is_done);
    assert_true(tried > least);
}

/* Frees the text. */
static inline json_t *parse_text(struct tt_text *text)
{
    json_error_t where;
    json_t *object = json_loadb(text->data, text->length, JSON_REJECT_DUPLICATES, &where);
    if (!object)
        fail_msg("line %d: %s", where.line, where.text);
    tt_text_free(text);
    return object;
}

static inline const json_t *get(const json_t *object, const char *key)
{
    const json_t *value = json_object_get(object, key);
    if (!value)
        fail_msg("no %s", key);
    return value;
}

static inline double number(const json_t *object, const char *key)
{
    assert_true(json_is_number(get(object, key)));
    return json_number_value(get(object, key));
}

static inline const char *string(const json_t *object, const char *key)
{
    assert_true(json_is_string(get(object, key)));
    return json_string_value(get(object, key));
}

#endif
