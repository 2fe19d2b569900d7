/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Bringing the program's decisions and a person's into one sheet. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/grow.h"
#include "sheet/row_id.h"
#include "sheet/sheet.h"
#include "sheet/sheet_rows.h"

/* Shorter rests decide nothing that could be heard; two gaps nearer than this are one decision, moved. */
enum { REST_LEAST_MS = 20, SAME_GAP_MS = 1000 };

static bool can_stand_together(enum tt_row_kind a, enum tt_row_kind b)
{
    return row_kind_is_point(a) || row_kind_is_point(b) || (a == TT_ROW_PAUSE && row_kind_is_sound(b)) ||
           (b == TT_ROW_PAUSE && row_kind_is_sound(a));
}

/* A reading or talk that stays still has its pauses shortened and its breaths softened, as any other line: neither
 * takes anything from the other, whichever comes first (rows are written in the order of their times, so the order in
 * which a person gave them is soon lost). To leave a part alone altogether there is kind other, action keep. */
static bool leaves_alone(const struct tt_row *speech, const struct tt_row *row)
{
    bool is_speech = speech->kind == TT_ROW_MISREAD || speech->kind == TT_ROW_TALK;
    return is_speech && speech->action != TT_DO_CUT && (row->kind == TT_ROW_PAUSE || row_kind_is_sound(row->kind));
}

static int64_t overlap_ms(const struct tt_row *a, const struct tt_row *b)
{
    int64_t start = a->start_ms > b->start_ms ? a->start_ms : b->start_ms,
            end = a->end_ms < b->end_ms ? a->end_ms : b->end_ms;
    return end > start ? end - start : 0;
}

/* What is left of a row; grows as cuts fall apart. */
struct rests {
    struct tt_span *spans;
    size_t count, capacity;
};

static bool add_rest(struct rests *rests, int64_t start_ms, int64_t end_ms, struct tt_error *err)
{
    struct tt_span *spans = tt_grow(rests->spans, rests->count, &rests->capacity, sizeof *spans, err);
    if (!spans)
        return false;
    rests->spans = spans;
    rests->spans[rests->count++] = (struct tt_span){start_ms, end_ms};
    return true;
}

/* Takes [start, end) out of every rest. A cut keeps both sides, others the larger one. */
static bool take_out(struct rests *rests, const struct tt_row *winner, bool keeps_both, struct tt_error *err)
{
    size_t count = rests->count, kept = 0;
    for (size_t i = 0; i < count; i++) {
        struct tt_span *span = &rests->spans[i];
        int64_t left_end = winner->start_ms, right_start = winner->end_ms, end = span->end_ms;
        if (right_start <= span->start_ms || left_end >= end)
            continue;
        int64_t left = left_end - span->start_ms, right = end - right_start;
        bool has_left = left > 0 && (keeps_both || left >= right), has_right = right > 0 && !(has_left && !keeps_both);
        if (has_left)
            span->end_ms = left_end;
        else if (has_right)
            span->start_ms = right_start;
        else
            span->end_ms = span->start_ms;
        if (has_left && has_right && !add_rest(rests, right_start, end, err))
            return false;
    }
    for (size_t i = 0; i < rests->count; i++)
        if (rests->spans[i].end_ms - rests->spans[i].start_ms >= REST_LEAST_MS)
            rests->spans[kept++] = rests->spans[i];
    rests->count = kept;
    return true;
}

/* What rows[from..to) of a person leave of the row; *is_whole when they do not touch it. */
static bool find_rests(const struct tt_sheet *sheet, const struct tt_row *row, size_t from, struct rests *rests,
                       bool *is_whole, struct tt_error *err)
{
    *is_whole = true;
    rests->count = 0;
    if (!add_rest(rests, row->start_ms, row->end_ms, err))
        return false;
    for (size_t i = from; i < sheet->count && rests->count; i++) {
        const struct tt_row *winner = &sheet->rows[i];
        if (!winner->is_persons || can_stand_together(row->kind, winner->kind) || leaves_alone(winner, row) ||
            leaves_alone(row, winner) || overlap_ms(row, winner) == 0)
            continue;
        *is_whole = false;
        if (!take_out(rests, winner, row->action == TT_DO_CUT, err))
            return false;
    }
    return true;
}

