/* SPDX-License-Identifier: GPL-2.0-or-later */
/* How all charts of a page lie in their frames, in units of the SVG; each has a height of its own. */
#ifndef TT_REPORT_CHART_FRAME_H
#define TT_REPORT_CHART_FRAME_H

enum { WIDTH = 620, LEFT = 46, RIGHT = 12, TOP = 10, BOTTOM = 28, PLOT = WIDTH - LEFT - RIGHT };

#endif
