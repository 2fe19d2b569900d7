/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_SESSION_TAKES_NONE_H
#define TT_SESSION_TAKES_NONE_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"

/* The error for a folder in which no takes lie; it names a sub-folder where some do. */
bool tt_takes_fail_none(const char *folder, size_t other_files, struct tt_error *err);

#endif
