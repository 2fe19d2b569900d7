/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/compare.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/file.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "session/compare_parts.h"
#include "session/folders.h"
#include "session/leftovers.h"

/* A recording that was cut heavily, and whose rest was cleaned, is found nearly whole; chance finds a second or two. */
static const double least_found = 0.5;
/* A comparison that was refused leaves no page: by this file its folder is known. */
static const char begun[] = ".comparison";

/* A folder is new, or holds nothing but what a comparison leaves (one that was refused, too): nothing of anybody else's
 * is written over. */
static bool is_free(const char *out, struct tt_error *err)
{
    static const char mark[] = "Written by tidytake", *const ours[] = {"index.html", "pictures", "sound"};
    char *page = tt_path_join(out, "index.html"), *text = NULL;
    size_t size, others = 0;
    bool is_empty = true, is_marked = false;
    DIR *folder = opendir(out);
    bool is_read = true;
    for (struct dirent *entry; folder && (is_read = tt_folder_next(folder, out, &entry, err)) && entry;) {
        bool is_known = entry->d_name[0] == '.';
        is_empty = is_empty && is_known;
        is_marked = is_marked || strcmp(entry->d_name, begun) == 0;
        for (size_t i = 0; i < sizeof ours / sizeof *ours; i++)
            is_known = is_known || strcmp(entry->d_name, ours[i]) == 0;
        others += !is_known;
    }
    if (folder)
        closedir(folder);
    bool is_ours = page && (tt_file_exists(page) ? tt_file_read(page, 1 << 26, &text, &size, NULL) && strstr(text, mark)
                                                 : is_empty || is_marked);
    free(text);
    free(page);
    return is_read && ((others == 0 && is_ours) ||
                       tt_fail(err, TT_ERROR_USAGE, "%s: holds other files; name a new or empty folder with -o", out));
}

/* One comparison at a time in a folder: the lock, -1 on failure, dies with its process. What one that was killed has
 * left goes; in a folder that was none of ours before nothing does. */
static int begin_in(const char *out, struct tt_error *err)
{
    char *path = tt_path_join(out, begun);
    const bool was_ours = path && tt_file_exists(path);
    int lock = -1;
    if (!path)
        tt_fail_memory(err);
    else if (tt_folder_make(out, err) && (lock = open(path, O_RDWR | O_CREAT | O_CLOEXEC, 0666)) < 0)
        tt_fail_errno(err, TT_ERROR_OUTPUT, errno, "%s", path);
    if (lock >= 0 && flock(lock, LOCK_EX | LOCK_NB) != 0 &&
        errno == EWOULDBLOCK) { /* other reasons: a file system without locks */
        tt_fail(err, TT_ERROR_OUTPUT, "%s: another comparison is working here; wait for it to end", out);
        close(lock);
        lock = -1;
    }
    if (lock >= 0 && was_ours)
        tt_leftovers_clear(out);
    free(path);
    return lock;
}

/* Before anything is made: where nothing can be read, nothing is left. */
static bool find_sides(const struct tt_compare_request *request, const char *out, struct compare_side sides[2],
                       struct tt_error *err)
{
    static const char *const names[] = {"before", "after"};
    for (int i = 0; i < 2; i++) {
        sides[i].path = tt_resolve_path(i == 0 ? request->before : request->after, err);
        if (!sides[i].path)
            return false;
        if (!(sides[i].prefix = tt_format("%s/pictures/%s", out, names[i])))
            return tt_fail_memory(err);
        struct tt_reader *reader = tt_reader_open(sides[i].path, &sides[i].info, err);
        if (!reader)
            return false;
        tt_reader_close(reader);
    }
    return true;
}

static bool say_fit(const struct compare_side *before, const struct compare_side *after, const struct tt_lags *lags,
                    char *sentence, size_t size, struct tt_error *err)
{
    const char *first = tt_path_name(before->path), *second = tt_path_name(after->path);
    if (lags->heard_s == 0)
        return tt_fail(err, TT_ERROR_INPUT, "%s: no speech was heard in it that could be compared", second);
    if (lags->count == 0 || (double)lags->found_s < least_found * (double)lags->heard_s)
        return tt_fail(err, TT_ERROR_INPUT,
                       "%s and %s do not belong together: of %zu seconds with speech in the second only %zu were found "
                       "in the first; both must hold the same reading, at the same speed",
                       first, second, lags->heard_s, lags->found_s);
    snprintf(sentence, size, "of %zu seconds with speech after (%.80s), %zu were found before (%.80s), in %zu piece%s",
             lags->heard_s, second, lags->found_s, first, lags->count, lags->count == 1 ? "" : "s");
    return true;
}

static bool compare(const struct tt_compare_request *request, const char *out, struct compare_side sides[2],
                    struct tt_lags *lags, struct tt_compared *compared, struct tt_error *err)
{
    static const char *const names[] = {"before", "after"};
    double gains_db[2] = {0};
    for (int i = 0; i < 2; i++)
        if (!compare_side_hear(request, out, &sides[i], err))
            return false;
    if (!tt_lag_find(&sides[0].sound, &sides[1].sound, lags, err) ||
        !say_fit(&sides[0], &sides[1], lags, compared->sentence, sizeof compared->sentence, err))
        return false;
    for (int i = 0; i < 2; i++)
        if (!compare_side_copy(request, out, names[i], &sides[i], &gains_db[i], err))
            return false;
    return compare_show(out, &sides[0], &sides[1], gains_db, lags, compared->page, err);
}

bool tt_compare(const struct tt_compare_request *request, struct tt_compared *compared, struct tt_error *err)
{
    struct compare_side sides[2] = {0};
    struct tt_lags lags = {0};
    *compared = (struct tt_compared){0};
    char *named = request->out ? tt_copy_string(request->out) : tt_format("%s.compare", request->after),
         *out = named ? tt_resolve_path(named, err) : NULL;
    bool ok = named ? out != NULL : tt_fail_memory(err);
    const int lock = ok && is_free(out, err) && find_sides(request, out, sides, err) ? begin_in(out, err) : -1;
    ok = lock >= 0 && ((compared->page = tt_path_join(out, "index.html")) || tt_fail_memory(err));
    ok = ok && compare(request, out, sides, &lags, compared, err);
    tt_lags_free(&lags);
    for (int i = 0; i < 2; i++)
        compare_side_free(&sides[i]);
    if (!ok) {
        free(compared->page);
        compared->page = NULL;
    }
    if (lock >= 0)
        close(lock);
    free(named);
    free(out);
    return ok;
}
