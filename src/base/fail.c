/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/fail.h"

#include <errno.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "base/text.h"

/* A text that was cut to fit may end in half a UTF-8 character: takes that half away. */
static void drop_broken_end(char *text)
{
    size_t start = strlen(text), length = start;
    while (start > 0 && ((unsigned char)text[start - 1] & 0xC0) == 0x80)
        start--;
    if (start == 0 || (unsigned char)text[start - 1] < 0xC0)
        return;
    unsigned char lead = (unsigned char)text[start - 1];
    size_t needed = lead >= 0xF0 ? 4 : lead >= 0xE0 ? 3 : 2;
    if (length - (start - 1) < needed)
        text[start - 1] = '\0';
}

/* vsnprintf that ends with a whole character. */
static void format_cut(char *text, size_t capacity, const char *format, va_list args)
    __attribute__((format(printf, 3, 0)));
static void format_cut(char *text, size_t capacity, const char *format, va_list args)
{
    int length = vsnprintf(text, capacity, format, args);
    if (length < 0)
        text[0] = '\0';
    if (length >= 0 && (size_t)length >= capacity)
        drop_broken_end(text);
}

static void record(struct tt_error *err, enum tt_error_kind kind, const char *format, va_list args)
    __attribute__((format(printf, 3, 0)));
static void record(struct tt_error *err, enum tt_error_kind kind, const char *format, va_list args)
{
    err->kind = kind;
    err->may_pass = kind == TT_ERROR_OUTPUT || kind == TT_ERROR_MEMORY;
    format_cut(err->message, sizeof err->message, format, args);
    /* Names come out of files: a terminal must not be steered by them, and a message stays one line. */
    tt_make_one_line(err->message);
}

bool tt_fail(struct tt_error *err, enum tt_error_kind kind, const char *format, ...)
{
    if (!err || err->kind != TT_OK)
        return false;
    va_list args;
    va_start(args, format);
    record(err, kind, format, args);
    va_end(args);
    return false;
}

/* What a person can do about it. */
static const struct {
    int errno_value;
    const char *words;
} advice[] = {{EACCES, "change its permissions, or choose another place"},
              {EPERM, "change its permissions, or choose another place"},
              {EROFS, "choose another place"},
              {ENOSPC, "make room, or choose another place"},
              {EDQUOT, "make room, or choose another place"},
              {ENOENT, "look for it, and for how its name is written"},
              {EIO, "the disk or card may be failing: copy what is on it"},
              {EMFILE, "run again with -j 1"},
              {ENFILE, "close other programs, and run again"},
              {ENAMETOOLONG, "give it a shorter name"}};

static const char *advice_for(int errno_value)
{
    for (size_t i = 0; i < sizeof advice / sizeof *advice; i++)
        if (advice[i].errno_value == errno_value)
            return advice[i].words;
    return NULL;
}

bool tt_fail_errno(struct tt_error *err, enum tt_error_kind kind, int errno_value, const char *format, ...)
{
    if (!err || err->kind != TT_OK)
        return false;
    char what[sizeof err->message];
    va_list args;
    va_start(args, format);
    format_cut(what, sizeof what, format, args);
    va_end(args);
    char reason[256];
    const char *words = advice_for(errno_value);
    if (strerror_r(errno_value, reason, 128) != 0)
        snprintf(reason, sizeof reason, "error %d", errno_value);
    if (words)
        snprintf(reason + strlen(reason), sizeof reason - strlen(reason), "; %s", words);
    /* A long name must not push the reason out. */
    size_t room = sizeof err->message - strlen(reason) - sizeof ": ";
    if (strlen(what) > room) {
        what[room] = '\0';
        drop_broken_end(what);
    }
    tt_fail(err, kind, "%s: %s", what, reason);
    err->may_pass = true;
    return false;
}

bool tt_error_pass_on(const struct tt_error *error, struct tt_error *err)
{
    if (error->kind != TT_OK && err && err->kind == TT_OK)
        *err = *error;
    return error->kind == TT_OK;
}

void tt_error_context(struct tt_error *err, const char *format, ...)
{
    if (!err || err->kind == TT_OK)
        return;
    char before[sizeof err->message], behind[sizeof err->message];
    va_list args;
    va_start(args, format);
    format_cut(before, sizeof before, format, args);
    va_end(args);
    memcpy(behind, err->message, sizeof behind);
    const enum tt_error_kind kind = err->kind;
    const bool may_pass = err->may_pass;
    err->kind = TT_OK;
    tt_fail(err, kind, "%s: %s", before, behind);
    err->may_pass = may_pass;
}

bool tt_fail_memory(struct tt_error *err)
{
    return tt_fail(err, TT_ERROR_MEMORY, "out of memory; close other programs, and run again");
}

bool tt_fail_stopped(struct tt_error *err)
{
    return tt_fail(err, TT_ERROR_STOPPED, "stopped; what was finished stands, the next run goes on from there");
}
