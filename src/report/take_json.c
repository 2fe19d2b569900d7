/* SPDX-License-Identifier: GPL-2.0-or-later */
/* OUT/report/STEM.json. Whatever cannot be allocated makes the whole fail: each builder returns NULL or false then. */
#include <math.h>

#include "base/rescale.h"
#include "report/json_values.h"
#include "report/pauses_heard.h"
#include "report/removed.h"
#include "report/totals.h"
#include "sheet/landing.h"

enum { CONFIDENCE_DECIMALS = 2, AMOUNT_DECIMALS = 3, MS_DECIMALS = 3 }; /* as the sheet has them */

static json_t *keep_if(bool ok, json_t *value)
{
    if (ok)
        return value;
    json_decref(value);
    return NULL;
}

static bool has_place(const struct tt_take_report *take)
{
    return take->has_voice && take->is_heard && take->map->count > 0 && take->out_rate_hz > 0;
}

static json_t *make_source(const struct tt_take_report *take)
{
    const struct tt_heard_facts *facts = take->is_heard ? &take->heard->facts : NULL;
    json_t *source = json_object();
    bool ok = tt_json_put(source, "path", tt_json_utf8(take->source_path));
    ok = ok && tt_json_put(source, "rate_hz", facts ? json_integer(facts->rate_hz) : json_null());
    ok = ok && tt_json_put(source, "channels", facts ? json_integer(facts->channel_count) : json_null());
    ok = ok && tt_json_put(source, "frames", facts ? json_integer(facts->frame_count) : json_null());
    ok = ok && tt_json_put(source, "sha256", facts ? tt_json_utf8(facts->content_sha256) : json_null());
    return keep_if(ok, source);
}

/* Programs count with the rate: it is there without a voice, too. */
static json_t *make_output(const struct tt_take_report *take)
{
    int rate_hz = take->out_rate_hz > 0 || !take->is_heard ? take->out_rate_hz : take->heard->facts.rate_hz;
    json_t *output = json_object();
    bool ok = tt_json_put(output, "rate_hz", rate_hz > 0 ? json_integer(rate_hz) : json_null());
    ok = ok && tt_json_put(output, "channels",
                           take->out_channel_count > 0 ? json_integer(take->out_channel_count) : json_null());
    ok = ok && tt_json_put(output, "frames", json_integer(take->has_voice ? take->out_frames : 0));
    return keep_if(ok, output);
}

static struct tt_after nothing_measured(void)
{
    return (struct tt_after){{NAN, NAN, NAN, NAN, NAN, NAN, NAN, NAN}, NAN, NAN, NAN};
}

static json_t *make_before(const struct tt_take_report *take)
{
    struct tt_after before = nothing_measured();
    if (take->is_heard) {
        const struct tt_heard_facts *facts = &take->heard->facts;
        before = (struct tt_after){facts->before, facts->floor_dbfs, facts->floor_dba, facts->speech_dbfs};
    }
    return tt_json_measured(&before);
}

static json_t *make_after(const struct tt_take_report *take)
{
    struct tt_after nothing = nothing_measured();
    return tt_json_measured(take->has_voice ? &take->after : &nothing);
}

static json_t *make_removed(const struct tt_take_report *take, struct tt_error *err)
{
    struct tt_removed removed = {0};
    if (take->is_heard && !tt_removed_measure(take->sheet, take->map, take->heard->facts.frame_count, &removed, err))
        return NULL;
    json_t *by_kind = json_object(), *object = json_object();
    bool ok = true;
    for (int kind = 0; kind < TT_ROW_KINDS; kind++) {
        if (removed.by_kind[kind].count == 0)
            continue;
        json_t *one = json_object();
        ok = ok && tt_json_put(one, "count", json_integer((json_int_t)removed.by_kind[kind].count));
        ok = ok && tt_json_put(one, "seconds", tt_json_number(removed.by_kind[kind].seconds, TT_DECIMALS_SECONDS));
        ok = tt_json_put(by_kind, tt_row_kind_name((enum tt_row_kind)kind), one) && ok;
    }
    ok = ok && tt_json_put(object, "seconds", tt_json_number(removed.seconds, TT_DECIMALS_SECONDS));
    ok = tt_json_put(object, "by_kind", by_kind) && ok;
    return keep_if(ok, object);
}

