/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <jansson.h>
#include <math.h>
#include <stdio.h>
#include <string.h>

#include "base/wrap.h"
#include "report/json_values.h"
#include "report/plain.h"
#include "report/summary_text.h"
#include "session/lengths.h"
#include "sheet/csv.h"

/* Columns: two blanks, the name, two lengths, the difference in seconds and per cent, two paces: 2 + 24 + 11 + 11 + 10
 * + 8 + 7 + 7 = 80. */
enum { NAME_COLUMNS = 24, LENGTH_COLUMNS = 11, SESSION_COLUMNS = 10 };

/* A name in so many columns, counted in characters; one that is longer loses its middle, since takes differ at the end.
 */
static void add_name(struct tt_text *out, const char *name, size_t columns, bool is_right)
{
    struct tt_text clean = {0};
    tt_plain_add(&clean, name);
    const char *text = clean.data ? clean.data : "";
    const size_t characters = tt_columns_of(text, strlen(text));
    size_t at = 0;
    for (size_t i = characters; is_right && i < columns; i++)
        tt_text_add(out, " ");
    const size_t head = characters > columns ? (columns - 1) / 2 : characters,
                 tail_from = characters > columns ? characters - (columns - 1 - head) : characters;
    for (const char *c = text; *c; at++) {
        size_t size = 1;
        while (((unsigned char)c[size] & 0xC0) == 0x80)
            size++;
        if (at == head && head < characters)
            tt_text_add(out, "~");
        if (at < head || at >= tail_from)
            tt_text_add_bytes(out, c, size);
        c += size;
    }
    for (size_t i = characters; !is_right && i < columns; i++)
        tt_text_add(out, " ");
    out->has_failed = out->has_failed || clean.has_failed;
    tt_text_free(&clean);
}

/* h:mm:ss.t */
static void add_length(struct tt_text *out, const struct tt_length *length)
{
    char text[40] = "-";
    if (length) {
        const long long tenths = llround(length->length_s * 10);
        snprintf(text, sizeof text, "%lld:%02lld:%02lld.%lld", tenths / 36000, tenths / 600 % 60, tenths / 10 % 60,
                 tenths % 10);
    }
    tt_text_addf(out, "%*s", LENGTH_COLUMNS, text);
}

static void add_pace(struct tt_text *out, const struct tt_length *length)
{
    if (length && isfinite(length->pace_syllables_per_s))
        tt_text_addf(out, "%7.1f", length->pace_syllables_per_s);
    else
        tt_text_addf(out, "%7s", "-");
}

static double difference_s(const struct tt_length *first, const struct tt_length *second)
{
    return first && second ? second->length_s - first->length_s : (double)NAN;
}

static double difference_percent(const struct tt_length *first, const struct tt_length *second)
{
    return first && second && first->length_s > 0 ? 100 * (second->length_s / first->length_s - 1) : (double)NAN;
}

/* Names of both where they differ, as chapters in two languages do. */
static void add_row(struct tt_text *out, const struct tt_length *first, const struct tt_length *second)
{
    char both[512];
    const bool differ = first && second && strcmp(first->name, second->name) != 0;
    snprintf(both, sizeof both, "%.200s / %.200s", first ? first->name : "", second ? second->name : "");
    tt_text_add(out, "  ");
    add_name(out, differ ? both : first ? first->name : second->name, NAME_COLUMNS, false);
    add_length(out, first);
    add_length(out, second);
    if (first && second)
        tt_text_addf(out, "%+8.1f s%+6.0f %%", difference_s(first, second), difference_percent(first, second));
    else
        tt_text_addf(out, "%10s%8s", "-", "-");
    add_pace(out, first);
    add_pace(out, second);
    tt_text_add(out, "\n");
}

static void add_head(const struct tt_lengths *lengths, struct tt_text *out)
{
    tt_text_addf(out, "  %-*s ", NAME_COLUMNS, lengths->is_by_piece ? "piece" : "take");
    for (int s = 0; s < 2; s++) {
        add_name(out, lengths->sides[s].name, SESSION_COLUMNS, true);
        tt_text_add(out, s == 0 ? " " : "");
    }
    tt_text_addf(out, "%18s%14s\n", "difference", "syllables/s");
}

/* Where the picture has to wait longest for the words, and which of them stand alone. */
static void add_findings(const struct tt_lengths *lengths, struct tt_text *out)
{
    size_t most = lengths->row_count, alone[2] = {0, 0};
    char line[600];
    for (size_t i = 0; i < lengths->row_count; i++) {
        const struct tt_length *first = tt_lengths_at(lengths, i, 0), *second = tt_lengths_at(lengths, i, 1);
        alone[0] += !second;
        alone[1] += !first;
        if (first && second &&
            (most == lengths->row_count ||
             fabs(difference_s(first, second)) >
                 fabs(difference_s(tt_lengths_at(lengths, most, 0), tt_lengths_at(lengths, most, 1)))))
            most = i;
    }
    const char *what = lengths->is_by_piece ? "piece" : "take";
    if (most < lengths->row_count) {
        const struct tt_length *first = tt_lengths_at(lengths, most, 0), *second = tt_lengths_at(lengths, most, 1);
        const double by_s = difference_s(first, second);
        if (fabs(by_s) < 0.05) /* 0.0 s, as it would be written */
            snprintf(line, sizeof line, "Each is as long as its counterpart.");
        else
            snprintf(line, sizeof line, "Farthest apart: %.200s, for which %.60s takes %.1f s longer.",
                     (by_s > 0 ? second : first)->name, lengths->sides[by_s > 0 ? 1 : 0].name, fabs(by_s));
        tt_text_add(out, "\n");
        tt_summary_add_lines(out, 0, line);
    }
    for (int s = 0; s < 2; s++)
        if (alone[s] > 0) {
            snprintf(line, sizeof line, "%zu %s%s of %.60s stand%s alone: %.60s has no %s for %s.", alone[s], what,
                     alone[s] == 1 ? "" : "s", lengths->sides[s].name, alone[s] == 1 ? "s" : "",
                     lengths->sides[1 - s].name, what, alone[s] == 1 ? "it" : "them");
            tt_summary_add_lines(out, 0, line);
        }
    if (!lengths->is_by_name) {
        snprintf(line, sizeof line,
                 "Their names have little in common: %ss are set side by side by their place in the order.", what);
        tt_summary_add_lines(out, 0, line);
    }
    for (int s = 0; s < 2 && !lengths->is_by_piece; s++)
        if (lengths->sides[s].pieces.count > 0) {
            snprintf(line, sizeof line, "By take, since order.csv of %.60s names no pieces.",
                     lengths->sides[1 - s].name);
            tt_summary_add_lines(out, 0, line);
        }
}

