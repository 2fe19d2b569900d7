/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Room beside speech that a cut never enters, by how far the voice stands over the room: what 0.1 % of edges need,
 * measured on 1600 phrases a noise level (before / after a run: 120/120 ms at 30 dB, 120/200 at 20 dB, 160/300 at 10
 * dB). */
#ifndef TT_SHEET_WORD_GUARDS_H
#define TT_SHEET_WORD_GUARDS_H

static inline double word_guard_before_ms(double over_floor_db) { return over_floor_db >= 18 ? 120 : 160; }
static inline double word_guard_after_ms(double over_floor_db)
{
    return over_floor_db >= 27 ? 130 : over_floor_db >= 18 ? 200 : 300;
}

#endif