static bool is_within(int64_t a, int64_t b, int64_t distance) { return a - b <= distance && b - a <= distance; }

/* A rounded person's row stands for a decision whose times could have been rounded to its own. */
static bool adopt_times(struct tt_row *persons, const struct tt_row *row)
{
    int64_t step = persons->rounding_ms;
    if (!step || !is_within(persons->start_ms, row->start_ms, step) || !is_within(persons->end_ms, row->end_ms, step))
        return false;
    persons->start_ms = row->start_ms;
    persons->end_ms = row->end_ms;
    persons->rounding_ms = 0;
    return true;
}

/* Whether a person has decided on this already. */
static bool is_decided(struct tt_sheet *sheet, const struct tt_row *row)
{
    int64_t covered_ms = 0;
    for (size_t i = 0; i < sheet->count; i++) {
        struct tt_row *persons = &sheet->rows[i];
        if (!persons->is_persons || persons->kind != row->kind)
            continue;
        if (row->kind == TT_ROW_GAP && is_within(persons->start_ms, row->start_ms, SAME_GAP_MS))
            return true;
        if (row->kind == TT_ROW_LABEL && persons->start_ms == row->start_ms)
            return true;
        if (!row_kind_is_point(row->kind) && adopt_times(persons, row))
            return true;
        covered_ms += overlap_ms(persons, row);
    }
    return covered_ms > 0 && 2 * covered_ms >= row->end_ms - row->start_ms && !row_kind_is_point(row->kind);
}

bool tt_sheet_propose(struct tt_sheet *sheet, const struct tt_row *row, struct tt_error *err)
{
    if (row->start_ms < 0 || row->end_ms < row->start_ms || !tt_row_allows(row->kind, row->action))
        return tt_fail(err, TT_ERROR_INTERNAL, "%s: a row of kind %s that cannot be", sheet->take,
                       tt_row_kind_name(row->kind));
    if (is_decided(sheet, row))
        return true;
    struct rests rests = {0};
    bool is_whole, is_added = find_rests(sheet, row, 0, &rests, &is_whole, err);
    struct tt_row part = *row;
    part.is_persons = part.is_unproposed = false;
    part.rounding_ms = 0;
    part.id[0] = '\0';
    if (is_added && is_whole)
        is_added = sheet_append(sheet, &part, err);
    for (size_t i = 0; is_added && !is_whole && i < rests.count; i++) {
        part.start_ms = rests.spans[i].start_ms;
        part.end_ms = rests.spans[i].end_ms;
        is_added = sheet_append(sheet, &part, err);
    }
    free(rests.spans);
    return is_added;
}

/* Earlier rows of a person give way to later ones. Rows that fall apart are added at the end, where nothing yields to
 * them any more. */
static bool settle_persons(struct tt_sheet *sheet, struct tt_error *err)
{
    struct rests rests = {0};
    bool is_whole, is_settled = true;
    size_t count = sheet->count;
    for (size_t i = 0; is_settled && i < count; i++) {
        struct tt_row row = sheet->rows[i];
        if (!row.is_persons || row_kind_is_point(row.kind))
            continue;
        struct tt_sheet later = *sheet; /* the added rests are no rows that win */
        later.count = count;
        is_settled = find_rests(&later, &row, i + 1, &rests, &is_whole, err);
        if (!is_settled || is_whole)
            continue;
        struct tt_span first = rests.count ? rests.spans[0] : (struct tt_span){row.start_ms, row.start_ms};
        sheet->rows[i].start_ms = first.start_ms;
        sheet->rows[i].end_ms = first.end_ms;
        sheet->rows[i].rounding_ms = 0;
        row.id[0] = '\0';
        for (size_t r = 1; is_settled && r < rests.count; r++) {
            row.start_ms = rests.spans[r].start_ms;
            row.end_ms = rests.spans[r].end_ms;
            is_settled = sheet_append(sheet, &row, err);
        }
    }
    free(rests.spans);
    return is_settled;
}

