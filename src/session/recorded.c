/* SPDX-License-Identifier: GPL-2.0-or-later */
/* When takes were recorded, by themselves, and whether they are still the same. */
#include "session/recorded.h"

#include <jansson.h>
#include <stdio.h>
#include <string.h>

#include "report/json_values.h"

enum { TOLD_MOST = 3 };

/* Days since 1 March of year 0 in the Gregorian calendar: months counted from March have their leap day last. */
static long long day_number(int year, int month, int day)
{
    if (month < 3) {
        year--;
        month += 12;
    }
    return 365LL * year + year / 4 - year / 100 + year / 400 + (153 * (month - 3) + 2) / 5 + day - 1;
}

/* In ms; -1: the file does not say. The date, with the time reference (frames since midnight) where there is one, else
 * the time beside it. */
static long long recorded_ms(const struct tt_take *take)
{
    int year, month, day, hour, minute, second;
    if (sscanf(take->info.origination, "%4d-%2d-%2d %2d:%2d:%2d", &year, &month, &day, &hour, &minute, &second) != 6 ||
        take->info.rate_hz <= 0)
        return -1;
    long long ms = 1000LL * (3600 * hour + 60 * minute + second);
    if (take->info.time_reference > 0)
        ms = (long long)(1000.0 * (double)take->info.time_reference / take->info.rate_hz);
    return 86400000LL * day_number(year, month, day) + ms + take->from_ms;
}

bool tt_recorded_on_other_days(const struct tt_take *a, const struct tt_take *b)
{
    return a->info.origination[0] && b->info.origination[0] &&
           strncmp(a->info.origination, b->info.origination, 10) != 0;
}

static void time_text(const struct tt_take *take, char text[40])
{
    const long long second = recorded_ms(take) / 1000 % 86400;
    snprintf(text, 40, "%.10s %02lld:%02lld:%02lld", take->info.origination, second / 3600, second / 60 % 60,
             second % 60);
}

void tt_session_check_times(struct tt_run_state *run)
{
    const struct tt_take *last = NULL;
    int told = 0;
    for (size_t i = 0; i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        if (take->has_failed || !take->is_used || take->is_pickup || recorded_ms(take) < 0)
            continue;
        if (last && recorded_ms(take) < recorded_ms(last) && told++ < TOLD_MOST) {
            char a[40], b[40];
            time_text(last, a);
            time_text(take, b);
            tt_run_warn(
                run, "order-times",
                "%s (recorded %s) comes before %s (recorded %s): if that is not meant, change their rows in order.csv",
                last->file->name, a, take->file->name, b);
        }
        last = take;
    }
    if (told > TOLD_MOST)
        tt_run_warn(run, "order-times", "and likewise in %d more places", told - TOLD_MOST);
}

void tt_session_tell_changed(struct tt_run_state *run)
{
    const json_t *recordings = json_object_get(run->earlier_state, "recordings");
    for (size_t i = 0; i < run->take_count; i++) {
        const struct tt_take *take = &run->takes[i];
        if (take->has_failed || take->first_of_file)
            continue;
        json_t *name = tt_json_utf8(take->recording->name);
        const char *before =
            json_string_value(json_object_get(json_object_get(recordings, json_string_value(name)), "sha256"));
        if (before && strcmp(before, take->identity.sha256) != 0)
            tt_run_warn(run, "changed",
                        "%s is another recording than in the last run: if you did not replace it, copy it again from "
                        "the recorder",
                        take->recording->name);
        json_decref(name);
    }
}
