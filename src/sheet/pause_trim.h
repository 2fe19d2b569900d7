/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Which part of a shortened pause goes. All positions are samples of the take. */
#ifndef TT_SHEET_PAUSE_TRIM_H
#define TT_SHEET_PAUSE_TRIM_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

struct part {
    int64_t start, end;
};

/* A breath, click or noise that is not cut. */
struct pause_sound {
    struct part part;
    bool is_breath;
    bool is_firm; /* a person's: stays */
};

struct pause {
    struct part part;
    int64_t stay_samples;          /* that stay of it */
    int64_t margin_before_samples; /* that stay at its start and its end, where the amount allows */
    int64_t margin_after_samples;
    int64_t margin_least_samples; /* of the first one where a sound leaves no room else */
    int64_t breath_worth_samples; /* so much more may stay to save the breath in front of the next line */
    bool is_head, is_tail;        /* of the take, or behind a cut and in front of one: what goes lies there */
    const struct part *cuts;      /* of the whole take, rising: what is out anyway does not count as staying */
    size_t cut_count;
    const struct pause_sound *sounds; /* of the whole take, rising by start */
    size_t sound_count;
};

/* False when nothing goes. What goes never begins or ends inside a sound, never holds a firm one, and is never longer
 * than asked, but at head and tail, where a sound may go whole if the margin still stays, and where the breath in front
 * of the next line goes whole, since with it too much would stay. Within that it is as long as can be, spares that
 * breath, and lies as near to the middle as can be. Needs no memory. */
bool pause_trim(const struct pause *pause, struct part *gone);

#endif
