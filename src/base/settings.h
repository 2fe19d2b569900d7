/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Every setting: one table of rows parses, checks, prints and documents them. */
#ifndef TT_BASE_SETTINGS_H
#define TT_BASE_SETTINGS_H

#include <stdbool.h>
#include <stddef.h>

#include "base/fail.h"
#include "base/text.h"

enum { TT_SETTING_TEXT_CHARS = 1024 };

enum tt_channel_policy { TT_CHANNEL_AUTO, TT_CHANNEL_LEFT, TT_CHANNEL_RIGHT, TT_CHANNEL_MIX, TT_CHANNEL_NUMBER };
enum tt_hum_policy { TT_HUM_AUTO, TT_HUM_OFF, TT_HUM_50, TT_HUM_60 };
enum tt_row_policy { TT_POLICY_CUT, TT_POLICY_ASK, TT_POLICY_OFF };
enum tt_aim { TT_AIM_LUFS, TT_AIM_RMS };
enum tt_across { TT_ACROSS_SESSION, TT_ACROSS_TAKE };
enum tt_channels { TT_CHANNELS_MONO, TT_CHANNELS_DUAL };
enum tt_container { TT_CONTAINER_WAV, TT_CONTAINER_FLAC, TT_CONTAINER_RF64 };
enum tt_bits { TT_BITS_16, TT_BITS_24, TT_BITS_32F };
static inline int tt_bits_number(enum tt_bits bits) { return bits == TT_BITS_16 ? 16 : bits == TT_BITS_24 ? 24 : 32; }
enum tt_rate { TT_RATE_KEEP, TT_RATE_44100, TT_RATE_48000, TT_RATE_96000 };
enum tt_media { TT_MEDIA_LINK, TT_MEDIA_COPY, TT_MEDIA_COPY_ALL };
/* In the order of the setting's words: 23.976 24 25 29.97 29.97df 30 50 59.94 59.94df 60 */
enum tt_frame_rate {
    TT_FPS_23976,
    TT_FPS_24,
    TT_FPS_25,
    TT_FPS_2997,
    TT_FPS_2997DF,
    TT_FPS_30,
    TT_FPS_50,
    TT_FPS_5994,
    TT_FPS_5994DF,
    TT_FPS_60
};

/* All values in force. Plain data: copy freely. Members are named as the keys are. */
struct tt_settings {
    struct {
        enum tt_channel_policy channel;
        int channel_number; /* 1-based, with TT_CHANNEL_NUMBER */
        double highpass_hz;
    } take;
    struct {
        char room_tone[TT_SETTING_TEXT_CHARS]; /* "auto" or a path */
        double window_s;
    } floor;
    struct {
        double depth_db;
        enum tt_hum_policy hum;
        double keep_faint_db;
    } gate;
    struct {
        enum tt_row_policy action;
        double confidence;
        double look_back_s;
        enum tt_row_policy talk;
        double talk_most_s;
        bool knock;
    } misreads;
    struct {
        double stay_ms, longest_ms, edge_ms, between_ms, keep_from_s;
    } pauses;
    struct {
        double soften_db;
    } breaths;
    struct {
        enum tt_aim aim;
        double target_lufs, target_rms_dbfs, ceiling_dbtp;
        enum tt_across across;
        double limit_most_db, even_db;
    } loudness;
    struct {
        enum tt_channels channels;
        enum tt_container format;
        enum tt_bits bits;
        enum tt_rate rate_hz;
        enum tt_frame_rate frame_rate;
        char start[16];
        bool narration, whole;
        double head_ms, tail_ms;
        double keep_earlier;
        bool hold;
    } deliver;
    struct {
        bool page, pictures;
        enum tt_media media;
    } report;
    struct {
        double settle_s;
        char then[TT_SETTING_TEXT_CHARS];
    } watch;
};

enum tt_setting_type {
    TT_SETTING_NUMBER,
    TT_SETTING_CHOICE,
    TT_SETTING_YES_NO,
    TT_SETTING_TEXT,
    TT_SETTING_CHANNEL,
    TT_SETTING_TIMECODE
};

/* One row of the table. */
struct tt_setting_row {
    const char *section, *key;
    const char *unit; /* "" when it has none */
    enum tt_setting_type type;
    size_t offset;              /* in struct tt_settings */
    double least, most;         /* range of a number, of a channel's number, or of a text's length in bytes */
    const char *fallback;       /* the default, as text */
    const char *const *choices; /* NULL-terminated: of a choice, in the order of its enum; of a yes-no, no first */
    const char *help;           /* one line of at most 100 characters, in a narrator's words, with an example */
};
const struct tt_setting_row *tt_setting_rows(size_t *count); /* rows of one section stand together */
const char *tt_setting_section_help(const char *section); /* one line: what its settings are about; "" for no section */

/* Where each value came from, for `tidytake settings`; parallel to the rows. Start from {0} (= built-in).
 * 64 KiB: better on the heap. */
struct tt_setting_origins {
    char from[64][TT_SETTING_TEXT_CHARS];
};

void tt_settings_default(struct tt_settings *settings);

/* One key from text; words may be in capitals, a text value is taken as it stands. origin is "file:line" or "--set" and
 * opens the error message, which names the nearest known key and the allowed range. origins may be NULL. */
bool tt_settings_set(struct tt_settings *settings, const char *section, const char *key, const char *value,
                     const char *origin, struct tt_setting_origins *origins, struct tt_error *err);
/* "SECTION.KEY=VALUE". */
bool tt_settings_set_assignment(struct tt_settings *settings, const char *assignment,
                                struct tt_setting_origins *origins, struct tt_error *err);
/* An INI file: sections in [], key = value, comments from ; or # at the line's start or behind a space,
 * UTF-8 with or without byte-order mark, LF or CRLF, lines of any length. A value in double quotes is taken literally
 * ("" is a quote inside). A reader of our own, as the packaged one gives no line numbers and cuts lines at 200 bytes.
 * Relative room_tone paths are relative to the file. Of several faults the first is reported; the settings may then
 * hold what stood before it. */
bool tt_settings_read_ini(struct tt_settings *settings, const char *path, struct tt_setting_origins *origins,
                          struct tt_error *err);
/* The same from memory (no NUL needed behind it); origin_name stands for the file's path. */
bool tt_settings_read_ini_text(struct tt_settings *settings, const char *text, size_t size, const char *origin_name,
                               struct tt_setting_origins *origins, struct tt_error *err);
/* Keys that contradict each other (longest_ms < stay_ms ...): an error that names both. */
bool tt_settings_check(const struct tt_settings *settings, struct tt_error *err);

/* Every setting in force as valid INI with unit, range and origin in comments; at most 80 columns, long texts apart. */
void tt_settings_print(const struct tt_settings *settings, const struct tt_setting_origins *origins,
                       struct tt_text *out);
/* The value in force of one row, as text that parses back to the same value. */
void tt_setting_value(const struct tt_settings *settings, const struct tt_setting_row *row, struct tt_text *out);
/* The list of settings in mdoc(7), for the manual page. */
void tt_settings_print_mdoc(struct tt_text *out);

#endif
