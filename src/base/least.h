/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_BASE_LEAST_H
#define TT_BASE_LEAST_H

#include <stdint.h>

static inline int64_t tt_least(int64_t a, int64_t b) { return a < b ? a : b; }
static inline int64_t tt_most(int64_t a, int64_t b) { return a > b ? a : b; }

#endif
