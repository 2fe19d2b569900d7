/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Running tt_clean in tests. */
#ifndef TT_TESTS_CLEAN_SUPPORT_H
#define TT_TESTS_CLEAN_SUPPORT_H

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "support.h"
#include "tidytake/tidytake.h"

struct clean_run {
    const char *assignments[8];
    int jobs;
    bool is_plan, is_again;
    const char *changes;
};

/* Runs clean on session into out; the result is freed by the caller. */
static inline bool clean_run(const char *session, const char *out, struct clean_run how, struct tt_clean_result *result, struct tt_error *error)
{
    const char *const sources[] = {session};
    size_t count = 0;
    while (how.assignments[count])
        count++;
    struct tt_clean_options options = {.sources = sources,
                                       .source_count = 1,
                                       .out = out,
                                       .assignments = how.assignments,
                                       .assignment_count = count,
                                       .jobs = how.jobs,
                                       .is_plan = how.is_plan,
                                       .is_again = how.is_again,
                                       .changes_file = how.changes};
    *error = (struct tt_error){0};
    return tt_clean(&options, NULL, result, error);
}

/* Runs and wants it to go well; gives the numbers. */
static inline struct tt_clean_result clean_well(const char *session, const char *out, struct clean_run how)
{
    struct tt_clean_result result;
    struct tt_error error;
    if (!clean_run(session, out, how, &result, &error))
        fail_msg("clean %s: %s", session, error.message);
    return result;
}

static inline json_t *json_of(const char *path)
{
    char *text = file_read(path, NULL);
    json_error_t problem;
    json_t *json = json_loads(text, 0, &problem);
    free(text);
    if (!json)
        fail_msg("%s: %s", path, problem.text);
    return json;
}

static inline double number_at(const json_t *json, const char *object, const char *key)
{
    const json_t *value = json_object_get(object ? json_object_get(json, object) : json, key);
    return json_is_number(value) ? json_number_value(value) : -1e9;
}

#endif
