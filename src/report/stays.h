/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Of a line that was read several times: the reading which stays. */
#ifndef TT_REPORT_STAYS_H
#define TT_REPORT_STAYS_H

#include "report/report.h"

struct tt_stays {
    const struct tt_take_report *take; /* that it lies in; NULL: in a take that the session does not know */
    const char *take_name;             /* NULL: in the row's own take */
    struct tt_span span;
    size_t readings; /* of the line, from this one on, with the one that stays */
};

/* Follows a misread from re-read to re-read, through readings that are themselves cut, and into other takes. False when
 * its note names none. */
bool tt_stays_find(const struct tt_session_report *session, const struct tt_take_report *take, const struct tt_row *row,
                   struct tt_stays *stays);

#endif
