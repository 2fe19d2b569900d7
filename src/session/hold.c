/* SPDX-License-Identifier: GPL-2.0-or-later */
/* deliver.hold: once something was handed over, a run decides nothing anew. What a person changes in a sheet or the
 * order is obeyed; what would move by itself stops the run before anything is written. */
#include <jansson.h>
#include <stdio.h>
#include <string.h>

#include "report/json_values.h"
#include "session/kept.h"
#include "session/steps.h"

static const char way_out[] = "deliver.hold = yes keeps what was handed over; set it to no for a run that may move it";

static bool fail_held(struct tt_error *err, const char *what)
{
    return tt_fail(err, TT_ERROR_USAGE, "%s: %s", what, way_out);
}

static bool check_program(const struct tt_run_state *run, struct tt_error *err)
{
    const char *version = json_string_value(json_object_get(json_object_get(run->earlier_state, "program"), "version"));
    char what[160];
    if (!version || strcmp(version, TIDYTAKE_VERSION) == 0)
        return true;
    snprintf(what, sizeof what, "made by version %.40s of the program, this is %s", version, TIDYTAKE_VERSION);
    return fail_held(err, what);
}

/* Names every setting that differs: each would move something. */
static bool check_settings(const struct tt_run_state *run, struct tt_error *err)
{
    json_t *now = NULL;
    if (!tt_kept_settings(&run->settings, &now, err))
        return false;
    struct tt_text what = {0};
    const char *key;
    json_t *value;
    json_object_foreach(now, key, value)
    {
        const json_t *before = json_object_get(json_object_get(run->earlier_state, "delivered_with"), key);
        if (before && !json_equal(before, value))
            tt_text_addf(&what, "%s%s is %s, was %s", what.length ? ", " : "", key, json_string_value(value),
                         json_string_value(before));
    }
    json_decref(now);
    bool ok = what.has_failed ? tt_fail_memory(err) : !what.length || fail_held(err, what.data);
    tt_text_free(&what);
    return ok;
}

static bool check_take(const struct tt_take *take, const json_t *recordings, const json_t *gains, struct tt_error *err)
{
    char what[400];
    json_t *name = tt_json_utf8(take->file->name), *recording = tt_json_utf8(take->recording->name);
    const char *content =
        json_string_value(json_object_get(json_object_get(recordings, json_string_value(recording)), "sha256"));
    bool ok = (name && recording) || tt_fail_memory(err),
         was_delivered = name && json_object_get(gains, json_string_value(name));
    json_decref(name);
    json_decref(recording);
    /* A take that was delivered and gives way to a better copy of itself; why tells which. */
    bool gives_way = !take->is_used && take->why[0] && was_delivered;
    /* What is not used moves nothing, unless it is left out only because it has become a copy of another. */
    bool has_changed = !take->has_failed && content && strcmp(content, take->identity.sha256) != 0;
    if (!ok || (!take->is_used && !has_changed && !gives_way))
        return ok;
    if (take->has_failed)
        snprintf(what, sizeof what, "%.300s", take->error.message);
    else if (has_changed)
        snprintf(what, sizeof what, "%.200s: its recording changed", take->file->name);
    else if (gives_way)
        snprintf(what, sizeof what, "%.150s is the %.75s", take->file->name, take->why);
    else if (!content)
        snprintf(what, sizeof what, "%.200s is new (or leave it out: use = no in order.csv)", take->file->name);
    else
        return true;
    return fail_held(err, what);
}

/* Takes that were delivered and are in the folder no more. */
static bool check_missing(const struct tt_run_state *run, const json_t *gains, struct tt_error *err)
{
    const char *key;
    json_t *value;
    json_object_foreach((json_t *)gains, key, value)
    {
        bool is_there = false;
        for (size_t i = 0; i < run->take_count && !is_there; i++) {
            json_t *name = tt_json_utf8(run->takes[i].file->name);
            is_there = name && strcmp(json_string_value(name), key) == 0;
            json_decref(name);
        }
        if (!is_there) {
            char what[300];
            snprintf(what, sizeof what, "%.200s is gone", key);
            return fail_held(err, what);
        }
    }
    return true;
}

bool tt_session_hold(struct tt_run_state *run, struct tt_error *err)
{
    if (!run->is_held)
        return true;
    const json_t *recordings = json_object_get(run->earlier_state, "recordings");
    if (!check_program(run, err) || !check_settings(run, err) ||
        !check_missing(run, json_object_get(run->earlier_state, "gains_db"), err))
        return false;
    for (size_t i = 0; i < run->take_count; i++)
        if (!check_take(&run->takes[i], recordings, json_object_get(run->earlier_state, "gains_db"), err))
            return false;
    return true;
}