/* Rows of which nothing is left: given way to others, or rounded away and of something that is not heard any more. */
static void drop_empty(struct tt_sheet *sheet)
{
    size_t kept = 0;
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        if (row->start_ms == row->end_ms && !row_kind_is_point(row->kind))
            free(row->note);
        else
            sheet->rows[kept++] = *row;
    }
    sheet->count = kept;
}

struct placed {
    struct tt_row row;
    size_t place;
};

static int compare_rows(const void *a, const void *b)
{
    const struct placed *left = a, *right = b;
    if (left->row.start_ms != right->row.start_ms)
        return left->row.start_ms < right->row.start_ms ? -1 : 1;
    if (left->row.end_ms != right->row.end_ms)
        return left->row.end_ms < right->row.end_ms ? -1 : 1;
    if (left->row.kind != right->row.kind)
        return left->row.kind < right->row.kind ? -1 : 1;
    return left->place < right->place ? -1 : left->place > right->place;
}

static bool sort_rows(struct tt_sheet *sheet, struct tt_error *err)
{
    struct placed *placed = malloc((sheet->count + 1) * sizeof *placed);
    if (!placed)
        return tt_fail_memory(err);
    for (size_t i = 0; i < sheet->count; i++)
        placed[i] = (struct placed){sheet->rows[i], i};
    qsort(placed, sheet->count, sizeof *placed, compare_rows);
    for (size_t i = 0; i < sheet->count; i++)
        sheet->rows[i] = placed[i].row;
    free(placed);
    return true;
}

/* Gives every row its id: persons' rows keep their number where they can, others get the lowest that is free. */
static void number_kind(struct tt_sheet *sheet, enum tt_row_kind kind, bool *is_taken)
{
    for (size_t i = 0; i < sheet->count; i++) {
        struct tt_row *row = &sheet->rows[i];
        struct row_id id;
        bool keeps = row->kind == kind && row->is_persons && row_id_parse(row->id, &id) &&
                     id.letter == row_id_letter(kind) && id.number > 0 && id.number <= ROW_ID_NUMBER_MOST &&
                     strcmp(id.content6, sheet->content6) == 0 && !is_taken[id.number];
        if (row->kind == kind)
            row->id[0] = '\0';
        if (!keeps)
            continue;
        is_taken[id.number] = true;
        row_id_give(row, id.number, sheet->content6);
    }
    int number = 1;
    for (size_t i = 0; i < sheet->count; i++) {
        struct tt_row *row = &sheet->rows[i];
        if (row->kind != kind || row->id[0])
            continue;
        while (number <= ROW_ID_NUMBER_MOST && is_taken[number])
            number++;
        row_id_give(row, number++, sheet->content6);
    }
}

bool tt_sheet_seal(struct tt_sheet *sheet, struct tt_error *err)
{
    if (!settle_persons(sheet, err))
        return false;
    drop_empty(sheet);
    for (size_t i = 0; i < sheet->count; i++) {
        struct tt_row *row = &sheet->rows[i];
        row->amount = nearbyint(row->amount * 1000) / 1000;
        row->confidence = nearbyint(row->confidence * 100) / 100;
    }
    bool *is_taken = malloc(ROW_ID_NUMBER_MOST + 1);
    if (!is_taken)
        return tt_fail_memory(err);
    bool is_sorted = sort_rows(sheet, err);
    for (int kind = 0; is_sorted && kind < TT_ROW_KINDS; kind++) {
        memset(is_taken, 0, ROW_ID_NUMBER_MOST + 1);
        number_kind(sheet, (enum tt_row_kind)kind, is_taken);
    }
    free(is_taken);
    return is_sorted;
}
