/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/takes.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <strings.h>
#include <sys/stat.h>

#include "audio/camera.h"
#include "audio/reader.h"
#include "base/file.h"
#include "base/grow.h"
#include "base/text.h"
#include "session/folders.h"
#include "session/takes_none.h"

static bool add_file(struct tt_take_list *list, const char *name, struct tt_error *err)
{
    struct tt_take_file *grown = tt_grow_by_one(list->files, list->count, sizeof *grown, err);
    if (!grown)
        return false;
    list->files = grown;
    struct tt_take_file *file = &list->files[list->count];
    *file = (struct tt_take_file){.name = tt_copy_string(name), .path = tt_path_join(list->folder, name)};
    list->count++;
    return (file->name && file->path) || tt_fail_memory(err);
}

static int compare_files(const void *a, const void *b)
{
    return tt_natural_compare(((const struct tt_take_file *)a)->name, ((const struct tt_take_file *)b)->name);
}

/* The pictures of x.html.wav would lie in report/x.html/, where the page of x.wav is: such a name stays whole. */
static bool ends_like_a_report(const char *name, size_t length)
{
    return length > 5 &&
           (strncasecmp(name + length - 5, ".html", 5) == 0 || strncasecmp(name + length - 5, ".json", 5) == 0);
}

static size_t stem_length(const char *name)
{
    const char *dot = strrchr(name, '.');
    size_t length = dot && dot != name ? (size_t)(dot - name) : strlen(name);
    return ends_like_a_report(name, length) ? strlen(name) : length;
}

/* What a file's outputs may be called: by its stem, or by its whole name. */
struct claim {
    const char *text;
    size_t length, file;
    bool is_stem;
};

/* As file systems that fold case would see them: A.wav and a.flac must not meet in one file either. */
static int compare_claims(const void *left, const void *right)
{
    const struct claim *a = left, *b = right;
    const int order = strncasecmp(a->text, b->text, a->length < b->length ? a->length : b->length);
    return order ? order : (a->length > b->length) - (a->length < b->length);
}

/* Stems that two files share are whole names instead; and a name that became a stem whole may be the stem of another
 * file: 1.wav beside 1.flac is that of 1.wav.flac. Then that one keeps its whole name, too. */
static bool name_stems(struct tt_take_list *list, struct tt_error *err)
{
    struct claim *claims = calloc(2 * list->count + 1, sizeof *claims);
    size_t count = 0;
    bool ok = claims || tt_fail_memory(err);
    for (size_t i = 0; ok && i < list->count; i++) {
        const char *name = list->files[i].name;
        const size_t length = stem_length(name), whole = strlen(name);
        claims[count++] = (struct claim){name, length, i, true};
        if (whole != length)
            claims[count++] = (struct claim){name, whole, i, false};
    }
    if (ok)
        qsort(claims, count, sizeof *claims, compare_claims);
    for (size_t k = 0; ok && k < count; k++) {
        const struct claim *claim = &claims[k];
        if (!claim->is_stem)
            continue;
        const bool is_shared = (k > 0 && compare_claims(claim - 1, claim) == 0) ||
                               (k + 1 < count && compare_claims(claim, claim + 1) == 0);
        list->files[claim->file].stem =
            is_shared ? tt_copy_string(claim->text) : tt_format("%.*s", (int)claim->length, claim->text);
        ok = list->files[claim->file].stem || tt_fail_memory(err);
    }
    free(claims);
    return ok;
}

static void free_files(struct tt_take_list *list, size_t from)
{
    for (size_t i = from; i < list->count; i++) {
        free(list->files[i].name);
        free(list->files[i].stem);
        free(list->files[i].path);
    }
    list->count = from;
}

static bool is_listed(const struct tt_take_list *list, const char *name)
{
    for (size_t i = 0; i < list->count; i++)
        if (strcmp(list->files[i].name, name) == 0)
            return true;
    return false;
}

/* Takes that are named one by one are called what they would be called in a run over their folder, and never one like
 * another. */
static bool name_stems_as_in_folder(struct tt_take_list *list, struct tt_error *err)
{
    const size_t named = list->count;
    DIR *folder = opendir(list->folder);
    bool ok = true;
    for (struct dirent *entry; ok && folder && (ok = tt_folder_next(folder, list->folder, &entry, err)) && entry;)
        if (tt_is_sound_name(entry->d_name) && !is_listed(list, entry->d_name))
            ok = add_file(list, entry->d_name, err);
    if (folder)
        closedir(folder);
    ok = ok && name_stems(list, err);
    free_files(list, named);
    return ok;
}

/* Kept in order, whatever the order in which the folder tells them. */
static bool name_passed_over(struct tt_take_list *list, const char *name, struct tt_error *err)
{
    char **names = list->passed_over_names;
    size_t count = list->passed_over < TT_MOST_PASSED_OVER_NAMES ? list->passed_over : TT_MOST_PASSED_OVER_NAMES,
           at = count;
    while (at > 0 && strcmp(names[at - 1], name) > 0)
        at--;
    if (at == TT_MOST_PASSED_OVER_NAMES)
        return true;
    char *copy = tt_copy_string(name);
    if (!copy)
        return tt_fail_memory(err);
    if (count == TT_MOST_PASSED_OVER_NAMES)
        free(names[--count]);
    memmove(names + at + 1, names + at, (count - at) * sizeof *names);
    names[at] = copy;
    return true;
}

