/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The sessions of a watched folder, and what is new in them. */
#include <dirent.h>
#include <errno.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>

#include "audio/reader.h"
#include "base/file.h"
#include "base/grow.h"
#include "base/text.h"
#include "session/folders.h"
#include "session/watch_parts.h"

void tt_watched_forget_words(struct tt_watched *session)
{
    for (size_t i = 0; i < session->said_count; i++)
        free(session->said[i]);
    free(session->said);
    session->said = NULL;
    session->said_count = 0;
}

void tt_watched_free(struct tt_watched *session)
{
    tt_watched_forget_words(session);
    tt_snapshot_free(&session->seen);
    tt_snapshot_free(&session->done);
    free(session->folder);
    free(session->out);
}

/* A sub-folder may have the name of the folder that it is in: the second of one name gets a number. */
static char *free_out(const struct tt_watch *watch, const char *name)
{
    char *out = tt_path_join(watch->out, name);
    int number = 1;
    for (size_t i = 0; out && i < watch->count; i++)
        if (strcmp(watch->sessions[i].out, out) == 0) {
            free(out);
            out = tt_format("%s/%s (%d)", watch->out, name, ++number);
            i = (size_t)-1; /* from the first again */
        }
    return out;
}

static struct tt_watched *find_session(struct tt_watch *watch, const char *folder, const char *name,
                                       struct tt_error *err)
{
    for (size_t i = 0; i < watch->count; i++)
        if (strcmp(watch->sessions[i].folder, folder) == 0)
            return &watch->sessions[i];
    struct tt_watched *grown = tt_grow_by_one(watch->sessions, watch->count, sizeof *grown, err);
    if (!grown)
        return NULL;
    watch->sessions = grown;
    struct tt_watched *session = &watch->sessions[watch->count];
    *session = (struct tt_watched){
        .folder = tt_copy_string(folder), .out = free_out(watch, name), .still_since_s = tt_watch_now_s()};
    if (!session->folder || !session->out) {
        tt_watched_free(session);
        tt_fail_memory(err);
        return NULL;
    }
    watch->count++;
    return session;
}

static bool look_at(struct tt_watch *watch, const char *folder, const char *name, struct tt_error *err)
{
    struct tt_watched *session = find_session(watch, folder, name, err);
    struct tt_snapshot now;
    if (!session || !tt_snapshot_take(folder, session->out, &now, err))
        return false;
    session->is_there = true;
    tt_notice_folder(watch->notice, folder); /* each time: another may have taken its place */
    if (!tt_snapshot_equal(&now, &session->seen))
        session->still_since_s = tt_watch_now_s();
    tt_snapshot_free(&session->seen);
    session->seen = now;
    return true;
}

/* As with a card that is taken out while the folder that it was seen in stays. */
static void tell_gone(struct tt_watch *watch, bool is_told)
{
    for (size_t i = 0; i < watch->count; i++) {
        struct tt_watched *session = &watch->sessions[i];
        const bool has_takes = session->is_there && session->seen.take_count > 0;
        if (is_told && session->had_takes && !has_takes)
            tt_watch_note(watch, "%s: its recordings are gone; what was made of them stays",
                          tt_path_name(session->folder));
        session->had_takes = has_takes;
    }
}

static bool is_session(const struct tt_watch *watch, const char *path)
{
    struct stat status;
    return lstat(path, &status) == 0 && S_ISDIR(status.st_mode) && strcmp(path, watch->out) != 0 &&
           !tt_is_out_folder(path);
}

bool tt_watch_look(struct tt_watch *watch, struct tt_error *err)
{
    DIR *folder = opendir(watch->folder);
    if (!folder)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s: cannot be watched", watch->folder);
    for (size_t i = 0; i < watch->count; i++)
        watch->sessions[i].is_there = false;
    bool ok = look_at(watch, watch->folder, tt_path_name(watch->folder), err);
    struct dirent *entry;
    while (ok && (ok = tt_folder_next(folder, watch->folder, &entry, err)) && entry) {
        if (entry->d_name[0] == '.')
            continue;
        char *path = tt_path_join(watch->folder, entry->d_name);
        ok = path ? !is_session(watch, path) || look_at(watch, path, entry->d_name, err) : tt_fail_memory(err);
        free(path);
    }
    closedir(folder);
    if (ok)
        tell_gone(watch, tt_watch_folder_found(watch));
    return ok;
}

bool tt_watched_is_news(struct tt_watched *session, const char *line)
{
    for (size_t i = 0; i < session->said_count; i++)
        if (strcmp(session->said[i], line) == 0)
            return false;
    char **grown = tt_grow_by_one(session->said, session->said_count, sizeof *grown, NULL);
    if (grown) {
        session->said = grown;
        if ((grown[session->said_count] = tt_copy_string(line)))
            session->said_count++;
    }
    return true;
}

static bool is_known(const struct tt_watched *session, const struct tt_snapshot_file *file)
{
    for (size_t i = 0; i < session->done.count; i++) {
        const struct tt_snapshot_file *known = &session->done.files[i];
        if (strcmp(known->path, file->path) == 0)
            return known->size == file->size && known->modified_ns == file->modified_ns && known->inode == file->inode;
    }
    return false;
}

bool tt_watched_has_other_takes(const struct tt_watched *session)
{
    bool is_other = false;
    for (size_t i = 0; i < session->seen.count; i++)
        is_other =
            is_other || (tt_is_sound_name(session->seen.files[i].path) && !is_known(session, &session->seen.files[i]));
    return is_other;
}

bool tt_watched_is_arriving(const struct tt_watched *session)
{
    bool is_cut = false;
    for (size_t i = 0; !is_cut && i < session->seen.count; i++) {
        const struct tt_snapshot_file *file = &session->seen.files[i];
        struct tt_audio_info info = {0};
        struct tt_reader *reader =
            tt_is_sound_name(file->path) && !is_known(session, file) ? tt_reader_open(file->path, &info, NULL) : NULL;
        is_cut = reader && info.is_truncated;
        tt_reader_close(reader);
    }
    return is_cut;
}
