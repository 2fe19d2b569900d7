/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_STAGES_REREAD_WHOLES_H
#define TT_STAGES_REREAD_WHOLES_H

#include "stages/rereads.h"

/* Makes each pair as sure as the surest one that ends with it and begins later in both readings: whoever reads the end
 * of a line again reads the line again. Otherwise its first words would be left over. Where only a person
 * can tell what such a pair is, its ends are no surer if they leave its first words over. */
bool tt_reread_wholes_agree(const struct tt_phrases *phrases, struct tt_rereads *rereads, struct tt_error *err);

#endif
