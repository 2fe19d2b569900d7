/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a run shows: JSON for programs, pages for people, lists for the picture edit, a summary for the terminal. */
#ifndef TT_REPORT_REPORT_H
#define TT_REPORT_REPORT_H

#include <stdbool.h>
#include <stddef.h>
#include <stdint.h>

#include "base/settings.h"
#include "base/text.h"
#include "sheet/heard.h"
#include "sheet/sheet.h"
#include "sheet/time_map.h"
#include "sheet/voice_heard.h"

/* How a rendered file measures. */
struct tt_after {
    struct tt_levels levels;
    double floor_dbfs, floor_dba; /* of what is left between the lines; -INFINITY or NAN when there is none */
    double speech_dbfs;           /* RMS of the speech runs that stayed, NAN when unknown */
};

struct tt_warning {
    char code[24];
    char message[400];
    double at_s; /* NAN: the whole take */
};

/* A file that a take goes on in. */
struct tt_report_file {
    const char *name, *path;
    int64_t start_frame, frame_count; /* start in the take */
    int64_t time_reference_frames;
};

/* Of two recordings that were set side by side (tidytake compare): the second stands where the voice stands for a take.
 */
struct tt_comparison {
    const char *after_name, *after_path;
    int after_rate_hz, after_channel_count;
    size_t heard_s, found_s; /* seconds of it with something to hear in them; those that the first holds, too */
    double likeness;         /* of the waveforms there, 0..1 */
    bool is_turned;          /* its polarity is the other one */
    bool is_one_sided;       /* what a browser plays of it has the voice in one of several channels */
};

/* Everything known about one take after a run; borrowed pointers live until the run's end. */
struct tt_take_report {
    const char *name;        /* file name of the take */
    const char *stem;        /* as used for files in OUT */
    const char *source_path; /* absolute */
    const char *piece;       /* that it belongs to; NULL or "": none */
    const char *recording_name,
        *recording_stem; /* of the file, where the take is a part of it; NULL: as name and stem */
    const struct tt_report_file
        *files; /* where a recorder split the recording: each of its files in order, the first among them; else NULL */
    size_t file_count;
    const char *play_before, *play_after; /* absolute: the files that the page plays; NULL: a browser plays none */
    bool has_copy;      /* play_before is a copy made for the page, of the one channel, turned by copy_gain_db */
    bool lacks_removed; /* what was taken out is silent in it */
    double copy_gain_db;
    int source_channel_count;
    bool has_failed; /* then only name, source_path and error are valid */
    char error[640];
    bool is_heard; /* heard, sheet and map are valid */
    const struct tt_heard *heard;
    const struct tt_sheet *sheet;
    const struct tt_time_map *map;
    bool has_voice; /* voice/STEM.wav (or .flac) exists and `after` is valid; false after --plan and for empty takes */
    int out_rate_hz, out_channel_count;
    int64_t out_frames;
    double gain_db, limited_db;
    double pace_syllables_per_s; /* of what stays, a second of speech; NAN: too little of it to tell */
    struct tt_after after;
    const struct tt_voice_heard *voice_heard; /* measured of the voice as it was written; NULL: not known */
    bool has_pictures;                        /* spectrograms lie in report/STEM/ */
    const struct tt_warning *warnings;
    size_t warning_count;
    size_t persons_rows; /* rows of the sheet that a person made and that were kept */
    char render_key[72]; /* digest of what the voice was rendered from; kept in the JSON */
    char why[80];        /* "new", "up to date", "its sheet changed", "settings changed", "its gain moved" ... */
    int64_t
        time_reference_frames; /* of the take's first frame since midnight, at the take's rate (bext); -1: not known */
    const struct tt_comparison *comparison; /* NULL: a take and its voice */
    int64_t narration_start_frame;          /* of the voice in the narration, at narration_rate_hz; -1 when not in it */
};

enum { TT_MOST_PASSED_OVER_NAMES = 12 };

