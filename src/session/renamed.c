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

enum { MOST_SHEET_BYTES = 64 << 20 };

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

static char *aside_path(const struct tt_run_state *run, const char *stem, const char *content)
{
    return tt_format("%s/earlier/sheets/%s-%.6s.csv", run->out, stem, content);
}

/* The person's rows of a sheet as that of a recording and a name; false without any, or when it is not there, of
 * another recording, or not readable. */
static bool read_rows(const char *path, const char *name, const char *content, int64_t duration_ms,
                      struct tt_sheet *sheet)
{
    char *text = NULL;
    size_t size, count = 0;
    tt_sheet_free(sheet);
    bool ok = path && tt_file_exists(path) && tt_file_read(path, MOST_SHEET_BYTES, &text, &size, NULL) &&
              tt_sheet_start(sheet, name, content, NULL) &&
              tt_sheet_read(sheet, text, size, path, duration_ms, &count, NULL) && count > 0;
    free(text);
    return ok;
}

/* Whether a sheet of this recording (the ids of its rows tell the content) is there that cannot be read: decisions wait
 * in it behind a slip of the hand. */
static bool has_slip(const char *path, const char *name, const char *content, int64_t duration_ms, struct tt_error *why)
{
    char *text = NULL, shown[16];
    size_t size, count = 0;
    struct tt_sheet sheet = {0};
    snprintf(shown, sizeof shown, "-%.6s-", content);
    bool is_slip = tt_file_exists(path) && tt_file_read(path, MOST_SHEET_BYTES, &text, &size, NULL) &&
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

/* What lies where the sheet has to go is another recording's: that of the one that had the name before, or, if nobody
 * knows whose, named by itself. It may hold a person's rows that cannot be read now (a slip of the hand), so it is kept
 * as it is. */
static bool put_aside(struct tt_run_state *run, const struct tt_take *take, struct tt_error *err)
{
    json_t *name = tt_json_utf8(take->file->name);
    const char *content = name ? sha256_of(run, json_string_value(name)) : NULL;
    char *text = NULL, *path = NULL, *folder = tt_format("%s/earlier/sheets", run->out), own[65];
    size_t size;
    bool ok = (name && folder) || tt_fail_memory(err);
    if (ok && tt_file_exists(take->sheet_path)) {
        ok = tt_file_read(take->sheet_path, MOST_SHEET_BYTES, &text, &size, err);
        if (ok && !content)
            tt_sha256(text, size, own);
        path = ok ? aside_path(run, take->file->stem, content ? content : own) : NULL;
        ok = ok && (path || tt_fail_memory(err)) && tt_folder_make(folder, err) && tt_file_write(path, text, size, err);
    }
    free(text);
    free(folder);
    free(path);
    json_decref(name);
    return ok;
}

static bool write_rows(const struct tt_take *take, struct tt_sheet *sheet, struct tt_error *err)
{
    struct tt_text text = {0};
    char *name = tt_copy_string(take->file->name);
    bool ok = name != NULL;
    if (ok) {
        free(sheet->take);
        sheet->take = name;
    }
    ok = ok && tt_sheet_seal(sheet, err) && tt_sheet_write(sheet, &text);
    ok = ok ? tt_file_write(take->sheet_path, text.data, text.length, err) : tt_fail_memory(err);
    tt_text_free(&text);
    return ok;
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
         *aside = stem ? aside_path(run, stem, content) : NULL;
    int64_t duration_ms = tt_take_duration_ms(take);
    bool ok = (path && aside) || tt_fail_memory(err),
         has_own = ok && read_rows(take->sheet_path, take->file->name, content, duration_ms, &own);
    if (ok && !has_own) {
        bool has_rows =
            read_rows(path, name, content, duration_ms, &rows) || read_rows(aside, name, content, duration_ms, &rows);
        if (!has_rows &&
            (has_slip(path, name, content, duration_ms, &why) || has_slip(aside, name, content, duration_ms, &why))) {
            wait_for_sheet(run, take, name, &why);
        } else {
            /* Also without rows to take along: a sheet in the way would be refused as another recording's. */
            ok = put_aside(run, take, err);
            if (ok && !has_rows) {
                tt_sheet_free(&rows);
                ok = tt_sheet_start(&rows, take->file->name, content, err);
            }
            ok = ok && write_rows(take, &rows, err);
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
