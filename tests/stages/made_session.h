/* SPDX-License-Identifier: GPL-2.0-or-later */
#ifndef TT_TESTS_MADE_SESSION_H
#define TT_TESTS_MADE_SESSION_H

#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "stages/misreads.h"

/* A narrator made of numbers: each text is a smooth track through the cepstra, each reading of it goes along that track
 * at its own pace and with its own roughness. 48 kHz, a row each 512 samples. */
enum {
    RATE = 48000,
    HOP = 512,
    MOST_RUNS = 400,
    MOST_SOUNDS = 40,
    MOST_TAKES = 4,
    MOST_ROWS = 60000,
    MOST_NUCLEI = 4000
};

struct made_take {
    struct tt_heard heard;
    struct tt_sheet sheet;
    struct tt_run runs[MOST_RUNS];
    struct tt_sound sounds[MOST_SOUNDS];
    int8_t *cepstra, *levels;
    bool falls[MOST_RUNS];     /* read to the end of its line */
    double faint_s[MOST_RUNS]; /* before it can be heard well */
    double ring_s[MOST_RUNS];  /* the room alone at its end */
    int64_t nuclei[MOST_NUCLEI];
    float *steps; /* made by the first who needs them */
    char name[16];
    double at_s;
};
struct made_session {
    struct made_take takes[MOST_TAKES];
    size_t count;
    uint32_t chance;
    struct tt_settings settings;
};

static inline double uniform(struct made_session *session)
{
    session->chance = session->chance * 1664525u + 1013904223u;
    return (double)(session->chance >> 8) / 16777216.0;
}

static inline struct made_take *take_of(struct made_session *session) { return &session->takes[session->count - 1]; }

static inline void begin_take(struct made_session *session)
{
    struct made_take *take = &session->takes[session->count++];
    struct tt_error err = {0};
    take->cepstra = calloc(MOST_ROWS, TT_CEPSTRA);
    take->levels = calloc(MOST_ROWS, 1);
    assert_non_null(take->cepstra);
    assert_non_null(take->levels);
    take->heard.facts.decay_db_per_s = 200.0;
    take->name[0] = (char)('0' + session->count);
    strcpy(take->name + 1, ".wav");
    assert_true(tt_sheet_start(&take->sheet, take->name,
                               "3fa2c1000000000000000000000000000000000000000000000000000000000a", &err));
    take->at_s = 1.0;
}

static inline struct made_session *begin(void)
{
    struct made_session *session = calloc(1, sizeof *session);
    assert_non_null(session);
    session->chance = 1;
    session->settings.misreads.action = TT_POLICY_CUT;
    session->settings.misreads.confidence = 0.97;
    session->settings.misreads.look_back_s = 120.0;
    session->settings.misreads.talk = TT_POLICY_ASK;
    session->settings.misreads.talk_most_s = 8.0;
    begin_take(session);
    return session;
}

static inline void pause_s(struct made_session *session, double seconds) { take_of(session)->at_s += seconds; }

/* Where on the track of a text, cepstrum by cepstrum, a moment lies: syllables of about 0.2 s. */
static inline double track(uint32_t text, int c, double at_s)
{
    double position = at_s / 0.12;
    uint32_t index = (uint32_t)position;
    double part = position - index, corner[2];
    part = part * part * (3.0 - 2.0 * part);
    for (uint32_t k = 0; k < 2; k++) {
        uint32_t h = text * 2654435761u ^ (index + k) * 2246822519u ^ (uint32_t)(c + 1) * 3266489917u;
        h ^= h >> 15;
        h *= 2246822519u;
        h ^= h >> 13;
        h *= 3266489917u;
        h ^= h >> 16;
        corner[k] = (double)(h % 2000) / 1000.0 - 1.0;
    }
    return (corner[0] * (1.0 - part) + corner[1] * part) * 60.0 / (1.0 + 0.3 * c);
}

/* What of a run's power is left at a moment, where the room rings at its end. */
static inline float rung_down(const struct made_take *take, size_t run, double at_s)
{
    const double rung_s = at_s - ((double)take->runs[run].end_sample / RATE - take->ring_s[run]);
    return take->ring_s[run] > 0.0 && rung_s > 0.0 ? (float)pow(10.0, -take->heard.facts.decay_db_per_s * rung_s / 10.0)
                                                   : 1.0f;
}

/* 100 ms steps of what was read so far: the level of the lines in runs, a quiet room elsewhere; whole lines fall off at
 * their end. */
