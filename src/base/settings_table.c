/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The one list of all settings. A new setting is a member in settings.h and a row here.
 * Ranges: what a narrator could want and every stage stands, common practice, no source. */
#include "base/settings.h"

#include <string.h>

static const char *const hum_words[] = {"auto", "off", "50", "60", NULL};
static const char *const policy_words[] = {"cut", "ask", "off", NULL};
static const char *const aim_words[] = {"lufs", "rms", NULL};
static const char *const across_words[] = {"session", "take", NULL};
static const char *const channels_words[] = {"mono", "dual", NULL};
static const char *const format_words[] = {"wav", "flac", "rf64", NULL};
static const char *const bits_words[] = {"16", "24", "32f", NULL};
static const char *const rate_words[] = {"keep", "44100", "48000", "96000", NULL};
static const char *const frame_rate_words[] = {"23.976", "24",    "25",      "29.97", "29.97df", "30",
                                               "50",     "59.94", "59.94df", "60",    NULL};
static const char *const media_words[] = {"link", "copy", "copy-all", NULL};
static const char *const yes_words[] = {"no", "yes", NULL};
static const char *const on_words[] = {"off", "on", NULL};

/* The columns that differ by type, so that each row below stays readable. */
/* clang-format off */
#define AT(section, member) offsetof(struct tt_settings, section.member)
#define NUMBER(section, key, unit, least, most, fallback, help) \
    { #section, #key, unit, TT_SETTING_NUMBER, AT(section, key), least, most, fallback, NULL, help }
#define WORD(section, key, unit, words, fallback, help) \
    { #section, #key, unit, TT_SETTING_CHOICE, AT(section, key), 0, 0, fallback, words, help }
#define SWITCH(section, key, words, fallback, help) \
    { #section, #key, "", TT_SETTING_YES_NO, AT(section, key), 0, 0, fallback, words, help }
#define TEXT(section, key, least, fallback, help) \
    { #section, #key, "", TT_SETTING_TEXT, AT(section, key), least, TT_SETTING_TEXT_CHARS - 1, fallback, NULL, help }

static const struct tt_setting_row rows[] = {
    { "take", "channel", "", TT_SETTING_CHANNEL, AT(take, channel), 1, 64 /* what the reader takes */, "auto", NULL,
      "which channel carries the voice; e.g. left when the right one is the camera's microphone" },
    NUMBER(take, highpass_hz, "Hz", 0, 300, "70",
           "takes away rumble below this; e.g. 90 when lorries pass the house; 0 is off"),

    TEXT(floor, room_tone, 1, "auto",
         "a recording of the room with nobody speaking, e.g. room.wav; auto listens between the lines"),
    NUMBER(floor, window_s, "s", 2, 120, "20",
           "how often the room's noise is learnt anew; e.g. 10 when a fridge starts and stops"),

    NUMBER(gate, depth_db, "dB", 0, 60, "15",
           "the most that noise is turned down; e.g. 10 when the voice sounds thin; 0 is off"),
    WORD(gate, hum, "", hum_words, "auto",
         "mains hum and its harmonics; e.g. 50 when a lamp hums in Europe, 60 in North America"),
    NUMBER(gate, keep_faint_db, "dB", -12, 12, "0",
           "up: more of what is faint counts as voice; e.g. 3 when the ends of words get lost"),

    WORD(misreads, action, "", policy_words, "cut",
         "what happens to misreads; e.g. ask when you would rather hear each before it goes"),
    NUMBER(misreads, confidence, "", 0.5, 1, "0.97",
           "at least this sure: cut, less sure: ask; e.g. 0.99 when a wanted repeat was cut"),
    NUMBER(misreads, look_back_s, "s", 5, 900, "120",
           "how far before a re-read its misread may lie; e.g. 300 when you read whole pages again"),
    WORD(misreads, talk, "", policy_words, "ask",
         "talk that is not narration; e.g. cut when your takes begin with chat about the bees"),
    NUMBER(misreads, talk_most_s, "s", 0, 60, "8",
           "longer talk between a misread and its re-read is asked about; e.g. 15 if you think aloud"),
    SWITCH(misreads, knock, on_words, "off",
           "two knocks within a second mean 'that was wrong'; e.g. on when you tap the desk at a slip"),

    NUMBER(pauses, stay_ms, "ms", 50, 10000, "600",
           "pauses up to this stay as you spoke them; e.g. 800 for a calm film"),
    NUMBER(pauses, longest_ms, "ms", 50, 30000, "900",
           "what the longest pauses come down towards; e.g. 1500 when the voice feels rushed"),
    NUMBER(pauses, edge_ms, "ms", 0, 5000, "250",
           "room tone kept before a take's first and after its last word; e.g. 400 for soft endings"),
    NUMBER(pauses, between_ms, "ms", 0, 30000, "700",
           "pause between two takes in the narration; e.g. 1500 when each take is a paragraph"),
    NUMBER(pauses, keep_from_s, "s", 0, 600, "0",
           "a pause this long or longer stays open as a gap; e.g. 5 for the hive's own sound; 0 is never"),

    NUMBER(breaths, soften_db, "dB", 0, 40, "12",
           "how far breaths are turned down; e.g. 6 when the reading sounds airless; 0 leaves them alone"),

    WORD(loudness, aim, "", aim_words, "lufs",
         "which of the two targets below is aimed at; e.g. rms when an audiobook shop asks for RMS"),
    NUMBER(loudness, target_lufs, "LUFS", -40, -8, "-16",
           "how loud, integrated, ITU-R BS.1770-5; e.g. -23 for European broadcast"),
    NUMBER(loudness, target_rms_dbfs, "dBFS", -40, -8, "-20",
           "RMS of the whole file re full scale 1.0; e.g. -20 for an audiobook"),
    NUMBER(loudness, ceiling_dbtp, "dBTP", -20, 0, "-1",
           "no true peak goes above this; e.g. -2 when a lossy file is made of it later"),
    WORD(loudness, across, "", across_words, "session",
         "one gain for all takes recorded alike, or one for each; e.g. take when each is used alone"),
    NUMBER(loudness, limit_most_db, "dB", 0, 20, "6",
           "the most that peaks may be held down; e.g. 0 when the mixer does that; past it: a warning"),
    NUMBER(loudness, even_db, "dB", 0, 12, "0",
           "evens out loud and soft lines by at most this; e.g. 3 when you drifted from the microphone"),

    WORD(deliver, channels, "", channels_words, "mono",
         "one channel, or two alike, which read 3.01 LU higher; e.g. dual when the editor wants stereo"),
    WORD(deliver, format, "", format_words, "wav",
         "kind of sound file; e.g. flac to save space; wav turns into rf64 by itself past 4 GiB"),
    WORD(deliver, bits, "", bits_words, "24",
         "bits a sample, 16 is dithered; e.g. 16 when the museum's player takes nothing else"),
    WORD(deliver, rate_hz, "Hz", rate_words, "keep",
         "sample rate; e.g. 48000 for video; keep is that of the takes"),
    WORD(deliver, frame_rate, "", frame_rate_words, "25",
         "frames a second of the film, for edit lists; e.g. 23.976 when the editor says so"),
    { "deliver", "start", "", TT_SETTING_TIMECODE, AT(deliver, start), 0, 0, "01:00:00:00", NULL,
      "timecode of the narration's first frame; e.g. 10:00:00:00, or 10:00:00;00 for drop-frame" },
    SWITCH(deliver, narration, yes_words, "yes",
           "also write all takes as one track; e.g. no when only the single takes are wanted"),
    SWITCH(deliver, whole, yes_words, "no",
           "also write each take cleaned at full length; e.g. yes when the editor wants handles"),
    NUMBER(deliver, head_ms, "ms", 0, 30000, "0",
           "room tone in front of a narration or piece; e.g. 750 for an audiobook chapter"),
    NUMBER(deliver, tail_ms, "ms", 0, 30000, "0",
           "room tone behind a narration or piece; e.g. 3000 for an audiobook chapter"),
    NUMBER(deliver, keep_earlier, "", 0, 9999, "5",
           "how many replaced narrations stay in earlier/; e.g. 20 when many versions go round; 0 is all"),
    SWITCH(deliver, hold, yes_words, "no",
           "nothing that was handed over moves by itself; e.g. yes once the film is cut to your voice"),

    SWITCH(report, page, yes_words, "yes",
           "write the before/after pages; e.g. no when only the sound is wanted"),
    SWITCH(report, pictures, yes_words, "yes",
           "draw the pages' pictures; e.g. no when hundreds of takes have to be quick"),
    WORD(report, media, "", media_words, "link",
         "what the pages play; e.g. copy when you send the folder to someone without the takes"),

    NUMBER(watch, settle_s, "s", 0, 600, "2",
           "a file is taken when it has not grown for this long; e.g. 30 on a slow network drive"),
    TEXT(watch, then, 0, "",
         "a program run after each session, with the report's path; e.g. /usr/local/bin/tell-the-editor"),
};
/* clang-format on */

_Static_assert(sizeof rows / sizeof *rows <=
                   sizeof((struct tt_setting_origins *)0)->from / sizeof((struct tt_setting_origins *)0)->from[0],
               "a row without a place for its origin");

const struct tt_setting_row *tt_setting_rows(size_t *count)
{
    *count = sizeof rows / sizeof *rows;
    return rows;
}

const char *tt_setting_section_help(const char *section)
{
    static const char *const helps[][2] = {
        {"take", "how a recording is read"},
        {"floor", "where the noise of the room is learnt"},
        {"gate", "how far the noise of the room is turned down"},
        {"misreads", "what becomes of readings that a later one replaces, and of talk"},
        {"pauses", "how long pauses stay"},
        {"breaths", "what becomes of breaths"},
        {"loudness", "how loud the voice becomes"},
        {"deliver", "which files are written, and of what kind"},
        {"report", "what the pages hold"},
        {"watch", "for `tidytake watch` alone"},
    };
    for (size_t i = 0; i < sizeof helps / sizeof *helps; i++)
        if (strcmp(helps[i][0], section) == 0)
            return helps[i][1];
    return "";
}
