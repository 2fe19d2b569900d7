/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Takes for measuring time: not a voice that anybody would believe, but one that keeps every stage as busy as a real
 * one does. Lines of syllables with moving formants, hisses between them; breaths; short and long pauses; every eighth
 * line is begun, broken off and read again. */
#include <math.h>
#include <sndfile.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"

static const double PI = 3.14159265358979323846;

enum { TRACT = 3, LINE_SYLLABLES_MOST = 26, STEP_HZ = 200 };

struct narrator {
    uint64_t random;
    int rate_hz, channels;
    SNDFILE *take;
    int64_t left; /* samples still to be written */
    float *line;  /* one reading, as said */
    float room_low;
    double room_rms;
    float *frames; /* interleaved, a step at a time */
};

static uint32_t draw(struct narrator *n)
{
    n->random = n->random * 6364136223846793005u + 1442695040888963407u;
    return (uint32_t)(n->random >> 32);
}

static double uniform(struct narrator *n, double low, double high)
{
    return low + (high - low) * (double)draw(n) / 4294967296.0;
}

static float noise(struct narrator *n) { return (float)((double)draw(n) / 2147483648.0 - 1.0); }

/* Writes count samples of what is said (NULL: nothing) over the room; false when the take is full. */
static bool say(struct narrator *n, const float *said, size_t count, float gain)
{
    const size_t step = (size_t)n->rate_hz / STEP_HZ;
    for (size_t at = 0; at < count && n->left > 0;) {
        size_t size = count - at < step ? count - at : step;
        size = (int64_t)size < n->left ? size : (size_t)n->left;
        for (size_t i = 0; i < size; i++) {
            float hiss = noise(n);
            n->room_low += 0.02f * (hiss - n->room_low);
            float sample = (float)n->room_rms * (hiss + 6 * n->room_low) + (said ? gain * said[at + i] : 0);
            for (int c = 0; c < n->channels; c++)
                n->frames[i * (size_t)n->channels + (size_t)c] = c == 0 ? sample : 0.1f * sample;
        }
        if (sf_writef_float(n->take, n->frames, (sf_count_t)size) != (sf_count_t)size)
            bench_stop("cannot write a take: is there room in the temporary folder?");
        at += size;
        n->left -= (int64_t)size;
    }
    return n->left > 0;
}

struct tract {
    double c[TRACT], r2[TRACT], past[TRACT][2], gain;
};

static void shape_tract(struct tract *tract, const double *formant_hz, int rate_hz)
{
    static const double width_hz[TRACT] = {70, 100, 160};
    for (int k = 0; k < TRACT; k++) {
        double r = exp(-PI * width_hz[k] / rate_hz);
        tract->c[k] = 2 * r * cos(2 * PI * formant_hz[k] / rate_hz);
        tract->r2[k] = r * r;
    }
}

static double through_tract(struct tract *tract, double x)
{
    double sum = 0;
    static const double weight[TRACT] = {1.0, 0.6, 0.3};
    for (int k = 0; k < TRACT; k++) {
        double y = x + tract->c[k] * tract->past[k][0] - tract->r2[k] * tract->past[k][1];
        tract->past[k][1] = tract->past[k][0];
        tract->past[k][0] = y;
        sum += (k % 2 ? -weight[k] : weight[k]) * y;
    }
    return sum;
}

