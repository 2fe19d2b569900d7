/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The system calls that can fail while a file is written, each under a name of ours. They are weak symbols: a test
 * program that defines a function of the same name gets its own one called instead, and so plays a full disk, a
 * short write or an interrupted call. No linker flag is needed. */
#ifndef TT_BASE_RAW_IO_H
#define TT_BASE_RAW_IO_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <sys/types.h>

ssize_t tt_raw_pwrite(int fd, const void *data, size_t size, int64_t offset);
ssize_t tt_raw_pread(int fd, void *data, size_t size, int64_t offset);
int tt_raw_fsync(int fd);
int tt_raw_rename(const char *from, const char *to);

/* All of the bytes, through short writes and signals; false leaves the reason in errno. */
bool tt_write_all(int fd, const void *data, size_t size, int64_t offset);
/* As many bytes as there are up to size; -1 leaves the reason in errno. */
int64_t tt_read_all(int fd, void *data, size_t size, int64_t offset);
/* Has the system begin to bring a stretch of the file to its medium, and does not wait for it: then less is left to
 * wait for when it is synced. Advice. */
void tt_write_behind(int fd, int64_t offset, int64_t size);
/* A file system that cannot sync (EINVAL, ENOTSUP) is no error. */
bool tt_sync(int fd);

/* Makes a new file ".NAME.<pid>-<counter>.part" in the folder, NAME shortened to what the file system allows;
 * its path, freshly allocated, goes into *part_path. -1 leaves the reason in errno. */
int tt_part_open(const char *folder, const char *name, mode_t mode, char **part_path);

#endif
