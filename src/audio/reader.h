/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Reading a sound file in blocks; the only user of libsndfile's reading side. Never writes to it. */
#ifndef TT_AUDIO_READER_H
#define TT_AUDIO_READER_H

#include <stdbool.h>
#include <stdint.h>

#include "audio/other_voice.h"
#include "base/fail.h"
#include "base/file.h"

struct tt_audio_info {
    int rate_hz;
    int channel_count;
    int64_t frame_count; /* what can be read; exact for uncompressed sound, a cut FLAC or lossy file may give fewer */
    int bits;            /* of integer formats; 32 or 64 of float; 0 of lossy ones */
    bool is_float;
    bool plays_in_browser;  /* WAV of 8/16/24/32 bit, FLAC, MP3, Ogg: what browsers play by common practice */
    bool is_truncated;      /* the header promises more than the file holds: by the chunk sizes of WAV, RF64, W64, AIFF,
                             * AU, CAF, by the last frame of FLAC; never known of MP3 and Ogg. Sizes that a recorder
                             * never filled in are no promise: all that is there is read */
    int64_t time_reference; /* bext: frames since midnight of the first frame; -1 without bext */
    char format_name[48];   /* "WAV, 24 bit" */
    char origination[24];   /* bext date and time "yyyy-mm-dd hh:mm:ss", or "" */
    bool has_no_sound;      /* a camera file without a sound track: the error says so, too */
    bool is_our_output;     /* bext: this program wrote it */
};

struct tt_reader;

enum { TT_LEAST_RATE_HZ = 8000, TT_MOST_RATE_HZ = 192000 }; /* that are read */

/* Opens a file for reading and fills *info. The error says what is wrong with the file and what to do: no sound file,
 * empty, header that lies, no permission, more than 64 channels, rate outside TT_LEAST_RATE_HZ..TT_MOST_RATE_HZ. */
struct tt_reader *tt_reader_open(const char *path, struct tt_audio_info *info, struct tt_error *err);

/* Next frames, interleaved, as float with 1.0 = full scale (floats above are kept). Returns frames read, 0 at the end,
 * -1 on error. Never returns fewer than asked except at the end; the buffer has room for all that is asked for, also
 * then. */
int64_t tt_reader_read(struct tt_reader *reader, float *interleaved, int64_t frame_count, struct tt_error *err);

/* The broadcast extension as it lies in the file; false without one. coding_history is freshly allocated, or NULL: the
 * caller frees it. What stands in it of loudness is of the recording and left out. */
struct tt_bext;
bool tt_reader_bext(struct tt_reader *reader, struct tt_bext *bext, char **coding_history);

/* Goes on so many frames later: at once where places in the file are exact, else by reading. */
bool tt_reader_skip(struct tt_reader *reader, int64_t frames, struct tt_error *err);
/* From here on shows the file's bytes as they are read, whatever the order. Of a camera file nothing is shown. */
void tt_reader_show_bytes(struct tt_reader *reader, tt_bytes_seen seen, void *context);
void tt_reader_close(struct tt_reader *reader); /* NULL is fine */

/* ---- one voice out of a take's channels ---- */

enum { TT_MOST_CHANNELS = 64, TT_PAIRED_CHANNELS = 8 };

struct tt_channel_stats {
    double rms; /* re full scale 1.0 */
    double peak;
    int64_t clipped_frames; /* at or within 1/32768 of full scale, in runs of two or more */
    /* Of 50 ms blocks that are not digital silence, each without its mean: an offset is no level. */
    double active_rms; /* RMS of the loudest tenth, its loudest tenth (knocks) left out: speech level */
    double quiet_rms;  /* RMS of the quietest tenth */
    /* Mean products with the first channels, itself among them, over blocks in which none of these reaches full scale.
     */
    double product[TT_PAIRED_CHANNELS];
    double other_voice_s[TT_PAIRED_CHANNELS]; /* for how long it carries another voice than each of the first channels
                                                 (audio/other_voice.h) */
};

