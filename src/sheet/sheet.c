/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The rows of a cut sheet, their words, and what they take out of the sound. */
#include "sheet/sheet.h"

#include <inttypes.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>

#include "base/grow.h"
#include "sheet/sheet_rows.h"

static const char *const kind_names[TT_ROW_KINDS] = {
    [TT_ROW_MISREAD] = "misread", [TT_ROW_TALK] = "talk",   [TT_ROW_PAUSE] = "pause",
    [TT_ROW_BREATH] = "breath",   [TT_ROW_CLICK] = "click", [TT_ROW_NOISE] = "noise",
    [TT_ROW_GAP] = "gap",         [TT_ROW_LABEL] = "label", [TT_ROW_OTHER] = "other",
};
static const char *const action_names[TT_DO_ACTIONS] = {
    [TT_DO_CUT] = "cut",         [TT_DO_ASK] = "ask",       [TT_DO_KEEP] = "keep", [TT_DO_CHOOSE] = "choose",
    [TT_DO_SHORTEN] = "shorten", [TT_DO_SOFTEN] = "soften", [TT_DO_OPEN] = "open",
};

#define CAN(action) (1u << TT_DO_##action)
static const unsigned allowed[TT_ROW_KINDS] = {
    [TT_ROW_MISREAD] = CAN(CUT) | CAN(ASK) | CAN(KEEP) | CAN(CHOOSE),
    [TT_ROW_TALK] = CAN(CUT) | CAN(ASK) | CAN(KEEP),
    [TT_ROW_PAUSE] = CAN(SHORTEN) | CAN(KEEP) | CAN(CUT),
    [TT_ROW_BREATH] = CAN(SOFTEN) | CAN(KEEP) | CAN(CUT),
    [TT_ROW_CLICK] = CAN(SOFTEN) | CAN(KEEP) | CAN(CUT),
    [TT_ROW_NOISE] = CAN(SOFTEN) | CAN(ASK) | CAN(KEEP) | CAN(CUT),
    [TT_ROW_GAP] = CAN(OPEN) | CAN(KEEP),
    [TT_ROW_LABEL] = CAN(KEEP),
    [TT_ROW_OTHER] = CAN(CUT) | CAN(KEEP),
};

const char *tt_row_kind_name(enum tt_row_kind kind) { return kind_names[kind]; }
const char *tt_row_action_name(enum tt_row_action action) { return action_names[action]; }
bool tt_row_allows(enum tt_row_kind kind, enum tt_row_action action) { return allowed[kind] >> action & 1; }

size_t row_list_kinds(const char *words[ROW_WORDS_MOST])
{
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        words[kind] = kind_names[kind];
    return TT_ROW_KINDS;
}

size_t row_list_actions(enum tt_row_kind kind, const char *words[ROW_WORDS_MOST])
{
    size_t count = 0;
    for (int action = 0; action < TT_DO_ACTIONS; action++)
        if (tt_row_allows(kind, (enum tt_row_action)action))
            words[count++] = action_names[action];
    return count;
}

static bool find_name(const char *text, const char *const *names, int count, int *found)
{
    text += strspn(text, " \t");
    for (*found = 0; *found < count; ++*found) {
        size_t length = strlen(names[*found]);
        if (strncasecmp(text, names[*found], length) == 0 && !text[length + strspn(text + length, " \t")])
            return true;
    }
    return false;
}

bool row_kind_parse(const char *text, enum tt_row_kind *kind)
{
    int found;
    if (!find_name(text, kind_names, TT_ROW_KINDS, &found))
        return false;
    *kind = (enum tt_row_kind)found;
    return true;
}

bool row_action_parse(const char *text, enum tt_row_action *action)
{
    int found;
    if (!find_name(text, action_names, TT_DO_ACTIONS, &found))
        return false;
    *action = (enum tt_row_action)found;
    return true;
}

bool row_kind_is_sound(enum tt_row_kind kind)
{
    return kind == TT_ROW_BREATH || kind == TT_ROW_CLICK || kind == TT_ROW_NOISE;
}
bool row_kind_is_point(enum tt_row_kind kind) { return kind == TT_ROW_GAP || kind == TT_ROW_LABEL; }

bool tt_sheet_start(struct tt_sheet *sheet, const char *take_name, const char *content_sha256, struct tt_error *err)
{
    *sheet = (struct tt_sheet){0};
    if (strspn(content_sha256, "0123456789abcdef") < sizeof sheet->content6 - 1)
        return tt_fail(err, TT_ERROR_INTERNAL, "%s: its content has no digest", take_name);
    memcpy(sheet->content6, content_sha256, sizeof sheet->content6 - 1);
    sheet->take = tt_copy_string(take_name);
    return sheet->take ? true : tt_fail_memory(err);
}

void sheet_shrink(struct tt_sheet *sheet, size_t count)
{
    while (sheet->count > count)
        free(sheet->rows[--sheet->count].note);
}

void tt_sheet_free(struct tt_sheet *sheet)
{
    if (!sheet)
        return;
    sheet_shrink(sheet, 0);
    free(sheet->rows);
    free(sheet->take);
    *sheet = (struct tt_sheet){0};
}

