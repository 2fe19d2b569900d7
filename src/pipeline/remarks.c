/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/remarks.h"

#include <math.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>

#include "audio/samples.h"
#include "base/lanes.h"
#include "base/units.h"
#include "base/wide.h"
#include "dsp/interpolator.h"

/* Two samples in a row at full scale (within one step of 16 bits) are clipping; a single one may be a true peak. Common
 * practice, no source. */
enum { CLIP_RUN = 2 };
/* A recorder that mutes by itself leaves exact zeros for longer than this. */
static const double muted_ms = 50, muted_least_s = 0.5;
static const double least_offset =
    0.001;                         /* -60 dBFS: above the noise of any usable recording. Common practice, no source. */
static const double noisy_db = 15; /* below this the gate takes words with it; from our own measurements */

void tt_remarks_start(struct tt_remarks *remarks, const struct tt_audio_info *info)
{
    *remarks = (struct tt_remarks){.rate_hz = info->rate_hz,
                                   .promised_frames = info->frame_count,
                                   .is_truncated = info->is_truncated,
                                   .is_float = info->is_float,
                                   .first_clip_sample = -1};
}

static void end_zero_run(struct tt_remarks *remarks)
{
    if (remarks->zero_run > tt_frames_from_ms(muted_ms, remarks->rate_hz))
        remarks->muted_samples += remarks->zero_run;
    remarks->zero_run = 0;
}

static void listen_closely(struct tt_remarks *remarks, const float *samples, size_t count)
{
    for (size_t i = 0; i < count; i++) {
        if (fabsf(samples[i]) >= TT_CLIP_LEVEL) {
            if (++remarks->clip_run == CLIP_RUN) {
                remarks->clipped_runs++;
                remarks->clipped_samples += CLIP_RUN;
                if (remarks->first_clip_sample < 0)
                    remarks->first_clip_sample = remarks->sample_count + (int64_t)i - 1;
            } else if (remarks->clip_run > CLIP_RUN) {
                remarks->clipped_samples++;
            }
        } else {
            remarks->clip_run = 0;
        }
        if (samples[i] == 0.0f)
            remarks->zero_run++;
        else if (remarks->zero_run)
            end_zero_run(remarks);
    }
}

/* Zeros of either sign are looked for as bits, so that several samples are done at a time. */
TT_WIDE static float sum_of(const float *samples, size_t count, bool *has_zero)
{
    tt_lanes sums = {0}, part;
    float sum = 0;
    uint32_t zeros = 0;
    size_t i = 0;
    for (; i + TT_LANES <= count; i += TT_LANES) {
        tt_lanes_load(&part, samples + i);
        sums += part;
    }
    for (; i < count; i++)
        sum += samples[i];
    for (i = 0; i < count; i++) {
        uint32_t bits;
        memcpy(&bits, &samples[i], sizeof bits);
        zeros |= (uint32_t)(bits << 1 == 0);
    }
    *has_zero = zeros != 0;
    return sum + tt_lanes_sum(&sums);
}

void tt_remarks_listen(struct tt_remarks *remarks, const float *samples, size_t count)
{
    /* Stretches without a zero and below full scale need no closer look, and most are so. */
    enum { STRETCH = 256 };
    for (size_t at = 0; at < count; at += STRETCH) {
        size_t n = count - at < STRETCH ? count - at : STRETCH;
        bool has_zero;
        float peak = tt_sample_peak(samples + at, n);
        remarks->sum += sum_of(samples + at, n, &has_zero);
        remarks->peak = peak > remarks->peak ? peak : remarks->peak;
        if (peak >= TT_CLIP_LEVEL || has_zero || remarks->zero_run || remarks->clip_run)
            listen_closely(remarks, samples + at, n);
        remarks->sample_count += (int64_t)n;
    }
}

static void add(struct tt_remarks *remarks, const char *code, double at_s, const char *format, ...) TT_PRINTF(4, 5);
static void add(struct tt_remarks *remarks, const char *code, double at_s, const char *format, ...)
{
    if (remarks->count == TT_MOST_REMARKS)
        return;
    struct tt_remark *item = &remarks->items[remarks->count++];
    *item = (struct tt_remark){.at_s = at_s};
    snprintf(item->code, sizeof item->code, "%s", code);
    va_list args;
    va_start(args, format);
    vsnprintf(item->message, sizeof item->message, format, args);
    va_end(args);
}

