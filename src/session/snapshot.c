/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/snapshot.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "audio/reader.h"
#include "base/file.h"
#include "base/grow.h"

void tt_snapshot_free(struct tt_snapshot *snapshot)
{
    for (size_t i = 0; i < snapshot->count; i++)
        free(snapshot->files[i].path);
    free(snapshot->files);
    *snapshot = (struct tt_snapshot){0};
}

static bool add(struct tt_snapshot *snapshot, const char *folder, const char *name, struct tt_error *err)
{
    struct stat status;
    char *path = tt_path_join(folder, name);
    if (!path)
        return tt_fail_memory(err);
    /* Links are not followed: what they lead to may lie anywhere. */
    if (lstat(path, &status) != 0 || !S_ISREG(status.st_mode)) {
        free(path);
        return true;
    }
    struct tt_snapshot_file *files = tt_grow_by_one(snapshot->files, snapshot->count, sizeof *files, err);
    if (!files) {
        free(path);
        return false;
    }
    snapshot->files = files;
    long long modified_ns = tt_file_time_ns(status.st_mtim);
    files[snapshot->count++] =
        (struct tt_snapshot_file){path, (long long)status.st_size, modified_ns, (long long)status.st_ino};
    if (modified_ns > snapshot->newest_ns)
        snapshot->newest_ns = modified_ns;
    return true;
}

static bool is_sheet(const char *name)
{
    size_t length = strlen(name);
    return name[0] != '.' && length > 4 && strcmp(name + length - 4, ".csv") == 0;
}

static bool add_matching(struct tt_snapshot *snapshot, const char *path, bool (*matches)(const char *),
                         struct tt_error *err)
{
    DIR *folder = opendir(path);
    bool ok = true;
    struct dirent *entry;
    while (ok && folder && (ok = tt_folder_next(folder, path, &entry, err)) && entry)
        if (matches(entry->d_name))
            ok = add(snapshot, path, entry->d_name, err);
    if (folder)
        closedir(folder);
    return ok;
}

static int by_path(const void *a, const void *b)
{
    return strcmp(((const struct tt_snapshot_file *)a)->path, ((const struct tt_snapshot_file *)b)->path);
}

bool tt_snapshot_take(const char *folder, const char *out, struct tt_snapshot *snapshot, struct tt_error *err)
{
    *snapshot = (struct tt_snapshot){0};
    char *sheets = tt_path_join(out, "sheets");
    bool ok = sheets || tt_fail_memory(err);
    ok = ok && add_matching(snapshot, folder, tt_is_sound_name, err);
    snapshot->take_count = snapshot->count;
    ok = ok && add(snapshot, folder, "tidytake.ini", err) && add(snapshot, out, "order.csv", err) &&
         add_matching(snapshot, sheets, is_sheet, err);
    free(sheets);
    if (!ok)
        tt_snapshot_free(snapshot);
    else if (snapshot->count > 0)
        qsort(snapshot->files, snapshot->count, sizeof *snapshot->files, by_path);
    return ok;
}

bool tt_snapshot_equal(const struct tt_snapshot *a, const struct tt_snapshot *b)
{
    if (a->count != b->count)
        return false;
    for (size_t i = 0; i < a->count; i++)
        if (strcmp(a->files[i].path, b->files[i].path) != 0 || a->files[i].size != b->files[i].size ||
            a->files[i].modified_ns != b->files[i].modified_ns || a->files[i].inode != b->files[i].inode)
            return false;
    return true;
}
