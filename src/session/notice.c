/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/notice.h"

#include <poll.h>
#include <stdlib.h>
#include <time.h>
#include <unistd.h>

#ifdef __linux__
#include <sys/inotify.h>

struct tt_notice {
    int fd;
};

struct tt_notice *tt_notice_open(void)
{
    struct tt_notice *notice = malloc(sizeof *notice);
    if (!notice)
        return NULL;
    notice->fd = inotify_init1(IN_CLOEXEC | IN_NONBLOCK);
    if (notice->fd >= 0)
        return notice;
    free(notice);
    return NULL;
}

void tt_notice_folder(struct tt_notice *notice, const char *path)
{
    if (notice)
        inotify_add_watch(notice->fd, path,
                          IN_CLOSE_WRITE | IN_MOVED_TO | IN_MOVED_FROM | IN_CREATE | IN_DELETE | IN_DELETE_SELF |
                              IN_MOVE_SELF | IN_ONLYDIR);
}

void tt_notice_close(struct tt_notice *notice)
{
    if (!notice)
        return;
    close(notice->fd);
    free(notice);
}

static int descriptor(const struct tt_notice *notice) { return notice->fd; }

#else /* no notices here: folders are looked at again after a while */

struct tt_notice {
    int fd;
};
struct tt_notice *tt_notice_open(void) { return NULL; }
void tt_notice_folder(struct tt_notice *notice, const char *path) { (void)notice, (void)path; }
void tt_notice_close(struct tt_notice *notice) { free(notice); }
static int descriptor(const struct tt_notice *notice) { return notice->fd; }

#endif

void tt_notice_wait(struct tt_notice *notice, double wait_s)
{
    if (!notice) {
        struct timespec time = {.tv_sec = (time_t)wait_s, .tv_nsec = (long)((wait_s - (double)(time_t)wait_s) * 1e9)};
        nanosleep(&time, NULL);
        return;
    }
    struct pollfd waiting = {.fd = descriptor(notice), .events = POLLIN};
    if (poll(&waiting, 1, (int)(wait_s * 1000) + 1) <= 0)
        return;
    /* All that is there: also of a full queue only this matters, that something moved. */
    char events[16384];
    while (read(descriptor(notice), events, sizeof events) > 0)
        ;
}