struct tt_session_report {
    const char *name;          /* of the session's folder */
    const char *source_folder; /* absolute */
    const char *out_folder;    /* absolute */
    const struct tt_settings *settings;
    const char *target;                 /* name given to --for, or NULL */
    const struct tt_take_report *takes; /* running order */
    size_t take_count;
    size_t passed_over;                                       /* files in the folder that are no takes */
    const char *passed_over_names[TT_MOST_PASSED_OVER_NAMES]; /* the first of them by name */
    bool is_plan;                                             /* --plan: nothing was rendered */
    bool has_narration;
    int narration_rate_hz;
    int64_t narration_frames;
    struct tt_after narration;
    double common_gain_db; /* NAN with across = take */
    double narration_trim_db;
    const struct tt_warning *warnings; /* of the session */
    size_t warning_count;
    char sheets_sha256[65]; /* digest of all cut sheets: pages of one run belong together. May be "" */
};

/* Rounds after, gain_db and limited_db to the digits that STEM.json keeps, so that a later run over takes that are up
 * to date shows the same. */
void tt_report_round(struct tt_take_report *take);

/* OUT/report/STEM.json: the keys of the manual, plus program, take, stem, error, render_key, gain_db, limited_db and
 * remark_count. warnings[] opens with the recording's remarks (remark_count of them, each once though it may stand
 * among the take's warnings, too). Numbers that are not finite become null. out_start_s is null, and time_map empty,
 * without a voice. */
bool tt_report_take_json(const struct tt_take_report *take, struct tt_text *out, struct tt_error *err);

/* What an earlier run left in such a file, for takes that are up to date. */
struct tt_earlier_take {
    char render_key[72];
    bool has_voice;
    int out_rate_hz, out_channel_count;
    int64_t out_frames;
    double gain_db, limited_db;
    struct tt_after after;
    struct tt_warning *warnings; /* freshly allocated, the caller frees them; without the recording's remarks */
    size_t warning_count;
};
/* A damaged file, or one that is no report of ours, is an error. */
bool tt_report_take_json_read(const char *path, struct tt_earlier_take *earlier, struct tt_error *err);

/* The summary for programs: OUT/session.json opens with it. *object is a jansson object, the caller's: the session adds
 * keys of its own. */
struct json_t;
bool tt_report_session_json(const struct tt_session_report *session, struct json_t **object, struct tt_error *err);
/* Any such object as the text of a file, numbers as short as STEM.json has them. */
bool tt_report_json_text(const struct json_t *object, struct tt_text *out, struct tt_error *err);

/* Pages: report/STEM.html and index.html, self-contained HTML with a Content-Security-Policy; every text from outside
 * is escaped. */
bool tt_report_take_page(const struct tt_session_report *session, const struct tt_take_report *take,
                         struct tt_text *out, struct tt_error *err);
/* DIR/index.html of a comparison: take->comparison is there, its rows are what only the first recording holds. */
bool tt_report_compare_page(const struct tt_session_report *session, const struct tt_take_report *take,
                            struct tt_text *out, struct tt_error *err);
bool tt_report_session_page(const struct tt_session_report *session, struct tt_text *out, struct tt_error *err);

/* Edit lists of the narration. An EDL takes 999 events: part counts from 0, *has_more tells that another follows. Takes
 * that are in no narration are left out. */
bool tt_report_edl(const struct tt_session_report *session, int part, struct tt_text *out, bool *has_more,
                   struct tt_error *err);
bool tt_report_otio(const struct tt_session_report *session, struct tt_text *out, struct tt_error *err);

/* The terminal's summary, at most 80 columns: what a person must do first, then the longest removals, running time,
 * takes that fell out, figures last. Only a path or a word that is longer by itself passes the 80 columns. Control
 * characters in names do not reach it. */
bool tt_report_summary(const struct tt_session_report *session, bool verbose, struct tt_text *out,
                       struct tt_error *err);

/* Number of rows with action ask. */
size_t tt_report_questions(const struct tt_take_report *take);

#endif