static bool put_columns(json_t *decision, const struct tt_sheet *sheet, const struct tt_row *row)
{
    char start[TT_TIME_CHARS], end[TT_TIME_CHARS];
    tt_time_format(row->start_ms, start);
    tt_time_format(row->end_ms, end);
    return tt_json_put(decision, "take", tt_json_utf8(sheet->take)) &&
           tt_json_put(decision, "id", tt_json_utf8(row->id)) && tt_json_put(decision, "start", json_string(start)) &&
           tt_json_put(decision, "end", json_string(end)) &&
           tt_json_put(decision, "kind", json_string(tt_row_kind_name(row->kind))) &&
           tt_json_put(decision, "proposed",
                       json_string(row->is_unproposed ? "" : tt_row_action_name(row->proposed))) &&
           tt_json_put(decision, "action", json_string(tt_row_action_name(row->action))) &&
           tt_json_put(decision, "amount", tt_json_number(row->amount, AMOUNT_DECIMALS)) &&
           tt_json_put(decision, "confidence", tt_json_number(row->confidence, CONFIDENCE_DECIMALS)) &&
           tt_json_put(decision, "by", json_string(row->is_persons ? "me" : "")) &&
           tt_json_put(decision, "note", tt_json_utf8(row->note ? row->note : ""));
}

static double voice_seconds(const struct tt_take_report *take, int64_t out_sample)
{
    return (double)tt_rescale_frames(out_sample, take->map->rate_hz, take->out_rate_hz) / take->out_rate_hz;
}

static json_t *make_decision(const struct tt_take_report *take, const struct tt_row *row)
{
    double out_start_s = NAN, out_end_s = NAN;
    if (has_place(take)) {
        struct tt_landing landing = tt_landing_of_row(row, take->map);
        if (landing.is_in) {
            out_start_s = voice_seconds(take, landing.start);
            out_end_s = voice_seconds(take, landing.end);
        }
    }
    json_t *decision = json_object();
    bool ok = put_columns(decision, take->sheet, row);
    ok = ok && tt_json_put(decision, "start_s", tt_json_number((double)row->start_ms / 1000, MS_DECIMALS));
    ok = ok && tt_json_put(decision, "end_s", tt_json_number((double)row->end_ms / 1000, MS_DECIMALS));
    ok = ok && tt_json_put(decision, "out_start_s", tt_json_number(out_start_s, TT_DECIMALS_SECONDS));
    ok = ok && tt_json_put(decision, "out_end_s", tt_json_number(out_end_s, TT_DECIMALS_SECONDS));
    return keep_if(ok, decision);
}

static json_t *make_decisions(const struct tt_take_report *take)
{
    json_t *decisions = json_array();
    bool ok = decisions != NULL;
    for (size_t i = 0; ok && take->is_heard && i < take->sheet->count; i++)
        ok = tt_json_push(decisions, make_decision(take, &take->sheet->rows[i]));
    return keep_if(ok, decisions);
}

static json_t *make_time_map(const struct tt_take_report *take)
{
    json_t *entries = json_array();
    bool ok = entries != NULL;
    for (size_t i = 0; ok && has_place(take) && i < take->map->count; i++) {
        const struct tt_stretch *stretch = &take->map->stretches[i];
        json_t *entry = json_object();
        ok = tt_json_put(entry, "source_start_frame", json_integer(stretch->source_start));
        ok = ok && tt_json_put(entry, "source_end_frame", json_integer(stretch->source_end));
        ok = ok &&
             tt_json_put(entry, "out_start_frame",
                         json_integer(tt_rescale_frames(stretch->out_start, take->map->rate_hz, take->out_rate_hz)));
        ok = tt_json_push(entries, entry) && ok;
    }
    return keep_if(ok, entries);
}

