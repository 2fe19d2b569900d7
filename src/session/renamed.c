/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A recording is known by its content. When session.json knows it under another name, the person's rows of that name's
 * sheet are written as a sheet of its own. A sheet that lies in the way, as when takes are numbered anew, is put aside
 * into OUT/earlier/sheets/ first: from there its own recording gets it, in this run or, should this one die, in the
 * next. */
#include "session/renamed.h"

#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "report/json_values.h"
#include "session/sheet_aside.h"

static const char *sha256_of(const struct tt_run_state *run, const char *name)
{
    return json_string_value(
        json_object_get(json_object_get(json_object_get(run->earlier_state, "recordings"), name), "sha256"));
}

/* The stem of the take that an earlier run knew under a name; the caller's. */
static char *earlier_stem(const struct tt_run_state *run, const char *name)
{
    const json_t *takes = json_object_get(run->earlier_state, "takes");
    const char *dot = strrchr(name, '.');
    for (size_t i = 0; i < json_array_size(takes); i++) {
        const json_t *take = json_array_get(takes, i);
        const char *known = json_string_value(json_object_get(take, "take")),
                   *stem = json_string_value(json_object_get(take, "stem"));
        if (known && stem && strcmp(known, name) == 0)
            return tt_copy_string(stem);
    }
    return tt_format("%.*s", (int)(dot && dot != name ? dot - name : (long)strlen(name)),
                     name); /* its sheet waited: see waits_for */
}

/* The recording that the last run knew under a take's name: what lies there as its sheet is of that one. */
static bool find_known_content(const struct tt_run_state *run, const struct tt_take *take, const char **content,
                               struct tt_error *err)
{
    json_t *name = tt_json_utf8(take->file->name);
    *content = name ? sha256_of(run, json_string_value(name)) : NULL;
    json_decref(name);
    return name || tt_fail_memory(err);
}

static bool is_here(const struct tt_run_state *run, const char *name, const char *content, bool *is_found,
                    struct tt_error *err)
{
    *is_found = false;
    for (size_t i = 0; !*is_found && i < run->take_count; i++) {
        if (strcmp(run->takes[i].identity.sha256, content) != 0)
            continue;
        json_t *known = tt_json_utf8(run->takes[i].recording->name);
        if (!known)
            return tt_fail_memory(err);
        *is_found = strcmp(json_string_value(known), name) == 0;
        json_decref(known);
    }
    return true;
}

/* The name under which the last run knew the recording of a take; NULL when it is new, or was called so already. */
static bool earlier_name(const struct tt_run_state *run, const struct tt_take *take, const char **found,
                         struct tt_error *err)
{
    const char *name;
    const json_t *value;
    *found = NULL;
    json_object_foreach(json_object_get(run->earlier_state, "recordings"), name, value)
    {
        const char *content = json_string_value(json_object_get(value, "sha256"));
        if (!content || strcmp(content, take->identity.sha256) != 0)
            continue;
        bool is_known_here;
        if (!is_here(run, name, content, &is_known_here, err))
            return false;
        *found = is_known_here ? NULL : name;
        if (is_known_here) /* this one, or the one that this is a copy of */
            break;
    }
    return true;
}

/* Whether a sheet of this recording (the ids of its rows tell the content) is there that cannot be read: decisions wait
 * in it behind a slip of the hand. */
static bool has_slip(const char *path, const char *name, const char *content, int64_t duration_ms, struct tt_error *why)
{
    char *text = NULL, shown[16];
    size_t size, count = 0;
    struct tt_sheet sheet = {0};
    snprintf(shown, sizeof shown, "-%.6s-", content);
    bool is_slip = tt_file_exists(path) && tt_file_read(path, TT_SHEET_MOST_BYTES, &text, &size, NULL) &&
                   strstr(text, shown) && tt_sheet_start(&sheet, name, content, NULL) &&
                   !tt_sheet_read(&sheet, text, size, path, duration_ms, &count, why);
    tt_sheet_free(&sheet);
    free(text);
    return is_slip;
}

/* The take fails, and stays known by its earlier name until the slip is mended. */
static void wait_for_sheet(struct tt_run_state *run, struct tt_take *take, const char *name, const struct tt_error *why)
{
    struct tt_error error = {0};
    tt_fail(&error, why->kind, "%s; mend it and run again: these decisions on %.80s go with %.80s", why->message, name,
            take->file->name);
    take->waits_for = name;
    tt_take_fail(run, take, &error);
}

static bool follow(struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    const char *name, *content = take->identity.sha256;
    struct tt_sheet rows = {0}, own = {0};
    struct tt_error why = {0};
    if (!earlier_name(run, take, &name, err))
        return false;
    if (!name)
        return true;
    char *stem = earlier_stem(run, name), *path = stem ? tt_format("%s/sheets/%s.csv", run->out, stem) : NULL,
         *aside = stem ? tt_sheet_aside_path(run, stem, content) : NULL;
    int64_t duration_ms = tt_take_duration_ms(take);
    bool ok = (path && aside) || tt_fail_memory(err),
         has_own = ok && tt_sheet_read_persons(take->sheet_path, take->file->name, content, duration_ms, &own);
    if (ok && !has_own) {
        bool has_rows = tt_sheet_read_persons(path, name, content, duration_ms, &rows) ||
                        tt_sheet_read_persons(aside, name, content, duration_ms, &rows);
        if (!has_rows &&
            (has_slip(path, name, content, duration_ms, &why) || has_slip(aside, name, content, duration_ms, &why))) {
            wait_for_sheet(run, take, name, &why);
        } else {
            /* Also without rows to take along: a sheet in the way would be refused as another recording's. */
            const char *known;
            ok = find_known_content(run, take, &known, err) && tt_sheet_put_aside(run, take, known, err);
            if (ok && !has_rows) {
                tt_sheet_free(&rows);
                ok = tt_sheet_start(&rows, take->file->name, content, err);
            }
            ok = ok && tt_sheet_start_with(take, &rows, err);
            if (ok && has_rows)
                tt_run_note(run, "%s is %s of before: its cut sheet goes with it", take->file->name, name);
        }
    }
    tt_sheet_free(&rows);
    tt_sheet_free(&own);
    free(stem);
    free(path);
    free(aside);
    return ok;
}

bool tt_session_follow_renames(struct tt_run_state *run, struct tt_error *err)
{
    if (run->is_held)
        return true;
    for (size_t i = 0; i < run->take_count; i++)
        /* A part's sheet goes by where it begins, that of a split recording is tied to all its files. */
        if (run->takes[i].is_heard && !run->takes[i].has_failed && !run->takes[i].own_file &&
            run->takes[i].more_count == 0 && !follow(run, &run->takes[i], err))
            return false;
    return true;
}
