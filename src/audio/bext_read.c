/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "audio/bext_read.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A digit wherever the pattern has one; what stands between them is free (EBU Tech 3285). */
static bool has_digits(const char *text, const char *pattern)
{
    for (size_t i = 0; pattern[i] != '\0'; i++)
        if (pattern[i] == '0' && (text[i] < '0' || text[i] > '9'))
            return false;
    return true;
}

/* Into "yyyy-mm-dd hh:mm:ss"; a date of zeros is none. */
static void read_origination(const SF_BROADCAST_INFO *bext, char *out, size_t out_size)
{
    const char *date = bext->origination_date, *time = bext->origination_time;
    if (!has_digits(date, "0000-00-00") || !has_digits(time, "00:00:00") || memcmp(date + 5, "00", 2) == 0)
        return;
    (void)snprintf(out, out_size, "%.4s-%.2s-%.2s %.2s:%.2s:%.2s", date, date + 5, date + 8, time, time + 3, time + 6);
}

/* A voice keeps its recorder's words; the line that the program adds to the history tells. */
static bool holds_our_line(const SF_BROADCAST_INFO *bext)
{
    char history[sizeof bext->coding_history + 1];
    memcpy(history, bext->coding_history, sizeof bext->coding_history);
    history[sizeof bext->coding_history] = '\0';
    return strstr(history, "T=tidytake") != NULL;
}

void tt_bext_describe(SNDFILE *file, struct tt_audio_info *info)
{
    SF_BROADCAST_INFO bext;
    memset(&bext, 0, sizeof bext);
    info->time_reference = -1;
    if (sf_command(file, SFC_GET_BROADCAST_INFO, &bext, sizeof bext) != SF_TRUE)
        return;
    uint64_t frames = (uint64_t)bext.time_reference_high << 32 | bext.time_reference_low;
    if (frames <= INT64_MAX)
        info->time_reference = (int64_t)frames;
    read_origination(&bext, info->origination, sizeof info->origination);
    info->is_our_output = strncmp(bext.originator, "tidytake", sizeof "tidytake") == 0 || holds_our_line(&bext);
}

/* A field is only terminated where it is shorter than its room. */
static void copy_field(char *to, size_t size, const char *from, size_t room)
{
    size_t length = strnlen(from, room < size - 1 ? room : size - 1);
    memcpy(to, from, length);
    to[length] = '\0';
}

bool tt_bext_read(SNDFILE *file, struct tt_bext *bext, char **coding_history)
{
    enum { HISTORY_MOST = 65536 }; /* a history that is longer is cut: no honest one comes near */
    typedef SF_BROADCAST_INFO_VAR(HISTORY_MOST) info_type;
    info_type *info = calloc(1, sizeof *info);
    if (info == NULL || sf_command(file, SFC_GET_BROADCAST_INFO, info, sizeof *info) != SF_TRUE) {
        free(info);
        return false;
    }
    copy_field(bext->description, sizeof bext->description, info->description, sizeof info->description);
    copy_field(bext->originator, sizeof bext->originator, info->originator, sizeof info->originator);
    copy_field(bext->originator_reference, sizeof bext->originator_reference, info->originator_reference,
               sizeof info->originator_reference);
    copy_field(bext->date, sizeof bext->date, info->origination_date, sizeof info->origination_date);
    copy_field(bext->time, sizeof bext->time, info->origination_time, sizeof info->origination_time);
    uint64_t frames = (uint64_t)info->time_reference_high << 32 | info->time_reference_low;
    bext->time_reference = frames <= INT64_MAX ? (int64_t)frames : 0;
    size_t length = info->coding_history_size < HISTORY_MOST ? info->coding_history_size : HISTORY_MOST;
    if (length > 0 && (*coding_history = calloc(1, length + 1)) != NULL)
        memcpy(*coding_history, info->coding_history, length);
    bext->coding_history = *coding_history;
    free(info);
    return true;
}
