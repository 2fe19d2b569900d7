/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What all parts of watching stand on: the clock, the words for whoever watches, the settings. */
#include <stdarg.h>
#include <stdio.h>
#include <time.h>

#include "base/text.h"
#include "session/load_settings.h"
#include "session/watch_parts.h"

double tt_watch_now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

double tt_watch_pulse_s(const struct tt_watch *watch)
{
    return watch->options->pulse_s > 0 ? watch->options->pulse_s : 1;
}

static void hand_over(void (*hear)(void *, const char *), void *context, const char *format, va_list args)
{
    char line[900];
    vsnprintf(line, sizeof line, format, args);
    tt_make_one_line(line);
    if (hear)
        hear(context, line);
}

void tt_watch_sum_up(const struct tt_watch *watch, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    hand_over(watch->words->sum_up, watch->words->context, format, args);
    va_end(args);
}

void tt_watch_note(const struct tt_watch *watch, const char *format, ...)
{
    va_list args;
    va_start(args, format);
    hand_over(watch->words->note, watch->words->context, format, args);
    va_end(args);
}

bool tt_watch_load(const struct tt_watch *watch, const char *folder, struct tt_settings *settings, struct tt_error *err)
{
    return tt_settings_load(folder, watch->options->settings_file, watch->options->target, NULL, 0, settings, NULL,
                            err);
}
