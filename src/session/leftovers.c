/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/leftovers.h"

#include <dirent.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"

/* The lock of OUT itself is called .lock and nothing more: it stays. */
static bool is_unpublished(const char *name)
{
    static const char *const endings[] = {".part", ".lock"};
    size_t length = strlen(name);
    bool is_it = false;
    for (size_t i = 0; name[0] == '.' && length > 6 && i < sizeof endings / sizeof *endings; i++)
        is_it = is_it || strcmp(name + length - strlen(endings[i]), endings[i]) == 0;
    return is_it;
}

/* deeper: in the folders that lie in it, too (pictures of each take). */
static void clear_folder(const char *path, bool is_deeper)
{
    DIR *folder = opendir(path);
    if (!folder)
        return;
    struct dirent *entry;
    while ((entry = readdir(folder))) {
        if (is_unpublished(entry->d_name))
            unlinkat(dirfd(folder), entry->d_name, 0);
        char *inner = is_deeper && entry->d_name[0] != '.' ? tt_path_join(path, entry->d_name) : NULL;
        if (inner)
            clear_folder(inner, false);
        free(inner);
    }
    closedir(folder);
}

void tt_leftovers_clear(const char *out)
{
    static const char *const folders[] = {".",      "heard", "sheets",         "voice",    "whole", "pieces",
                                          "report", "edit",  "earlier/sheets", "pictures", "sound"};
    for (size_t i = 0; i < sizeof folders / sizeof *folders; i++) {
        char *path = tt_path_join(out, folders[i]);
        if (path)
            clear_folder(path, strcmp(folders[i], "report") == 0);
        free(path);
    }
}