static inline float *make_steps(struct made_take *take)
{
    take->heard.step_count = (size_t)((take->at_s + 1.0) * 10.0);
    take->steps = calloc(take->heard.step_count, sizeof *take->steps);
    assert_non_null(take->steps);
    for (size_t k = 0; k < take->heard.step_count; k++)
        take->steps[k] = 1e-6f;
    for (size_t r = 0; r < take->heard.run_count; r++) {
        size_t end = (size_t)((double)take->runs[r].end_sample * 10.0 / RATE);
        for (size_t k = (size_t)((double)take->runs[r].start_sample * 10.0 / RATE); k <= end; k++)
            take->steps[k] = (float)pow(10.0, (double)take->runs[r].level_db / 10.0) *
                             (take->falls[r] && k + 3 > end ? 0.05f : 1.0f) * rung_down(take, r, (double)k / 10.0);
    }
    return take->steps;
}

/* A syllable each 0.2 s, the last one of a whole line drawn out, of one that was broken off right at its end. */
static inline void make_nuclei(struct made_take *take)
{
    for (size_t r = 0; r < take->heard.run_count; r++) {
        int64_t end = take->runs[r].end_sample - (int64_t)((take->falls[r] ? 0.3 : 0.08) * RATE);
        for (int64_t at = take->runs[r].start_sample + RATE / 10; at <= end && take->heard.nucleus_count < MOST_NUCLEI;
             at += RATE / 5)
            take->nuclei[take->heard.nucleus_count++] = at;
        if (!take->falls[r] && take->heard.nucleus_count < MOST_NUCLEI)
            take->nuclei[take->heard.nucleus_count++] = take->runs[r].end_sample - (int64_t)(0.03 * RATE);
    }
    take->heard.nuclei = take->nuclei;
}

struct reading {
    double start_s, end_s;
};

/* Reads a text from one of its seconds to another, at so many dB to the lines. */
static inline struct reading read_part(struct made_session *session, uint32_t text, double from_s, double to_s,
                                       double level_db)
{
    struct made_take *take = take_of(session);
    double pace = 0.94 + 0.12 * uniform(session), start_s = take->at_s, end_s = start_s + (to_s - from_s) / pace;
    for (int64_t row = (int64_t)(start_s * RATE / HOP); row <= (int64_t)(end_s * RATE / HOP); row++) {
        double at_s = from_s + ((double)row * HOP / RATE - start_s) * pace;
        take->levels[row] = (int8_t)lrint(-24.0 + level_db);
        for (int c = 0; c < TT_CEPSTRA; c++) {
            double value = track(text, c, at_s < 0.0 ? 0.0 : at_s) + 24.0 / (1.0 + 0.3 * c) * (uniform(session) - 0.5);
            take->cepstra[row * TT_CEPSTRA + c] = (int8_t)(value > 127.0 ? 127.0 : value < -127.0 ? -127.0 : value);
        }
    }
    assert_true(take->heard.run_count < MOST_RUNS);
    take->runs[take->heard.run_count++] = (struct tt_run){.start_sample = (int64_t)(start_s * RATE),
                                                          .end_sample = (int64_t)(end_s * RATE),
                                                          .level_db = (float)(-24.0 + level_db),
                                                          .over_floor_db = 35.0f,
                                                          .voiced_share = 0.6f};
    take->at_s = end_s;
    return (struct reading){start_s, end_s};
}

/* Several parts of texts in one run, without a pause. */
struct part {
    uint32_t text;
    double from_s, to_s;
};
static inline struct reading read_parts(struct made_session *session, const struct part *parts, size_t count)
{
    struct made_take *take = take_of(session);
    double start_s = take->at_s;
    size_t run = take->heard.run_count;
    for (size_t k = 0; k < count; k++)
        read_part(session, parts[k].text, parts[k].from_s, parts[k].to_s, 0.0);
    take->heard.run_count = run + 1;
    take->runs[run].end_sample = (int64_t)(take->at_s * RATE);
    return (struct reading){start_s, take->at_s};
}

/* The room goes on sounding behind what was read last, ever fainter. */
static inline void let_ring(struct made_session *session, double seconds)
{
    struct made_take *take = take_of(session);
    const size_t run = take->heard.run_count - 1;
    const int64_t from = (int64_t)(take->at_s * RATE / HOP);
    take->runs[run].end_sample += (int64_t)(seconds * RATE);
    take->ring_s[run] = seconds;
    take->at_s += seconds;
    for (int64_t row = from + 1; row <= (int64_t)(take->at_s * RATE / HOP); row++) {
        const float left = rung_down(take, run, (double)row * HOP / RATE);
        take->levels[row] = (int8_t)lrint((double)take->runs[run].level_db + 10.0 * log10((double)left));
        for (int c = 0; c < TT_CEPSTRA; c++)
            take->cepstra[row * TT_CEPSTRA + c] =
                (int8_t)(0.5 * (double)take->cepstra[from * TT_CEPSTRA + c] + 20.0 * (uniform(session) - 0.5));
    }
}

