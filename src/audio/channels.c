/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One pass over all channels of a take. Levels of 50 ms blocks go into a histogram by level, so that a long take needs
 * no more memory than a short one. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "audio/reader.h"
#include "audio/samples.h"
#include "base/units.h"

enum {
    BLOCK_MS = 50, /* about a syllable */
    BINS_PER_DB = 10,
    LOWEST_DB = -200, /* below what 24 bits can hold */
    HIGHEST_DB = 60,  /* far above full scale, for float files */
    BIN_COUNT = (HIGHEST_DB - LOWEST_DB) * BINS_PER_DB,
    LANES = 8 /* sums kept side by side: the compiler adds several at once, always in the same order */
};

struct bin {
    int64_t count;
    double power_sum;
};

struct channel {
    double square_sum;
    float peak;
    int64_t clipped_frames;
    int64_t clipped_run; /* that the last block ended in */
    int64_t block_count; /* that are not digital silence */
    struct bin bins[BIN_COUNT];
};

struct survey {
    int channel_count;
    int64_t block_frames;
    int64_t frame_count;
    float *interleaved; /* one block */
    float *samples;     /* its channels, one behind the other */
    double products[TT_PAIRED_CHANNELS][TT_PAIRED_CHANNELS];
    int64_t paired_frames;
    struct tt_step_levels levels[TT_PAIRED_CHANNELS];
    int rate_hz;
    struct channel *channels;
};

struct block_sums {
    double sum, square_sum;
    float peak;
};

static struct block_sums sum_block(const float *samples, size_t count)
{
    float sums[LANES] = {0}, squares[LANES] = {0};
    uint32_t peaks[LANES] = {0};
    double sum = 0.0, square_sum = 0.0;
    for (size_t from = 0; from < count; from += LANES) {
        size_t n = count - from < LANES ? count - from : LANES;
        for (size_t lane = 0; lane < n; lane++) {
            float sample = samples[from + lane];
            uint32_t bits;
            memcpy(&bits, &sample, sizeof bits);
            bits &= 0x7FFFFFFFu; /* magnitudes of floats are in the order of their bits */
            sums[lane] += sample;
            squares[lane] += sample * sample;
            peaks[lane] = peaks[lane] > bits ? peaks[lane] : bits;
        }
    }
    uint32_t peak_bits = 0;
    for (int lane = 0; lane < LANES; lane++) {
        sum += (double)sums[lane];
        square_sum += (double)squares[lane];
        peak_bits = peaks[lane] > peak_bits ? peaks[lane] : peak_bits;
    }
    struct block_sums all = {sum, square_sum, 0.0f};
    memcpy(&all.peak, &peak_bits, sizeof all.peak);
    return all;
}

/* Two or more in a row are clipping; one alone may be a peak that just fits. */
static void count_clipped(struct channel *channel, const float *samples, size_t count, float block_peak)
{
    if (block_peak < TT_CLIP_LEVEL) {
        channel->clipped_run = 0;
        return;
    }
    for (size_t i = 0; i < count; i++) {
        channel->clipped_run = fabsf(samples[i]) >= TT_CLIP_LEVEL ? channel->clipped_run + 1 : 0;
        if (channel->clipped_run >= 2)
            channel->clipped_frames += channel->clipped_run == 2 ? 2 : 1;
    }
}

/* The level of a block is without its mean: a constant offset is no floor that one hears. */
static void add_level(struct channel *channel, const struct block_sums *sums, size_t count)
{
    double power = (sums->square_sum - sums->sum * sums->sum / (double)count) / (double)count;
    if (!(power > 0.0))
        return;
    double place = (tt_db_from_power(power) - LOWEST_DB) * BINS_PER_DB;
    int bin = place < 0.0 ? 0 : place >= BIN_COUNT ? BIN_COUNT - 1 : (int)place;
    channel->bins[bin].count++;
    channel->bins[bin].power_sum += power;
    channel->block_count++;
}

static double product_of(const float *a, const float *b, size_t count)
{
    float sums[LANES] = {0};
    double sum = 0.0;
    for (size_t from = 0; from < count; from += LANES) {
        size_t n = count - from < LANES ? count - from : LANES;
        for (size_t lane = 0; lane < n; lane++)
            sums[lane] += a[from + lane] * b[from + lane];
    }
    for (int lane = 0; lane < LANES; lane++)
        sum += (double)sums[lane];
    return sum;
}

static void add_products(struct survey *survey, size_t count, float block_peak)
{
    const int paired = survey->channel_count < TT_PAIRED_CHANNELS ? survey->channel_count : TT_PAIRED_CHANNELS;
    if (block_peak >= TT_CLIP_LEVEL || paired < 2)
        return;
    for (int a = 0; a < paired; a++)
        for (int b = a; b < paired; b++)
            survey->products[a][b] += product_of(survey->samples + (size_t)a * (size_t)survey->block_frames,
                                                 survey->samples + (size_t)b * (size_t)survey->block_frames, count);
    survey->paired_frames += (int64_t)count;
}