/* Which channel carries the voice, and why, in a narrator's words. */
struct tt_channel_choice {
    int channel;       /* 0-based; -1: the mean of all channels */
    char why[200];     /* "one channel", "left: the right one is silent" ... */
    int safety_number; /* 1-based: a channel with the same sound some dB lower, used where the chosen one clips; 0: none
                        */
    double safety_gain;  /* linear, that brings it to the level of the chosen one */
    int listener_number; /* 1-based: a channel that carries what somebody else says; 0: none. Never heard in the voice
                          */
};

/* One pass over a file with several channels. stats holds TT_MOST_CHANNELS entries. */
bool tt_channels_survey(const char *path, tt_go_on go_on, void *context, struct tt_channel_stats *stats,
                        int *channel_count, struct tt_error *err);
/* The rule of `channel = auto`: equal channels: the first; else the one whose speech stands furthest over its floor
 * among those that do not clip, unless these are 15 dB less clear or hold no voice; never adds unequal ones. One that
 * holds the same sound at a lower level stands in where the louder one clips. One into which somebody else speaks, for
 * less time than the narrator, is the listener's. Pure. */
struct tt_channel_choice tt_channel_choose(const struct tt_channel_stats *stats, int channel_count);

/* A recording as it is read: a file, or several that a recorder made of one, and which of its channels. Strings are
 * borrowed. */
struct tt_recording {
    const char *path;
    const char *const *more_paths; /* that go on where it ends */
    size_t more_count;
    int channel;       /* -1: the mean of all */
    int safety_number; /* see struct tt_channel_choice */
    double safety_gain;
    int listener_number; /* see struct tt_channel_choice */
};

/* A reader that gives one channel as mono and makes NaN and infinity into 0 (counted). Where the channel clips and
 * there is a safety channel, that one is heard, brought to the same level and faded in and out within some ms: such
 * samples may lie above full scale. */
struct tt_voice_reader;
/* *info is of the first file, with the frames of all. Files that do not go together are an error. */
struct tt_voice_reader *tt_recording_open(const struct tt_recording *recording, struct tt_audio_info *info,
                                          struct tt_error *err);
/* Leaves out the first frames, before anything is read: what comes is as if they had been read. */
bool tt_voice_reader_skip(struct tt_voice_reader *reader, int64_t frames, struct tt_error *err);
/* As tt_reader_show_bytes, of the recording's first file. */
void tt_voice_reader_show_bytes(struct tt_voice_reader *reader, tt_bytes_seen seen, void *context);
/* How often the safety channel stood in so far, and where first (-1: nowhere). */
int64_t tt_voice_reader_mended(const struct tt_voice_reader *reader, int64_t *first_frame);
struct tt_voice_reader *tt_voice_reader_open(const char *path, int channel, struct tt_audio_info *info,
                                             struct tt_error *err);
/* Mono samples read (0 at the end), -1 on error. Never fewer than asked except at the end. */
int64_t tt_voice_reader_read(struct tt_voice_reader *reader, float *samples, int64_t count, struct tt_error *err);
bool tt_voice_reader_bext(struct tt_voice_reader *reader, struct tt_bext *bext,
                          char **coding_history); /* as tt_reader_bext */
/* Where somebody else spoke into the listener's channel, of what was read so far; freshly allocated, NULL only without
 * memory. */
struct tt_span_frames *tt_voice_reader_other_voice(const struct tt_voice_reader *reader, size_t *count,
                                                   struct tt_error *err);
int64_t tt_voice_reader_bad_samples(const struct tt_voice_reader *reader);
void tt_voice_reader_close(struct tt_voice_reader *reader);

/* True when the name ends like a sound file's (wav w64 rf64 bwf aif aiff aifc flac ogg oga opus mp3 au caf; any case),
 * or like a camera's file where this build reads those, and does not begin with a dot. */
bool tt_is_sound_name(const char *name);

#endif
