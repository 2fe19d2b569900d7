/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What an earlier run left in OUT/report/STEM.json. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "report/json_values.h"

static const size_t most_warnings = 100000;

static bool is_ours(const json_t *object)
{
    char name[16];
    return tt_json_get_text(json_object_get(object, "program"), "name", name, sizeof name) &&
           strcmp(name, "tidytake") == 0;
}

static bool read_voice(const json_t *object, struct tt_earlier_take *earlier)
{
    const json_t *output = json_object_get(object, "output");
    earlier->has_voice = json_is_string(json_object_get(object, "render_key"));
    if (!earlier->has_voice)
        return json_is_object(output);
    int64_t channels;
    if (!tt_json_get_text(object, "render_key", earlier->render_key, sizeof earlier->render_key) ||
        !tt_json_get_rate(output, &earlier->out_rate_hz) || !tt_json_get_whole(output, "channels", 1, 64, &channels) ||
        !tt_json_get_frames(output, "frames", &earlier->out_frames))
        return false;
    earlier->out_channel_count = (int)channels;
    return tt_json_get_number(object, "gain_db", NAN, &earlier->gain_db) &&
           tt_json_get_number(object, "limited_db", NAN, &earlier->limited_db) &&
           tt_json_get_measured(json_object_get(object, "after"), &earlier->after);
}

/* Messages are cut to what the struct holds rather than refused: their text is for people. */
static bool read_warning(const json_t *object, struct tt_warning *warning)
{
    const json_t *message = json_object_get(object, "message");
    if (!tt_json_get_text(object, "code", warning->code, sizeof warning->code) || !json_is_string(message))
        return false;
    size_t size = json_string_length(message);
    if (size >= sizeof warning->message) {
        size = sizeof warning->message - 1;
        while (size > 0 && ((unsigned char)json_string_value(message)[size] & 0xC0) == 0x80)
            size--; /* whole characters */
    }
    memcpy(warning->message, json_string_value(message), size);
    warning->message[size] = '\0';
    return tt_json_get_number(object, "at_s", NAN, &warning->at_s);
}

static bool read_warnings(const json_t *object, struct tt_earlier_take *earlier)
{
    const json_t *array = json_object_get(object, "warnings");
    size_t count = json_array_size(array);
    int64_t remarks;
    if (!json_is_array(array) || count > most_warnings ||
        !tt_json_get_whole(object, "remark_count", 0, (int64_t)count, &remarks))
        return false;
    if (count == (size_t)remarks)
        return true;
    earlier->warnings = calloc(count - (size_t)remarks, sizeof *earlier->warnings);
    if (!earlier->warnings)
        return false;
    for (size_t i = (size_t)remarks; i < count; i++)
        if (!read_warning(json_array_get(array, i), &earlier->warnings[earlier->warning_count++]))
            return false;
    return true;
}

bool tt_report_take_json_read(const char *path, struct tt_earlier_take *earlier, struct tt_error *err)
{
    *earlier = (struct tt_earlier_take){0};
    char *data = NULL;
    size_t size = 0;
    if (!tt_file_read(path, TT_JSON_MOST_BYTES, &data, &size, err))
        return false;
    json_error_t where;
    json_t *object = json_loadb(data, size, JSON_REJECT_DUPLICATES, &where);
    free(data);
    bool ok = true;
    if (!object)
        ok = tt_fail(err, TT_ERROR_INPUT, "%s is no whole JSON file (line %d): delete it, the next run makes it again",
                     path, where.line);
    else if (!is_ours(object))
        ok = tt_fail(err, TT_ERROR_INPUT, "%s is no report of this program: move it away", path);
    else if (!read_voice(object, earlier) || !read_warnings(object, earlier))
        ok = tt_fail(err, TT_ERROR_INPUT, "%s is damaged: delete it, the next run makes it again", path);
    json_decref(object);
    if (!ok) {
        free(earlier->warnings);
        *earlier = (struct tt_earlier_take){0};
    }
    return ok;
}
