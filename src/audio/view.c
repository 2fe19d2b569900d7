/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/view.h"

#include <errno.h>
#include <stdio.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

#include "audio/sndfile_lock.h"

struct tt_view tt_view_make(int fd, int64_t file_size, const struct tt_data_promise *promise)
{
    struct tt_view view = {.fd = fd, .file_size = file_size};
    if (promise->size_field_bytes == 0 || promise->is_kept)
        return view;
    uint64_t size = (uint64_t)(file_size - promise->data_offset + promise->size_extra);
    if (promise->size_field_bytes == 4 && size > UINT32_MAX)
        return view;
    view.patch_at = promise->size_field_at;
    view.patch_size = promise->size_field_bytes;
    for (int i = 0; i < view.patch_size; i++) {
        int place = promise->is_big_endian ? view.patch_size - 1 - i : i;
        view.patch[place] = (unsigned char)(size >> (8 * i) & 0xFF);
    }
    return view;
}

static sf_count_t get_filelen(void *user) { return ((struct tt_view *)user)->file_size; }

static sf_count_t seek(sf_count_t offset, int whence, void *user)
{
    struct tt_view *view = user;
    sf_count_t from = whence == SEEK_CUR ? view->at : whence == SEEK_END ? view->file_size : 0;
    if (offset > INT64_MAX - from || from + offset < 0)
        return -1;
    view->at = from + offset;
    return view->at;
}

static void show_patch(const struct tt_view *view, unsigned char *data, int64_t count)
{
    for (int i = 0; i < view->patch_size; i++) {
        int64_t place = view->patch_at + i - view->at;
        if (place >= 0 && place < count)
            data[place] = view->patch[i];
    }
}

/* libsndfile 1.2 steps back, and for ever, over a part of a LIST whose size is near 4 GiB. It asks for the names of
 * chunks one by one; nothing of ours is in that one. */
static void hide_list(const struct tt_view *view, unsigned char *data, int64_t count)
{
    if (view->is_opening && count == 4 && memcmp(data, "LIST", 4) == 0)
        memcpy(data, "JUNK", 4);
}

static sf_count_t read_on(void *data, sf_count_t count, void *user)
{
    struct tt_view *view = user;
    unsigned char *bytes = data;
    sf_count_t done = 0;
    while (done < count) {
        ssize_t got = pread(view->fd, bytes + done, (size_t)(count - done), (off_t)(view->at + done));
        if (got < 0 && errno == EINTR)
            continue;
        if (got < 0 && view->failed_errno == 0)
            view->failed_errno = errno;
        if (got <= 0)
            break;
        done += got;
    }
    if (view->seen)
        view->seen(view->seen_context, view->at, bytes, (size_t)done);
    show_patch(view, bytes, done);
    hide_list(view, bytes, done);
    view->at += done;
    return done;
}

static sf_count_t refuse_write(const void *data, sf_count_t count, void *user)
{
    (void)data;
    (void)count;
    (void)user;
    return 0;
}

static sf_count_t tell(void *user) { return ((struct tt_view *)user)->at; }

SNDFILE *tt_view_open(struct tt_view *view, SF_INFO *info, char *why, int why_size)
{
    SF_VIRTUAL_IO calls = {get_filelen, seek, read_on, refuse_write, tell};
    view->at = 0;
    *info = (SF_INFO){0};
    view->is_opening = true;
    SNDFILE *file = tt_sndfile_open(&calls, SFM_READ, view, info, why, why_size);
    view->is_opening = false;
    return file;
}
