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
    bool is_plan, is_again, without_links;
    int part, part_count;
    const char *changes, *more_changes, *target;
    bool may_miss_changes;
};

/* Runs clean on session into out; the result is freed by the caller. */
static inline bool clean_run(const char *session, const char *out, struct clean_run how, struct tt_clean_result *result,
                             struct tt_error *error)
{
    const char *const sources[] = {session};
    size_t count = 0;
    while (how.assignments[count])
        count++;
    const char *const changes[] = {how.changes, how.more_changes};
    struct tt_clean_options options = {.sources = sources,
                                       .source_count = 1,
                                       .out = out,
                                       .assignments = how.assignments,
                                       .assignment_count = count,
                                       .jobs = how.jobs,
                                       .is_plan = how.is_plan,
                                       .is_again = how.is_again,
                                       .without_links = how.without_links,
                                       .part = how.part,
                                       .part_count = how.part_count,
                                       .changes_files = changes,
                                       .changes_count = (size_t)((how.changes != NULL) + (how.more_changes != NULL)),
                                       .may_miss_changes = how.may_miss_changes,
                                       .target = how.target};
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

/* Whether session.json (path "session.json") or a report has a warning of that code, and that text in it. */
static inline bool warns(const char *path, const char *code, const char *text)
{
    json_t *json = json_of(path), *warning;
    size_t i;
    bool found = false;
    json_array_foreach(json_object_get(json, "warnings"), i, warning) found |=
        strcmp(json_string_value(json_object_get(warning, "code")), code) == 0 &&
        strstr(json_string_value(json_object_get(warning, "message")), text);
    json_decref(json);
    return found;
}

/* The labelled session of the fixtures in a folder of its own, and where its results go. */
struct fixture {
    char *folder;
    char session[4096], out[4096];
};

static inline int fixture_set_up(void **state)
{
    struct fixture *fixture = calloc(1, sizeof *fixture);
    if (!fixture)
        return -1;
    fixture->folder = folder_make();
    snprintf(fixture->session, sizeof fixture->session, "%s/hive", fixture->folder);
    snprintf(fixture->out, sizeof fixture->out, "%s/hive.tidy", fixture->folder);
    copy_fixture_session(fixture->session);
    *state = fixture;
    return 0;
}

static inline int fixture_tear_down(void **state)
{
    struct fixture *fixture = *state;
    folder_remove(fixture->folder);
    free(fixture);
    return 0;
}

/* As a person who adds a row. */
static inline void file_append(const char *path, const char *text)
{
    FILE *file = fopen(path, "ab");
    if (!file || fputs(text, file) < 0 || fclose(file) != 0)
        fail_msg("cannot write %s", path);
}

/* The text from, which must be there, becomes to. */
static inline void file_replace(const char *path, const char *from, const char *to)
{
    size_t size;
    char *text = file_read(path, &size), *at = strstr(text, from);
    if (!at)
        fail_msg("%s: no %s in\n%s", path, from, text);
    char *edited = calloc(1, size + strlen(to) + 1);
    memcpy(edited, text, (size_t)(at - text));
    strcat(edited, to);
    strcat(edited, at + strlen(from));
    file_write(path, edited, strlen(edited));
    free(edited);
    free(text);
}

#endif
