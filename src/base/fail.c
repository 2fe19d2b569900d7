/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/fail.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

/* Names come out of files: a terminal must not be steered by them, and a message stays one line.
 * A cut in the middle of a UTF-8 character is taken back to the character's start. */
static void make_presentable(char *message, size_t capacity)
{
    size_t length = strlen(message);
    if (length == capacity - 1) {
        size_t start = length;
        while (start > 0 && ((unsigned char)message[start - 1] & 0xC0) == 0x80) start--;
        if (start > 0 && (unsigned char)message[start - 1] >= 0xC0) {
            unsigned char lead = (unsigned char)message[start - 1];
            size_t needed = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
            if (length - (start - 1) < needed) message[start - 1] = '\0';
        }
    }
    for (unsigned char *c = (unsigned char *)message; *c; c++)
        if (*c < 0x20 || *c == 0x7F) *c = '?';
}

static void record(struct tt_error *err, enum tt_error_kind kind, const char *format, va_list args)
    __attribute__((format(printf, 3, 0)));
static void record(struct tt_error *err, enum tt_error_kind kind, const char *format, va_list args)
{
    err->kind = kind;
    if (vsnprintf(err->message, sizeof err->message, format, args) < 0) err->message[0] = '\0';
    make_presentable(err->message, sizeof err->message);
}

bool tt_fail(struct tt_error *err, enum tt_error_kind kind, const char *format, ...)
{
    if (!err || err->kind != TT_OK) return false;
    va_list args;
    va_start(args, format);
    record(err, kind, format, args);
    va_end(args);
    return false;
}

bool tt_fail_errno(struct tt_error *err, enum tt_error_kind kind, int errno_value, const char *format, ...)
{
    if (!err || err->kind != TT_OK) return false;
    char what[sizeof err->message];
    va_list args;
    va_start(args, format);
    if (vsnprintf(what, sizeof what, format, args) < 0) what[0] = '\0';
    va_end(args);
    char reason[128];
    if (strerror_r(errno_value, reason, sizeof reason) != 0) snprintf(reason, sizeof reason, "error %d", errno_value);
    /* A long name must not push the reason out. */
    int room = (int)(sizeof err->message - strlen(reason) - sizeof ": ");
    return tt_fail(err, kind, "%.*s: %s", room, what, reason);
}

void tt_error_context(struct tt_error *err, const char *format, ...)
{
    if (!err || err->kind == TT_OK) return;
    char before[sizeof err->message], behind[sizeof err->message];
    va_list args;
    va_start(args, format);
    if (vsnprintf(before, sizeof before, format, args) < 0) before[0] = '\0';
    va_end(args);
    memcpy(behind, err->message, sizeof behind);
    enum tt_error_kind kind = err->kind;
    err->kind = TT_OK;
    tt_fail(err, kind, "%s: %s", before, behind);
}

bool tt_fail_memory(struct tt_error *err)
{
    return tt_fail(err, TT_ERROR_MEMORY, "out of memory");
}