/* A whole line of 2.4 s, and the pause behind it. */
static inline struct reading read_line(struct made_session *session, uint32_t text)
{
    struct reading reading = read_part(session, text, 0.0, 2.4, 0.0);
    take_of(session)->falls[take_of(session)->heard.run_count - 1] = true;
    pause_s(session, 0.7);
    return reading;
}
static inline void read_lines(struct made_session *session, uint32_t text, int count)
{
    for (int k = 0; k < count; k++)
        read_line(session, text + (uint32_t)k);
}
static inline struct reading break_off(struct made_session *session, uint32_t text, double seconds)
{
    struct reading reading = read_part(session, text, 0.0, seconds, 0.0);
    pause_s(session, 0.6);
    return reading;
}

/* A breath that is heard from now on for so long. */
static inline struct reading breathe(struct made_session *session, double seconds)
{
    struct made_take *take = take_of(session);
    struct reading breath = {take->at_s, take->at_s + seconds};
    assert_true(take->heard.sound_count < MOST_SOUNDS);
    take->sounds[take->heard.sound_count++] = (struct tt_sound){.start_sample = (int64_t)(breath.start_s * RATE),
                                                                .end_sample = (int64_t)(breath.end_s * RATE),
                                                                .kind = TT_SOUND_BREATH,
                                                                .confidence = 0.95f};
    take->at_s = breath.end_s;
    return breath;
}

static inline void decide(struct made_session *session)
{
    struct tt_take_view views[MOST_TAKES];
    double clock_s = 0.0;
    for (size_t t = 0; t < session->count; t++) {
        struct made_take *take = &session->takes[t];
        take->heard.facts.rate_hz = RATE;
        take->heard.facts.feature_hop_samples = HOP;
        take->heard.facts.frame_count = (int64_t)((take->at_s + 1.0) * RATE);
        take->heard.facts.speech_dbfs = -24.0;
        take->heard.facts.floor_dbfs = -59.0;
        for (size_t r = 0; r < take->heard.run_count; r++) {
            take->runs[r].loud_start_sample = take->runs[r].start_sample + (int64_t)(take->faint_s[r] * RATE);
            take->runs[r].loud_end_sample = take->runs[r].end_sample;
        }
        take->heard.runs = take->runs;
        take->heard.steps = take->steps ? take->steps : make_steps(take);
        make_nuclei(take);
        take->heard.sounds = take->sounds;
        take->heard.cepstra = take->cepstra;
        take->heard.levels = take->levels;
        take->heard.feature_count = (size_t)(take->heard.facts.frame_count / HOP);
        assert_true(take->heard.feature_count < MOST_ROWS);
        views[t] = (struct tt_take_view){take->name, &take->heard, &take->sheet, clock_s};
        clock_s += (double)take->heard.facts.frame_count / RATE;
    }
    struct tt_session_view view = {.takes = views, .count = session->count, .settings = &session->settings};
    struct tt_error err = {0};
    if (!tt_misreads_decide(&view, &err))
        fail_msg("%s", err.message);
}

static inline void end(struct made_session *session)
{
    for (size_t t = 0; t < session->count; t++) {
        tt_sheet_free(&session->takes[t].sheet);
        free(session->takes[t].cepstra);
        free(session->takes[t].levels);
        free(session->takes[t].steps);
    }
    free(session);
}

static inline size_t rows_with(const struct made_session *session, enum tt_row_kind kind, enum tt_row_action action)
{
    size_t count = 0;
    for (size_t t = 0; t < session->count; t++)
        for (size_t r = 0; r < session->takes[t].sheet.count; r++) {
            const struct tt_row *row = &session->takes[t].sheet.rows[r];
            count += row->kind == kind && row->action == action;
        }
    return count;
}

/* How much of a reading is cut, 0 to 1. */
static inline double cut_share(const struct made_session *session, size_t take, struct reading reading)
{
    double gone = 0.0;
    for (size_t r = 0; r < session->takes[take].sheet.count; r++) {
        const struct tt_row *row = &session->takes[take].sheet.rows[r];
        if (row->action != TT_DO_CUT)
            continue;
        double from = fmax((double)row->start_ms / 1000.0, reading.start_s),
               to = fmin((double)row->end_ms / 1000.0, reading.end_s);
        if (to > from)
            gone += to - from;
    }
    return gone / (reading.end_s - reading.start_s);
}
static inline void assert_gone(const struct made_session *session, size_t take, struct reading reading)
{
    assert_true(cut_share(session, take, reading) > 0.999);
}
static inline void assert_stays(const struct made_session *session, size_t take, struct reading reading)
{
    assert_true(cut_share(session, take, reading) <= 0.0);
}

#endif
