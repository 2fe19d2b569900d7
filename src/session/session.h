/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One run over one session: what is known of each take as it goes from file to voice. */
#ifndef TT_SESSION_SESSION_H
#define TT_SESSION_SESSION_H

#include <pthread.h>
#include <stdatomic.h>

#include "audio/reader.h"
#include "base/settings.h"
#include "report/report.h"
#include "session/takes.h"
#include "sheet/heard.h"
#include "sheet/sheet.h"
#include "sheet/time_map.h"
#include "tidytake/tidytake.h"

struct json_t;

enum { TT_MOST_TAKE_WARNINGS = 24 };

/* What tells a recording apart without reading it: the system moves the change time whenever anything about a file changes. */
struct tt_identity {
    long long size, modified_ns, changed_ns, inode;
    char sha256[65];                 /* "" until known */
};

struct tt_take {
    const struct tt_take_file *file; /* its name is its own: several takes may be parts of one recording */
    const struct tt_take_file *recording; /* the file itself, as it lies in the folder */
    struct tt_take_file *own_file;   /* file, where it is not the recording's; else NULL */
    struct tt_take *first_of_file;   /* the first take that is a part of the same recording; NULL: this one */
    bool is_used;                    /* order.csv: use */
    bool is_ours;                    /* of this run's share (--part); else another run's work */
    int order_line;                  /* order.csv: where it stands; 0: not from there */
    int64_t from_ms, to_ms;          /* order.csv: the part of the recording; to -1: to its end */
    bool is_pickup, joins_before;    /* read again later; no pause between takes in front of it */
    struct tt_settings *own_settings; /* order.csv: channel, room_tone; NULL: the session's */
    char piece[128];                 /* order.csv: piece, or "" */
    const struct tt_take **more;     /* takes that go on where this one ends, and are part of it */
    const char **more_paths;
    size_t more_count;
    int64_t own_frames;              /* of its own file */
    struct tt_identity identity;
    char content_sha256[65];         /* of all its files */
    struct tt_audio_info info;       /* of all its files */
    struct tt_channel_choice channel;
    char hearing_key[65];
    bool has_failed;
    struct tt_error error;

    char *before_prefix, *after_prefix; /* of pictures, see pipeline/picture.h */
    char *voice_heard_path;
    char *before_copy, *after_copy;  /* sound for the page, where it does not play the take or the voice itself; NULL: none */
    double copy_gain_db;             /* of the first */
    char *heard_path, *limit_path, *sheet_path, *voice_path, *whole_path, *json_path, *page_path;
    bool is_heard;
    struct tt_heard heard;

    char *sheet_text;                /* as it lies in OUT: what was read, then what was written */
    size_t sheet_size;
    struct tt_sheet sheet;
    struct tt_sheet earlier_sheet;   /* the program's rows as the last run left them */
    size_t persons_rows;
    const char *waits_for;           /* the name by which the last run knew it, while its sheet of that name cannot be read (borrowed); NULL: none */
    size_t brought_back;             /* rows that a person took out of the sheet and the run decided again */
    bool has_map;
    struct tt_time_map map;

    double gain_db;                  /* decided; NAN: exact when rendered */
    bool is_apart;
    char render_key[65];
    bool needs_render, is_rendered;  /* rendered in this run */
    bool has_voice;
    int out_rate_hz, out_channel_count;
    int64_t out_frames;
    double applied_gain_db, limited_db;
    double pace_syllables_per_s;     /* of what stays; NAN: too little of it */
    struct tt_after after;
    char why[80];
    struct tt_warning warnings[TT_MOST_TAKE_WARNINGS];
    size_t warning_count;
    int64_t narration_start_frame;   /* -1: not in it */
    double share_done;               /* of its current work */
};

struct tt_run_state {
    const struct tt_clean_options *options;
    const struct tt_clean_watcher *watcher;
    struct tt_take_list list;
    struct tt_settings settings;
    char *out;
    int lock_fd;
    struct tt_take *takes;           /* running order */
    size_t take_count;
    double earlier_common_gain_db, common_gain_db;
    char earlier_gain_aim[128], gain_aim[128]; /* what the common gain was decided for */
    struct json_t *earlier_state;    /* session.json as the last run left it, or NULL */
    struct json_t *tracks;           /* what the next run wants to know of narration and pieces */
    bool is_held;                    /* deliver.hold, and there is something that was handed over */