bool sheet_append(struct tt_sheet *sheet, const struct tt_row *row, struct tt_error *err)
{
    struct tt_row *rows = tt_grow(sheet->rows, sheet->count, &sheet->capacity, sizeof *rows, err);
    if (!rows)
        return false;
    sheet->rows = rows;
    struct tt_row copy = *row;
    if (!(copy.note = tt_copy_string(row->note ? row->note : "")))
        return tt_fail_memory(err);
    sheet->rows[sheet->count++] = copy;
    return true;
}

bool tt_sheet_add_persons(struct tt_sheet *sheet, const struct tt_row *row, struct tt_error *err)
{
    struct tt_row own = *row;
    own.is_persons = true;
    return sheet_append(sheet, &own, err);
}

bool tt_row_reread(const struct tt_row *row, struct tt_span *span, const char **other_take)
{
    static const char words[] = "read again ", elsewhere[] = ", in ";
    const char *at = row->note ? strstr(row->note, words) : NULL;
    char start[TT_TIME_CHARS], end[TT_TIME_CHARS];
    int length = 0;
    if (!at || sscanf(at + sizeof words - 1, "%31[0-9:.]-%31[0-9:.]%n", start, end, &length) != 2)
        return false;
    at += sizeof words - 1 + (size_t)length;
    *other_take = strncmp(at, elsewhere, sizeof elsewhere - 1) == 0 ? at + sizeof elsewhere - 1 : NULL;
    /* A full stop behind the time ends the sentence. */
    if (end[strlen(end) - 1] == '.')
        end[strlen(end) - 1] = '\0';
    return tt_time_parse(start, &span->start_ms, NULL) && tt_time_parse(end, &span->end_ms, NULL) &&
           span->start_ms < span->end_ms;
}

bool row_read_again(const struct tt_row *row, struct tt_span *span)
{
    const char *other_take;
    return tt_row_reread(row, span, &other_take) && !other_take;
}

void row_amount_format(const struct tt_row *row, char *text, size_t capacity)
{
    text[0] = '\0';
    if (isnan(row->amount))
        return;
    long long thousandths = llround(row->amount * 1000);
    bool is_seconds = row->kind == TT_ROW_PAUSE || row->kind == TT_ROW_GAP;
    if (is_seconds || thousandths % 100)
        snprintf(text, capacity, "%lld.%03lld", thousandths / 1000, thousandths % 1000);
    else
        snprintf(text, capacity, "%lld.%lld", thousandths / 1000, thousandths % 1000 / 100);
}

/* Sounds that stay or are softened count as well: a shortened pause goes around them, and never takes a person's. */
static bool changes_sound(const struct tt_row *row)
{
    return row_kind_is_sound(row->kind) || row->action == TT_DO_CUT || row->action == TT_DO_SHORTEN ||
           row->action == TT_DO_OPEN || row->action == TT_DO_CHOOSE;
}

void tt_sheet_render_text(const struct tt_sheet *sheet, struct tt_text *out)
{
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        struct tt_span again;
        char amount[32];
        if (!changes_sound(row))
            continue;
        row_amount_format(row, amount, sizeof amount);
        tt_text_addf(out, "%" PRId64 " %" PRId64 " %s %s %s%s", row->start_ms, row->end_ms, tt_row_kind_name(row->kind),
                     tt_row_action_name(row->action), amount,
                     row_kind_is_sound(row->kind) && row->is_persons ? " me" : "");
        if (row->action == TT_DO_CHOOSE && row_read_again(row, &again))
            tt_text_addf(out, " %" PRId64 " %" PRId64, again.start_ms, again.end_ms);
        tt_text_add(out, "\n");
    }
}

static int compare_spans(const void *a, const void *b)
{
    const struct tt_span *left = a, *right = b;
    if (left->start_ms != right->start_ms)
        return left->start_ms < right->start_ms ? -1 : 1;
    return (left->end_ms > right->end_ms) - (left->end_ms < right->end_ms);
}

bool tt_sheet_cut_spans(const struct tt_sheet *sheet, struct tt_span **spans, size_t *count, struct tt_error *err)
{
    *count = 0;
    *spans = malloc((sheet->count + 1) * sizeof **spans);
    if (!*spans)
        return tt_fail_memory(err);
    size_t found = 0;
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        struct tt_span span = {row->start_ms, row->end_ms};
        bool is_out = row->action == TT_DO_CUT && row->kind != TT_ROW_PAUSE;
        if (row->action == TT_DO_CHOOSE)
            is_out = row_read_again(row, &span);
        if (is_out && span.start_ms < span.end_ms)
            (*spans)[found++] = span;
    }
    qsort(*spans, found, sizeof **spans, compare_spans);
    for (size_t i = 0; i < found; i++) {
        struct tt_span *last = *count ? &(*spans)[*count - 1] : NULL;
        if (last && (*spans)[i].start_ms <= last->end_ms) {
            if ((*spans)[i].end_ms > last->end_ms)
                last->end_ms = (*spans)[i].end_ms;
        } else
            (*spans)[(*count)++] = (*spans)[i];
    }
    return true;
}
