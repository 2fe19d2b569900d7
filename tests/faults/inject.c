/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Linked into a build of the program by -Wl,--wrap: makes the n-th call of one kind fail, or dies at it.
 *   TIDYTAKE_FAULT=KIND:N[:WHAT]    KIND as below; N from 1, or N+ for that and all behind it; WHAT an errno number,
 * short, or kill TIDYTAKE_FAULT_TRACE=FILE       where the failing call came from is added to FILE
 *   TIDYTAKE_FAULT_CALLS=FILE       each call is added to FILE: its kind, its number, and the way to it (a digest of
 * the stack) Only calls of our own objects are seen, also those of libraries that we make. */
#include <dirent.h>
#include <errno.h>
#include <execinfo.h>
#include <fcntl.h>
#include <fftw3.h>
#include <inttypes.h>
#include <jansson.h>
#include <pthread.h>
#include <signal.h>
#include <sndfile.h>
#include <soxr.h>
#include <stdarg.h>
#include <stdatomic.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <sys/mman.h>
#include <sys/stat.h>
#include <unistd.h>

enum kind { ALLOC, LIBRARY, OPEN, READ, WRITE, SYNC, RENAME, UNLINK, FOLDER, MAP, THREAD, LOCK, KINDS };
static const char *const kind_names[KINDS] = {"alloc",  "library", "open",   "read", "write",  "sync",
                                              "rename", "unlink",  "folder", "map",  "thread", "lock"};

static struct {
    enum kind kind;
    long at;
    bool is_lasting, is_short, is_kill;
    int reason;
} fault = {.kind = KINDS};
static atomic_long counts[KINDS];
static int calls_fd = -1;
int __real_open64(const char *path, int flags, ...);

static int open_to_add(const char *path)
{
    return path ? __real_open64(path, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0666) : -1;
}

__attribute__((constructor)) static void read_environment(void)
{
    const char *text = getenv("TIDYTAKE_FAULT");
    calls_fd = open_to_add(getenv("TIDYTAKE_FAULT_CALLS"));
    for (int i = 0; text && i < KINDS; i++) {
        size_t length = strlen(kind_names[i]);
        if (strncmp(text, kind_names[i], length) != 0 || text[length] != ':')
            continue;
        char *end;
        fault.kind = (enum kind)i;
        fault.at = strtol(text + length + 1, &end, 10);
        fault.is_lasting = *end == '+';
        const char *what = strchr(end, ':');
        what = what ? what + 1 : "";
        fault.is_short = strcmp(what, "short") == 0;
        fault.is_kill = strcmp(what, "kill") == 0;
        fault.reason = atoi(what) ? atoi(what) : i == ALLOC ? ENOMEM : EIO;
    }
}

static void tell_trace(void)
{
    void *frames[16];
    int fd = open_to_add(getenv("TIDYTAKE_FAULT_TRACE"));
    if (fd < 0)
        return;
    backtrace_symbols_fd(frames, backtrace(frames, 16), fd);
    close(fd);
}

/* Addresses of the program alone, from its start on: those of libraries are others in every run. FNV-1a: from memory,
 * common practice. */
static void tell_call(enum kind kind, long number)
{
    extern const char __executable_start[], _end[];
    void *frames[40];
    uint64_t way = UINT64_C(0xCBF29CE484222325);
    const int count = backtrace(frames, sizeof frames / sizeof *frames);
    for (int i = 0; i < count; i++) {
        const uintptr_t at = (uintptr_t)frames[i];
        if (at >= (uintptr_t)__executable_start && at < (uintptr_t)_end)
            way = (way ^ (at - (uintptr_t)__executable_start)) * UINT64_C(0x100000001B3);
    }
    dprintf(calls_fd, "%s %ld %016" PRIx64 "\n", kind_names[kind], number, way);
}

/* True when this call is to fail; errno is set. */
static bool fails(enum kind kind)
{
    long number = atomic_fetch_add(&counts[kind], 1) + 1;
    if (calls_fd >= 0)
        tell_call(kind, number);
    if (kind != fault.kind || !(fault.is_lasting ? number >= fault.at : number == fault.at))
        return false;
    if (fault.is_kill)
        raise(SIGKILL);
    tell_trace();
    errno = fault.reason;
    return true;
}

#define WRAP(type, name, parameters, arguments, kind, failed)                                                          \
    type __real_##name parameters;                                                                                     \
    type __wrap_##name parameters;                                                                                     \
    type __wrap_##name parameters { return fails(kind) ? (failed) : __real_##name arguments; }

WRAP(void *, malloc, (size_t size), (size), ALLOC, NULL)
WRAP(void *, calloc, (size_t count, size_t size), (count, size), ALLOC, NULL)
WRAP(void *, realloc, (void *old, size_t size), (old, size), ALLOC, NULL)
WRAP(void *, aligned_alloc, (size_t alignment, size_t size), (alignment, size), ALLOC, NULL)
WRAP(char *, strdup, (const char *text), (text), ALLOC, NULL)
WRAP(float *, fftwf_alloc_real, (size_t count), (count), ALLOC, NULL)
WRAP(fftwf_complex *, fftwf_alloc_complex, (size_t count), (count), ALLOC, NULL)

WRAP(fftwf_plan, fftwf_plan_dft_r2c_1d, (int n, float *in, fftwf_complex *out, unsigned flags), (n, in, out, flags),
     LIBRARY, NULL)
