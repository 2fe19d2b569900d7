/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Filling a tt_error. */
#ifndef TT_BASE_FAIL_H
#define TT_BASE_FAIL_H

#include "tidytake/error.h"

#if defined(__GNUC__)
#define TT_PRINTF(format_at, args_at) __attribute__((format(printf, format_at, args_at)))
#else
#define TT_PRINTF(format_at, args_at)
#endif

/* Records an error unless one is recorded already; err may be NULL. Always returns false, so that
 * `return tt_fail(...)` reads well. Control characters in the text become '?': names come from files. */
bool tt_fail(struct tt_error *err, enum tt_error_kind kind, const char *format, ...) TT_PRINTF(3, 4);

/* tt_fail with ": ", the text of errno_value, and what to do about that behind. */
bool tt_fail_errno(struct tt_error *err, enum tt_error_kind kind, int errno_value, const char *format, ...)
    TT_PRINTF(4, 5);

/* Puts "text: " in front of a recorded error. */
void tt_error_context(struct tt_error *err, const char *format, ...) TT_PRINTF(2, 3);

/* What was recorded elsewhere, as in another thread, is recorded here, too, unless another error is already. True where
 * there was nothing. */
bool tt_error_pass_on(const struct tt_error *error, struct tt_error *err);

/* Shorthand for TT_ERROR_MEMORY, and for TT_ERROR_STOPPED. */
bool tt_fail_memory(struct tt_error *err);
bool tt_fail_stopped(struct tt_error *err);

#endif
