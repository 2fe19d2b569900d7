/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What phrases sound like, row by row; used by phrases.c. */
#ifndef TT_STAGES_PHRASE_ROWS_H
#define TT_STAGES_PHRASE_ROWS_H

#include "stages/phrases.h"

/* Mean and spread of all rows, by which they are brought to one measure. */
void tt_phrase_rows_measure(struct tt_phrases *phrases);
/* Writes row `row` of the session, which lies in this phrase, as a column of rows `stride` apart. */
void tt_phrase_row_make(const struct tt_phrases *phrases, const struct tt_phrase *phrase, size_t row, int16_t *out,
                        size_t stride);

/* How alike two unrelated beginnings are in this session: null_mean and null_deviation. */
bool tt_phrases_measure_chance(struct tt_phrases *phrases, struct tt_error *err);

#endif
