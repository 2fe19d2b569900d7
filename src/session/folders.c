/* SPDX-License-Identifier: GPL-2.0-or-later */
#define _XOPEN_SOURCE 700 /* realpath */
#include "session/folders.h"

#include <errno.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/text.h"

bool tt_folder_holds(const char *folder, const char *name)
{
    char *path = tt_path_join(folder, name);
    bool is_there = path && tt_file_exists(path);
    free(path);
    return is_there;
}

bool tt_is_out_folder(const char *path)
{
    static const char *const ours[] = {"voice", "whole", "pieces", "earlier"};
    if (tt_folder_holds(path, "session.json"))
        return true;
    for (size_t i = 0; i < sizeof ours / sizeof *ours; i++)
        if (strcmp(tt_path_name(path), ours[i]) == 0 && tt_folder_holds(path, "../session.json"))
            return true;
    return false;
}

char *tt_resolve_path(const char *path, struct tt_error *err)
{
    char *resolved = realpath(path, NULL);
    if (resolved)
        return resolved;
    if (errno != ENOENT) {
        tt_fail_errno(err, TT_ERROR_USAGE, errno, "%s", path);
        return NULL;
    }
    /* Not there yet: resolve what is, add the rest. */
    char *copy = tt_copy_string(path);
    if (!copy) {
        tt_fail_memory(err);
        return NULL;
    }
    size_t length = strlen(copy);
    while (length > 1 && copy[length - 1] == '/')
        copy[--length] = '\0';
    char *slash = strrchr(copy, '/');
    const char *name = slash ? slash + 1 : copy;
    char *parent = NULL;
    if (strcmp(name, "..") == 0 || strcmp(name, ".") == 0)
        tt_fail(err, TT_ERROR_USAGE, "%s: no such folder; look for it, and for how its name is written", path);
    else if (!slash)
        parent = tt_resolve_path(".", err);
    else if (slash == copy)
        parent = tt_copy_string("/");
    else {
        *slash = '\0';
        parent = tt_resolve_path(copy, err);
    }
    if (parent)
        resolved = strcmp(parent, "/") == 0 ? tt_format("/%s", name) : tt_path_join(parent, name);
    free(parent);
    free(copy);
    if (!resolved)
        tt_fail_memory(err);
    return resolved;
}
