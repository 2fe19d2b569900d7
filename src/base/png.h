/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A grey picture, row by row, whole or not at all (PNG, ISO/IEC 15948; libpng). */
#ifndef TT_BASE_PNG_H
#define TT_BASE_PNG_H

#include <stdbool.h>
#include <stdint.h>

#include "base/fail.h"

struct tt_png;
/* width bytes a row, 0 black to 255 white. */
struct tt_png *tt_png_open(const char *path, uint32_t width, uint32_t height, struct tt_error *err);
bool tt_png_add_row(struct tt_png *png, const uint8_t *row, struct tt_error *err);
/* height rows must have come. Destroys it, also on failure. */
bool tt_png_commit(struct tt_png *png, struct tt_error *err);
void tt_png_abandon(struct tt_png *png); /* NULL is fine */

#endif
