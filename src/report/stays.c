/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/stays.h"

#include <string.h>

enum { MOST_READINGS = 100 }; /* rows that a person made may go round in circles */

static const struct tt_take_report *find_take(const struct tt_session_report *session, const char *name)
{
    for (size_t i = 0; i < session->take_count; i++)
        if (strcmp(session->takes[i].name, name) == 0)
            return &session->takes[i];
    return NULL;
}

/* The misread that took this reading out: it covers half of it at least. */
static const struct tt_row *cut_over(const struct tt_take_report *take, struct tt_span span)
{
    if (!take || take->has_failed || !take->is_heard)
        return NULL;
    for (size_t i = 0; i < take->sheet->count; i++) {
        const struct tt_row *row = &take->sheet->rows[i];
        int64_t start = row->start_ms > span.start_ms ? row->start_ms : span.start_ms;
        int64_t end = row->end_ms < span.end_ms ? row->end_ms : span.end_ms;
        if (row->kind == TT_ROW_MISREAD && row->action == TT_DO_CUT && 2 * (end - start) >= span.end_ms - span.start_ms)
            return row;
    }
    return NULL;
}

bool tt_stays_find(const struct tt_session_report *session, const struct tt_take_report *take, const struct tt_row *row,
                   struct tt_stays *stays)
{
    const struct tt_take_report *where = take;
    const struct tt_row *first = row;
    struct tt_span span;
    const char *other;
    *stays = (struct tt_stays){.readings = 1};
    while (row && stays->readings < MOST_READINGS && tt_row_reread(row, &span, &other)) {
        if (other)
            where = find_take(session, other), stays->take_name = other;
        stays->span = span;
        stays->readings++;
        row = cut_over(where, span);
        if (row == first)
            break;
    }
    stays->take = where;
    if (where == take)
        stays->take_name = NULL;
    return stays->readings > 1;
}
