/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A small made session: a beekeeper's film, read in four takes. Every figure is small enough to be checked by hand. */
#ifndef HIVE_SESSION_H
#define HIVE_SESSION_H

#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <math.h>

#include "report/report.h"
#include "row_of.h"

#define HIVE_SHA "3fa2c1000000000000000000000000000000000000000000000000000000beef"
enum { HIVE_TAKES = 4, HIVE_ROWS = 8, HIVE_STRETCHES = 4 };

struct hive {
    struct tt_settings settings;
    struct tt_heard heard[HIVE_TAKES];
    struct tt_remark remark;
    struct tt_sheet sheets[HIVE_TAKES];
    struct tt_row rows[HIVE_ROWS], whole_row;
    struct tt_time_map maps[HIVE_TAKES];
    struct tt_stretch stretches[HIVE_STRETCHES], whole;
    struct tt_warning warnings[2], session_warning;
    struct tt_take_report takes[HIVE_TAKES];
    struct tt_session_report session;
    char notes[HIVE_ROWS + 1][64];
};

static inline struct tt_row hive_row(struct hive *hive, size_t place, const char *id, int64_t start_ms, int64_t end_ms,
                                     enum tt_row_kind kind, enum tt_row_action action, double amount, double confidence,
                                     const char *note)
{
    snprintf(hive->notes[place], sizeof hive->notes[place], "%s", note);
    struct tt_row row = row_of(start_ms, end_ms, kind, action, amount);
    row.confidence = confidence;
    row.note = hive->notes[place];
    snprintf(row.id, sizeof row.id, "%s", id);
    return row;
}

static inline void hive_facts(struct tt_heard *heard, int rate_hz, int64_t frames)
{
    struct tt_heard_facts *facts = &heard->facts;
    snprintf(facts->content_sha256, sizeof facts->content_sha256, "%s", HIVE_SHA);
    facts->rate_hz = rate_hz;
    facts->channel_count = 2;
    facts->frame_count = frames;
    facts->before = (struct tt_levels){(double)frames / rate_hz, -27.31, 8.4, -19.25, -22.5, -3.125, -3.5, -30.0};
    facts->floor_dbfs = -51.5;
    facts->floor_dba = -55.25;
    facts->speech_dbfs = -24.5;
}

/* 20 s at 48 kHz: a misread and the talk behind it go, a pause is shortened to 0.8 s, 4 s are opened, one question
 * stays. */
static inline void hive_first_take(struct hive *hive)
{
    struct tt_row rows[HIVE_ROWS] = {
        hive_row(hive, 0, "m1-3fa2c1-7d20", 2000, 5000, TT_ROW_MISREAD, TT_DO_CUT, NAN, 0.98,
                 "read again 00:00:05.500-00:00:09.000"),
        hive_row(hive, 1, "t1-3fa2c1-11b9", 5000, 5500, TT_ROW_TALK, TT_DO_CUT, NAN, 0.98,
                 "between m1 and its re-read"),
        hive_row(hive, 2, "p1-3fa2c1-e07a", 9000, 11000, TT_ROW_PAUSE, TT_DO_SHORTEN, 0.8, 1, ""),
        hive_row(hive, 3, "b1-3fa2c1-92c4", 11000, 11300, TT_ROW_BREATH, TT_DO_SOFTEN, 12, 0.91, ""),
        hive_row(hive, 4, "l1-3fa2c1-0001", 12000, 12000, TT_ROW_LABEL, TT_DO_KEEP, NAN, NAN, "the queen"),
        hive_row(hive, 5, "g1-3fa2c1-0002", 13000, 13000, TT_ROW_GAP, TT_DO_OPEN, 4, NAN, "smoke"),
        hive_row(hive, 6, "m2-3fa2c1-0003", 14000, 15000, TT_ROW_MISREAD, TT_DO_ASK, NAN, 0.7,
                 "read again 00:00:15.200-00:00:17.000"),
        hive_row(hive, 7, "b2-3fa2c1-0004", 3000, 3300, TT_ROW_BREATH, TT_DO_SOFTEN, 12, 0.9, ""),
    };
    rows[4].is_persons = true;
    memcpy(hive->rows, rows, sizeof rows);
    hive->stretches[0] = (struct tt_stretch){0, 96000, 0, 0, 480};
    hive->stretches[1] = (struct tt_stretch){264000, 451200, 96000, 0, 480};
    hive->stretches[2] = (struct tt_stretch){508800, 624000, 283200, 192000, 480};
    hive->stretches[3] = (struct tt_stretch){624000, 960000, 590400, 0, 0};
    hive->maps[0] = (struct tt_time_map){.rate_hz = 48000,
                                         .stretches = hive->stretches,
                                         .count = HIVE_STRETCHES,
                                         .lead_samples = 0,
                                         .out_samples = 926400};
    hive_facts(&hive->heard[0], 48000, 960000);
    hive->remark = (struct tt_remark){"clipped", "clipped in 3 places", 6.25};
    hive->heard[0].remarks = &hive->remark;
    hive->heard[0].remark_count = 1;
    hive->warnings[0] = (struct tt_warning){"clipped", "clipped in 3 places", 6.25};
    hive->warnings[1] =
        (struct tt_warning){"held-back", "the limiter would have to take off more than limit_most_db", NAN};
}

