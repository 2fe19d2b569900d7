/* SPDX-License-Identifier: GPL-2.0-or-later */
/* usage: bench TIDYTAKE [PART...]. Times the command on made takes, in turn with the least that any such program has to
 * do (the floor), and prints medians. What counts is the ratio of processor times of one round: it stands still when
 * the machine does not. TIDYTAKE_LONG_BENCH=1 adds ten hours, and an hour of 96 kHz stereo. Rounds end when some
 * TIDYTAKE_BENCH_SECONDS (240) are over. Parts by name (minute, ten-minutes, stages, watch, many, hour, stereo,
 * ten-hours) are measured alone, the long ones, too. */
#define _XOPEN_SOURCE 700
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "bench.h"

enum {
    ROUNDS_MOST = 16,
    WAYS = 5,
    HOUR_S = 3600,
    LONGEST_S = 10 * HOUR_S,
    SHORT_TAKES = 200,
    SHORT_TAKES_LONG = 1000,
    SHORT_S = 5
};

/* One way to run the command: the arguments after its common ones. */
struct way {
    const char *name;
    const char *arguments[12];
};

#define BARE "--set", "deliver.narration=no", "--set", "report.page=no", "--set", "report.pictures=no"
static const struct way ways[WAYS] = {
    {"floor", {NULL}},
    {"hear, decide (--plan)", {BARE, "--plan"}},
    {"clean", {BARE}},
    {"clean with page", {"--set", "deliver.narration=no"}},
    {"clean with narration", {"--set", "report.page=no", "--set", "report.pictures=no"}},
};
enum { FLOOR, HEAR, CLEAN };

struct bench {
    const char *self, *tool;
    char folder[256];
    double start_s, most_s;
    bool is_long;
    double hour; /* of the floor; 0: not measured */
};

/* ---- takes ---- */

static void path_of(const struct bench *bench, char *path, size_t size, const char *name)
{
    if ((size_t)snprintf(path, size, "%s/%s", bench->folder, name) >= size)
        bench_stop("the temporary folder's name is too long");
}

/* In a process of its own, so that this one stays small. */
static void make_take(const struct bench *bench, const char *path, double seconds, int rate_hz, int channels,
                      unsigned number)
{
    char digits[4][32];
    snprintf(digits[0], sizeof digits[0], "%.3f", seconds);
    snprintf(digits[1], sizeof digits[1], "%d", rate_hz);
    snprintf(digits[2], sizeof digits[2], "%d", channels);
    snprintf(digits[3], sizeof digits[3], "%u", number);
    const char *const arguments[] = {bench->self, "make", path, digits[0], digits[1], digits[2], digits[3], NULL};
    bench_run(arguments);
}

/* Works in the folder out, and leaves it. */
static struct cost run_over(const struct bench *bench, const char *source, const char *jobs, const struct way *way)
{
    char out[512];
    path_of(bench, out, sizeof out, "out");
    const char *arguments[24] = {bench->tool, "clean", source, "-o", out, "-q", "-j", jobs};
    for (size_t i = 0, at = 8; i < sizeof way->arguments / sizeof *way->arguments && way->arguments[i]; i++)
        arguments[at++] = way->arguments[i];
    return bench_run(arguments);
}

static struct cost run_tool(const struct bench *bench, const char *source, const char *jobs, const struct way *way)
{
    char out[512];
    path_of(bench, out, sizeof out, "out");
    bench_remove(out);
    struct cost cost = run_over(bench, source, jobs, way);
    bench_remove(out);
    return cost;
}

static struct cost run_floor(const struct bench *bench, const char *take)
{
    char out[512];
    path_of(bench, out, sizeof out, "floor.wav");
    const char *const arguments[] = {bench->self, "floor", take, out, NULL};
    struct cost cost = bench_run(arguments);
    unlink(out);
    return cost;
}

/* ---- what was measured ---- */

struct series {
    double cpu_s[ROUNDS_MOST], wall_s[ROUNDS_MOST], peak_mib[ROUNDS_MOST];
    size_t count;
};

static void keep(struct series *series, struct cost cost)
{
    series->cpu_s[series->count] = cost.cpu_s;
    series->wall_s[series->count] = cost.wall_s;
    series->peak_mib[series->count++] = cost.peak_mib;
}

