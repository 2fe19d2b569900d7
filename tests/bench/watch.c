/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <errno.h>
#include <signal.h>
#include <stdio.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "bench.h"

static const double settle_s = 1, most_s = 60, ready_s = 1;

static void pause_for(double seconds)
{
    struct timespec time = {(time_t)seconds, (long)(1e9 * (seconds - (double)(time_t)seconds))};
    while (nanosleep(&time, &time) != 0 && errno == EINTR)
        continue;
}

static void write_settings(const char *path)
{
    FILE *file = fopen(path, "w");
    if (!file || fprintf(file, "[watch]\nsettle_s = %g\n", settle_s) < 0 || fclose(file) != 0)
        bench_stop("cannot write %s", path);
}

double bench_watch(const char *tool, const char *folder, const char *take)
{
    char in[512], out[512], settings[512], said[512], arrived[600], voice[600];
    snprintf(in, sizeof in, "%s/arrive", folder);
    snprintf(out, sizeof out, "%s/watched", folder);
    snprintf(settings, sizeof settings, "%s/watch.ini", folder);
    snprintf(said, sizeof said, "%s/watch.log", folder);
    snprintf(arrived, sizeof arrived, "%s/take.wav", in);
    snprintf(voice, sizeof voice, "%s/arrive/voice/take.wav", out);
    write_settings(settings);
    if (mkdir(in, 0700) != 0)
        bench_stop("cannot make %s", in);
    const char *const arguments[] = {tool, "watch", in, "-o", out, "-s", settings, NULL};
    pid_t watcher = bench_start(arguments, said);
    pause_for(ready_s);
    /* Whole at once: as a copy that has just been closed. */
    if (rename(take, arrived) != 0)
        bench_stop("cannot move a take to %s", arrived);
    double start_s = bench_now_s(), waited_s = 0;
    while (access(voice, F_OK) != 0 && (waited_s = bench_now_s() - start_s) < most_s)
        pause_for(0.001);
    waited_s = bench_now_s() - start_s;
    kill(watcher, SIGTERM);
    while (waitpid(watcher, NULL, 0) < 0 && errno == EINTR)
        continue;
    if (waited_s >= most_s)
        bench_stop("watch published no voice within %g s; what it said is in %s", most_s, said);
    bench_remove(in);
    bench_remove(out);
    unlink(settings);
    unlink(said);
    return waited_s - settle_s;
}
