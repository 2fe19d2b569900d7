/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Finds joins that stand out: spectral flux, level step and sample step near each join of a voice, against the 99th
 * percentile of the same at natural places of the same voice's pauses. Knows of the program's own doing but the time
 * map; where pauses are comes from the truth of the session. */
#ifndef TT_TESTS_JOIN_DETECTOR_H
#define TT_TESTS_JOIN_DETECTOR_H

#include <math.h>
#include <string.h>

#include "dsp/stft.h"
#include "session/clean_support.h"

enum { JOIN_BANDS = 8, JOIN_FIGURES = 3, JOIN_NEAR = 6 /* hops around a join */, JOIN_NATURAL_LEAST = 100 };
enum { JOIN_LOOKS = 4 * JOIN_FIGURES /* in four sessions */ };
static const char *const join_figure_names[JOIN_FIGURES] = {"spectral flux", "level step", "sample step"};

struct join_tally {
    size_t joins, over[JOIN_FIGURES];
    double worst[JOIN_FIGURES];
};

struct join_places {
    size_t frames, count; /* samples; hops */
    int hop, window;
    bool *is_loud;    /* by sample: known to sound, or made */
    bool *is_allowed; /* by hop: nothing but the room is looked at there */
    bool *is_join;    /* by hop: near one */
    double *figure[JOIN_FIGURES];
};

/* Band levels in dB of the frame that begins at each hop. */
static inline float *join_bands(const float *voice, struct join_places *places, int rate_hz)
{
    struct tt_error error = {0};
    struct tt_stft_shape shape = tt_stft_shape_for(rate_hz);
    struct tt_stft *stft = tt_stft_create(shape, &error);
    assert_non_null(stft);
    float *bands = calloc((places->count + 5) * JOIN_BANDS, sizeof *bands);
    float *power = calloc((size_t)shape.bin_count, sizeof *power);
    for (size_t k = 0; k < places->count + 4; k++) {
        tt_stft_powers(stft, voice + k * (size_t)places->hop, power);
        for (int b = 0; b < JOIN_BANDS; b++) {
            double sum = 1e-18, bin_hz = (double)rate_hz / shape.window_samples;
            for (int bin = 1; bin < shape.bin_count; bin++) /* 100 Hz to 10 kHz, alike on a log axis */
                if ((int)floor(JOIN_BANDS * log10(bin * bin_hz / 100) / 2) == b && bin * bin_hz >= 100)
                    sum += (double)power[bin];
            bands[k * JOIN_BANDS + (size_t)b] = (float)(10 * log10(sum));
        }
    }
    free(power);
    tt_stft_destroy(stft);
    return bands;
}

static inline void join_figures(const float *voice, struct join_places *places, int rate_hz)
{
    float *bands = join_bands(voice, places, rate_hz);
    for (size_t k = 0; k < places->count; k++) {
        const float *a = bands + k * JOIN_BANDS, *b = a + 4 * JOIN_BANDS;
        double flux = 0, level_a = 0, level_b = 0, step = 0;
        for (int i = 0; i < JOIN_BANDS; i++) {
            flux += fabs((double)b[i] - (double)a[i]) / JOIN_BANDS;
            level_a += pow(10, (double)a[i] / 10);
            level_b += pow(10, (double)b[i] / 10);
        }
        for (size_t i = k * (size_t)places->hop + 1; i < k * (size_t)places->hop + 2 * (size_t)places->window; i++)
            step = fmax(step, fabs((double)voice[i] - (double)voice[i - 1]));
        places->figure[0][k] = flux;
        places->figure[1][k] = fabs(10 * log10(level_b / level_a));
        places->figure[2][k] = 20 * log10(step + 1e-12);
    }
    free(bands);
}

/* The highest around a hop, NAN where too little of it is room alone. */
static inline double join_highest(const struct join_places *places, const double *values, size_t centre)
{
    double highest = -INFINITY;
    size_t allowed = 0;
    for (size_t k = centre > JOIN_NEAR ? centre - JOIN_NEAR : 0; k <= centre + JOIN_NEAR && k < places->count; k++) {
        allowed += places->is_allowed[k];
        if (places->is_allowed[k])
            highest = fmax(highest, values[k]);
    }
    return allowed > JOIN_NEAR ? highest : NAN;
}

static inline int join_compare(const void *a, const void *b)
{
    const double left = *(const double *)a, right = *(const double *)b;
    return (left > right) - (left < right);
}