/* Round by round, then the median. */
static double median_ratio(const double *above, const double *below, size_t count)
{
    double ratios[ROUNDS_MOST];
    for (size_t i = 0; i < count; i++)
        ratios[i] = above[i] / below[i];
    return bench_median(ratios, count);
}

static bool is_time_left(const struct bench *bench, double round_s)
{
    return bench->is_long || bench_now_s() - bench->start_s + round_s < bench->most_s;
}

/* Whole-chain cost an hour of sound, in floors. */
static double measure_length(const struct bench *bench, const char *name, double seconds, int rate_hz, int channels,
                             size_t rounds)
{
    char take[512];
    path_of(bench, take, sizeof take, "take.wav");
    make_take(bench, take, seconds, rate_hz, channels, 1);
    struct series series[WAYS] = {{.count = 0}};
    double round_s = 0;
    for (size_t round = 0; round < rounds && (round == 0 || is_time_left(bench, round_s)); round++) {
        double start_s = bench_now_s();
        for (int way = 0; way < WAYS; way++)
            if (way <= CLEAN ||
                (seconds < LONGEST_S &&
                 is_time_left(bench, bench_now_s() - start_s))) /* of a long take at least what is asked first */
                keep(&series[way], way == FLOOR ? run_floor(bench, take) : run_tool(bench, take, "1", &ways[way]));
        round_s = bench_now_s() - start_s;
    }
    unlink(take);
    printf("\n%s, %zu round%s   CPU s/h  / floor  wall s  x real time  peak MiB\n", name, series[0].count,
           series[0].count == 1 ? " " : "s");
    for (int way = 0; way < WAYS; way++) {
        const struct series *s = &series[way];
        if (s->count == 0)
            continue;
        double cpu_s = bench_median(s->cpu_s, s->count), wall_s = bench_median(s->wall_s, s->count);
        printf("  %-30s %8.2f %8.2f %7.2f %12.0f %9.1f\n", ways[way].name, cpu_s * 3600 / seconds,
               median_ratio(s->cpu_s, series[FLOOR].cpu_s, s->count), wall_s, seconds / cpu_s,
               bench_median(s->peak_mib, s->count));
    }
    double rest =
        bench_median(series[CLEAN].cpu_s, series[CLEAN].count) - bench_median(series[HEAR].cpu_s, series[HEAR].count);
    printf("  %-30s %8.2f %8.2f\n", "rendering (clean less --plan)", rest * 3600 / seconds,
           rest / bench_median(series[FLOOR].cpu_s, series[FLOOR].count));
    fflush(stdout);
    return median_ratio(series[CLEAN].cpu_s, series[FLOOR].cpu_s, series[CLEAN].count);
}

/* ---- where the time goes ---- */

/* What a stage costs is what a run without it saves. */
static const struct way without[] = {
    {"  rumble filter (in both passes)", {BARE, "--set", "take.highpass_hz=0"}},
    {"  hum found and taken out", {BARE, "--set", "gate.hum=off"}},
    {"  misreads, talk", {BARE, "--set", "misreads.action=off", "--set", "misreads.talk=off"}},
    {"  gate", {BARE, "--set", "gate.depth_db=0"}},
    {"  limiter, where it acts", {BARE, "--set", "loudness.target_lufs=-36"}},
};
enum { PARTS = sizeof without / sizeof *without };

static void print_part(const char *name, double cpu_s, double seconds, double clean_s)
{
    printf("  %-34s %8.2f %6.0f %%\n", name, cpu_s * 3600 / seconds, 100 * cpu_s / clean_s);
}

