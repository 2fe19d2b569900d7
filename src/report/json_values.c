/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/json_values.h"

#include <math.h>
#include <string.h>

#include "report/plain.h"

enum { MOST_RATE_HZ = 1000000 }; /* no recording is quicker */

#ifndef TIDYTAKE_VERSION
#define TIDYTAKE_VERSION "0"
#endif

double tt_rounded(double value, int decimals)
{
    static const double powers[] = {1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6};
    if (!isfinite(value))
        return value;
    return round(value * powers[decimals]) / powers[decimals] + 0.0; /* never -0 */
}

json_t *tt_json_number(double value, int decimals)
{
    return isfinite(value) ? json_real(tt_rounded(value, decimals)) : json_null();
}

json_t *tt_json_utf8(const char *text)
{
    if (!text)
        return json_null();
    struct tt_text clean = {0};
    tt_text_add(&clean, "");
    tt_utf8_add(&clean, text);
    json_t *value = clean.has_failed ? NULL : json_stringn(clean.data, clean.length);
    tt_text_free(&clean);
    return value;
}

bool tt_json_put(json_t *object, const char *key, json_t *value)
{
    return json_object_set_new(object, key, value) == 0;
}
bool tt_json_push(json_t *array, json_t *value) { return json_array_append_new(array, value) == 0; }

json_t *tt_json_program(void) { return json_pack("{s:s, s:s}", "name", "tidytake", "version", TIDYTAKE_VERSION); }

/* The names of the figures, and where they stand; those of a window or a gate that nothing passed are -INFINITY in
 * memory. */
struct figure {
    const char *key;
    size_t offset;
    int decimals;
    bool is_unknown_when_null;
};
#define FIGURE(key, member, decimals, is_unknown)                                                                      \
    {                                                                                                                  \
        key, offsetof(struct tt_after, member), decimals, is_unknown                                                   \
    }

static const struct figure figures[] = {
    FIGURE("duration_s", levels.duration_s, TT_DECIMALS_SECONDS, true),
    FIGURE("integrated_lufs", levels.integrated_lufs, TT_DECIMALS_LEVEL, false),
    FIGURE("loudness_range_lu", levels.loudness_range_lu, TT_DECIMALS_LEVEL, true),
    FIGURE("max_momentary_lufs", levels.max_momentary_lufs, TT_DECIMALS_LEVEL, false),
    FIGURE("max_short_term_lufs", levels.max_short_term_lufs, TT_DECIMALS_LEVEL, false),
    FIGURE("max_true_peak_dbtp", levels.max_true_peak_dbtp, TT_DECIMALS_LEVEL, false),
    FIGURE("sample_peak_dbfs", levels.sample_peak_dbfs, TT_DECIMALS_LEVEL, false),
    FIGURE("noise_floor_dbfs", floor_dbfs, TT_DECIMALS_LEVEL, true),
    FIGURE("noise_floor_dba", floor_dba, TT_DECIMALS_LEVEL, true),
    FIGURE("speech_dbfs", speech_dbfs, TT_DECIMALS_LEVEL, true),
    FIGURE("rms_dbfs", levels.rms_dbfs, TT_DECIMALS_LEVEL, false),
};
enum { FIGURES = sizeof figures / sizeof *figures };

static double *figure_at(const struct figure *figure, struct tt_after *measured)
{
    return (double *)(void *)((char *)measured + figure->offset);
}

/* What null stands for when it is read back; a run that has just measured shows the same. */
static double as_null(const struct figure *figure)
{
    return figure->is_unknown_when_null ? (double)NAN : -(double)INFINITY;
}

json_t *tt_json_measured(const struct tt_after *measured)
{
    struct tt_after copy = *measured;
    json_t *object = json_object();
    bool ok = true;
    for (size_t i = 0; i < FIGURES; i++) {
        ok = ok &&
             tt_json_put(object, figures[i].key, tt_json_number(*figure_at(&figures[i], &copy), figures[i].decimals));
        if (strcmp(figures[i].key, "speech_dbfs") == 0)
            ok = ok && tt_json_put(object, "speech_to_floor_db",
                                   tt_json_number(copy.speech_dbfs - copy.floor_dbfs, TT_DECIMALS_LEVEL));
    }
    if (ok)
        return object;
    json_decref(object);
    return NULL;
}