static bool add_block(struct survey *survey, size_t count, struct tt_error *err)
{
    float paired_peak = 0;
    for (int c = 0; c < survey->channel_count; c++) {
        struct channel *channel = &survey->channels[c];
        float *samples = survey->samples + (size_t)c * (size_t)survey->block_frames;
        tt_samples_pick(survey->interleaved, survey->channel_count, c, samples, count);
        (void)tt_samples_mend(samples, count);
        struct block_sums sums = sum_block(samples, count);
        if (c < TT_PAIRED_CHANNELS && sums.peak > paired_peak)
            paired_peak = sums.peak;
        if (survey->channel_count > 1 && c < TT_PAIRED_CHANNELS &&
            !tt_step_levels_add_sums(&survey->levels[c], TT_OTHER_STEP_MS / BLOCK_MS * survey->block_frames, sums.sum,
                                     sums.square_sum, count, err))
            return false;
        channel->square_sum += sums.square_sum;
        channel->peak = sums.peak > channel->peak ? sums.peak : channel->peak;
        count_clipped(channel, samples, count, sums.peak);
        bool is_short = (int64_t)count < survey->block_frames && survey->frame_count > 0;
        if (!is_short) /* what is left at the end counts only where it is all there is */
            add_level(channel, &sums, count);
    }
    add_products(survey, count, paired_peak);
    survey->frame_count += (int64_t)count;
    return true;
}

/* RMS of the blocks ranked from..to by level, counted from the loudest or the quietest; a bin's blocks count as alike.
 */
static double rms_of_ranks(const struct channel *channel, double from, double to, bool is_from_loudest)
{
    double rank = 0.0, power_sum = 0.0, counted = 0.0;
    for (int i = 0; i < BIN_COUNT && rank < to; i++) {
        const struct bin *bin = &channel->bins[is_from_loudest ? BIN_COUNT - 1 - i : i];
        double first = fmax(rank, from), last = fmin(rank + (double)bin->count, to);
        if (last > first) {
            power_sum += (last - first) * bin->power_sum / (double)bin->count;
            counted += last - first;
        }
        rank += (double)bin->count;
    }
    return counted > 0.0 ? sqrt(power_sum / counted) : 0.0;
}

static struct tt_channel_stats sum_up(const struct survey *survey, const struct channel *channel)
{
    struct tt_channel_stats stats = {.peak = (double)channel->peak, .clipped_frames = channel->clipped_frames};
    double blocks = (double)channel->block_count;
    if (survey->frame_count > 0)
        stats.rms = sqrt(channel->square_sum / (double)survey->frame_count);
    if (channel->block_count > 0) {
        double tenth = fmax(blocks / 10.0, 1.0);
        stats.active_rms = rms_of_ranks(channel, tenth > 1.0 ? blocks / 100.0 : 0.0, tenth, true);
        stats.quiet_rms = rms_of_ranks(channel, 0.0, tenth, false);
    }
    return stats;
}

static bool read_all(struct survey *survey, struct tt_reader *reader, tt_go_on go_on, void *context,
                     struct tt_error *err)
{
    for (;;) {
        if (go_on && !go_on(context))
            return tt_fail(err, TT_ERROR_STOPPED, "stopped");
        int64_t got = tt_reader_read(reader, survey->interleaved, survey->block_frames, err);
        if (got < 0)
            return false;
        if (got > 0 && !add_block(survey, (size_t)got, err))
            return false;
        if (got < survey->block_frames)
            return true;
    }
}

/* For each pair of channels, both ways. */
static bool find_other_voices(const struct survey *survey, struct tt_channel_stats *stats, struct tt_error *err)
{
    const int paired = survey->channel_count < TT_PAIRED_CHANNELS ? survey->channel_count : TT_PAIRED_CHANNELS;
    for (int own = 0; own < paired; own++)
        for (int other = 0; other < paired; other++) {
            size_t count = 0;
            if (own == other)
                continue;
            struct tt_span_frames *spans =
                tt_other_voice_find(&survey->levels[own], &survey->levels[other], &count, err);
            if (!spans)
                return false;
            for (size_t i = 0; i < count; i++)
                stats[other].other_voice_s[own] += (double)(spans[i].end - spans[i].start) / survey->rate_hz;
            free(spans);
        }
    return true;
}

bool tt_channels_survey(const char *path, tt_go_on go_on, void *context, struct tt_channel_stats *stats,
                        int *channel_count, struct tt_error *err)
{
    struct tt_audio_info info;
    struct tt_reader *reader = tt_reader_open(path, &info, err);
    if (reader == NULL)
        return false;
    struct survey survey = {.channel_count = info.channel_count,
                            .block_frames = tt_frames_from_ms(BLOCK_MS, info.rate_hz),
                            .rate_hz = info.rate_hz};
    const size_t block = (size_t)survey.block_frames, channels = (size_t)info.channel_count;
    survey.interleaved = malloc(sizeof(float) * block * channels);
    survey.samples = malloc(sizeof(float) * block * channels);
    survey.channels = calloc(channels, sizeof *survey.channels);
    bool is_done = survey.interleaved != NULL && survey.samples != NULL && survey.channels != NULL;
    is_done = is_done ? read_all(&survey, reader, go_on, context, err) : tt_fail_memory(err);
    for (int c = 0; is_done && c < info.channel_count; c++)
        stats[c] = sum_up(&survey, &survey.channels[c]);
    for (int a = 0; is_done && survey.paired_frames > 0 && a < TT_PAIRED_CHANNELS; a++)
        for (int b = 0; b < TT_PAIRED_CHANNELS && a < info.channel_count; b++)
            stats[a].product[b] =
                (a < b ? survey.products[a][b] : survey.products[b][a]) / (double)survey.paired_frames;
    is_done = is_done && find_other_voices(&survey, stats, err);
    for (int c = 0; c < TT_PAIRED_CHANNELS; c++)
        tt_step_levels_free(&survey.levels[c]);
    *channel_count = is_done ? info.channel_count : 0;
    free(survey.interleaved);
    free(survey.samples);
    free(survey.channels);
    tt_reader_close(reader);
    return is_done;
}
