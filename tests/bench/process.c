/* SPDX-License-Identifier: GPL-2.0-or-later */
#define _XOPEN_SOURCE 700
#include <errno.h>
#include <fcntl.h>
#include <ftw.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "bench.h"

void bench_stop(const char *format, ...)
{
    va_list arguments;
    va_start(arguments, format);
    fputs("bench: ", stderr);
    vfprintf(stderr, format, arguments);
    fputc('\n', stderr);
    va_end(arguments);
    exit(2);
}

double bench_now_s(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + 1e-9 * (double)now.tv_nsec;
}

static double seconds_of(struct timeval time) { return (double)time.tv_sec + 1e-6 * (double)time.tv_usec; }

static void redirect(int stream, const char *path)
{
    const int fd = open(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
    if (fd >= 0)
        dup2(fd, stream);
}

static _Noreturn void become(const char *const *arguments, const char *complaints)
{
    redirect(STDOUT_FILENO, "/dev/null");
    if (complaints)
        redirect(STDERR_FILENO, complaints);
    char *copies[32];
    size_t count = 0;
    for (; arguments[count] && count < 31; count++)
        copies[count] = strdup(arguments[count]);
    copies[count] = NULL;
    execv(copies[0], copies);
    _exit(127);
}

pid_t bench_start(const char *const *arguments, const char *complaints)
{
    fflush(NULL);
    pid_t child = fork();
    if (child < 0)
        bench_stop("cannot start %s: %s", arguments[0], strerror(errno));
    if (child == 0)
        become(arguments, complaints);
    return child;
}

/* The peak counts what this program itself had in memory when it started the other: keep it small. */
struct cost bench_run(const char *const *arguments)
{
    double start_s = bench_now_s();
    pid_t child = bench_start(arguments, NULL);
    int status;
    struct rusage usage;
    while (wait4(child, &status, 0, &usage) < 0)
        if (errno != EINTR)
            bench_stop("cannot wait for %s: %s", arguments[0], strerror(errno));
    double end_s = bench_now_s();
    if (!WIFEXITED(status) || WEXITSTATUS(status) != 0)
        bench_stop("%s %s failed (status %d)", arguments[0], arguments[1], status);
    return (struct cost){seconds_of(usage.ru_utime) + seconds_of(usage.ru_stime), end_s - start_s,
                         (double)usage.ru_maxrss / 1024};
}

static int remove_one(const char *path, const struct stat *status, int kind, struct FTW *place)
{
    (void)status;
    (void)kind;
    (void)place;
    return remove(path);
}

void bench_remove(const char *folder) { nftw(folder, remove_one, 16, FTW_DEPTH | FTW_PHYS); }

static int by_value(const void *a, const void *b)
{
    double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

double bench_median(const double *values, size_t count)
{
    double sorted[64];
    count = count < 64 ? count : 64;
    memcpy(sorted, values, count * sizeof *sorted);
    qsort(sorted, count, sizeof *sorted, by_value);
    return count == 0 ? 0 : count % 2 ? sorted[count / 2] : (sorted[count / 2 - 1] + sorted[count / 2]) / 2;
}