static inline void join_judge(const struct join_places *places, const size_t *joins, size_t join_count,
                              struct join_tally *tally)
{
    double *natural = calloc(places->count + 1, sizeof *natural);
    for (int f = 0; f < JOIN_FIGURES; f++) {
        size_t count = 0;
        for (size_t k = 0; k < places->count; k += 2) {
            double value = places->is_join[k] ? NAN : join_highest(places, places->figure[f], k);
            if (!isnan(value))
                natural[count++] = value;
        }
        if (count < JOIN_NATURAL_LEAST)
            continue;
        qsort(natural, count, sizeof *natural, join_compare);
        const double limit = natural[(size_t)(0.99 * (double)(count - 1))];
        for (size_t j = 0; j < join_count; j++) {
            double value = join_highest(places, places->figure[f], joins[j]);
            if (isnan(value))
                continue;
            tally->joins += f == 0;
            tally->over[f] += value > limit;
            tally->worst[f] = fmax(tally->worst[f], value - limit);
        }
    }
    free(natural);
}

/* What of the take's time map is a join, and which samples of the voice are loud. */
static inline size_t join_places_of(const json_t *report, const json_t *truth, struct join_places *places,
                                    size_t *joins)
{
    const json_t *map = json_object_get(report, "time_map"), *events = json_object_get(truth, "events");
    const double rate = number_at(truth, NULL, "rate_hz"), guard_s = 0.03;
    size_t count = 0;
    memset(places->is_loud, true, places->frames);
    for (size_t i = 0; i < json_array_size(map); i++) {
        const json_t *row = json_array_get(map, i);
        int64_t start = (int64_t)number_at(row, NULL, "source_start_frame"),
                end = (int64_t)number_at(row, NULL, "source_end_frame");
        int64_t out = (int64_t)number_at(row, NULL, "out_start_frame");
        for (int64_t s = start; s < end && out + s - start < (int64_t)places->frames; s++)
            places->is_loud[out + s - start] = false;
        for (size_t e = 0; e < json_array_size(events); e++) {
            const json_t *event = json_array_get(events, e);
            int64_t from = (int64_t)((number_at(event, NULL, "start_s") - guard_s) * rate),
                    to = (int64_t)((number_at(event, NULL, "end_s") + guard_s) * rate);
            for (int64_t s = from > start ? from : start;
                 s < to && s < end && out + s - start < (int64_t)places->frames; s++)
                places->is_loud[out + s - start] = true;
        }
        if (i > 0 && out > places->window)
            joins[count++] = (size_t)((out - places->window) / places->hop);
    }
    for (size_t k = 0; k < places->count; k++) {
        const size_t from = k * (size_t)places->hop;
        places->is_allowed[k] = !memchr(places->is_loud + from, true, 2 * (size_t)places->window);
    }
    for (size_t j = 0; j < count; j++)
        for (size_t k = joins[j] > 3 * JOIN_NEAR ? joins[j] - 3 * JOIN_NEAR : 0;
             k < joins[j] + 3 * JOIN_NEAR && k < places->count; k++)
            places->is_join[k] = true;
    return count;
}

/* Adds a take's joins to the tally. */
static inline void join_tally_take(const char *voice_path, const char *report_path, const char *truth_path,
                                   struct join_tally *tally)
{
    int rate_hz;
    struct join_places places = {0};
    float *voice = sound_read(voice_path, &places.frames, &rate_hz);
    json_t *report = json_of(report_path), *truth = json_of(truth_path);
    struct tt_stft_shape shape = tt_stft_shape_for(rate_hz);
    places.hop = shape.hop_samples;
    places.window = shape.window_samples;
    places.count = places.frames > 4 * (size_t)places.window
                       ? (places.frames - 2 * (size_t)places.window) / (size_t)places.hop - 4
                       : 0;
    places.is_loud = calloc(places.frames + 1, 1);
    places.is_allowed = calloc(places.count + 1, 1);
    places.is_join = calloc(places.count + 1, 1);
    for (int f = 0; f < JOIN_FIGURES; f++)
        places.figure[f] = calloc(places.count + 1, sizeof(double));
    size_t *joins = calloc(json_array_size(json_object_get(report, "time_map")) + 1, sizeof *joins);
    size_t count = join_places_of(report, truth, &places, joins);
    join_figures(voice, &places, rate_hz);
    join_judge(&places, joins, count, tally);
    for (int f = 0; f < JOIN_FIGURES; f++)
        free(places.figure[f]);
    free(joins);
    free(places.is_loud);
    free(places.is_allowed);
    free(places.is_join);
    free(voice);
    json_decref(report);
    json_decref(truth);
}

/* One in a hundred natural places lies above its own 99th percentile, so one in a hundred joins may, within chance:
 * that as many of so many do must not be rarer than one time in forty (binomial distribution) over all JOIN_LOOKS
 * together: of 14 joins two may, not three. */
static inline bool joins_pass(const struct join_tally *tally, int figure)
{
    const double n = (double)tally->joins;
    double exactly = pow(0.99, n), fewer = 0;
    for (size_t k = 0; k < tally->over[figure]; k++) {
        fewer += exactly;
        exactly *= (n - (double)k) / ((double)k + 1) * 0.01 / 0.99;
    }
    return 1 - fewer >= 1.0 / 40 / JOIN_LOOKS;
}

#endif
