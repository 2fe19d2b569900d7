/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a person brings to the sheets from outside, and takes out of them. */
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "report/json_values.h"
#include "session/steps.h"

enum { MOST_CHANGES_BYTES = 64 << 20 };

/* ---- changes files ---- */

static bool any_failed(const struct tt_run_state *run)
{
    bool is_any = false;
    for (size_t i = 0; i < run->take_count; i++)
        is_any = is_any || run->takes[i].has_failed;
    return is_any;
}

/* Nothing of a file could be taken over: the wrong file as a rule. */
static bool none_taken(struct tt_run_state *run, const char *path, struct tt_error *err)
{
    const bool has_failed = any_failed(run);
    if (!run->options->may_miss_changes)
        return tt_fail(err, TT_ERROR_USAGE,
                       has_failed ? "%s: none of its rows belongs to a take that could be worked on, and takes failed; "
                                    "nothing was changed: see to those first"
                                  : "%s: none of its rows belongs to a take of this session; nothing was changed: is "
                                    "it of another session?",
                       path);
    if (!has_failed)
        tt_run_warn(run, "changes", "%s: none of its rows belongs to a take of this session", path);
    return true;
}

static bool merge_file(struct tt_run_state *run, const char *path, struct tt_error *err)
{
    char *text = NULL;
    size_t size = 0, taken_in_all = 0, rows = 0;
    bool ok = tt_file_read(path, MOST_CHANGES_BYTES, &text, &size, err);
    for (size_t i = 0; ok && i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        size_t taken = 0;
        if (!tt_take_takes_part(take))
            continue;
        int64_t duration_ms = tt_take_duration_ms(take);
        ok = tt_sheet_merge_changes(&take->sheet, text, size, path, duration_ms, &taken, &rows, err);
        take->persons_rows += taken;
        taken_in_all += taken;
    }
    free(text);
    if (ok && taken_in_all < rows && taken_in_all > 0 && !run->options->may_miss_changes)
        tt_run_warn(run, "changes",
                    "%s: %zu of its %zu rows were not taken over, since their takes failed, are left out or are not "
                    "here: keep the file, and give it again",
                    path, rows - taken_in_all, rows);
    if (ok && taken_in_all == 0)
        ok = none_taken(run, path, err);
    if (err && !ok)
        err->kind = TT_ERROR_USAGE;
    return ok;
}

bool tt_session_merge_changes(struct tt_run_state *run, struct tt_error *err)
{
    for (size_t i = 0; i < run->options->changes_count; i++)
        if (!merge_file(run, run->options->changes_files[i], err))
            return false;
    return true;
}

/* ---- rows that come back ---- */

/* A set of rows by kind and content, as their ids tell: "b2-92c4fe-1fc7" is told by b and 1fc7, since numbers move. */
enum { CHECKS = 1 << (4 * TT_CHECK_DIGITS), LETTERS = 26 };
struct row_set {
    unsigned char *bits;
};

static size_t place_of(char letter, unsigned check) { return (size_t)(letter - 'a') * CHECKS + check; }
static bool holds(const struct row_set *set, size_t place) { return set->bits[place / 8] & (1U << place % 8); }

/* Every id of this recording in a text, wherever it stands. */
static void collect_ids(struct row_set *set, const char *text, size_t size, const char *content6)
{
    enum { CONTENT = TT_CONTENT_DIGITS, CHECK = TT_CHECK_DIGITS };
    for (const char *at = text, *end = text + size; (at = memchr(at, '-', (size_t)(end - at))) != NULL; at++) {
        if (end - at < 2 + CONTENT + CHECK || strncmp(at + 1, content6, CONTENT) != 0 || at[1 + CONTENT] != '-')
            continue;
        const char *letter = at;
        while (letter > text && letter[-1] >= '0' &&
               letter[-1] <= '9') /* no isdigit: a caller's locale may know more letters than the set has places */
            letter--;
        char digits[CHECK + 1] = {0}, *rest;
        memcpy(digits, at + 2 + CONTENT, CHECK);
        unsigned long check = strtoul(digits, &rest, 16);
        if (letter == text || letter == at || letter[-1] < 'a' || letter[-1] > 'z' || rest != digits + CHECK)
            continue;
        size_t place = place_of(letter[-1], (unsigned)check);
        set->bits[place / 8] |= (unsigned char)(1U << place % 8);
    }
}

/* Rows of the program's in the new sheet that are not in `left`, and are in `before` where that is given. */
static size_t count_missing(const struct tt_sheet *sheet, const struct row_set *left, const struct row_set *before)
{
    size_t count = 0;
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        const char *check = strrchr(row->id, '-');
        if (row->is_persons || !check)
            continue;
        size_t place = place_of(row->id[0], (unsigned)strtoul(check + 1, NULL, 16));
        count += !holds(left, place) && (!before || holds(before, place));
    }
    return count;
}

size_t tt_session_brought_back(const struct tt_take *take)
{
    char *report = NULL;
    size_t size = 0, count = 0;
    struct row_set left = {calloc(LETTERS * CHECKS / 8, 1)}, before = {calloc(LETTERS * CHECKS / 8, 1)};
    if (left.bits && before.bits && take->sheet_text) {
        collect_ids(&left, take->sheet_text, take->sheet_size, take->sheet.content6);
        if (count_missing(&take->sheet, &left, NULL) > 0 && tt_file_exists(take->json_path) &&
            tt_file_read(take->json_path, TT_JSON_MOST_BYTES, &report, &size, NULL)) {
            collect_ids(&before, report, size, take->sheet.content6);
            count = count_missing(&take->sheet, &left, &before);
        }
    }
    free(report);
    free(left.bits);
    free(before.bits);
    return count;
}

void tt_session_tell_brought_back(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        if (!tt_take_takes_part(take) || take->brought_back == 0)
            continue;
        bool is_one = take->brought_back == 1;
        tt_run_warn(
            run, "brought-back",
            "%s: %zu row%s that you took out of its sheet %s back: to undo a decision, write keep as its action",
            take->file->name, take->brought_back, is_one ? "" : "s", is_one ? "is" : "are");
    }
}