void tt_remarks_over_words(struct tt_remarks *remarks, const int64_t *samples, size_t count)
{
    for (size_t i = 0; i < count; i++)
        add(remarks, "over-words", (double)samples[i] / remarks->rate_hz,
            "something over the words, read this line again");
}

static void add_clipping(struct tt_remarks *remarks, const struct tt_heard *heard)
{
    const double rate = remarks->rate_hz;
    if (remarks->mended_places > 0)
        add(remarks, "safety", (double)remarks->first_mended_frame / rate,
            "the channel clips in %lld places: channel %d, which holds the same lower, is heard there; lower the "
            "recording level next time",
            (long long)remarks->mended_places, (int)heard->facts.safety_number);
    else if (remarks->clipped_runs > 0 && !(remarks->is_float && remarks->peak > 1.0f))
        add(remarks, "clipped", remarks->first_clip_sample / rate,
            "clipped in %lld places (%.1f ms in all): the loudest words are distorted; lower the recording level next "
            "time",
            (long long)remarks->clipped_runs, 1000.0 * (double)remarks->clipped_samples / rate);
}

static void add_hum(struct tt_remarks *remarks, const struct tt_hum *hum)
{
    float most = 0;
    if (!(hum->base_hz > 0))
        return;
    for (int k = 0; k < TT_HUM_HARMONICS; k++)
        most = fmaxf(most, hum->over_floor_db[k]);
    add(remarks, "hum", NAN,
        "mains hum at %.1f Hz, up to %.0f dB over the room: look for a loose ground or a power supply near the "
        "cable",
        hum->base_hz, (double)most);
}

/* What the take holds beside clipping: silence that was no room, an offset, hum, too much room. */
static void add_sound(struct tt_remarks *remarks, const struct tt_heard *heard)
{
    if (remarks->muted_samples > muted_least_s * remarks->rate_hz)
        add(remarks, "muted", NAN,
            "%.1f s of digital silence: the recorder mutes pauses by itself; switch that off, since there is no room "
            "tone in them",
            (double)remarks->muted_samples / remarks->rate_hz);
    const double offset = remarks->sample_count > 0 ? fabs(remarks->sum / (double)remarks->sample_count) : 0;
    if (offset > least_offset)
        add(remarks, "dc-offset", NAN, "a constant offset of %.1f %% of full scale; it is taken out with the rumble",
            100 * offset);
    if (heard->run_count == 0)
        add(remarks, "no-speech", NAN,
            "no speech was found, so nothing was cut; if it is no take, write no beside it in order.csv, column use");
    add_hum(remarks, &heard->facts.hum);
    const double ratio_db = heard->facts.speech_dbfs - heard->facts.floor_dbfs;
    if (heard->run_count > 0 && isfinite(ratio_db) && ratio_db < noisy_db)
        add(remarks, "noisy", NAN,
            "the voice is only %.0f dB over the room: go nearer to the microphone or leave this room", ratio_db);
}

void tt_remarks_finish(struct tt_remarks *remarks, const struct tt_heard *heard, int64_t bad_samples)
{
    end_zero_run(remarks);
    if (remarks->is_truncated)
        add(remarks, "truncated", (double)remarks->sample_count / remarks->rate_hz,
            "the file ends before its header says: what was there was used; copy it again if its end is missing");
    if (bad_samples > 0)
        add(remarks, "bad-samples", NAN,
            "%lld samples were no numbers (NaN or infinity) and were taken as silence; export it anew if a word is "
            "missing",
            (long long)bad_samples);
    if (remarks->peak == 0.0f) {
        add(remarks, "digital-silence", NAN,
            "nothing but digital silence: was the microphone connected, or the wrong channel chosen?");
        return;
    }
    add_clipping(remarks, heard);
    add_sound(remarks, heard);
}
