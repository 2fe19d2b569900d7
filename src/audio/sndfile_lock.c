/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/sndfile_lock.h"

#include <pthread.h>
#include <stdio.h>
#include <unistd.h>

static pthread_mutex_t open_lock = PTHREAD_MUTEX_INITIALIZER;

static void copy_reason(SNDFILE *file, char *why, int why_size)
{
    if (file == NULL)
        (void)snprintf(why, (size_t)why_size, "%s", sf_error_number(sf_error(NULL)));
}

SNDFILE *tt_sndfile_open_fd(int fd, SF_INFO *info, char *why, int why_size)
{
    *info = (SF_INFO){ 0 };
    if (lseek(fd, 0, SEEK_SET) < 0) {
        (void)snprintf(why, (size_t)why_size, "the file cannot be searched");
        return NULL;
    }
    (void)pthread_mutex_lock(&open_lock);
    SNDFILE *file = sf_open_fd(fd, SFM_READ, info, SF_FALSE);
    copy_reason(file, why, why_size);
    (void)pthread_mutex_unlock(&open_lock);
    return file;
}

SNDFILE *tt_sndfile_open_sink(SF_VIRTUAL_IO *calls, void *sink, SF_INFO *info, char *why, int why_size)
{
    (void)pthread_mutex_lock(&open_lock);
    SNDFILE *file = sf_open_virtual(calls, SFM_WRITE, info, sink);
    copy_reason(file, why, why_size);
    (void)pthread_mutex_unlock(&open_lock);
    return file;
}