static bool pass_over(struct tt_take_list *list, const char *name, struct tt_error *err)
{
    if (!name_passed_over(list, name, err))
        return false;
    list->passed_over++;
    if (!tt_is_camera_name(name))
        return true;
    if (list->camera_count++ == 0 || strcmp(name, list->camera) < 0)
        snprintf(list->camera, sizeof list->camera, "%.120s", name);
    return true;
}

static bool list_folder(struct tt_take_list *list, bool without_links, struct tt_error *err)
{
    if (tt_is_out_folder(list->folder))
        return tt_fail(err, TT_ERROR_USAGE,
                       "%s: this is what an earlier run left, not a session; name the folder with the recordings",
                       list->folder);
    DIR *folder = opendir(list->folder);
    if (!folder)
        return tt_fail_errno(err, TT_ERROR_USAGE, errno, "%s: cannot read this folder", list->folder);
    bool ok = true;
    struct dirent *entry;
    while (ok && (ok = tt_folder_next(folder, list->folder, &entry, err)) && entry) {
        struct stat status;
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        bool is_folder = fstatat(dirfd(folder), entry->d_name, &status, 0) == 0 && S_ISDIR(status.st_mode);
        if (is_folder)
            continue;
        bool is_link = without_links && fstatat(dirfd(folder), entry->d_name, &status, AT_SYMLINK_NOFOLLOW) == 0 &&
                       S_ISLNK(status.st_mode);
        if (!is_link && tt_is_sound_name(entry->d_name))
            ok = add_file(list, entry->d_name, err);
        else if (strcmp(entry->d_name, "tidytake.ini") != 0)
            ok = pass_over(list, entry->d_name, err);
    }
    closedir(folder);
    if (ok && list->count == 0)
        return tt_takes_fail_none(list->folder, list->passed_over, err);
    return ok;
}

static char *parent_of(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash == path ? tt_copy_string("/") : tt_format("%.*s", (int)(slash - path), path);
}

static bool list_files(const char *const *sources, size_t count, struct tt_take_list *list, struct tt_error *err)
{
    for (size_t i = 0; i < count; i++) {
        char *path = tt_resolve_path(sources[i], err);
        if (!path)
            return false;
        char *folder = parent_of(path);
        bool ok = folder || tt_fail_memory(err);
        if (ok && tt_is_out_folder(folder))
            ok = tt_fail(err, TT_ERROR_USAGE, "%s: an earlier run left this, it is no take; name a recording",
                         sources[i]);
        if (ok && !list->folder) {
            list->folder = folder;
            folder = NULL;
        } else if (ok && strcmp(folder, list->folder) != 0) {
            ok = tt_fail(err, TT_ERROR_USAGE,
                         "%s: takes of one session lie in one folder; this one does not lie in %s: clean it by itself",
                         sources[i], list->folder);
        }
        if (ok && !tt_is_sound_name(tt_path_name(path)))
            ok = tt_fail(
                err, TT_ERROR_USAGE,
                "%s: its name does not end like a sound file's (.wav, .flac, .aif ...); rename it, or name the folder",
                sources[i]);
        if (ok && is_listed(list, tt_path_name(path)))
            ok = tt_fail(err, TT_ERROR_USAGE, "%s: named twice; name it once", sources[i]);
        ok = ok && add_file(list, tt_path_name(path), err);
        free(folder);
        free(path);
        if (!ok)
            return false;
    }
    return true;
}

bool tt_takes_list(const char *const *sources, size_t count, bool without_links, struct tt_take_list *list,
                   struct tt_error *err)
{
    *list = (struct tt_take_list){0};
    struct stat status;
    if (count == 0)
        return tt_fail(err, TT_ERROR_USAGE, "name the folder with the recordings, or sound files of one folder");
    if (stat(sources[0], &status) != 0 && errno == ENOENT)
        return tt_fail(err, TT_ERROR_USAGE, "%s: no such folder or file; look for it, and for how its name is written",
                       sources[0]);
    if (stat(sources[0], &status) != 0)
        return tt_fail_errno(err, TT_ERROR_USAGE, errno, "%s", sources[0]);
    bool ok;
    if (S_ISDIR(status.st_mode)) {
        if (count > 1)
            return tt_fail(err, TT_ERROR_USAGE, "%s: name one folder, or sound files of one folder", sources[1]);
        list->folder = tt_resolve_path(sources[0], err);
        ok = list->folder && list_folder(list, without_links, err) && name_stems(list, err);
    } else {
        list->is_chosen = true;
        ok = list_files(sources, count, list, err) && name_stems_as_in_folder(list, err);
    }
    if (!ok)
        return false;
    qsort(list->files, list->count, sizeof *list->files, compare_files);
    const char *last = tt_path_name(list->folder);
    list->name = tt_copy_string(last[0] ? last : "session");
    bool is_single = !S_ISDIR(status.st_mode) && count == 1;
    list->default_out =
        is_single ? tt_format("%s/%s.tidy", strcmp(list->folder, "/") ? list->folder : "", list->files[0].stem)
                  : tt_format("%s.tidy", list->folder);
    return (list->name && list->default_out) || tt_fail_memory(err);
}

void tt_takes_free(struct tt_take_list *list)
{
    free_files(list, 0);
    for (size_t i = 0; i < TT_MOST_PASSED_OVER_NAMES; i++)
        free(list->passed_over_names[i]);
    free(list->files);
    free(list->folder);
    free(list->name);
    free(list->default_out);
    *list = (struct tt_take_list){0};
}
