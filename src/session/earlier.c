/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/earlier.h"

#include <ctype.h>
#include <dirent.h>
#include <errno.h>
#include <jansson.h>
#include <limits.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "session/kept.h"

static const char folder_name[] = "earlier", base_name[] = "narration-", held_mark[] = "-held";

char *tt_earlier_waiting_path(const struct tt_run_state *run) { return tt_format("%s/.narration.part", run->out); }

/* One narration in OUT/earlier/: narration-0007.wav, or narration-0007-held.wav where it was made to be held. */
struct kept_file {
    unsigned number;
    bool is_held;
};

/* False for any other name: what a person put there or named otherwise is left alone. */
static bool parse_name(const char *name, struct kept_file *file)
{
    char *end;
    if (strncmp(name, base_name, sizeof base_name - 1) != 0 || !isdigit((unsigned char)name[sizeof base_name - 1]))
        return false;
    unsigned long number = strtoul(name + sizeof base_name - 1, &end, 10);
    file->is_held = strncmp(end, held_mark, sizeof held_mark - 1) == 0;
    end += file->is_held ? sizeof held_mark - 1 : 0;
    file->number = (unsigned)number;
    return number > 0 && number < 1000000 && (strcmp(end, ".wav") == 0 || strcmp(end, ".flac") == 0);
}

/* Number of the last narration in OUT/earlier/ and its path below OUT; 0 without one. */
static unsigned last_number(const char *folder, char *name, size_t size)
{
    unsigned most = 0;
    DIR *entries = opendir(folder);
    struct dirent *entry;
    name[0] = '\0';
    while (entries && (entry = readdir(entries))) {
        struct kept_file file;
        if (!parse_name(entry->d_name, &file) || file.number <= most)
            continue;
        most = file.number;
        snprintf(name, size, "%s/%.40s", folder_name, entry->d_name);
    }
    if (entries)
        closedir(entries);
    return most;
}

/* The oldest go while there are more than most; those that were made to be held stay. */
static bool forget_oldest(const char *folder, unsigned most, struct tt_error *err)
{
    for (;;) {
        DIR *entries = opendir(folder);
        struct dirent *entry;
        unsigned count = 0, oldest = UINT_MAX;
        char name[sizeof entry->d_name] = "";
        while (entries && (entry = readdir(entries))) {
            struct kept_file file;
            if (!parse_name(entry->d_name, &file) || file.is_held)
                continue;
            count++;
            if (file.number >= oldest)
                continue;
            oldest = file.number;
            snprintf(name, sizeof name, "%s", entry->d_name);
        }
        if (entries)
            closedir(entries);
        if (count <= most)
            return true;
        char *path = tt_path_join(folder, name);
        bool ok = path ? tt_file_remove(path, err) : tt_fail_memory(err);
        free(path);
        if (!ok)
            return false;
    }
}

static bool same_bytes(const char *a, const char *b, bool *is_same, struct tt_error *err)
{
    static const size_t block = 1 << 16;
    const char *const paths[] = {a, b};
    FILE *files[2] = {fopen(a, "rb"), fopen(b, "rb")};
    char *blocks = malloc(2 * block);
    bool ok = blocks || tt_fail_memory(err);
    for (int i = 0; ok && i < 2; i++)
        ok = files[i] || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", paths[i]);
    *is_same = ok;
    for (size_t got = block; *is_same && got == block;) {
        got = fread(blocks, 1, block, files[0]);
        *is_same = fread(blocks + block, 1, block, files[1]) == got && memcmp(blocks, blocks + block, got) == 0;
    }
    for (int i = 0; i < 2; i++) {
        ok = ok &&
             (!ferror(files[i]) ||
              tt_fail(err, TT_ERROR_OUTPUT, "%s: cannot be read; move it away, or copy it to another disk", paths[i]));
        if (files[i])
            fclose(files[i]);
    }
    free(blocks);
    return ok;
}

/* A second name for the file first, so that there is a narration at every moment; where file systems know none, it is
 * moved. */