static inline struct tt_after hive_after(double duration_s)
{
    return (struct tt_after){{duration_s, -16.0, 5.5, -12.25, -14.0, -1.5, -1.75, -19.125}, -66.5, -70.25, -16.75};
}

static inline void hive_takes(struct hive *hive)
{
    static const char *const names[] = {"01.wav", "02 - ruche.wav", "03.wav", "04.wav"}, *const stems[] = {"01",
                                                                                                           "02 - ruche",
                                                                                                           "03", "04"};
    static const char *const paths[] = {"/films/hive/01.wav", "/films/hive/02 - ruche.wav", "/films/hive/03.wav",
                                        "/films/hive/04.wav"};
    static const char *const voices[] = {"/films/hive.tidy/voice/01.wav", "/films/hive.tidy/voice/02 - ruche.wav",
                                         "/films/hive.tidy/voice/03.wav", "/films/hive.tidy/voice/04.wav"};
    for (size_t i = 0; i < HIVE_TAKES; i++) {
        hive->takes[i] = (struct tt_take_report){.name = names[i],
                                                 .stem = stems[i],
                                                 .source_path = paths[i],
                                                 .play_after = voices[i],
                                                 .is_heard = true,
                                                 .heard = &hive->heard[i],
                                                 .sheet = &hive->sheets[i],
                                                 .map = &hive->maps[i],
                                                 .has_voice = true,
                                                 .out_rate_hz = 48000,
                                                 .out_channel_count = 1,
                                                 .gain_db = 11.25,
                                                 .limited_db = 1.5,
                                                 .narration_start_frame = -1,
                                                 .time_reference_frames = -1};
        hive->sheets[i].take = (char *)(uintptr_t)names[i];
        snprintf(hive->takes[i].render_key, sizeof hive->takes[i].render_key, "key-%zu", i);
        snprintf(hive->takes[i].why, sizeof hive->takes[i].why, "new");
    }
}

/* Head 0.5 s, first voice 19.3 s, 0.7 s between, second voice 10 s, tail 0.5 s: 31 s at 48 kHz. */
static inline void hive_start(struct hive *hive)
{
    memset(hive, 0, sizeof *hive);
    tt_settings_default(&hive->settings);
    hive_takes(hive);
    hive_first_take(hive);
    hive->sheets[0].rows = hive->rows;
    hive->sheets[0].count = HIVE_ROWS;
    struct tt_take_report *takes = hive->takes;
    takes[0].out_frames = 926400;
    takes[0].after = hive_after(19.3);
    takes[0].warnings = hive->warnings;
    takes[0].warning_count = 2;
    takes[0].persons_rows = 1;
    takes[0].narration_start_frame = 24000;
    takes[0].time_reference_frames = INT64_C(1728000000); /* 10:00:00 at 48 kHz */
    hive_facts(&hive->heard[1], 44100, 441000);
    hive->whole = (struct tt_stretch){0, 441000, 0, 0, 0};
    hive->maps[1] = (struct tt_time_map){
        .rate_hz = 44100, .stretches = &hive->whole, .count = 1, .lead_samples = 0, .out_samples = 441000};
    takes[1].out_rate_hz = 44100;
    takes[1].out_frames = 441000;
    takes[1].after = hive_after(10);
    takes[1].narration_start_frame = 984000;
    takes[2].has_failed = true;
    takes[2].play_after = takes[3].play_after = NULL;
    takes[2].is_heard = takes[2].has_voice = false;
    takes[2].heard = NULL, takes[2].sheet = NULL, takes[2].map = NULL;
    snprintf(takes[2].error, sizeof takes[2].error, "03.wav: the file is empty; was the copy cut short?");
    hive_facts(&hive->heard[3], 48000, 96000);
    hive->whole_row = hive_row(hive, HIVE_ROWS, "o1-3fa2c1-0005", 0, 2000, TT_ROW_OTHER, TT_DO_CUT, NAN, NAN,
                               "a test of the microphone");
    hive->whole_row.is_persons = true;
    hive->sheets[3].rows = &hive->whole_row;
    hive->sheets[3].count = 1;
    hive->maps[3] = (struct tt_time_map){.rate_hz = 48000};
    takes[3].has_voice = false;
    takes[3].out_rate_hz = takes[3].out_channel_count = 0;
    hive->session_warning = (struct tt_warning){"order", "01.wav was recorded after 02 - ruche.wav", NAN};
    hive->session = (struct tt_session_report){.name = "Opening the hive in spring",
                                               .source_folder = "/films/hive",
                                               .out_folder = "/films/hive.tidy",
                                               .settings = &hive->settings,
                                               .takes = takes,
                                               .take_count = HIVE_TAKES,
                                               .passed_over = 2,
                                               .passed_over_names = {"hive.jpg", "script.txt"},
                                               .has_narration = true,
                                               .narration_rate_hz = 48000,
                                               .narration_frames = 1488000,
                                               .narration = hive_after(31),
                                               .common_gain_db = 11.25,
                                               .narration_trim_db = 0.05,
                                               .warnings = &hive->session_warning,
                                               .warning_count = 1};
}

#endif
