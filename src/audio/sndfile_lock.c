/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/sndfile_lock.h"

#include <pthread.h>
#include <stdio.h>

static pthread_mutex_t open_lock = PTHREAD_MUTEX_INITIALIZER;

SNDFILE *tt_sndfile_open(SF_VIRTUAL_IO *calls, int mode, void *user, SF_INFO *info, char *why, int why_size)
{
    (void)pthread_mutex_lock(&open_lock);
    SNDFILE *file = sf_open_virtual(calls, mode, info, user);
    if (file == NULL)
        (void)snprintf(why, (size_t)why_size, "%s", sf_error_number(sf_error(NULL)));
    (void)pthread_mutex_unlock(&open_lock);
    return file;
}