static bool keep_old(struct tt_run_state *run, const char *path, struct tt_error *err)
{
    char last[64];
    char *folder = tt_path_join(run->out, folder_name);
    if (!folder || !tt_folder_make(folder, err)) {
        free(folder);
        return folder ? false : tt_fail_memory(err);
    }
    unsigned number = last_number(folder, last, sizeof last);
    bool is_kept = false, ok = true;
    if (number > 0) { /* a run that died in between has kept it already */
        char *known = tt_path_join(run->out, last);
        ok = known ? same_bytes(path, known, &is_kept, err) : tt_fail_memory(err);
        free(known);
    }
    if (ok && !is_kept) {
        const char *ending = strrchr(path, '.');
        bool was_held = run->settings.deliver.hold || json_is_true(json_object_get(run->earlier_state, "is_held"));
        snprintf(last, sizeof last, "%s/%s%04u%s%s", folder_name, base_name, number + 1, was_held ? held_mark : "",
                 ending ? ending : ".wav");
        char *to = tt_path_join(run->out, last);
        ok = to ? link(path, to) == 0 || rename(path, to) == 0 || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", to)
                : tt_fail_memory(err);
        free(to);
    }
    if (ok)
        snprintf(run->replaced, sizeof run->replaced, "%s", last);
    const unsigned most = (unsigned)run->settings.deliver.keep_earlier;
    ok = ok && (most == 0 || forget_oldest(folder, most, err));
    free(folder);
    return ok;
}

bool tt_earlier_replace(struct tt_run_state *run, const char *waiting, const char *path, struct tt_error *err)
{
    bool is_same = false;
    if (tt_file_exists(path) && (!same_bytes(waiting, path, &is_same, err) || (!is_same && !keep_old(run, path, err))))
        return false;
    if (is_same)
        return unlink(waiting) == 0 || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", waiting);
    return rename(waiting, path) == 0 || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", path);
}

bool tt_earlier_retire(struct tt_run_state *run, const char *path, struct tt_error *err)
{
    struct tt_kept_track track;
    if (!tt_file_exists(path) || !tt_kept_track_find(run, NULL, &track)) /* nothing there, or not ours */
        return true;
    return keep_old(run, path, err) && tt_file_remove(path, err);
}

/* ---- changes ---- */

static bool write_changes(struct tt_run_state *run, const struct tt_session_report *session,
                          const struct tt_layout *before, const struct tt_layout *now, struct tt_error *err)
{
    struct tt_text text = {0};
    char *path = tt_format("%s/edit/changes.csv", run->out);
    bool ok = path ? tt_report_changes(session, before, now, run->replaced, &text, err) &&
                         tt_file_write(path, text.data, text.length, err)
                   : tt_fail_memory(err);
    tt_text_free(&text);
    free(path);
    return ok;
}

bool tt_session_show_changes(struct tt_run_state *run, const struct tt_session_report *session,
                             const struct json_t *layout, struct tt_error *err)
{
    const json_t *earlier = json_object_get(run->earlier_state, "layout");
    struct tt_layout before, now;
    if (!layout || !earlier || !run->is_narration_new)
        return true;
    /* A run that died behind the narration and before session.json: its change is told now. */
    if (!run->replaced[0] && !json_equal(earlier, layout)) {
        char *folder = tt_path_join(run->out, folder_name);
        if (!folder)
            return tt_fail_memory(err);
        last_number(folder, run->replaced, sizeof run->replaced);
        free(folder);
    }
    if (!run->replaced[0])
        return true;
    errno = 0; /* a damaged layout has nothing to tell; want of memory (POSIX: malloc says so) is another matter */
    if (!tt_layout_read(earlier, &before))
        return errno != ENOMEM || tt_fail_memory(err);
    bool ok = tt_layout_read(layout, &now);
    ok = ok ? write_changes(run, session, &before, &now, err) : tt_fail_memory(err);
    tt_layout_free(&now);
    tt_layout_free(&before);
    return ok;
}
