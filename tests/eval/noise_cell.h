/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Recorded prompts in a room whose noise is known, at the prompts' own 16 kHz, and what is measured on them: a cell of
 * `make eval-noise`, small enough for every test run. */
#ifndef TT_TESTS_NOISE_CELL_H
#define TT_TESTS_NOISE_CELL_H

#include <speex/speex_preprocess.h>

#include "dsp/noise_sounds.h"
#include "dsp/stft.h"
#include "pipeline/pass_support.h"

enum { CELL_RATE_HZ = 16000, CELL_SPANS = 32, CELL_SPEECH_S = 24, CELL_FRAME = CELL_RATE_HZ / 50 };

enum cell_room { CELL_STEADY, CELL_LOUDER, CELL_QUIETER, CELL_HUM };

struct cell_span {
    size_t start, end;
};

struct cell {
    size_t count, line_count, change_at; /* change_at: where the room becomes another; SIZE_MAX: nowhere */
    float *clean, *noise, *take;
    struct cell_span lines[CELL_SPANS];
};

/* Pauses between the lines, of different lengths, 0.4 to 2 s; what lies within 120 ms of a line is judged neither way.
 */
static const double CELL_GUARD_S = 0.12, CELL_SETTLED_S = 2.0, CELL_STEP_DB = 8.0, CELL_SPEECH_RMS = 0.05;

static inline void cell_free(struct cell *cell)
{
    free(cell->clean);
    free(cell->noise);
    free(cell->take);
}

/* RMS of the 10 ms frames within 25 dB of the loudest. */
static inline double cell_active_rms(const float *samples, size_t count)
{
    const size_t size = CELL_RATE_HZ / 100;
    double most = 0, sum = 0;
    size_t used = 0;
    for (int pass = 0; pass < 2; pass++)
        for (size_t at = 0; at + size <= count; at += size) {
            const double rms = rms_of(samples + at, size);
            if (pass == 0)
                most = fmax(most, rms);
            else if (rms > most * 0.0562) {
                sum += rms * rms;
                used++;
            }
        }
    return sqrt(sum / (double)(used ? used : 1));
}

/* The part within 38 dB of the loudest 10 ms, as make_sessions.py trims. */
static inline struct cell_span cell_trimmed(const float *samples, size_t count)
{
    const size_t size = CELL_RATE_HZ / 100;
    double most = 0;
    struct cell_span span = {count, 0};
    for (size_t at = 0; at + size <= count; at += size)
        most = fmax(most, rms_of(samples + at, size));
    for (size_t at = 0; at + size <= count; at += size)
        if (rms_of(samples + at, size) > most * 0.0126) {
            span.start = span.start < at ? span.start : at;
            span.end = at + size;
        }
    return span;
}

static inline void cell_add_line(struct cell *cell, const char *path)
{
    size_t count;
    int rate_hz;
    float *prompt = sound_read(path, &count, &rate_hz);
    assert_int_equal(rate_hz, CELL_RATE_HZ);
    const struct cell_span span = cell_trimmed(prompt, count);
    const double seconds = span.end > span.start ? (double)(span.end - span.start) / CELL_RATE_HZ : 0;
    if (seconds >= 1.2 && seconds <= 5 && cell->line_count < CELL_SPANS) {
        const double gain = CELL_SPEECH_RMS / cell_active_rms(prompt + span.start, span.end - span.start);
        struct cell_span *line = &cell->lines[cell->line_count++];
        line->start = cell->count;
        line->end = line->start + (span.end - span.start);
        cell->count = line->end + (size_t)((0.4 + 0.4 * (double)(cell->line_count % 5)) * CELL_RATE_HZ);
        cell->clean = realloc(cell->clean, cell->count * sizeof *cell->clean);
        assert_non_null(cell->clean);
        for (size_t i = line->start; i < cell->count; i++)
            cell->clean[i] = i < line->end ? (float)(gain * (double)prompt[span.start + i - line->start]) : 0.0f;
    }
    free(prompt);
}

/* Nearly pink from three poles (Kellet's, from memory); its exact colour does not matter here. RMS about 1. */
static inline void cell_add_pink(float *samples, size_t count, uint32_t state)
{
    double a = 0, b = 0, c = 0;
    for (size_t i = 0; i < count; i++) {
        const double white = test_gaussian(&state);
        a = 0.99765 * a + 0.0990460 * white;
        b = 0.96300 * b + 0.2965164 * white;
        c = 0.57000 * c + 1.0526913 * white;
        samples[i] = (float)(0.5 * (a + b + c + 0.1848 * white));
    }
}