WRAP(fftwf_plan, fftwf_plan_dft_c2r_1d, (int n, fftwf_complex *in, float *out, unsigned flags), (n, in, out, flags),
     LIBRARY, NULL)
WRAP(fftwf_plan, fftwf_plan_dft_1d, (int n, fftwf_complex *in, fftwf_complex *out, int sign, unsigned flags),
     (n, in, out, sign, flags), LIBRARY, NULL)
WRAP(fftwf_plan, fftwf_plan_guru_split_dft,
     (int rank, const fftwf_iodim *dims, int loop_rank, const fftwf_iodim *loops, float *re, float *im, float *out_re,
      float *out_im, unsigned flags),
     (rank, dims, loop_rank, loops, re, im, out_re, out_im, flags), LIBRARY, NULL)
WRAP(SNDFILE *, sf_open_virtual, (SF_VIRTUAL_IO * calls, int mode, SF_INFO *info, void *user),
     (calls, mode, info, user), LIBRARY, NULL)
WRAP(sf_count_t, sf_readf_float, (SNDFILE * file, float *samples, sf_count_t count), (file, samples, count), LIBRARY, 0)
WRAP(sf_count_t, sf_writef_int, (SNDFILE * file, const int *samples, sf_count_t count), (file, samples, count), LIBRARY,
     0)
WRAP(json_t *, json_object, (void), (), LIBRARY, NULL)
WRAP(json_t *, json_array, (void), (), LIBRARY, NULL)
WRAP(json_t *, json_string, (const char *text), (text), LIBRARY, NULL)
WRAP(json_t *, json_stringn, (const char *text, size_t size), (text, size), LIBRARY, NULL)
WRAP(json_t *, json_integer, (json_int_t value), (value), LIBRARY, NULL)
WRAP(json_t *, json_real, (double value), (value), LIBRARY, NULL)
WRAP(json_t *, json_loadb, (const char *text, size_t size, size_t flags, json_error_t *problem),
     (text, size, flags, problem), LIBRARY,
     (problem ? problem->text[JSON_ERROR_TEXT_LENGTH - 1] = (char)json_error_out_of_memory : 0, NULL))
WRAP(int, json_object_set_new, (json_t * object, const char *key, json_t *value), (object, key, value), LIBRARY,
     (json_decref(value), -1))
WRAP(int, json_array_append_new, (json_t * array, json_t *value), (array, value), LIBRARY, (json_decref(value), -1))
WRAP(int, json_object_update, (json_t * object, json_t *other), (object, other), LIBRARY, -1)
WRAP(char *, json_dumps, (const json_t *json, size_t flags), (json, flags), LIBRARY, NULL)
WRAP(soxr_t, soxr_create,
     (double from, double to, unsigned channels, soxr_error_t *error, const soxr_io_spec_t *io,
      const soxr_quality_spec_t *quality, const soxr_runtime_spec_t *runtime),
     (from, to, channels, error, io, quality, runtime), LIBRARY, (*error = "injected", NULL))

WRAP(ssize_t, read, (int fd, void *data, size_t size), (fd, data, size), READ, -1)
WRAP(ssize_t, pread64, (int fd, void *data, size_t size, off_t offset), (fd, data, size, offset), READ, -1)
WRAP(int, fsync, (int fd), (fd), SYNC, -1)
WRAP(int, rename, (const char *from, const char *to), (from, to), RENAME, -1)
WRAP(int, link, (const char *from, const char *to), (from, to), RENAME, -1)
WRAP(int, unlink, (const char *path), (path), UNLINK, -1)
WRAP(int, mkdir, (const char *path, mode_t mode), (path, mode), FOLDER, -1)
WRAP(DIR *, opendir, (const char *path), (path), FOLDER, NULL)
WRAP(struct dirent *, readdir64, (DIR * folder), (folder), FOLDER, NULL)
WRAP(void *, mmap64, (void *at, size_t size, int protection, int flags, int fd, off_t offset),
     (at, size, protection, flags, fd, offset), MAP, MAP_FAILED)
WRAP(int, flock, (int fd, int operation), (fd, operation), LOCK, -1)
WRAP(int, pthread_create, (pthread_t * thread, const pthread_attr_t *attributes, void *(*work)(void *), void *context),
     (thread, attributes, work, context), THREAD, EAGAIN)

/* A disk that fills up in the middle of a block writes its first half. */
ssize_t __real_pwrite64(int fd, const void *data, size_t size, off_t offset);
ssize_t __wrap_pwrite64(int fd, const void *data, size_t size, off_t offset);
ssize_t __wrap_pwrite64(int fd, const void *data, size_t size, off_t offset)
{
    bool is_hit = !fault.is_kill && fails(WRITE);
    if (is_hit && !fault.is_short)
        return -1;
    if (fault.is_kill && fault.kind == WRITE && atomic_load(&counts[WRITE]) + 1 == fault.at)
        (void)!__real_pwrite64(fd, data, size / 2, offset);
    if (fault.is_kill)
        (void)fails(WRITE);
    return __real_pwrite64(fd, data, is_hit && size > 1 ? size / 2 : size, offset);
}

int __wrap_open64(const char *path, int flags, ...);
int __wrap_open64(const char *path, int flags, ...)
{
    va_list arguments;
    va_start(arguments, flags);
    mode_t mode = flags & O_CREAT ? va_arg(arguments, mode_t) : 0;
    va_end(arguments);
    return fails(OPEN) ? -1 : __real_open64(path, flags, mode);
}
