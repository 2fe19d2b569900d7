/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "cli/progress.h"

#include <stdio.h>
#include <unistd.h>

#include "cli/command.h"

enum { CELLS = 24, TAKE_COLUMNS = 22 };
static const double redraw_s = 0.1;
static const double least_share = 0.02; /* before it nothing can be said of how long it takes */

static double seconds_since(const struct timespec *then)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)(now.tv_sec - then->tv_sec) + (double)(now.tv_nsec - then->tv_nsec) / 1e9;
}

static void clear_bar(struct tt_progress *progress)
{
    if (progress->has_bar)
        fprintf(stderr, "\r\033[K");
    progress->has_bar = false;
}

static void draw_bar(struct tt_progress *progress, double share, const char *take, const char *what)
{
    int filled = (int)(share * CELLS + 0.5);
    fprintf(stderr, "\r\033[K");
    for (int i = 0; i < CELLS; i++)
        fputc(i < filled ? '=' : '.', stderr);
    double gone = seconds_since(&progress->started), left = share > least_share ? gone * (1 - share) / share : 0;
    fprintf(stderr, " %3.0f %%", 100 * share);
    if (share > least_share)
        fprintf(stderr, "  %d:%02d left", (int)(left / 60), (int)left % 60);
    fprintf(stderr, "  %s ", what ? what : "");
    tt_print_plain(stderr, take ? take : "", TAKE_COLUMNS);
    fflush(stderr);
    progress->has_bar = true;
}

static bool on_progress(void *context, double share, const char *take, const char *what)
{
    struct tt_progress *progress = context;
    if (*progress->was_interrupted)
        return false;
    if (progress->is_quiet)
        return true;
    if (progress->is_terminal && seconds_since(&progress->last) > redraw_s) {
        clock_gettime(CLOCK_MONOTONIC, &progress->last);
        draw_bar(progress, share, take, what);
    }
    return true;
}

static void on_take_done(void *context, const char *take, const char *what)
{
    struct tt_progress *progress = context;
    if (progress->is_quiet || progress->is_terminal)
        return;
    fprintf(stderr, "%s ", what);
    tt_print_plain(stderr, take, 60);
    fputc('\n', stderr);
}

static void on_note(void *context, const char *line)
{
    clear_bar(context);
    tt_complain(line);
}

struct tt_progress tt_progress_begin(bool is_quiet, const volatile sig_atomic_t *was_interrupted)
{
    struct tt_progress progress = {
        .is_terminal = isatty(STDERR_FILENO), .is_quiet = is_quiet, .was_interrupted = was_interrupted};
    clock_gettime(CLOCK_MONOTONIC, &progress.started);
    return progress;
}

struct tt_clean_watcher tt_progress_watcher(struct tt_progress *progress)
{
    return (struct tt_clean_watcher){
        .context = progress, .progress = on_progress, .take_done = on_take_done, .note = on_note};
}

void tt_progress_end(struct tt_progress *progress) { clear_bar(progress); }
