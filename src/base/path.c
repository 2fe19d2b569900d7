/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <string.h>

#include "base/file.h"
#include "base/text.h"

char *tt_path_join(const char *folder, const char *name)
{
    size_t length = strlen(folder);
    const char *between = length == 0 || folder[length - 1] == '/' ? "" : "/";
    return tt_format("%s%s%s", folder, between, name);
}

const char *tt_path_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}
