/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/timecode.h"

#include <stdio.h>
#include <string.h>

/* SMPTE ST 12-1: true rate as a fraction, numbers a second, and numbers left out at each minute that is no tenth. */
struct counting {
    int numerator, denominator, per_second, dropped;
};

static const struct counting countings[] = {
    [TT_FPS_23976] = {24000, 1001, 24, 0},  [TT_FPS_24] = {24, 1, 24, 0},
    [TT_FPS_25] = {25, 1, 25, 0},           [TT_FPS_2997] = {30000, 1001, 30, 0},
    [TT_FPS_2997DF] = {30000, 1001, 30, 2}, [TT_FPS_30] = {30, 1, 30, 0},
    [TT_FPS_50] = {50, 1, 50, 0},           [TT_FPS_5994] = {60000, 1001, 60, 0},
    [TT_FPS_5994DF] = {60000, 1001, 60, 4}, [TT_FPS_60] = {60, 1, 60, 0},
};

static int64_t frames_per_ten_minutes(const struct counting *counting)
{
    return 600 * (int64_t)counting->per_second - 9 * counting->dropped;
}

/* The number that stands on a frame's label, as if none were left out. */
static int64_t label_of_frame(const struct counting *counting, int64_t frame)
{
    if (counting->dropped == 0)
        return frame;
    int64_t per_ten = frames_per_ten_minutes(counting),
            per_minute = 60 * (int64_t)counting->per_second - counting->dropped;
    int64_t tens = frame / per_ten, rest = frame % per_ten;
    int64_t minutes =
        rest < counting->dropped ? 0 : (rest - counting->dropped) / per_minute; /* the first one is longer */
    return frame + counting->dropped * (9 * tens + minutes);
}

void tt_timecode_format(enum tt_frame_rate rate, int64_t frame, char text[TT_TIMECODE_CHARS])
{
    const struct counting *counting = &countings[rate];
    int64_t day = 144 * frames_per_ten_minutes(counting);
    frame %= day;
    if (frame < 0)
        frame += day;
    int64_t label = label_of_frame(counting, frame), seconds = label / counting->per_second;
    snprintf(text, TT_TIMECODE_CHARS, "%02u:%02u:%02u%c%02u", (unsigned)(seconds / 3600 % 24),
             (unsigned)(seconds / 60 % 60), (unsigned)(seconds % 60), counting->dropped ? ';' : ':',
             (unsigned)(label % counting->per_second));
}

static bool read_pairs(const char *text, int pairs[4])
{
    if (strlen(text) != 11)
        return false;
    for (int i = 0; i < 11; i++) {
        bool is_mark = i % 3 == 2;
        if (is_mark && text[i] != ':' && !(i == 8 && text[i] == ';'))
            return false;
        if (!is_mark && (text[i] < '0' || text[i] > '9'))
            return false;
    }
    for (int i = 0; i < 4; i++)
        pairs[i] = 10 * (text[3 * i] - '0') + (text[3 * i + 1] - '0');
    return pairs[0] < 24 && pairs[1] < 60 && pairs[2] < 60;
}

bool tt_timecode_parse(enum tt_frame_rate rate, const char *text, int64_t *frame)
{
    const struct counting *counting = &countings[rate];
    int pairs[4];
    if (!read_pairs(text, pairs) || pairs[3] >= counting->per_second)
        return false;
    if (text[8] == ';' && counting->dropped == 0)
        return false;
    if (pairs[2] == 0 && pairs[1] % 10 != 0 && pairs[3] < counting->dropped)
        return false; /* a number that is left out */
    int64_t minutes = 60 * pairs[0] + pairs[1];
    *frame = (60 * minutes + pairs[2]) * counting->per_second + pairs[3] - counting->dropped * (minutes - minutes / 10);
    return true;
}

int64_t tt_timecode_frame_of_sample(enum tt_frame_rate rate, int64_t sample, int sample_rate_hz)
{
    const struct counting *counting = &countings[rate];
    /* `numerator` frames last exactly `period` samples: only the rest behind whole periods needs rounding, and nothing
     * overflows. */
    int64_t period = (int64_t)counting->denominator * sample_rate_hz, rest = sample % period;
    return sample / period * counting->numerator + (2 * rest * counting->numerator + period) / (2 * period);
}

double tt_timecode_fps(enum tt_frame_rate rate)
{
    return (double)countings[rate].numerator / countings[rate].denominator;
}

bool tt_timecode_is_drop(enum tt_frame_rate rate) { return countings[rate].dropped > 0; }
