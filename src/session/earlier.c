/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/earlier.h"

#include <dirent.h>
#include <errno.h>
#include <jansson.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "session/kept.h"

static const char folder_name[] = "earlier", base_name[] = "narration-";

char *tt_earlier_waiting_path(const struct tt_run_state *run)
{
    return tt_format("%s/.narration.part", run->out);
}

/* Number of the last narration in OUT/earlier/ and its name; 0 without one. */
static unsigned last_number(const char *folder, char *name, size_t size)
{
    unsigned most = 0;
    DIR *entries = opendir(folder);
    struct dirent *entry;
    name[0] = '\0';
    while (entries && (entry = readdir(entries))) {
        char *end;
        if (strncmp(entry->d_name, base_name, sizeof base_name - 1) != 0)
            continue;
        unsigned long number = strtoul(entry->d_name + sizeof base_name - 1, &end, 10);
        bool is_ours = (strcmp(end, ".wav") == 0 || strcmp(end, ".flac") == 0) && number > most && number < 1000000;
        if (!is_ours)
            continue;
        most = (unsigned)number;
        snprintf(name, size, "%s/%.40s", folder_name, entry->d_name);
    }
    if (entries)
        closedir(entries);
    return most;
}

static bool same_bytes(const char *a, const char *b, bool *is_same, struct tt_error *err)
{
    struct stat x, y;
    char digest_a[65], digest_b[65];
    *is_same = false;
    if (stat(a, &x) != 0 || stat(b, &y) != 0)
        return tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", a);
    if (x.st_size != y.st_size)
        return true;
    if (!tt_file_sha256(a, digest_a, err) || !tt_file_sha256(b, digest_b, err))
        return false;
    *is_same = strcmp(digest_a, digest_b) == 0;
    return true;
}

/* A second name for the file first, so that there is a narration at every moment; where file systems know none, it is moved. */
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
        snprintf(last, sizeof last, "%s/%s%u%s", folder_name, base_name, number + 1, ending ? ending : ".wav");
        char *to = tt_path_join(run->out, last);
        ok = to ? link(path, to) == 0 || rename(path, to) == 0 || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", to) : tt_fail_memory(err);
        free(to);
    }
    if (ok)
        snprintf(run->replaced, sizeof run->replaced, "%s", last);
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
    return keep_old(run, path, err) && (unlink(path) == 0 || errno == ENOENT || tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", path));
}

/* ---- changes ---- */

static bool write_changes(struct tt_run_state *run, const struct tt_session_report *session, const struct tt_layout *before, const struct tt_layout *now,
                          struct tt_error *err)
{
    struct tt_text text = {0};
    char *path = tt_format("%s/edit/changes.csv", run->out);
    bool ok = path ? tt_report_changes(session, before, now, run->replaced, &text, err) && tt_file_write(path, text.data, text.length, err)
                   : tt_fail_memory(err);
    tt_text_free(&text);
    free(path);
    return ok;
}

bool tt_session_show_changes(struct tt_run_state *run, const struct tt_session_report *session, const struct json_t *layout, struct tt_error *err)
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
    if (!run->replaced[0] || !tt_layout_read(earlier, &before))
        return true;
    bool ok = tt_layout_read(layout, &now);
    ok = ok ? write_changes(run, session, &before, &now, err) : tt_fail_memory(err);
    if (ok)
        tt_layout_free(&now);
    tt_layout_free(&before);
    return ok;
}
