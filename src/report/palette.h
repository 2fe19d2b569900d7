/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Colours of the spectrograms: from paper to ink by even steps of lightness. */
#ifndef TT_REPORT_PALETTE_H
#define TT_REPORT_PALETTE_H

#include <stdbool.h>

#include "base/text.h"

enum { TT_PALETTE_STOPS = 17 };

/* sRGB, 0..1, of stop 0 (a sound at the top of the scale) to TT_PALETTE_STOPS - 1 (nothing). Construction: CIE 1976
 * L*a*b* under D65; lightness in even steps from ink to paper, hue in even steps from a red brown to wax, chroma as
 * half a sine wave over a little of the paper's, so that both ends are calm. In the dark, ink is light and paper dark,
 * and the hues are the same. */
void tt_palette_stop(bool is_dark, int stop, double rgb[3]);
/* Two SVG filters, "tint" and "tint-dark", that colour the grey pictures. */
void tt_palette_filters(struct tt_text *out);

#endif
