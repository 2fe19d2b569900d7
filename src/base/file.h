/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Files that appear whole or not at all, and reading small ones. */
#ifndef TT_BASE_FILE_H
#define TT_BASE_FILE_H

#include <dirent.h>
#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>
#include <time.h>

#include "base/fail.h"
#include "base/mapped.h"

/* A file being written beside its final name. Every write is checked; commit does fsync, rename and
 * fsync of the folder; abandon (NULL is fine) removes it. A file that was there before stays until commit.
 * The temporary name is ".NAME.<pid>-<counter>.part" shortened to what the file system allows. */
struct tt_publish;
struct tt_publish *tt_publish_open(const char *path, struct tt_error *err);
bool tt_publish_write(struct tt_publish *file, const void *data, size_t size, struct tt_error *err);
/* Positioned access for formats that rewrite their header. read returns bytes read, -1 on error. */
bool tt_publish_seek(struct tt_publish *file, int64_t offset, int whence, struct tt_error *err);
int64_t tt_publish_tell(const struct tt_publish *file);
int64_t tt_publish_size(const struct tt_publish *file);
int64_t tt_publish_read(struct tt_publish *file, void *data, size_t size, struct tt_error *err);
bool tt_publish_commit(struct tt_publish *file, struct tt_error *err); /* destroys file, also on failure */
/* The same without waiting for the medium, for a file whose reader finds out that a power cut has damaged it. */
bool tt_publish_commit_unsynced(struct tt_publish *file, struct tt_error *err);
void tt_publish_abandon(struct tt_publish *file);
/* A file that gets no name: it vanishes with the process, however that ends. In place of a commit what was written is
 * had as memory; that destroys file, also on failure. */
struct tt_publish *tt_publish_open_unnamed(const char *folder, struct tt_error *err);
bool tt_publish_map(struct tt_publish *file, struct tt_mapped *mapped, struct tt_error *err);
/* Between these two a thread's folders are synced once, at the end, in place of once for each file: what is published
 * is whole all the same, and outlasts a power cut from then on. Where order counts, settle before what comes later. */
void tt_publish_gather(void);
bool tt_publish_settle(struct tt_error *err);
/* Who is asked at the last moment whether a file may still take its name (NULL: it may), and told how it ended: error
 * is NULL where the file is there, or was not wanted any more. */
struct tt_publish_owner {
    bool (*may_appear)(void *context);
    void (*ended)(void *context, const struct tt_error *error);
    void *context;
};

/* Whole small files. write publishes (and leaves the file untouched when it already holds these bytes);
 * read allocates *data (NUL-terminated behind size bytes), and fails past most bytes. */
bool tt_file_write(const char *path, const void *data, size_t size, struct tt_error *err);
/* The same of one file among many: between tt_publish_gather and tt_publish_settle some are synced together, which
 * costs a medium little more than one alone, and take their names then. The owner is always told, and once. */
void tt_file_write_among(const char *path, const void *data, size_t size, struct tt_publish_owner owner);
bool tt_file_read(const char *path, size_t most, char **data, size_t *size, struct tt_error *err);
bool tt_file_exists(const char *path);
bool tt_file_remove(const char *path, struct tt_error *err); /* one that is not there is no error */
/* A time of a file, in ns since 1970. */
long long tt_file_time_ns(struct timespec time);

/* The next entry of an open folder, NULL at its end. False when it cannot be read on: what is missing must not pass for
 * gone. */
bool tt_folder_next(DIR *folder, const char *path, struct dirent **entry, struct tt_error *err);
/* Makes a folder and its missing parents. */
bool tt_folder_make(const char *path, struct tt_error *err);

/* folder + "/" + name, freshly allocated; NULL when out of memory. */
char *tt_path_join(const char *folder, const char *name);
/* The part behind the last '/', borrowed. */
const char *tt_path_name(const char *path);

/* A new file in folder whose name is gone already; -1 on failure. */
int tt_unnamed_open(const char *folder, struct tt_error *err);

/* An unlinked temporary file in folder for float samples, written once and read back. */
enum { TT_SCRATCH_IN_MEMORY = 1 << 22 }; /* so many samples never go through the file: 16 MiB, 87 s at 48 kHz */
struct tt_scratch;
struct tt_scratch *tt_scratch_open(const char *folder, struct tt_error *err);
bool tt_scratch_add(struct tt_scratch *scratch, const float *samples, size_t count, struct tt_error *err);
void tt_scratch_rewind(struct tt_scratch *scratch);
/* Samples read (0 at the end), -1 on error. */
int64_t tt_scratch_read(struct tt_scratch *scratch, float *samples, size_t count, struct tt_error *err);
void tt_scratch_close(struct tt_scratch *scratch);

/* SHA-256 (FIPS 180-4) of a whole file, as 64 hex digits and NUL. */
bool tt_file_sha256(const char *path, char hex[65], struct tt_error *err);
/* The same, asking now and then whether to go on: a recording of hours takes seconds. False ends it with
 * TT_ERROR_STOPPED. */
typedef bool (*tt_go_on)(void *context);
bool tt_file_sha256_while(const char *path, tt_go_on go_on, void *context, char hex[65], struct tt_error *err);
/* The same of a file that somebody else reads for the most part: what is shown of it in order, but for small gaps, it
 * does not read itself. */
struct tt_file_digest;
struct tt_file_digest *tt_file_digest_open(const char *path, struct tt_error *err);
typedef void (*tt_bytes_seen)(void *context, int64_t offset, const void *data, size_t size);
void tt_file_digest_show(void *digest, int64_t offset, const void *data, size_t size); /* a tt_bytes_seen */
bool tt_file_digest_finish(struct tt_file_digest *digest, tt_go_on go_on, void *context, char hex[65],
                           struct tt_error *err);
void tt_file_digest_close(struct tt_file_digest *digest); /* NULL is fine */
/* The same of bytes in memory. */
void tt_sha256(const void *data, size_t size, char hex[65]);

#endif