static void measure_parts(const struct bench *bench, double seconds, size_t rounds)
{
    char take[512];
    path_of(bench, take, sizeof take, "take.wav");
    make_take(bench, take, seconds, 48000, 1, 1);
    double clean_s[ROUNDS_MOST], again_s[ROUNDS_MOST], hear_s[ROUNDS_MOST], render_s[ROUNDS_MOST],
        saved_s[PARTS][ROUNDS_MOST];
    for (size_t round = 0; round < rounds; round++) {
        char out[512];
        path_of(bench, out, sizeof out, "out");
        bench_remove(out);
        clean_s[round] = run_over(bench, take, "1", &ways[CLEAN]).cpu_s;
        again_s[round] = run_over(bench, take, "1", &ways[CLEAN]).cpu_s;
        double plan_s = run_tool(bench, take, "1", &ways[HEAR]).cpu_s;
        hear_s[round] = plan_s - again_s[round];
        render_s[round] = clean_s[round] - plan_s;
        for (int part = 0; part < PARTS; part++)
            saved_s[part][round] = clean_s[round] - run_tool(bench, take, "1", &without[part]).cpu_s;
    }
    unlink(take);
    double all_s = bench_median(clean_s, rounds);
    printf("\n%.0f min by pass and stage, %zu rounds   CPU s/h  of clean\n", seconds / 60, rounds);
    print_part("start, digest of the take", bench_median(again_s, rounds), seconds, all_s);
    print_part("hear, decide", bench_median(hear_s, rounds), seconds, all_s);
    print_part("render, deliver", bench_median(render_s, rounds), seconds, all_s);
    for (int part = 0; part < PARTS; part++)
        print_part(without[part].name, bench_median(saved_s[part], rounds), seconds, all_s);
    fflush(stdout);
}

/* ---- from closed to published ---- */

static void measure_watch(const struct bench *bench, size_t rounds)
{
    double waited_s[ROUNDS_MOST];
    char take[512];
    path_of(bench, take, sizeof take, "take.wav");
    for (size_t round = 0; round < rounds; round++) {
        make_take(bench, take, 60, 48000, 1, 1);
        waited_s[round] = bench_watch(bench->tool, bench->folder, take);
    }
    printf("\nwatch: take of 60 s to voice, %zu rounds  %6.3f s  (settle time taken off)\n", rounds,
           bench_median(waited_s, rounds));
    fflush(stdout);
}

/* ---- many takes, two jobs, start-up ---- */

static unsigned short_takes(const struct bench *bench) { return bench->is_long ? SHORT_TAKES_LONG : SHORT_TAKES; }

static void make_short_takes(const struct bench *bench, char *session, size_t size)
{
    path_of(bench, session, size, "session");
    if (mkdir(session, 0700) != 0)
        bench_stop("cannot make %s", session);
    for (unsigned i = 0; i < short_takes(bench); i++) {
        char path[600];
        snprintf(path, sizeof path, "%s/%04u.wav", session, i + 1);
        make_take(bench, path, SHORT_S, 48000, 1, i + 2);
    }
}

static void measure_many(const struct bench *bench, size_t rounds)
{
    char session[512], take[512], first[600];
    make_short_takes(bench, session, sizeof session);
    path_of(bench, take, sizeof take, "take.wav");
    make_take(bench, take, short_takes(bench) * SHORT_S, 48000, 1, 1);
    snprintf(first, sizeof first, "%s/0001.wav", session);
    struct series many[2] = {{.count = 0}}, one[2] = {{.count = 0}}, start = {.count = 0};
    double round_s = 0;
    for (size_t round = 0; round < rounds && (round == 0 || is_time_left(bench, round_s)); round++) {
        double start_s = bench_now_s();
        for (int jobs = 0; jobs < 2; jobs++) {
            keep(&many[jobs], run_tool(bench, session, jobs ? "2" : "1", &ways[CLEAN]));
            keep(&one[jobs], run_tool(bench, take, jobs ? "2" : "1", &ways[CLEAN]));
        }
        keep(&start, run_tool(bench, first, "1", &ways[CLEAN]));
        round_s = bench_now_s() - start_s;
    }
    bench_remove(session);
    unlink(take);
    size_t count = start.count;
    printf("\n%u takes of %d s, one take as long, %zu round%s; %ld processors\n", short_takes(bench), SHORT_S, count,
           count == 1 ? "" : "s", sysconf(_SC_NPROCESSORS_ONLN));
    printf("  CPU, many / one (-j 1)             %6.2f   (%.2f s / %.2f s)\n",
           median_ratio(many[0].cpu_s, one[0].cpu_s, count), bench_median(many[0].cpu_s, count),
           bench_median(one[0].cpu_s, count));
    printf("  wall, -j 1 / -j 2, many takes      %6.2f\n", median_ratio(many[0].wall_s, many[1].wall_s, count));
    printf("  wall, -j 1 / -j 2, one take        %6.2f\n", median_ratio(one[0].wall_s, one[1].wall_s, count));
    printf("  peak of many takes, -j 1, -j 2     %6.1f %6.1f MiB\n", bench_median(many[0].peak_mib, count),
           bench_median(many[1].peak_mib, count));
    printf("  one take of %d s: wall, CPU         %6.3f %6.3f s\n", SHORT_S, bench_median(start.wall_s, count),
           bench_median(start.cpu_s, count));
    fflush(stdout);
}