    bool has_narration;
    int narration_rate_hz;
    int64_t narration_frames;
    struct tt_after narration;
    double narration_trim_db;
    bool is_narration_new;           /* written in this run */
    char replaced[64];               /* the file below OUT that holds the narration before this one; "" when none was replaced */
    struct tt_warning warnings[TT_MOST_TAKE_WARNINGS];
    size_t warning_count;

    pthread_mutex_t mutex;           /* of progress */
    bool has_spare_threads;          /* for each take that is under way: three then keep two processors busy */
    atomic_bool is_stopped;
    double work_total, work_done;    /* frames */
};

/* Whether spectrograms are wanted: with the pages only. */
bool tt_run_wants_pictures(const struct tt_run_state *run);
/* What is in force for the hearing of a take. */
const struct tt_settings *tt_take_settings(const struct tt_run_state *run, const struct tt_take *take);
/* Whether a time of its sheet lies in the part of the recording that it is. */
bool tt_take_holds(const struct tt_take *take, int64_t ms);

/* Files of a take in OUT. */
bool tt_take_paths(struct tt_run_state *run, struct tt_take *take, struct tt_error *err);

void tt_take_fail(struct tt_run_state *run, struct tt_take *take, const struct tt_error *error);
void tt_take_warn(struct tt_take *take, const char *code, double at_s, const char *format, ...) TT_PRINTF(4, 5);
void tt_run_warn(struct tt_run_state *run, const char *code, const char *format, ...) TT_PRINTF(3, 4);
void tt_run_note(struct tt_run_state *run, const char *format, ...) TT_PRINTF(2, 3);
/* A tt_tick over a take: context is a struct tt_work. */
struct tt_work { struct tt_run_state *run; struct tt_take *take; const char *what; double frames, reported; };
bool tt_work_tick(void *context, double share);
bool tt_work_goes_on(void *context); /* the same where nothing is known of the share */
/* For the tracks behind the takes: context is the run; asked from one thread only. */
bool tt_run_goes_on(void *context);
void tt_work_end(struct tt_work *work, const char *done); /* done: "heard", "rendered" */

/* Words and progress: telling.c. The steps of a run, in order. Each fails only where the whole run must; takes that fail are marked. */
/* sheet_news.c: rows of changes files go into the sheets of the takes that they name. */
bool tt_session_merge_changes(struct tt_run_state *run, struct tt_error *err);
/* How many of the program's rows are in the take's new sheet and in its last report, but not in the sheet that was read: a person deleted them, which
 * decides nothing. Then it is told. */
size_t tt_session_brought_back(const struct tt_take *take);
void tt_session_tell_brought_back(struct tt_run_state *run);
bool tt_session_remember(struct tt_run_state *run, struct tt_error *err);   /* state.c: what earlier runs know */
bool tt_session_order(struct tt_run_state *run, struct tt_error *err);      /* order.c: OUT/order.csv */
bool tt_session_hear(struct tt_run_state *run, struct tt_error *err);       /* hearing.c */
bool tt_session_hold(struct tt_run_state *run, struct tt_error *err);       /* hold.c: an error where something would move by itself */
bool tt_session_held_sheets(struct tt_run_state *run, struct tt_error *err); /* held.c: in place of deciding, what was decided */
bool tt_session_held_gains(struct tt_run_state *run, struct tt_error *err);
bool tt_session_held_exact_gains(struct tt_run_state *run, struct tt_error *err); /* once render keys are there */
bool tt_session_pace(struct tt_run_state *run, struct tt_error *err);       /* pacing.c */
bool tt_session_render_key(struct tt_run_state *run, struct tt_take *take, struct tt_error *err);
bool tt_session_decide(struct tt_run_state *run, struct tt_error *err);     /* deciding.c: sheets, maps, gains */
bool tt_session_sheets_moved(struct tt_run_state *run);                     /* somebody saved a sheet since it was decided */
bool tt_session_render(struct tt_run_state *run, struct tt_error *err);     /* rendering.c */
bool tt_session_narrate(struct tt_run_state *run, struct tt_error *err);    /* narration.c */
bool tt_session_copy_sounds(struct tt_run_state *run, struct tt_error *err); /* play_copies.c */
const char *tt_take_play_before(const struct tt_take *take);
const char *tt_take_play_after(const struct tt_run_state *run, const struct tt_take *take);
bool tt_session_show_take(struct tt_run_state *run, struct tt_take *take, struct tt_error *err); /* its report/STEM.json alone */
bool tt_session_show(struct tt_run_state *run, struct tt_clean_result *result, struct tt_error *err); /* showing.c */

#endif