void tt_lengths_table(const struct tt_lengths *lengths, struct tt_text *out)
{
    add_head(lengths, out);
    for (size_t i = 0; i < lengths->row_count; i++)
        add_row(out, tt_lengths_at(lengths, i, 0), tt_lengths_at(lengths, i, 1));
    add_row(out, &lengths->sides[0].whole, &lengths->sides[1].whole);
    add_findings(lengths, out);
}

/* ---- for spreadsheets and programs ---- */

static void add_number(struct tt_text *out, double value, int decimals, bool is_last)
{
    char text[64] = "";
    if (isfinite(value))
        snprintf(text, sizeof text, "%.*f", decimals, value);
    /* A minus in front is a number, no formula: written as it is. */
    tt_text_add(out, text);
    tt_text_add(out, is_last ? "\r\n" : ",");
}

static void add_csv_row(struct tt_text *out, const struct tt_length *first, const struct tt_length *second)
{
    tt_csv_add(out, first ? first->name : "", false);
    tt_csv_add(out, second ? second->name : "", false);
    add_number(out, first ? first->length_s : (double)NAN, 3, false);
    add_number(out, second ? second->length_s : (double)NAN, 3, false);
    add_number(out, difference_s(first, second), 3, false);
    add_number(out, difference_percent(first, second), 1, false);
    add_number(out, first ? first->pace_syllables_per_s : (double)NAN, 2, false);
    add_number(out, second ? second->pace_syllables_per_s : (double)NAN, 2, true);
}

void tt_lengths_csv(const struct tt_lengths *lengths, struct tt_text *out)
{
    tt_text_add(out, "first,second,first_s,second_s,difference_s,difference_percent,first_syllables_per_s,second_"
                     "syllables_per_s\r\n");
    for (size_t i = 0; i < lengths->row_count; i++)
        add_csv_row(out, tt_lengths_at(lengths, i, 0), tt_lengths_at(lengths, i, 1));
    add_csv_row(out, &lengths->sides[0].whole, &lengths->sides[1].whole);
}

static json_t *side_object(const struct tt_length *length)
{
    if (!length)
        return json_null();
    json_t *object = json_object();
    bool ok =
        tt_json_put(object, "name", tt_json_utf8(length->name)) &&
        tt_json_put(object, "length_s", tt_json_number(length->length_s, TT_DECIMALS_SECONDS)) &&
        tt_json_put(object, "pace_syllables_per_s", tt_json_number(length->pace_syllables_per_s, TT_DECIMALS_LEVEL));
    if (ok)
        return object;
    json_decref(object);
    return NULL;
}

static json_t *row_object(const struct tt_length *first, const struct tt_length *second)
{
    json_t *object = json_object();
    bool ok =
        tt_json_put(object, "first", side_object(first)) && tt_json_put(object, "second", side_object(second)) &&
        tt_json_put(object, "difference_s", tt_json_number(difference_s(first, second), TT_DECIMALS_SECONDS)) &&
        tt_json_put(object, "difference_percent", tt_json_number(difference_percent(first, second), TT_DECIMALS_LEVEL));
    if (ok)
        return object;
    json_decref(object);
    return NULL;
}

bool tt_lengths_json(const struct tt_lengths *lengths, struct tt_text *out, struct tt_error *err)
{
    json_t *object = json_object(), *sessions = json_array(), *rows = json_array();
    bool ok = object && sessions && rows;
    for (int s = 0; ok && s < 2; s++)
        ok = tt_json_push(sessions, json_pack("{s:o,s:o}", "session", tt_json_utf8(lengths->sides[s].name),
                                              "out_folder", tt_json_utf8(lengths->sides[s].out)));
    for (size_t i = 0; ok && i < lengths->row_count; i++)
        ok = tt_json_push(rows, row_object(tt_lengths_at(lengths, i, 0), tt_lengths_at(lengths, i, 1)));
    ok = tt_json_put(object, "program", tt_json_program()) && tt_json_put(object, "sessions", sessions) &&
         tt_json_put(object, "by", json_string(lengths->is_by_piece ? "piece" : "take")) &&
         tt_json_put(object, "matched_by", json_string(lengths->is_by_name ? "name" : "place")) &&
         tt_json_put(object, "rows", rows) &&
         tt_json_put(object, "all", row_object(&lengths->sides[0].whole, &lengths->sides[1].whole)) && ok;
    ok = ok ? tt_json_add_text(object, TT_DIGITS_SHORT, out, err) : tt_fail_memory(err);
    json_decref(object);
    return ok;
}