static json_t *make_pauses(const struct tt_take_report *take)
{
    struct tt_pauses_heard pauses;
    if (!take->is_heard)
        return json_null();
    tt_pauses_measure(take, &pauses);
    json_t *object = json_object(), *from = json_array(), *before = json_array(), *after = json_array();
    bool ok = true;
    for (int i = 0; i < TT_PAUSE_STEPS; i++) {
        ok = tt_json_push(from, tt_json_number(tt_pause_step_s(i), TT_DECIMALS_SECONDS)) && ok;
        ok = tt_json_push(before, json_integer((json_int_t)pauses.before[i])) && ok;
        ok = tt_json_push(after, json_integer((json_int_t)pauses.after[i])) && ok;
    }
    ok = tt_json_put(object, "from_s", from) && ok;
    ok = tt_json_put(object, "before", before) && ok;
    ok = tt_json_put(object, "after", after) && ok;
    ok = ok && tt_json_put(object, "longest_before_s", tt_json_number(pauses.longest_before_s, TT_DECIMALS_SECONDS));
    ok = ok && tt_json_put(object, "longest_after_s", tt_json_number(pauses.longest_after_s, TT_DECIMALS_SECONDS));
    return keep_if(ok, object);
}

static bool push_warning(void *array, const char *code, const char *message, double at_s)
{
    return tt_json_push(array, tt_json_warning(code, message, at_s));
}

static json_t *make_warnings(const struct tt_take_report *take)
{
    json_t *warnings = json_array();
    return keep_if(warnings && tt_take_visit_warnings(take, push_warning, warnings), warnings);
}

static bool put_all(json_t *object, const struct tt_take_report *take, struct tt_error *err)
{
    bool is_done = take->has_voice && !take->has_failed;
    return tt_json_put(object, "program", tt_json_program()) && tt_json_put(object, "take", tt_json_utf8(take->name)) &&
           tt_json_put(object, "stem", tt_json_utf8(take->stem)) &&
           tt_json_put(object, "error", take->has_failed ? tt_json_utf8(take->error) : json_null()) &&
           tt_json_put(object, "source", make_source(take)) && tt_json_put(object, "output", make_output(take)) &&
           tt_json_put(object, "before", make_before(take)) && tt_json_put(object, "after", make_after(take)) &&
           tt_json_put(object, "removed", make_removed(take, err)) &&
           tt_json_put(object, "pauses", make_pauses(take)) && tt_json_put(object, "warnings", make_warnings(take)) &&
           tt_json_put(object, "remark_count",
                       json_integer(take->is_heard ? (json_int_t)take->heard->remark_count : 0)) &&
           tt_json_put(object, "gain_db", tt_json_number(is_done ? take->gain_db : (double)NAN, TT_DECIMALS_LEVEL)) &&
           tt_json_put(object, "limited_db",
                       tt_json_number(is_done ? take->limited_db : (double)NAN, TT_DECIMALS_LEVEL)) &&
           tt_json_put(object, "pace_syllables_per_s",
                       tt_json_number(take->is_heard && take->pace_syllables_per_s > 0 ? take->pace_syllables_per_s
                                                                                       : (double)NAN,
                                      TT_DECIMALS_LEVEL)) &&
           tt_json_put(object, "render_key", is_done ? tt_json_utf8(take->render_key) : json_null()) &&
           tt_json_put(object, "decisions", make_decisions(take)) &&
           tt_json_put(object, "time_map", make_time_map(take));
}

bool tt_report_take_json(const struct tt_take_report *take, struct tt_text *out, struct tt_error *err)
{
    struct tt_take_report seen = *take;
    if (seen.has_failed)
        seen.is_heard = seen.has_voice = false, seen.warning_count = 0, seen.out_rate_hz = seen.out_channel_count = 0;
    json_t *object = json_object();
    bool ok = put_all(object, &seen, err) ? tt_report_json_text(object, out, err) : tt_fail_memory(err);
    json_decref(object);
    return ok;
}
