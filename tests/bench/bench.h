/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What `make bench` is made of. It links nothing of the program: what is measured is the command as it is installed. */
#ifndef TT_BENCH_H
#define TT_BENCH_H

#include <stdbool.h>
#include <stddef.h>
#include <sys/types.h>

/* A finished process, by the kernel's own account. */
struct cost {
    double cpu_s, wall_s, peak_mib;
};

/* Stops the program with a line on standard error. */
_Noreturn void bench_stop(const char *format, ...) __attribute__((format(printf, 1, 2)));

/* Runs a command to its end, standard output thrown away; stops the program where it fails. */
struct cost bench_run(const char *const *arguments);
/* Starts one. What it says on standard error goes behind what is in the file complaints; NULL: to where ours goes. */
pid_t bench_start(const char *const *arguments, const char *complaints);
double bench_now_s(void);
/* Removes a folder and all in it; it need not be there. */
void bench_remove(const char *folder);

/* Seconds from when a take lies in a watched folder (it is moved there) until its voice is published; the settling time
 * is taken off. */
double bench_watch(const char *tool, const char *folder, const char *take);

double bench_median(const double *values, size_t count);

/* A made narration in made room tone, 24 bit WAV. The same arguments give the same bytes on one machine. */
void bench_make_take(const char *path, double seconds, int rate_hz, int channels, unsigned number);

/* What any program for this job has to do at least, by plain library calls: read the take twice, write it once,
 * transform it there and back, measure loudness and true peak once. */
void bench_floor(const char *path, const char *out);

#endif