bool tt_json_get_measured(const json_t *object, struct tt_after *measured)
{
    *measured = (struct tt_after){0};
    for (size_t i = 0; i < FIGURES; i++)
        if (!tt_json_get_number(object, figures[i].key, as_null(&figures[i]), figure_at(&figures[i], measured)))
            return false;
    return true;
}

void tt_report_round(struct tt_take_report *take)
{
    for (size_t i = 0; i < FIGURES; i++) {
        double *value = figure_at(&figures[i], &take->after);
        *value = isfinite(*value) ? tt_rounded(*value, figures[i].decimals) : as_null(&figures[i]);
    }
    take->gain_db = tt_rounded(take->gain_db, TT_DECIMALS_LEVEL);
    take->limited_db = tt_rounded(take->limited_db, TT_DECIMALS_LEVEL);
}

json_t *tt_json_warning(const char *code, const char *message, double at_s)
{
    json_t *object = json_object();
    if (tt_json_put(object, "code", tt_json_utf8(code)) && tt_json_put(object, "message", tt_json_utf8(message)) &&
        tt_json_put(object, "at_s", tt_json_number(at_s, TT_DECIMALS_SECONDS)))
        return object;
    json_decref(object);
    return NULL;
}

json_t *tt_json_warnings(const struct tt_warning *warnings, size_t count)
{
    json_t *array = json_array();
    bool ok = array != NULL;
    for (size_t i = 0; ok && i < count; i++)
        ok = tt_json_push(array, tt_json_warning(warnings[i].code, warnings[i].message, warnings[i].at_s));
    if (ok)
        return array;
    json_decref(array);
    return NULL;
}

bool tt_json_get_number(const json_t *object, const char *key, double fallback, double *value)
{
    const json_t *found = json_object_get(object, key);
    if (!found || !(json_is_number(found) || json_is_null(found)))
        return false;
    *value = json_is_null(found) ? fallback : json_number_value(found);
    return true;
}

bool tt_json_get_whole(const json_t *object, const char *key, int64_t least, int64_t most, int64_t *value)
{
    const json_t *found = json_object_get(object, key);
    if (!json_is_integer(found))
        return false;
    *value = json_integer_value(found);
    return *value >= least && *value <= most;
}

bool tt_json_get_rate(const json_t *object, int *rate_hz)
{
    int64_t value;
    if (!tt_json_get_whole(object, "rate_hz", 1, MOST_RATE_HZ, &value))
        return false;
    *rate_hz = (int)value;
    return true;
}

bool tt_json_get_frames(const json_t *object, const char *key, int64_t *frames)
{
    return tt_json_get_whole(object, key, 0, TT_JSON_MOST_FRAMES, frames);
}

bool tt_json_get_text(const json_t *object, const char *key, char *text, size_t capacity)
{
    const json_t *found = json_object_get(object, key);
    if (!json_is_string(found) || json_string_length(found) >= capacity)
        return false;
    memcpy(text, json_string_value(found), json_string_length(found) + 1);
    return strlen(text) == json_string_length(found);
}

static int add_to_text(const char *bytes, size_t count, void *context)
{
    tt_text_add_bytes(context, bytes, count);
    return 0;
}

bool tt_json_add_text(const json_t *object, int digits, struct tt_text *out, struct tt_error *err)
{
    int failed = json_dump_callback(object, add_to_text, out, JSON_INDENT(1) | JSON_REAL_PRECISION((size_t)digits));
    tt_text_add(out, "\n");
    return failed || out->has_failed ? tt_fail_memory(err) : true;
}

bool tt_report_json_text(const struct json_t *object, struct tt_text *out, struct tt_error *err)
{
    return tt_json_add_text(object, TT_DIGITS_SHORT, out, err);
}
