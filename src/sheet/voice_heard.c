/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/voice_heard.h"

#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"

static const char magic[16] = "tidytake voice1";
static const size_t most_bytes = (size_t)64 << 20; /* 19 days at ten steps a second */

struct head {
    char magic[16];
    int64_t step_count;
    double thirds[TT_THIRDS];
};

bool tt_voice_heard_write(const char *path, const struct tt_voice_heard *heard, struct tt_error *err)
{
    struct head head = {.step_count = (int64_t)heard->step_count};
    memcpy(head.magic, magic, sizeof magic);
    memcpy(head.thirds, heard->thirds, sizeof head.thirds);
    struct tt_publish *file = tt_publish_open(path, err);
    if (!file)
        return false;
    if (tt_publish_write(file, &head, sizeof head, err) &&
        (heard->step_count == 0 || tt_publish_write(file, heard->steps, heard->step_count * sizeof *heard->steps, err)))
        return tt_publish_commit(file, err);
    tt_publish_abandon(file);
    return false;
}

bool tt_voice_heard_read(const char *path, struct tt_voice_heard *heard, struct tt_error *err)
{
    struct head head;
    char *data = NULL;
    size_t size = 0;
    *heard = (struct tt_voice_heard){.steps = NULL};
    if (!tt_file_read(path, most_bytes, &data, &size, err))
        return false;
    bool is_whole = size >= sizeof head;
    if (is_whole)
        memcpy(&head, data, sizeof head);
    is_whole = is_whole && memcmp(head.magic, magic, sizeof magic) == 0 && head.step_count >= 0 &&
               (uint64_t)head.step_count == (size - sizeof head) / sizeof *heard->steps &&
               (size - sizeof head) % sizeof *heard->steps == 0;
    bool ok = is_whole || tt_fail(err, TT_ERROR_INPUT, "%s is damaged: delete it, the next run makes it again", path);
    if (ok) {
        memcpy(heard->thirds, head.thirds, sizeof head.thirds);
        heard->step_count = (size_t)head.step_count;
        heard->steps = malloc(heard->step_count * sizeof *heard->steps + 1);
        if (heard->steps)
            memcpy(heard->steps, data + sizeof head, heard->step_count * sizeof *heard->steps);
        else
            ok = tt_fail_memory(err);
    }
    free(data);
    return ok;
}

void tt_voice_heard_free(struct tt_voice_heard *heard)
{
    free(heard->steps);
    *heard = (struct tt_voice_heard){.steps = NULL};
}
