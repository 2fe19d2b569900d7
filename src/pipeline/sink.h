/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_PIPELINE_SINK_H
#define TT_PIPELINE_SINK_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"

/* Takes the next samples of a stream. */
typedef bool (*tt_sink)(void *context, const float *samples, size_t count, struct tt_error *err);

#endif