/* ---- parts ---- */

static void measure_minute(struct bench *bench) { measure_length(bench, "1 min          ", 60, 48000, 1, 7); }
static void measure_ten_minutes(struct bench *bench) { measure_length(bench, "10 min         ", 600, 48000, 1, 5); }
static void measure_stages(struct bench *bench) { measure_parts(bench, 600, 3); }
static void measure_arrival(struct bench *bench) { measure_watch(bench, 5); }
static void measure_short_takes(struct bench *bench) { measure_many(bench, 3); }
static void measure_hour(struct bench *bench)
{
    bench->hour = measure_length(bench, "1 h            ", HOUR_S, 48000, 1, bench->is_long ? 3 : 2);
}
static void measure_stereo(struct bench *bench) { measure_length(bench, "1 h 96k stereo ", HOUR_S, 96000, 2, 1); }

static void measure_ten_hours(struct bench *bench)
{
    const double ten = measure_length(bench, "10 h           ", LONGEST_S, 48000, 1, 1);
    if (bench->hour > 0)
        printf("\ncost an hour, 10 h / 1 h, in floors  %6.3f\n", ten / bench->hour);
}

struct part {
    const char *name;
    void (*measure)(struct bench *bench);
    bool is_long;
};
static const struct part parts[] = {
    {"minute", measure_minute, false}, {"ten-minutes", measure_ten_minutes, false}, {"stages", measure_stages, false},
    {"watch", measure_arrival, false}, {"many", measure_short_takes, false},        {"hour", measure_hour, false},
    {"stereo", measure_stereo, true},  {"ten-hours", measure_ten_hours, true},
};
enum { PART_COUNT = sizeof parts / sizeof *parts };

static bool is_named(const struct part *part, char **names)
{
    while (*names && strcmp(*names, part->name) != 0)
        names++;
    return *names != NULL;
}

static void run_parts(struct bench *bench, char **names)
{
    printf("Medians; CPU is user and system time. The floor: the take read twice and\n"
           "written once, transformed there and back, loudness and true peak once,\n"
           "by plain calls of libsndfile, FFTW and libebur128.\n");
    for (size_t i = 0; i < PART_COUNT; i++)
        if (names[0] ? is_named(&parts[i], names) : !parts[i].is_long || bench->is_long)
            parts[i].measure(bench);
}

/* What the bench asks of itself, as a process of its own; false: nothing of the kind. */
static bool make_or_floor(int count, char **arguments)
{
    if (count == 7 && strcmp(arguments[1], "make") == 0)
        bench_make_take(arguments[2], strtod(arguments[3], NULL), atoi(arguments[4]), atoi(arguments[5]),
                        (unsigned)atoi(arguments[6]));
    else if (count == 4 && strcmp(arguments[1], "floor") == 0)
        bench_floor(arguments[2], arguments[3]);
    else
        return false;
    return true;
}

int main(int count, char **arguments)
{
    if (make_or_floor(count, arguments))
        return 0;
    if (count < 2)
        bench_stop("usage: bench TIDYTAKE [PART...]");
    const char *long_bench = getenv("TIDYTAKE_LONG_BENCH"), *most = getenv("TIDYTAKE_BENCH_SECONDS"),
               *base = getenv("TMPDIR");
    struct bench bench = {.self = arguments[0],
                          .tool = arguments[1],
                          .start_s = bench_now_s(),
                          .most_s = most ? strtod(most, NULL) : 240};
    bench.is_long = long_bench && strcmp(long_bench, "1") == 0;
    snprintf(bench.folder, sizeof bench.folder, "%s/tidytake-bench-XXXXXX", base && base[0] ? base : "/tmp");
    if (!mkdtemp(bench.folder))
        bench_stop("cannot make a temporary folder %s", bench.folder);
    setenv("XDG_CONFIG_HOME", bench.folder, 1); /* nobody's own settings */
    run_parts(&bench, arguments + 2);
    bench_remove(bench.folder);
    return 0;
}