static inline void cell_add_room(struct cell *cell, enum cell_room room, double snr_db)
{
    cell->noise = test_sound(cell->count);
    cell->take = test_sound(cell->count);
    cell->change_at = room == CELL_LOUDER || room == CELL_QUIETER ? cell->count / 2 : SIZE_MAX;
    cell_add_pink(cell->noise, cell->count, 7);
    const size_t loud_from = room == CELL_LOUDER ? cell->change_at : 0,
                 loud_to = room == CELL_QUIETER ? cell->change_at : cell->count;
    const double scale = CELL_SPEECH_RMS * pow(10, -snr_db / 20) / rms_of(cell->noise + loud_from, loud_to - loud_from);
    for (size_t i = 0; i < cell->count; i++) {
        const bool is_loud = i >= loud_from && i < loud_to;
        cell->noise[i] *= (float)(scale * (is_loud ? 1 : pow(10, -CELL_STEP_DB / 20)));
    }
    if (room == CELL_HUM) /* six harmonics, 4 dB less each; the first as loud as the noise of the whole room */
        for (int k = 1; k <= 6; k++)
            add_tone(cell->noise, cell->count, CELL_RATE_HZ, 50.0 * k,
                     1.414 * CELL_SPEECH_RMS * pow(10, (-snr_db - 4.0 * (k - 1)) / 20));
    for (size_t i = 0; i < cell->count; i++)
        cell->take[i] = cell->clean[i] + cell->noise[i];
}

/* ---- what is compared ---- */

/* The take through the program: its whole length, nothing cut, no gain. To be freed. */
static inline float *cell_cleaned_with(struct place *place, const struct cell *cell, enum tt_hum_policy hum,
                                       double depth_db, double keep_faint_db)
{
    struct tt_error error = {0};
    struct tt_settings settings;
    struct tt_rendered rendered;
    size_t count;
    sound_write(take_path(place, "take.wav"), WAV_FLOAT, CELL_RATE_HZ, 1, cell->take, cell->count);
    tt_settings_default(&settings);
    settings.take.highpass_hz = 0;
    settings.breaths.soften_db = 0;
    settings.gate.hum = hum;
    settings.gate.depth_db = depth_db;
    settings.gate.keep_faint_db = keep_faint_db;
    struct pass *pass = pass_begin(place, "take.wav", settings);
    assert_ok(pass_hear(pass, 0, &error), error);
    struct tt_render_request request = pass_request(pass, 0);
    assert_ok(tt_render(&request, &rendered, &error), error);
    float *whole = sound_read(pass->whole, &count, NULL);
    assert_int_equal(count, cell->count);
    pass_end(pass);
    return whole;
}

static inline float *cell_cleaned(struct place *place, const struct cell *cell, enum tt_hum_policy hum)
{
    return cell_cleaned_with(place, cell, hum, 15, 0);
}

/* The take through libspeexdsp's preprocessor, its delay taken back. To be freed. */
static inline float *cell_by_library(const struct cell *cell, int suppress_db)
{
    const size_t most_lag = 1024, padded = (cell->count / CELL_FRAME + 6) * CELL_FRAME;
    float *out = test_sound(padded);
    SpeexPreprocessState *state = speex_preprocess_state_init(CELL_FRAME, CELL_RATE_HZ);
    int on = 1;
    assert_non_null(state);
    speex_preprocess_ctl(state, SPEEX_PREPROCESS_SET_DENOISE, &on);
    speex_preprocess_ctl(state, SPEEX_PREPROCESS_SET_NOISE_SUPPRESS, &suppress_db);
    for (size_t at = 0; at < padded; at += CELL_FRAME) {
        spx_int16_t frame[CELL_FRAME];
        for (size_t i = 0; i < CELL_FRAME; i++)
            frame[i] = (spx_int16_t)lrint(
                at + i < cell->count ? fmax(-32767, fmin(32767, (double)cell->take[at + i] * 32768)) : 0);
        speex_preprocess_run(state, frame);
        for (size_t i = 0; i < CELL_FRAME; i++)
            out[at + i] = (float)frame[i] / 32768;
    }
    speex_preprocess_state_destroy(state);
    size_t best = 0;
    double best_sum = -1;
    for (size_t lag = 0; lag < most_lag; lag++) {
        double sum = 0;
        for (size_t i = cell->lines[0].start; i < cell->lines[1].end; i++)
            sum += (double)cell->clean[i] * (double)out[i + lag];
        if (sum > best_sum) {
            best_sum = sum;
            best = lag;
        }
    }
    memmove(out, out + best, cell->count * sizeof *out);
    return out;
}

