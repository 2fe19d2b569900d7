/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is known of a take as it goes from file to voice. */
#ifndef TT_SESSION_TAKE_H
#define TT_SESSION_TAKE_H

#include "audio/reader.h"
#include "base/settings.h"
#include "report/report.h"
#include "session/takes.h"
#include "sheet/heard.h"
#include "sheet/sheet.h"
#include "sheet/time_map.h"

enum { TT_MOST_TAKE_WARNINGS = 24 };

/* What tells a recording apart without reading it: the system moves the change time whenever anything about a file
 * changes. */
struct tt_identity {
    long long size, modified_ns, changed_ns, inode;
    char sha256[65]; /* "" until known */
};

struct tt_take {
    const struct tt_take_file *file;      /* its name is its own: several takes may be parts of one recording */
    const struct tt_take_file *recording; /* the file itself, as it lies in the folder */
    struct tt_take_file *own_file;        /* file, where it is not the recording's; else NULL */
    struct tt_take *first_of_file;        /* the first take that is a part of the same recording; NULL: this one */
    bool is_used;                         /* order.csv: use */
    bool is_ours;                         /* of this run's share (--part); else another run's work */
    bool is_needed_here;    /* what went wrong with it went wrong in deciding, on which this run's share rests, too */
    int order_line;         /* order.csv: where it stands; 0: not from there */
    int64_t from_ms, to_ms; /* order.csv: the part of the recording; to -1: to its end */
    bool is_pickup, joins_before;     /* read again later; no pause between takes in front of it */
    struct tt_settings *own_settings; /* order.csv: channel, room_tone; NULL: the session's */
    char piece[128];                  /* order.csv: piece, or "" */
    const struct tt_take **more;      /* takes that go on where this one ends, and are part of it */
    const char **more_paths;
    size_t more_count;
    int64_t own_frames; /* of its own file */
    struct tt_identity identity;
    bool is_identified_late;   /* beside hearing; until then identity and content_sha256 are empty */
    char content_sha256[65];   /* of all its files */
    struct tt_audio_info info; /* of all its files */
    struct tt_channel_choice channel;
    char hearing_key[65];
    bool has_failed;
    struct tt_error error;

    char *before_prefix, *after_prefix; /* of pictures, see pipeline/picture.h */
    char *voice_heard_path;
    char *before_copy,
        *after_copy;     /* sound for the page, where it does not play the take or the voice itself; NULL: none */
    double copy_gain_db; /* of the first */
    char *heard_path, *limit_path, *sheet_path, *voice_path, *whole_path, *json_path, *page_path;
    bool is_heard;
    struct tt_heard heard;

    char *sheet_text; /* as it lies in OUT: what was read, then what was written */
    size_t sheet_size;
    struct tt_sheet sheet;
    struct tt_sheet earlier_sheet; /* the program's rows as the last run left them */
    size_t persons_rows;
    const char *waits_for; /* the name by which the last run knew it, while its sheet of that name cannot be read
                              (borrowed); NULL: none */
    size_t brought_back;   /* rows that a person took out of the sheet and the run decided again */
    bool has_map;
    struct tt_time_map map;

    double gain_db; /* decided; NAN: exact when rendered */
    bool is_apart;
    char render_key[65];
    bool needs_render, is_rendered; /* rendered in this run */
    bool has_voice;
    int out_rate_hz, out_channel_count;
    int64_t out_frames;
    double applied_gain_db, limited_db;
    double pace_syllables_per_s; /* of what stays; NAN: too little of it */
    struct tt_after after;
    char why[80];
    struct tt_warning warnings[TT_MOST_TAKE_WARNINGS];
    size_t warning_count;
    int64_t narration_start_frame; /* -1: not in it */
};

/* What it owns. */
void tt_take_free(struct tt_take *take);
/* Whether a time of its sheet lies in the part of the recording that it is. */
bool tt_take_holds(const struct tt_take *take, int64_t ms);
/* It was heard, nothing went wrong with it, and the running order has a use for it. */
bool tt_take_takes_part(const struct tt_take *take);
/* ... and it is known what stays of it. */
bool tt_take_is_decided(const struct tt_take *take);
/* Of what was heard of its recording. */
int64_t tt_take_duration_ms(const struct tt_take *take);

#endif
