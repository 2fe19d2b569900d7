/* SPDX-License-Identifier: GPL-2.0-or-later */
/* INI text, cut into sections, keys and values; what they mean is the caller's business. The rules are in settings.h.
 */
#ifndef TT_BASE_INI_H
#define TT_BASE_INI_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"

/* Called for each section header (key and value are NULL) and each key. origin is "NAME:LINE". False stops. */
typedef bool tt_ini_visit(void *context, const char *origin, const char *section, const char *key, const char *value,
                          struct tt_error *err);

bool tt_ini_parse(const char *text, size_t size, const char *origin_name, tt_ini_visit *visit, void *context,
                  struct tt_error *err);

#endif
