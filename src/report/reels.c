/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/reels.h"

#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static bool is_taken(const char (*reels)[TT_REEL_CHARS], size_t count, const char *reel)
{
    /* Auxiliary source, black and colour bars in CMX 3600 lists; channel names would only mislead a reader. */
    static const char *const reserved[] = {"AX", "BL", "BLACK", "BARS", "NONE"};
    for (size_t i = 0; i < sizeof reserved / sizeof *reserved; i++)
        if (strcmp(reserved[i], reel) == 0)
            return true;
    for (size_t i = 0; i < count; i++)
        if (strcmp(reels[i], reel) == 0)
            return true;
    return false;
}

/* The last 8 characters of the stem, with one '_' for each run of what reels cannot hold. */
static void squeeze(const char *stem, char reel[TT_REEL_CHARS])
{
    size_t length = 0;
    for (const unsigned char *c = (const unsigned char *)stem; *c; c++) {
        bool is_small = *c >= 'a' && *c <= 'z',
             is_plain = is_small || (*c >= 'A' && *c <= 'Z') || (*c >= '0' && *c <= '9');
        if (!is_plain && length > 0 && reel[length - 1] == '_')
            continue;
        if (length == TT_REEL_CHARS - 1)
            memmove(reel, reel + 1, --length);
        reel[length++] = !is_plain ? '_' : is_small ? (char)(*c - 'a' + 'A') : (char)*c;
    }
    reel[length] = '\0';
    size_t blank = strspn(reel, "_");
    memmove(reel, reel + blank, length - blank + 1);
    if (!reel[0])
        memcpy(reel, "TAKE", sizeof "TAKE");
}

/* Ends in a number that no earlier take has; beginning with the take's place keeps the search short. */
static void number(const char (*reels)[TT_REEL_CHARS], size_t count, char reel[TT_REEL_CHARS])
{
    char base[TT_REEL_CHARS];
    memcpy(base, reel, TT_REEL_CHARS);
    for (size_t n = count + 1; is_taken(reels, count, reel); n++) {
        char digits[24];
        int width = snprintf(digits, sizeof digits, "_%zu", n % 10000000);
        size_t kept = TT_REEL_CHARS - 1 - (size_t)width;
        if (kept > strlen(base))
            kept = strlen(base);
        memcpy(reel, base, kept);
        memcpy(reel + kept, digits, (size_t)width + 1);
    }
}

bool tt_reels_make(const struct tt_session_report *session, char (**reels)[TT_REEL_CHARS], struct tt_error *err)
{
    *reels = calloc(session->take_count + 1, sizeof **reels);
    if (!*reels)
        return tt_fail_memory(err);
    for (size_t i = 0; i < session->take_count; i++) {
        const struct tt_take_report *take = &session->takes[i];
        const char *stem =
            take->recording_stem && !session->settings->deliver.whole ? take->recording_stem : take->stem;
        size_t same = i;
        for (size_t j = 0; take->recording_stem && stem == take->recording_stem && j < i && same == i; j++)
            if (session->takes[j].recording_stem && strcmp(session->takes[j].recording_stem, stem) == 0)
                same = j;
        if (same < i) { /* parts of one recording come from one reel */
            memcpy((*reels)[i], (*reels)[same], TT_REEL_CHARS);
            continue;
        }
        squeeze(stem ? stem : "", (*reels)[i]);
        number((const char(*)[TT_REEL_CHARS]) * reels, i, (*reels)[i]);
    }
    return true;
}
