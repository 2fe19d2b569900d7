/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Errors: one value on the caller's stack, no heap, no globals. The first error wins. */
#ifndef TIDYTAKE_ERROR_H
#define TIDYTAKE_ERROR_H

#include <stdbool.h>

/* What a caller may branch on. */
enum tt_error_kind {
    TT_OK = 0,
    TT_ERROR_USAGE,   /* wrong call, settings or order file: nothing was touched */
    TT_ERROR_INPUT,   /* a recording, sheet or list that cannot be read */
    TT_ERROR_OUTPUT,  /* something could not be written; what was there before is still there */
    TT_ERROR_MEMORY,  /* out of memory */
    TT_ERROR_STOPPED, /* the caller or the user asked to stop */
    TT_ERROR_INTERNAL /* a fault of ours */
};

/* Start from {0}. The message is one line of plain text: what, where, and what to do. */
struct tt_error {
    enum tt_error_kind kind;
    char message[640];
    bool may_pass; /* the system refused something (room, rights, memory, a medium that is away): the same call may do
                      later */
};

#endif
