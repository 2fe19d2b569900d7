/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is said of a folder without takes. Recorders and cards keep them in folders below the one that is copied. */
#include "session/takes_none.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "audio/camera.h"
#include "audio/reader.h"
#include "base/file.h"
#include "session/folders.h"

static bool holds_takes(const char *path)
{
    DIR *folder = tt_is_out_folder(path) ? NULL : opendir(path);
    struct dirent *entry;
    bool is_found = false;
    while (folder && !is_found && tt_folder_next(folder, path, &entry, NULL) && entry)
        is_found = tt_is_sound_name(entry->d_name);
    if (folder)
        closedir(folder);
    return is_found;
}

static bool is_sub_folder(const char *path, const char *name)
{
    struct stat status;
    return name[0] != '.' && stat(path, &status) == 0 && S_ISDIR(status.st_mode);
}

/* The first by name of the folders directly below that hold takes, with its path; the caller's. NULL: none. */
static char *find_sub_folder(const char *above)
{
    DIR *folder = opendir(above);
    struct dirent *entry;
    char *found = NULL;
    while (folder && tt_folder_next(folder, above, &entry, NULL) && entry) {
        char *path = tt_path_join(above, entry->d_name);
        if (path && is_sub_folder(path, entry->d_name) && (!found || strcmp(path, found) < 0) && holds_takes(path)) {
            free(found);
            found = path;
            path = NULL;
        }
        free(path);
    }
    if (folder)
        closedir(folder);
    return found;
}

bool tt_takes_fail_none(const char *folder, size_t other_files, struct tt_error *err)
{
    char *below = find_sub_folder(folder);
    if (below)
        tt_fail(err, TT_ERROR_USAGE, "%s: no recordings lie in this folder itself, but in %s: name that one", folder,
                below);
    else
        tt_fail(err, TT_ERROR_USAGE,
                "%s: no recordings lie in this folder (other files: %zu); name the folder that holds them: they end in "
                ".wav .w64 .rf64 .bwf .aif .flac .ogg .opus .mp3 .au .caf%s",
                folder, other_files, tt_camera_is_built_in() ? " .mp4 .m4a .mov .mkv .3gp" : "");
    free(below);
    return false;
}
