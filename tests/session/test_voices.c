/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Voices laid end to end: what is made between them sounds like the rooms that it stands between. */
#include <math.h>
#include <sndfile.h>
#include <stdlib.h>
#include <string.h>

#include "base/units.h"
#include "session/voices.h"
#include "support.h"

enum { RATE_HZ = 24000, SECONDS = 8, FRAMES = SECONDS * RATE_HZ, RUNS = 4, TONE_FRAMES = 2 * RATE_HZ };
static const double floor_rms = 1e-3;

/* A voice of which every second second is a line, in a room that is this far over the floor that was heard of it in its
 * first and in its second half. */
struct room_voice {
    char *path;
    struct tt_run runs[RUNS];
    struct tt_stretch all;
    struct tt_time_map map;
    struct tt_heard heard;
    int64_t node;
};

static void voice_make(struct room_voice *voice, const char *path, double first_db, double second_db)
{
    struct tt_stft_shape shape = tt_stft_shape_for(RATE_HZ);
    float *samples = calloc(FRAMES, sizeof *samples);
    assert_non_null(samples);
    *voice = (struct room_voice){.path = strdup(path), .all = {.source_end = FRAMES}};
    noise_add(samples, FRAMES / 2, floor_rms * tt_amplitude_from_db(first_db), 5);
    noise_add(samples + FRAMES / 2, FRAMES / 2, floor_rms * tt_amplitude_from_db(second_db), 6);
    for (int i = 0; i < RUNS; i++) {
        voice->runs[i] = (struct tt_run){.start_sample = (2 * i + 1) * RATE_HZ - RATE_HZ / 2,
                                         .end_sample = (2 * i + 2) * RATE_HZ - RATE_HZ / 2};
        noise_add(samples + voice->runs[i].start_sample, RATE_HZ, 0.1, 7);
    }
    sound_write(voice->path, SF_FORMAT_WAV | SF_FORMAT_PCM_24, RATE_HZ, 1, samples, FRAMES);
    free(samples);
    voice->map = (struct tt_time_map){.rate_hz = RATE_HZ, .stretches = &voice->all, .count = 1, .out_samples = FRAMES};
    voice->heard = (struct tt_heard){.runs = voice->runs,
                                     .run_count = RUNS,
                                     .floor = {.shape = shape, .node_count = 1, .node_sample = &voice->node}};
    voice->heard.facts.rate_hz = RATE_HZ;
    voice->heard.facts.frame_count = FRAMES;
    voice->heard.floor.power = malloc((size_t)shape.bin_count * sizeof(float));
    assert_non_null(voice->heard.floor.power);
    for (int k = 0; k < shape.bin_count; k++)
        voice->heard.floor.power[k] = (float)(floor_rms * floor_rms);
}

static void voice_free(struct room_voice *voice)
{
    free(voice->heard.floor.power);
    free(voice->path);
}

static struct tt_voice_part part_of(const struct room_voice *voice)
{
    return (struct tt_voice_part){.path = voice->path,
                                  .rate_hz = RATE_HZ,
                                  .frames = FRAMES,
                                  .heard = &voice->heard,
                                  .map = &voice->map,
                                  .tone_gain = 1,
                                  .seed = 3};
}

static float *read_all(struct tt_voices *voices, size_t frames)
{
    struct tt_error err = {0};
    struct tt_source source = tt_voices_source(voices);
    float *samples = calloc(frames + 1, sizeof *samples);
    size_t done = 0;
    int64_t got = 1;
    assert_non_null(samples);
    for (; got > 0; done += (size_t)got) {
        got = source.read(source.context, samples + done, frames + 1 - done, &err);
        assert_true(got >= 0);
    }
    assert_int_equal(done, frames);
    return samples;
}

/* Of a quarter of a second around that frame, over the floor. */
static double level_db(const float *samples, int64_t frame)
{
    return tt_db_from_amplitude(rms_of(samples + frame - RATE_HZ / 8, RATE_HZ / 4) / floor_rms);
}

static void assert_near(double value, double expected)
{
    if (fabs(value - expected) > 1.0)
        fail_msg("%.2f dB is not %.2f within 1 dB", value, expected);
}

static void made_room_tone_has_the_level_of_the_voice_that_it_stands_beside(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct room_voice first, second;
    char *folder = folder_make();
    voice_make(&first, in_folder(folder, "01.wav"), 12, 4);
    voice_make(&second, in_folder(folder, "02.wav"), 20, 8);
    struct tt_voice_part parts[] = {part_of(&first), part_of(&second)};
    parts[0].tone_before = parts[0].tone_behind = parts[1].tone_before = parts[1].tone_behind = TONE_FRAMES;
    struct tt_voices *voices = tt_voices_open(parts, 2, RATE_HZ, &err);
    assert_non_null(voices);
    const int64_t joint = TONE_FRAMES + FRAMES + TONE_FRAMES, end = joint + TONE_FRAMES + FRAMES + TONE_FRAMES;
    float *samples = read_all(voices, (size_t)end);
    assert_near(level_db(samples, TONE_FRAMES / 2), 12);
    assert_near(level_db(samples, TONE_FRAMES + FRAMES + TONE_FRAMES / 2), 4);
    assert_near(level_db(samples, joint + RATE_HZ / 8), 4.8); /* goes over from one room into the other */
    assert_near(level_db(samples, joint + TONE_FRAMES - RATE_HZ / 8), 20);
    assert_near(level_db(samples, end - TONE_FRAMES / 2), 8);
    struct tt_source source = tt_voices_source(voices);
    assert_true(source.rewind(source.context, &err)); /* what is measured first is what is written then */
    float *again = read_all(voices, (size_t)end);
    assert_memory_equal(again, samples, (size_t)end * sizeof *samples);
    free(again);
    free(samples);
    tt_voices_close(voices);
    voice_free(&first);
    voice_free(&second);
    folder_remove(folder);
}

static void a_voice_without_pauses_gets_the_floor_that_was_heard_of_it(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct room_voice voice;
    char *folder = folder_make();
    voice_make(&voice, in_folder(folder, "01.wav"), 12, 12);
    voice.runs[0] = (struct tt_run){.start_sample = 0, .end_sample = FRAMES};
    voice.heard.run_count = 1;
    struct tt_voice_part part = part_of(&voice);
    part.tone_before = part.tone_behind = TONE_FRAMES;
    struct tt_voices *voices = tt_voices_open(&part, 1, RATE_HZ, &err);
    float *samples = read_all(voices, FRAMES + 2 * TONE_FRAMES);
    assert_near(level_db(samples, TONE_FRAMES / 2), 0);
    assert_near(level_db(samples, TONE_FRAMES + FRAMES + TONE_FRAMES / 2), 0);
    free(samples);
    tt_voices_close(voices);
    voice_free(&voice);
    folder_remove(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(made_room_tone_has_the_level_of_the_voice_that_it_stands_beside),
        cmocka_unit_test(a_voice_without_pauses_gets_the_floor_that_was_heard_of_it),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