/* ---- what is measured ---- */

/* Whether a room that changed lies behind by less than two seconds. */
static inline bool cell_is_settling(const struct cell *cell, size_t at, size_t end)
{
    return cell->change_at != SIZE_MAX && end > cell->change_at &&
           at < cell->change_at + (size_t)(CELL_SETTLED_S * CELL_RATE_HZ);
}

/* Least-squares gain of the voice in the lines. */
static inline double cell_voice_gain(const struct cell *cell, const float *out, bool is_of_error)
{
    double both = 0, clean = 0, all = 0;
    for (size_t k = 0; k < cell->line_count; k++)
        for (size_t i = cell->lines[k].start; i < cell->lines[k].end; i++) {
            both += (double)cell->clean[i] * (double)out[i];
            clean += (double)cell->clean[i] * (double)cell->clean[i];
            all += (double)out[i] * (double)out[i];
        }
    return is_of_error ? both / all : both / clean;
}

static inline int cell_compare(const void *a, const void *b)
{
    const double x = *(const double *)a, y = *(const double *)b;
    return (x > y) - (x < y);
}

/* 20 ms frames whose clean level is within 25 dB of the 95th percentile, -10..35 dB each, after one least-squares gain.
 */
static inline double cell_segmental_snr(const struct cell *cell, const float *out)
{
    const double gain = cell_voice_gain(cell, out, true);
    double *clean = calloc(cell->count / CELL_FRAME + 1, sizeof *clean),
           *sorted = calloc(cell->count / CELL_FRAME + 1, sizeof *sorted);
    double *wrong = calloc(cell->count / CELL_FRAME + 1, sizeof *wrong), sum = 0;
    size_t count = 0, used = 0;
    assert_true(clean && sorted && wrong);
    for (size_t k = 0; k < cell->line_count; k++)
        for (size_t at = cell->lines[k].start; at + CELL_FRAME <= cell->lines[k].end; at += CELL_FRAME) {
            double c = 1e-15, e = 1e-15;
            if (cell_is_settling(cell, at, at + CELL_FRAME))
                continue;
            for (size_t i = at; i < at + CELL_FRAME; i++) {
                const double off = (double)cell->clean[i] - gain * (double)out[i];
                c += (double)cell->clean[i] * (double)cell->clean[i];
                e += off * off;
            }
            clean[count] = sorted[count] = 10 * log10(c);
            wrong[count++] = 10 * log10(e);
        }
    qsort(sorted, count, sizeof *sorted, cell_compare);
    for (size_t f = 0; f < count; f++)
        if (clean[f] > sorted[count * 95 / 100] - 25) {
            sum += fmax(-10, fmin(35, clean[f] - wrong[f]));
            used++;
        }
    free(clean);
    free(sorted);
    free(wrong);
    return sum / (double)used;
}

/* The pauses between the lines, without their guards, before (0) or behind (1) the change; without a change all are
 * before it. */
static inline size_t cell_pauses(const struct cell *cell, int part, struct cell_span *pauses)
{
    const size_t guard = (size_t)(CELL_GUARD_S * CELL_RATE_HZ);
    size_t count = 0;
    for (size_t k = 0; k < cell->line_count; k++) {
        const struct cell_span pause = {cell->lines[k].end + guard,
                                        (k + 1 < cell->line_count ? cell->lines[k + 1].start : cell->count) - guard};
        const bool is_behind = pause.end > cell->change_at;
        if (is_behind == (part == 1) && !cell_is_settling(cell, pause.start, pause.end))
            pauses[count++] = pause;
    }
    return count;
}

static inline double cell_pause_db(const struct cell *cell, const float *samples, int part)
{
    struct cell_span pauses[CELL_SPANS];
    const size_t count = cell_pauses(cell, part, pauses);
    double sum = 0, length = 0;
    for (size_t p = 0; p < count; p++)
        for (size_t i = pauses[p].start; i < pauses[p].end; i++, length++)
            sum += (double)samples[i] * (double)samples[i];
    assert_true(length > CELL_RATE_HZ);
    return 10 * log10(sum / length);
}

#endif
