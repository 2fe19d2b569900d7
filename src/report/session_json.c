/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The run's summary for programs. */
#include <math.h>

#include "report/json_values.h"
#include "report/totals.h"

static json_t *keep_if(bool ok, json_t *value)
{
    if (ok)
        return value;
    json_decref(value);
    return NULL;
}

static json_t *make_take(const struct tt_take_report *take)
{
    bool has_voice = take->has_voice && !take->has_failed;
    json_t *object = json_object();
    bool ok = tt_json_put(object, "take", tt_json_utf8(take->name));
    ok = ok && tt_json_put(object, "stem", tt_json_utf8(take->stem));
    ok = ok && tt_json_put(object, "status", json_string(tt_take_status(take)));
    ok = ok && tt_json_put(object, "why", tt_json_utf8(take->why));
    ok = ok && tt_json_put(object, "piece", take->piece && take->piece[0] ? tt_json_utf8(take->piece) : json_null());
    ok = ok && tt_json_put(object, "error", take->has_failed ? tt_json_utf8(take->error) : json_null());
    ok = ok && tt_json_put(object, "before_s", tt_json_number(tt_take_before_s(take), TT_DECIMALS_SECONDS));
    ok = ok && tt_json_put(object, "after_s", tt_json_number(tt_take_after_s(take), TT_DECIMALS_SECONDS));
    ok = ok && tt_json_put(object, "removed_s", tt_json_number(tt_take_removed_s(take), TT_DECIMALS_SECONDS));
    ok = ok && tt_json_put(object, "questions", json_integer((json_int_t)tt_report_questions(take)));
    ok = ok && tt_json_put(object, "persons_rows", json_integer((json_int_t)take->persons_rows));
    ok = ok && tt_json_put(object, "warnings", json_integer((json_int_t)tt_take_warning_count(take)));
    ok = ok &&
         tt_json_put(object, "integrated_lufs",
                     tt_json_number(has_voice ? take->after.levels.integrated_lufs : (double)NAN, TT_DECIMALS_LEVEL));
    ok =
        ok && tt_json_put(object, "pace_syllables_per_s",
                          tt_json_number(take->is_heard ? take->pace_syllables_per_s : (double)NAN, TT_DECIMALS_LEVEL));
    ok = ok &&
         tt_json_put(object, "gain_db", tt_json_number(has_voice ? take->gain_db : (double)NAN, TT_DECIMALS_LEVEL));
    ok = ok && tt_json_put(object, "narration_start_frame",
                           has_voice && take->narration_start_frame >= 0 ? json_integer(take->narration_start_frame)
                                                                         : json_null());
    return keep_if(ok, object);
}

static json_t *make_takes(const struct tt_session_report *session)
{
    json_t *takes = json_array();
    bool ok = takes != NULL;
    for (size_t i = 0; ok && i < session->take_count; i++)
        ok = tt_json_push(takes, make_take(&session->takes[i]));
    return keep_if(ok, takes);
}

static json_t *make_totals(const struct tt_session_report *session)
{
    struct tt_totals totals = tt_session_totals(session);
    json_t *object = json_object();
    bool ok = tt_json_put(object, "takes", json_integer((json_int_t)session->take_count));
    ok = ok && tt_json_put(object, "failed", json_integer((json_int_t)totals.failed));
    ok = ok && tt_json_put(object, "empty", json_integer((json_int_t)totals.empty));
    ok = ok && tt_json_put(object, "passed_over", json_integer((json_int_t)session->passed_over));
    ok = ok && tt_json_put(object, "before_s", tt_json_number(totals.before_s, TT_DECIMALS_SECONDS));
    ok = ok && tt_json_put(object, "after_s", tt_json_number(totals.after_s, TT_DECIMALS_SECONDS));
    ok = ok && tt_json_put(object, "removed_s", tt_json_number(totals.removed_s, TT_DECIMALS_SECONDS));
    ok = ok && tt_json_put(object, "questions", json_integer((json_int_t)totals.questions));
    return keep_if(ok, object);
}

static json_t *make_narration(const struct tt_session_report *session)
{
    if (!session->has_narration)
        return json_null();
    json_t *object = tt_json_measured(&session->narration);
    bool ok = tt_json_put(object, "rate_hz", json_integer(session->narration_rate_hz));
    ok = ok && tt_json_put(object, "frames", json_integer(session->narration_frames));
    return keep_if(ok, object);
}

bool tt_report_session_json(const struct tt_session_report *session, struct json_t **out, struct tt_error *err)
{
    json_t *object = json_object();
    bool ok =
        tt_json_put(object, "program", tt_json_program()) &&
        tt_json_put(object, "session", tt_json_utf8(session->name)) &&
        tt_json_put(object, "source_folder", tt_json_utf8(session->source_folder)) &&
        tt_json_put(object, "out_folder", tt_json_utf8(session->out_folder)) &&
        tt_json_put(object, "target", tt_json_utf8(session->target)) &&
        tt_json_put(object, "is_plan", json_boolean(session->is_plan)) &&
        tt_json_put(object, "totals", make_totals(session)) &&
        tt_json_put(object, "narration", make_narration(session)) &&
        tt_json_put(object, "common_gain_db", tt_json_number(session->common_gain_db, TT_DECIMALS_SECONDS)) &&
        tt_json_put(object, "narration_trim_db", tt_json_number(session->narration_trim_db, TT_DECIMALS_SECONDS)) &&
        tt_json_put(object, "warnings", tt_json_warnings(session->warnings, session->warning_count)) &&
        tt_json_put(object, "takes", make_takes(session));
    *out = keep_if(ok, object);
    return ok ? true : tt_fail_memory(err);
}
