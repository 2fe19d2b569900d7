/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/palette.h"

#include <math.h>

#include "base/units.h"
#include "report/html.h"

/* Ink and paper: L*, hue in degrees. Own choice, fitted to the colours of the pages. */
static const double ink_hue = 38, paper_hue = 88, paper_chroma = 5, most_chroma = 42;
static const double light_ink = 16, light_paper = 96, dark_ink = 92, dark_paper = 10;

static double from_lab(double t) { return t > 6.0 / 29 ? t * t * t : 3 * 36.0 / 841 * (t - 4.0 / 29); }
/* IEC 61966-2-1 */
static double encode(double linear)
{
    double c = fmin(fmax(linear, 0), 1);
    return c <= 0.0031308 ? 12.92 * c : 1.055 * pow(c, 1 / 2.4) - 0.055;
}

void tt_palette_stop(bool is_dark, int stop, double rgb[3])
{
    double share = (double)stop / (TT_PALETTE_STOPS - 1);
    double lightness =
        is_dark ? dark_ink + (dark_paper - dark_ink) * share : light_ink + (light_paper - light_ink) * share;
    double hue =
        (is_dark ? paper_hue + (ink_hue - paper_hue) * share : ink_hue + (paper_hue - ink_hue) * share) * TT_PI / 180;
    double chroma = paper_chroma + (most_chroma - paper_chroma) * sin(TT_PI * share);
    double fy = (lightness + 16) / 116, fx = fy + chroma * cos(hue) / 500, fz = fy - chroma * sin(hue) / 200;
    double x = 0.95047 * from_lab(fx), y = from_lab(fy), z = 1.08883 * from_lab(fz); /* D65, 2 degrees */
    rgb[0] = encode(3.2404542 * x - 1.5371385 * y - 0.4985314 * z);
    rgb[1] = encode(-0.9692660 * x + 1.8760108 * y + 0.0415560 * z);
    rgb[2] = encode(0.0556434 * x - 0.2040259 * y + 1.0572252 * z);
}

static void add_filter(struct tt_text *out, bool is_dark)
{
    tt_text_addf(out, "<filter id=\"%s\" color-interpolation-filters=\"sRGB\"><feComponentTransfer>",
                 is_dark ? "tint-dark" : "tint");
    for (int channel = 0; channel < 3; channel++) {
        tt_text_addf(out, "<feFunc%c type=\"table\" tableValues=\"", "RGB"[channel]);
        for (int stop = 0; stop < TT_PALETTE_STOPS; stop++) {
            double rgb[3];
            tt_palette_stop(is_dark, stop, rgb);
            if (stop > 0)
                tt_text_add(out, " ");
            tt_html_exact(out, rgb[channel], 4);
        }
        tt_text_add(out, "\"/>");
    }
    tt_text_add(out, "</feComponentTransfer></filter>");
}

void tt_palette_filters(struct tt_text *out)
{
    tt_text_add(out, "<svg class=\"symbols\" aria-hidden=\"true\" focusable=\"false\">");
    add_filter(out, false);
    add_filter(out, true);
    tt_text_add(out, "</svg>\n");
}
