/* SPDX-License-Identifier: GPL-2.0-or-later */
#define _XOPEN_SOURCE 700 /* realpath */
#include "session/out_folder.h"

#include <dirent.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "audio/reader.h"
#include "base/file.h"
#include "base/text.h"
#include "session/folders.h"

static bool lies_in(const char *path, const char *folder)
{
    size_t length = strlen(folder);
    if (strcmp(folder, "/") == 0)
        return true;
    return strncmp(path, folder, length) == 0 && (path[length] == '/' || path[length] == '\0');
}

/* A link in the session may lead to what a run is about to replace. */
static bool holds_a_take(const char *out, const struct tt_take_list *list)
{
    for (size_t i = 0; i < list->count; i++) {
        char *real = realpath(list->files[i].path, NULL);
        bool is_in = real && lies_in(real, out);
        free(real);
        if (is_in)
            return true;
    }
    return false;
}

static bool holds_sound(const char *path)
{
    DIR *folder = opendir(path);
    struct dirent *entry;
    bool is_found = false;
    while (folder && !is_found && (entry = readdir(folder)))
        is_found = tt_is_sound_name(entry->d_name);
    if (folder)
        closedir(folder);
    return is_found;
}

/* OUT/heard is made before anything else, session.json is written last: where both are missing, sounds of these names
 * are not ours to replace. */
static bool holds_sound_of_others(const char *out)
{
    static const char *const places[] = {".", "voice", "whole", "pieces"};
    char *mark = tt_path_join(out, "heard");
    bool is_ours = tt_is_out_folder(out) || !mark || tt_file_exists(mark), is_found = false;
    free(mark);
    for (size_t i = 0; !is_ours && !is_found && i < sizeof places / sizeof *places; i++) {
        char *path = tt_path_join(out, places[i]);
        is_found = path && holds_sound(path);
        free(path);
    }
    return is_found;
}

bool tt_out_is_safe(const char *out, const struct tt_take_list *list, struct tt_error *err)
{
    struct stat status;
    if (lies_in(list->folder, out) || holds_a_take(out, list))
        return tt_fail(err, TT_ERROR_USAGE, "%s: recordings of this session lie in it; name another folder with -o",
                       out);
    if (stat(out, &status) != 0)
        return true;
    if (!S_ISDIR(status.st_mode))
        return tt_fail(err, TT_ERROR_USAGE, "%s: is a file; name a folder for the results with -o", out);
    if (holds_sound_of_others(out))
        return tt_fail(err, TT_ERROR_USAGE,
                       "%s: sound files lie there that no run of tidytake left; name a new or empty folder with -o",
                       out);
    return true;
}

char *tt_out_find(const char *place, struct tt_error *err)
{
    char *folder = tt_resolve_path(place, err), *beside = folder ? tt_format("%s.tidy", folder) : NULL, *found = NULL;
    if (folder && !beside)
        tt_fail_memory(err);
    const char *both[] = {folder, beside};
    for (int i = 0; beside && !found && i < 2; i++) {
        char *state = tt_path_join(both[i], "session.json");
        if (state && tt_file_exists(state) && !(found = tt_copy_string(both[i])))
            tt_fail_memory(err);
        free(state);
    }
    if (beside && !found)
        tt_fail(err, TT_ERROR_USAGE, "%s: no run left anything here or in %s; clean it first, with `tidytake clean`",
                place, beside);
    free(folder);
    free(beside);
    return found;
}
