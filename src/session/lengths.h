/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Two sessions of one script side by side, as two languages are: where the picture must hold since the other one takes
 * longer to say it. Read from what runs left. */
#ifndef TT_SESSION_LENGTHS_H
#define TT_SESSION_LENGTHS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"
#include "base/text.h"

/* A piece or a take as it is in the narration. */
struct tt_length {
    char *name;
    double length_s;
    double pace_syllables_per_s; /* NAN: too little of it to tell */
};
struct tt_length_list {
    struct tt_length *all;
    size_t count;
};

struct tt_lengths_side {
    char *out, *name;                    /* absolute; of the session */
    struct tt_length_list pieces, takes; /* running order */
    struct tt_length whole;              /* the narration, or all takes where none was written */
};

/* One line of the table: places in the lists that are compared, -1 where it stands alone. */
struct tt_lengths_row {
    long at[2];
};

struct tt_lengths {
    struct tt_lengths_side sides[2];
    bool is_by_piece; /* else by take */
    bool is_by_name;  /* else by place: their names have little in common */
    struct tt_lengths_row *rows;
    size_t row_count;
};

/* places: a session, or what a run left of one. To be freed, after a failure, too. */
bool tt_lengths_read(const char *const places[2], struct tt_lengths *lengths, struct tt_error *err);
void tt_lengths_free(struct tt_lengths *lengths);
/* What is at a row on a side; NULL where nothing is. */
const struct tt_length *tt_lengths_at(const struct tt_lengths *lengths, size_t row, int side);

/* lengths_text.c: for a person, at most 80 columns; for a spreadsheet; for a program. */
void tt_lengths_table(const struct tt_lengths *lengths, struct tt_text *out);
void tt_lengths_csv(const struct tt_lengths *lengths, struct tt_text *out);
bool tt_lengths_json(const struct tt_lengths *lengths, struct tt_text *out, struct tt_error *err);

#endif
