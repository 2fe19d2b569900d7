/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Folders on media that go and come while they are watched. A mount point stays as an empty folder when its medium
 * goes: only the device tells (stat(2), st_dev). */
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "base/file.h"
#include "base/text.h"
#include "session/watch_parts.h"

/* Where path lies, or would lie once its missing folders are made. */
static bool find_place(const char *path, struct tt_place *place)
{
    char *at = tt_copy_string(path);
    struct stat status;
    bool is_found = false;
    while (at && at[0] && !(is_found = stat(at, &status) == 0)) {
        char *end = strrchr(at, '/');
        if (!end || strcmp(at, "/") == 0)
            break;
        end[end == at] = '\0'; /* the root keeps its stroke */
    }
    free(at);
    if (is_found)
        *place = (struct tt_place){.device = status.st_dev, .inode = status.st_ino, .is_known = true};
    return is_found;
}

bool tt_watch_folder_found(struct tt_watch *watch)
{
    struct tt_place now, *before = &watch->folder_place;
    if (!find_place(watch->folder, &now))
        return true;
    const bool is_other = before->is_known && (before->device != now.device || before->inode != now.inode);
    if (is_other)
        tt_watch_note(watch,
                      "%s: another folder is there now (a medium went or came, or it was made anew); the watch "
                      "goes on with it",
                      watch->folder);
    else if (watch->is_folder_lost)
        tt_watch_note(watch, "%s: there again", watch->folder);
    watch->is_folder_lost = false;
    *before = now;
    return !is_other;
}

void tt_watch_folder_lost(struct tt_watch *watch, const struct tt_error *error)
{
    if (!watch->is_folder_lost)
        tt_watch_note(watch, "%s; the watch goes on when it can be read again", error->message);
    watch->is_folder_lost = true;
}

/* Whether something lies where a run of this watch left its results. */
static bool has_results(const struct tt_watch *watch)
{
    bool has_any = false;
    for (size_t i = 0; i < watch->count && !has_any; i++)
        has_any = watch->sessions[i].has_run && tt_file_exists(watch->sessions[i].out);
    return has_any;
}

static void remember_out(struct tt_watch *watch, const struct tt_place *out)
{
    struct tt_place folder;
    watch->out_place = *out;
    watch->was_out_with_folder = find_place(watch->folder, &folder) && folder.device == out->device;
}

static bool lies_elsewhere(const struct tt_watch *watch, const struct tt_place *out)
{
    struct tt_place folder;
    if (!watch->out_place.is_known || watch->out_place.device == out->device || has_results(watch))
        return false;
    /* Another card took the place of both: that is what a watch is for. */
    return !watch->was_out_with_folder || !find_place(watch->folder, &folder) || folder.device != out->device;
}

bool tt_watch_out_is_away(struct tt_watch *watch)
{
    struct tt_place out;
    if (!find_place(watch->out, &out))
        return false;
    const bool was_away = watch->is_out_away;
    watch->is_out_away = lies_elsewhere(watch, &out);
    if (watch->is_out_away && !was_away)
        tt_watch_note(watch,
                      "%s: the medium with the results is not there; the watch goes on when it is back (or start it "
                      "again to begin anew there)",
                      watch->out);
    else if (was_away && !watch->is_out_away)
        tt_watch_note(watch, "%s: there again", watch->out);
    if (!watch->is_out_away)
        remember_out(watch, &out);
    return watch->is_out_away;
}
