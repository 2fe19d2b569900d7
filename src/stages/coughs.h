/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Runs of speech that may be coughs: asked about as a noise, each once. */
#ifndef TT_STAGES_COUGHS_H
#define TT_STAGES_COUGHS_H

#include <stdbool.h>
#include <stddef.h>

#include "sheet/heard.h"
#include "stages/misread_rows.h"
#include "stages/phrases.h"

/* A cough, or a word in a whisper. */
bool tt_cough_is_hardly_voiced(const struct tt_run *run);

/* That, by itself and heard well. */
bool tt_cough_may_be(const struct tt_heard *heard, size_t run);

/* The strokes of one cough are alike: where one is asked about as a misread of another, it stays. */
void tt_cough_strokes_stay(const struct tt_phrases *phrases, struct tt_phrase_choice *choices);

#endif