/* Makes a line of syllables; samples. Its level is brought to -26 dBFS RMS, where make_demo.py puts its speech. */
static size_t make_line(struct narrator *n, int syllables)
{
    struct tract tract = {0};
    double from_hz[TRACT] = {500, 1500, 2500}, phase = 0, sum = 0, pitch_hz = uniform(n, 170, 230);
    size_t at = 0;
    for (int s = 0; s < syllables; s++) {
        double to_hz[TRACT] = {uniform(n, 280, 850), uniform(n, 850, 2300), uniform(n, 2300, 3000)};
        size_t length = (size_t)(uniform(n, 0.12, 0.26) * n->rate_hz),
               hiss = (size_t)((draw(n) % 3 == 0 ? 0.07 : 0.01) * n->rate_hz);
        double loud = uniform(n, 0.5, 1.0), bend = uniform(n, -0.15, 0.1), last = 0;
        for (size_t i = 0; i < length; i++, at++) {
            double x = (double)i / (double)length;
            if (i % ((size_t)n->rate_hz / STEP_HZ) == 0) {
                double now_hz[TRACT];
                for (int k = 0; k < TRACT; k++)
                    now_hz[k] = from_hz[k] + (to_hz[k] - from_hz[k]) * (0.5 - 0.5 * cos(PI * x));
                shape_tract(&tract, now_hz, n->rate_hz);
            }
            double turn = pitch_hz * (1 + bend * x) / n->rate_hz, pulse = -turn; /* no constant part */
            phase += turn;
            if (phase >= 1) {
                phase -= 1;
                pulse += 1;
            }
            double out = 0.35 * loud * through_tract(&tract, pulse) * sin(PI * fmin(1, 0.15 + x));
            if (i < hiss) {
                double white = noise(n);
                out = out * 0.1 + 0.15 * (white - last);
                last = white;
            }
            n->line[at] = (float)out;
            sum += out * out;
        }
        memcpy(from_hz, to_hz, sizeof from_hz);
    }
    float gain = sum > 0 ? (float)(pow(10, -26.0 / 20) / sqrt(sum / (double)at)) : 0;
    for (size_t i = 0; i < at; i++)
        n->line[i] *= gain;
    return at;
}

static bool breathe(struct narrator *n)
{
    struct tract tract = {0};
    static const double formant_hz[TRACT] = {950, 1900, 4200};
    shape_tract(&tract, formant_hz, n->rate_hz);
    size_t length = (size_t)(uniform(n, 0.2, 0.45) * n->rate_hz);
    for (size_t i = 0; i < length; i++)
        n->line[i] = (float)(0.0004 * through_tract(&tract, noise(n)) * sin(PI * (double)i / (double)length));
    return say(n, n->line, length, 1) && say(n, NULL, (size_t)(uniform(n, 0.04, 0.14) * n->rate_hz), 0);
}

static bool pause_for(struct narrator *n, double low_s, double high_s)
{
    return say(n, NULL, (size_t)(uniform(n, low_s, high_s) * n->rate_hz), 0);
}

static bool read_line(struct narrator *n)
{
    if (draw(n) % 2 && !breathe(n))
        return false;
    size_t length = make_line(n, 8 + (int)(draw(n) % (LINE_SYLLABLES_MOST - 8)));
    if (draw(n) % 8 == 0 &&
        !(say(n, n->line, (size_t)(uniform(n, 0.5, 0.95) * (double)length), 0.8f) && pause_for(n, 0.3, 1.3)))
        return false;
    if (!say(n, n->line, length, 1))
        return false;
    return draw(n) % 5 < 3 ? pause_for(n, 0.25, 0.8) : pause_for(n, 0.8, 3.5);
}

void bench_make_take(const char *path, double seconds, int rate_hz, int channels, unsigned number)
{
    SF_INFO info = {.samplerate = rate_hz, .channels = channels, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    if (seconds * rate_hz * channels * 3 > 4e9)
        info.format = SF_FORMAT_RF64 | SF_FORMAT_PCM_24;
    struct narrator n = {.random = 0x9e3779b97f4a7c15u + number,
                         .rate_hz = rate_hz,
                         .channels = channels,
                         .left = (int64_t)(seconds * rate_hz)};
    n.room_rms = pow(10, -56.0 / 20);
    n.line = malloc((size_t)(LINE_SYLLABLES_MOST * 0.3 * rate_hz) * sizeof *n.line);
    n.frames = malloc(((size_t)rate_hz / STEP_HZ + 1) * (size_t)channels * sizeof *n.frames);
    n.take = sf_open(path, SFM_WRITE, &info);
    if (!n.line || !n.frames || !n.take)
        bench_stop("cannot write %s", path);
    sf_command(n.take, SFC_SET_CLIPPING, NULL, SF_TRUE);
    bool is_room_left = pause_for(&n, 0.6, 2.0);
    while (is_room_left)
        is_room_left = read_line(&n);
    if (sf_close(n.take) != 0)
        bench_stop("cannot write %s", path);
    free(n.line);
    free(n.frames);
}
