/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What earlier runs know: which recordings were read already, and the common gain. A state that is damaged is no harm:
 * everything is found anew, unless what was handed over has to stay. One that the disk does not give is another matter:
 * it would be lost. */
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>

#include "base/file.h"
#include "report/json_values.h"
#include "session/steps.h"

static long long integer_of(const json_t *object, const char *key)
{
    return (long long)json_integer_value(json_object_get(object, key));
}

static void text_of(const json_t *object, const char *key, char *buffer, size_t size)
{
    const char *text = json_string_value(json_object_get(object, key));
    snprintf(buffer, size, "%s", text ? text : "");
}

static void remember_take(struct tt_take *take, const json_t *recordings)
{
    json_t *name = tt_json_utf8(
        take->recording->name); /* two names that are no UTF-8 may read alike: the figures below tell them apart */
    const json_t *known = json_object_get(recordings, json_string_value(name));
    json_decref(name);
    if (!json_is_object(known))
        return;
    take->identity = (struct tt_identity){.size = integer_of(known, "size"),
                                          .modified_ns = integer_of(known, "modified_ns"),
                                          .changed_ns = integer_of(known, "changed_ns"),
                                          .inode = integer_of(known, "inode")};
    text_of(known, "sha256", take->identity.sha256, sizeof take->identity.sha256);
}

/* *state stays NULL where no run left one, or a damaged one. */
static bool read_state(const struct tt_run_state *run, json_t **state, struct tt_error *err)
{
    char *path = tt_path_join(run->out, "session.json"), *text = NULL;
    size_t size = 0;
    json_error_t problem;
    bool ok = path || tt_fail_memory(err);
    if (ok && tt_file_exists(path) && (ok = tt_file_read(path, TT_JSON_MOST_BYTES, &text, &size, err))) {
        *state = json_loadb(text, size, 0, &problem);
        if (!*state && json_error_code(&problem) == json_error_out_of_memory)
            ok = tt_fail_memory(err);
        else if (!json_is_object(*state) && run->settings.deliver.hold)
            ok = tt_fail(err, TT_ERROR_INPUT,
                         "%s is damaged: deliver.hold = yes cannot tell what was handed over; put the file back, or "
                         "set it to no",
                         path);
    }
    free(text);
    free(path);
    return ok;
}

bool tt_session_remember(struct tt_run_state *run, struct tt_error *err)
{
    if (!read_state(run, &run->earlier_state, err))
        return false;
    const json_t *state = run->earlier_state;
    const json_t *gain = json_object_get(state, "common_gain");
    if (json_is_object(gain) && json_is_number(json_object_get(gain, "gain_db"))) {
        run->earlier_common_gain_db = json_number_value(json_object_get(gain, "gain_db"));
        text_of(gain, "aim", run->earlier_gain_aim, sizeof run->earlier_gain_aim);
    }
    const json_t *recordings = json_object_get(state, "recordings");
    for (size_t i = 0; json_is_object(recordings) && i < run->take_count; i++)
        remember_take(&run->takes[i], recordings);
    run->is_held = run->settings.deliver.hold && json_is_object(json_object_get(state, "delivered_with"));
    return true;
}
