/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/kept.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

#include "report/json_values.h"

static const json_t *track_of(const json_t *state, const char *piece)
{
    return piece ? json_object_get(json_object_get(state, "pieces"), piece) : json_object_get(state, "track");
}

bool tt_kept_track_find(const struct tt_run_state *run, const char *piece, struct tt_kept_track *track)
{
    const json_t *object = track_of(run->earlier_state, piece);
    *track = (struct tt_kept_track){.trim_db = NAN};
    if (!tt_json_get_text(object, "key", track->key, sizeof track->key) ||
        !tt_json_get_number(object, "trim_db", NAN, &track->trim_db) || !tt_json_get_rate(object, &track->rate_hz) ||
        !tt_json_get_frames(object, "frames", &track->frames) ||
        !tt_json_get_measured(json_object_get(object, "after"), &track->after))
        return false;
    track->is_held_back = json_is_true(json_object_get(object, "is_held_back"));
    return true;
}

bool tt_kept_track_put(struct tt_run_state *run, const char *piece, const struct tt_kept_track *track,
                       struct tt_error *err)
{
    json_t *object = json_object();
    bool ok = tt_json_put(object, "key", json_string(track->key)) &&
              tt_json_put(object, "is_held_back", json_boolean(track->is_held_back)) &&
              tt_json_put(object, "trim_db", tt_json_number(track->trim_db, TT_DECIMALS_SECONDS)) &&
              tt_json_put(object, "rate_hz", json_integer(track->rate_hz)) &&
              tt_json_put(object, "frames", json_integer(track->frames)) &&
              tt_json_put(object, "after", tt_json_measured(&track->after));
    if (!run->tracks)
        run->tracks = json_object();
    json_t *place = run->tracks;
    if (piece && !json_object_get(place, "pieces"))
        ok = ok && tt_json_put(place, "pieces", json_object());
    if (piece)
        place = json_object_get(place, "pieces");
    return (tt_json_put(place, piece ? piece : "track", object) && ok) || tt_fail_memory(err);
}

double tt_kept_gain_db(const struct tt_run_state *run, const struct tt_take *take, bool *is_known)
{
    json_t *name = tt_json_utf8(take->file->name);
    const json_t *gain = json_object_get(json_object_get(run->earlier_state, "gains_db"), json_string_value(name));
    json_decref(name);
    *is_known = gain != NULL;
    return json_is_number(gain) ? json_number_value(gain) : NAN;
}

/* What misreads, pauses and breaths are set to shows in the sheets; the others change sound or times by themselves. */
static bool moves_things(const struct tt_setting_row *row)
{
    static const char *const sections[] = {"take", "floor", "gate", "loudness", "deliver"};
    static const char *const others[] = {"hold", "keep_earlier", "narration", "whole"};
    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        if (strcmp(row->section, "deliver") == 0 && strcmp(row->key, others[i]) == 0)
            return false;
    for (size_t i = 0; i < sizeof sections / sizeof *sections; i++)
        if (strcmp(row->section, sections[i]) == 0)
            return true;
    /* Edges and pauses between takes are made while rendering. */
    return strcmp(row->section, "pauses") == 0 &&
           (strcmp(row->key, "between_ms") == 0 || strcmp(row->key, "edge_ms") == 0);
}

bool tt_kept_settings(const struct tt_settings *settings, struct json_t **object, struct tt_error *err)
{
    size_t count;
    const struct tt_setting_row *rows = tt_setting_rows(&count);
    json_t *all = json_object();
    bool ok = all != NULL;
    for (size_t i = 0; ok && i < count; i++) {
        struct tt_text value = {0};
        char name[80];
        if (!moves_things(&rows[i]))
            continue;
        snprintf(name, sizeof name, "%s.%s", rows[i].section, rows[i].key);
        tt_setting_value(settings, &rows[i], &value);
        ok = !value.has_failed && tt_json_put(all, name, tt_json_utf8(value.data ? value.data : ""));
        tt_text_free(&value);
    }
    if (ok)
        *object = all;
    else
        json_decref(all);
    return ok || tt_fail_memory(err);
}

static bool add_recordings(const struct tt_run_state *run, json_t *state)
{
    json_t *recordings = json_object(), *gains = json_object();
    bool failed = !recordings || !gains;
    for (size_t i = 0; !failed && i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        if (!take->identity.sha256[0])
            continue;
        json_t *recording = take->waits_for ? json_string(take->waits_for) : tt_json_utf8(take->recording->name),
               *name = tt_json_utf8(take->file->name);
        failed = !tt_json_put(recordings, json_string_value(recording),
                              json_pack("{s:I,s:I,s:I,s:I,s:s}", "size", (json_int_t)take->identity.size, "modified_ns",
                                        (json_int_t)take->identity.modified_ns, "changed_ns",
                                        (json_int_t)take->identity.changed_ns, "inode",
                                        (json_int_t)take->identity.inode, "sha256", take->identity.sha256));
        if (!failed && take->has_voice && take->is_used)
            failed = !tt_json_put(gains, json_string_value(name), tt_json_number(take->gain_db, TT_DECIMALS_SECONDS));
        json_decref(recording);
        json_decref(name);
    }
    failed = !tt_json_put(state, "recordings", recordings) || failed;
    return (run->options->is_plan ? (json_decref(gains), true) : tt_json_put(state, "gains_db", gains)) && !failed;
}

/* A plan delivers nothing: what was delivered before stays as it is. */
static bool keep_earlier(const struct tt_run_state *run, json_t *state)
{
    static const char *const keys[] = {"track",          "pieces",  "layout",  "gains_db",
                                       "delivered_with", "is_held", "made_for"};
    bool ok = true;
    for (size_t i = 0; i < sizeof keys / sizeof *keys; i++) {
        json_t *value = json_object_get(run->earlier_state, keys[i]);
        if (value)
            ok = json_object_set(state, keys[i], value) == 0 && ok;
    }
    return ok;
}

bool tt_kept_add(struct tt_run_state *run, struct json_t *layout, struct json_t *state, struct tt_error *err)
{
    bool ok = add_recordings(run, state);
    if (isfinite(run->common_gain_db))
        ok = tt_json_put(state, "common_gain",
                         json_pack("{s:f,s:s}", "gain_db", run->common_gain_db, "aim", run->gain_aim)) &&
             ok;
    if (run->options->is_plan) {
        json_decref(layout);
        return (keep_earlier(run, state) && ok) || tt_fail_memory(err);
    }
    json_t *settings = NULL;
    if (layout)
        ok = tt_json_put(state, "layout", layout) && ok;
    if (!tt_kept_settings(&run->settings, &settings, err))
        return false;
    ok = tt_json_put(state, "delivered_with", settings) &&
         tt_json_put(state, "is_held", json_boolean(run->settings.deliver.hold)) &&
         tt_json_put(state, "made_for", run->options->target ? json_string(run->options->target) : json_null()) && ok;
    return (json_object_update(state, run->tracks) == 0 || !run->tracks) && ok ? true : tt_fail_memory(err);
}
