/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The verdict on a room, on a made voice in made rooms. */
#include "session/take_support.h"

#include "pipeline/measure.h"

enum { RATE_HZ = 24000, SECONDS = 34 };

/* Words of half a second with pauses of 0.3 s between them: how a room rings shows where they end. */
static float *words(double rms)
{
    float *samples = calloc((size_t)SECONDS * RATE_HZ, sizeof *samples);
    assert_non_null(samples);
    for (int word = 0; (word + 1) * 0.8 + 0.5 < SECONDS; word++)
        if (word % 6 != 5)
            voice_add(samples + (size_t)((0.5 + word * 0.8) * RATE_HZ), RATE_HZ / 2, RATE_HZ, rms, 40 + (uint64_t)word);
    return samples;
}

/* A room that falls by 60 dB in rt60_s: noise that dies away by that much (definition of the reverberation time, ISO
 * 3382-1), as loud as the direct sound (a microphone at the critical distance). */
static void ring(float *samples, double rt60_s)
{
    const size_t count = (size_t)SECONDS * RATE_HZ, length = (size_t)(rt60_s * RATE_HZ);
    float *tail = calloc(length, sizeof *tail), *out = calloc(count, sizeof *out);
    assert_non_null(tail);
    assert_non_null(out);
    noise_add(tail, length, 1, 99);
    double power = 0;
    for (size_t i = 0; i < length; i++) {
        tail[i] *= (float)pow(10, -3.0 * (double)i / (double)length);
        power += (double)tail[i] * tail[i];
    }
    /* 1 in 40 of the tail's samples, to save time: the course of their power is the same. */
    for (size_t k = 0; k < length; k += 40) {
        float weight = tail[k] * (float)sqrt(40 / power);
        for (size_t i = k; i < count; i++)
            out[i] += weight * samples[i - k];
    }
    for (size_t i = 0; i < count; i++)
        samples[i] += out[i];
    free(tail);
    free(out);
}

static struct tt_measured measure(const struct place *p, const float *samples)
{
    struct tt_settings settings;
    struct tt_measured measured;
    struct tt_error error = {0};
    const char *path = in_folder(p->folder, "room.wav");
    tt_settings_default(&settings);
    sound_write(path, WAV_24, RATE_HZ, 1, samples, (size_t)SECONDS * RATE_HZ);
    assert_ok(tt_measure(path, &settings, p->folder, &measured, &error), error);
    return measured;
}

static void assert_verdict(const struct tt_measured *measured, const char *words_in_it)
{
    if (!strstr(measured->verdict, words_in_it))
        fail_msg("%.1f dB/s: %s", measured->decay_db_per_s, measured->verdict);
}

static void a_room_is_told_by_how_it_rings(void **state)
{
    struct place *p = *state;
    static const struct {
        double rt60_s;
        const char *verdict;
    } rooms[] = {{0, "A very quiet room"},
                 {0.8, "the room can be heard behind the words"},
                 {1.6, "the room rings behind every word"}};
    double before = 1e9;
    for (size_t i = 0; i < sizeof rooms / sizeof *rooms; i++) {
        float *samples = words(0.05);
        if (rooms[i].rt60_s > 0)
            ring(samples, rooms[i].rt60_s);
        noise_add(samples, (size_t)SECONDS * RATE_HZ, 0.0002, 5);
        struct tt_measured measured = measure(p, samples);
        assert_true(measured.decay_db_per_s < before);
        before = measured.decay_db_per_s;
        assert_verdict(&measured, rooms[i].verdict);
        free(samples);
    }
}

static void noise_distance_clipping_and_silence_are_told(void **state)
{
    struct place *p = *state;
    static const struct {
        double voice, room;
        const char *verdict;
    } takes[] = {{0.05, 0.001, "A good room"},
                 {0.05, 0.012, "Usable, not more: the voice is"},
                 {0.05, 0.04, "Leave this room or go much nearer"},
                 {0, 0.001, "No voice is heard"},
                 {0, 0, "Nothing but digital silence"},
                 {0.05, 0, "The recorder mutes the pauses"}};
    for (size_t i = 0; i < sizeof takes / sizeof *takes; i++) {
        float *samples =
            takes[i].voice > 0 ? words(takes[i].voice) : calloc((size_t)SECONDS * RATE_HZ, sizeof *samples);
        if (takes[i].room > 0)
            noise_add(samples, (size_t)SECONDS * RATE_HZ, takes[i].room, 5);
        struct tt_measured measured = measure(p, samples);
        assert_verdict(&measured, takes[i].verdict);
        bool has_sound = takes[i].voice > 0 || takes[i].room > 0;
        assert_true(isfinite(measured.floor_dbfs) == has_sound && isfinite(measured.floor_dba) == has_sound);
        free(samples);
    }
    float *samples = words(0.3);
    for (size_t i = 0; i < (size_t)SECONDS * RATE_HZ; i++)
        samples[i] = fmaxf(-1.0F, fminf(1.0F, 2 * samples[i]));
    struct tt_measured measured = measure(p, samples);
    assert_verdict(&measured, "clipped");
    assert_true(measured.remark_count > 0);
    free(samples);
}

static void mains_hum_is_told(void **state)
{
    struct place *p = *state;
    float *samples = words(0.05);
    noise_add(samples, (size_t)SECONDS * RATE_HZ, 0.0002, 5);
    for (size_t i = 0; i < (size_t)SECONDS * RATE_HZ; i++)
        for (int k = 1; k <= 4; k++)
            samples[i] += (float)(0.0012 / k * sin(2 * 3.14159265358979323846 * 50 * k * (double)i / RATE_HZ));
    struct tt_measured measured = measure(p, samples);
    assert_verdict(&measured, "mains hum (50 Hz)");
    free(samples);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_room_is_told_by_how_it_rings, place_set_up, place_tear_down),
        cmocka_unit_test_setup_teardown(noise_distance_clipping_and_silence_are_told, place_set_up, place_tear_down),
        cmocka_unit_test_setup_teardown(mains_hum_is_told, place_set_up, place_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
