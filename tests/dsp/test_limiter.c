/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sounds.h"

#include <ebur128.h>

#include "dsp/limiter.h"

enum { RATE_HZ = 48000 };

struct limited {
    float *samples;
    size_t count;
    double most_db;
};

static double amplitude(double db) { return pow(10.0, db / 20.0); }

/* Parts of at most most_part samples, of random length where that is above 1; checks the counts on the way. */
static struct limited limit(int rate_hz, const float *samples, size_t count, double gain, double ceiling,
                            size_t most_part)
{
    struct tt_error err = {0};
    struct tt_limiter *limiter = tt_limiter_create(rate_hz, gain, ceiling, &err);
    assert_non_null(limiter);
    const size_t latency = tt_limiter_latency(limiter);
    struct limited out = {.samples = test_sound(count + latency)};
    uint32_t random = 4;
    for (size_t at = 0; at < count;) {
        const size_t wanted = 1 + (size_t)((double)(most_part - 1) * (0.5 + 0.5 * test_noise(&random)));
        const size_t part = wanted < count - at ? wanted : count - at;
        const size_t written = tt_limiter_run(limiter, samples + at, part, out.samples + out.count);
        assert_true(written <= part + latency);
        at += part;
        out.count += written;
        assert_true(out.count <= at && out.count + latency >= at);
    }
    out.count += tt_limiter_finish(limiter, out.samples + out.count);
    assert_int_equal(out.count, count);
    out.most_db = tt_limiter_most_db(limiter);
    tt_limiter_destroy(limiter);
    return out;
}

static double true_peak(const float *samples, size_t count)
{
    struct tt_true_peak *peak = tt_true_peak_create(RATE_HZ, NULL);
    tt_true_peak_add(peak, samples, count);
    const double result = tt_true_peak_result(peak);
    tt_true_peak_destroy(peak);
    return result;
}

static void sound_below_the_ceiling_is_only_multiplied(void **state)
{
    (void)state;
    static const double gains[] = {1.0, 0.3, 1.7};
    enum { COUNT = 2 * RATE_HZ };
    float *samples = test_speech(RATE_HZ, COUNT, 1);
    for (size_t g = 0; g < 3; g++) {
        const double ceiling = 1.005 * gains[g] * true_peak(samples, COUNT);
        struct limited out = limit(RATE_HZ, samples, COUNT, gains[g], ceiling, 5000);
        for (size_t i = 0; i < COUNT; i++)
            if (out.samples[i] != samples[i] * (float)gains[g])
                fail_msg("sample %zu was changed", i);
        assert_within(out.most_db, 0, 0, 0);
        free(out.samples);
    }
    free(samples);
}

enum sound { SPEECH, NOISE, SIGNS, HIGH_TONE, HALF_RATE, PAIRS, BURSTS, FIRST_AND_LAST, SOUNDS };

static float *sound_of(enum sound sound, size_t count, int rate_hz)
{
    if (sound == SPEECH)
        return test_speech(rate_hz, count, 77);
    float *samples = test_sound(count);
    uint32_t seed = 2;
    for (size_t i = 0; i < count; i++) {
        const double random = test_noise(&seed), t = (double)i;
        const size_t in_pair = i % 3001;
        const double values[SOUNDS] = {
            [NOISE] = random,
            [SIGNS] = random < 0 ? -1.0 : 1.0,
            [HIGH_TONE] = sin(2 * TEST_PI * (19997.0 / 48000.0) * t),
            [HALF_RATE] = (i % 2 == 0 ? 1.0 : -1.0) * sin(1e-3 * t),
            [PAIRS] = in_pair == 1500   ? 1.0
                      : in_pair == 1501 ? -1.0
                                        : 0.0,
            [BURSTS] = fmod(t, 7001.0) < 900.0 ? sin(0.05 * t) + 0.4 * random : 0.02 * random,
            [FIRST_AND_LAST] = i == 0 || i + 1 == count ? 1.0 : 0.0,
        };
        samples[i] = (float)values[sound];
    }
    return samples;
}

static void no_true_peak_passes_the_ceiling(void **state)
{
    (void)state;
    static const double gains_db[] = {0.0, 3.0, 6.0, 20.0};
    static const int rates_hz[] = {8000, 44100, 48000, 192000};
    enum { COUNT = 12000 };
    for (int sound = 0; sound < SOUNDS; sound++)
        for (size_t r = 0; r < 4; r++) {
            float *samples = sound_of((enum sound)sound, COUNT, rates_hz[r]);
            for (size_t g = 0; g < 4; g++) {
                const double ceiling = amplitude(-1.0);
                struct limited out = limit(rates_hz[r], samples, COUNT, amplitude(gains_db[g]), ceiling, 4096);
                const double peak = true_peak(out.samples, COUNT);
                if (peak > ceiling)
                    fail_msg("sound %d at %d Hz and %g dB: %.4f dB above", sound, rates_hz[r], gains_db[g],
                             20.0 * log10(peak / ceiling));
                free(out.samples);
            }
            free(samples);
        }
}

/* A peak between samples at the moment when the gain begins to fall towards a larger one. The signs were searched for;
 * with one pass alone up to 0.0015 dB pass. 0.02 dB stay free for dither. */
static void a_falling_gain_shifts_no_peak_above_the_ceiling(void **state)
{
    (void)state;
    enum { COUNT = 4000, AT = 2000, HALF = 15 };
    const double ceiling = 0.5, most = ceiling * amplitude(-0.02 + 1e-4);
    for (size_t distance = 150; distance < 180; distance++) {
        float *samples = test_sound(COUNT);
        for (size_t k = 0; k < HALF; k++) {
            const float sign = k % 2 == 0 ? 1.0F : -1.0F;
            samples[AT - k] = 0.4F * sign;
            samples[AT + 1 + k] = k < 2 ? samples[AT - k] : -samples[AT - k];
        }
        samples[AT + distance] += 1.0F;
        struct limited out = limit(RATE_HZ, samples, COUNT, 1.0, ceiling, COUNT);
        assert_true(true_peak(out.samples, COUNT) <= most);
        free(out.samples);
        free(samples);
    }
}

/* Another kernel than ours: 16 times, 64 samples long, Kaiser window at 9 (about 90 dB of stop band), in double
 * precision. */
static double other_meter(const float *samples, size_t count)
{
    enum { HALF = 32, FINE = 16 };
    static double window[2 * HALF * FINE + 1];
    for (int k = 0; k <= 2 * HALF * FINE; k++) {
        const double x = (k - HALF * FINE) / (double)(HALF * FINE);
        double sum = 1, term = 1;
        for (int n = 1; n < 40; n++) {
            term *= 9.0 * sqrt(1 - x * x) / (2.0 * n) * (9.0 * sqrt(1 - x * x) / (2.0 * n));
            sum += term;
        }
        const double at = (k - HALF * FINE) / (double)FINE;
        window[k] = sum * (at == 0 ? 1 : sin(TEST_PI * at) / (TEST_PI * at));
    }
    const double scale = window[HALF * FINE];
    double highest = 0;
    for (size_t i = 0; i < count; i++)
        for (int phase = 0; phase < FINE && fabs((double)samples[i]) > 0.5; phase++) {
            double sum = 0;
            for (int k = -HALF + 1; k <= HALF; k++) {
                const int64_t from = (int64_t)i + k;
                if (from >= 0 && from < (int64_t)count)
                    sum += samples[from] * window[HALF * FINE + k * FINE - phase] / scale;
            }
            highest = fmax(highest, fabs(sum));
        }
    return highest;
}

static void other_meters_agree_that_speech_stays_below(void **state)
{
    (void)state;
    enum { COUNT = 3 * RATE_HZ };
    const double ceiling = amplitude(-1.0);
    float *samples = test_speech(RATE_HZ, COUNT, 5);
    struct limited out = limit(RATE_HZ, samples, COUNT, amplitude(9.0), ceiling, 4096);
    assert_true(out.most_db > 3.0);
    assert_true(other_meter(out.samples, COUNT) <= ceiling);
    double peak;
    ebur128_state *reference = ebur128_init(1, RATE_HZ, EBUR128_MODE_TRUE_PEAK);
    assert_non_null(reference);
    ebur128_add_frames_float(reference, out.samples, COUNT);
    ebur128_true_peak(reference, 0, &peak);
    ebur128_destroy(&reference);
    assert_within(20.0 * log10(peak), -1.0, 0.3, 0.05);
    free(out.samples);
    free(samples);
}

/* Level of what is not the tone, dB below it, by a least-squares fit. */
static double residue_db(const float *samples, size_t count, double hz)
{
    double cosine = 0, sine = 0, rest = 0, all = 0;
    for (size_t i = 0; i < count; i++) {
        cosine += samples[i] * cos(2 * TEST_PI * hz * (double)i / RATE_HZ) * 2.0 / (double)count;
        sine += samples[i] * sin(2 * TEST_PI * hz * (double)i / RATE_HZ) * 2.0 / (double)count;
    }
    for (size_t i = 0; i < count; i++) {
        const double tone =
            cosine * cos(2 * TEST_PI * hz * (double)i / RATE_HZ) + sine * sin(2 * TEST_PI * hz * (double)i / RATE_HZ);
        rest += (samples[i] - tone) * (samples[i] - tone);
        all += tone * tone;
    }
    return 10.0 * log10(rest / all);
}

static void a_steady_tone_limited_by_3_db_keeps_its_shape(void **state)
{
    (void)state;
    static const double tones_hz[] = {100.0, 997.0, 1000.0, 5003.0};
    enum { COUNT = 4 * RATE_HZ, SETTLED = RATE_HZ };
    float *samples = test_sound(COUNT);
    for (size_t t = 0; t < 4; t++) {
        for (size_t i = 0; i < COUNT; i++)
            samples[i] = (float)(0.5 * sin(2 * TEST_PI * tones_hz[t] * (double)i / RATE_HZ));
        struct limited out = limit(RATE_HZ, samples, COUNT, 1.0, 0.5 * amplitude(-3.0), 4096);
        assert_true(residue_db(out.samples + SETTLED, 2 * RATE_HZ, tones_hz[t]) < -80.0);
        assert_within(20.0 * log10(true_peak(out.samples + SETTLED, 2 * RATE_HZ) / 0.5), -3.0, 0.05, 0.0);
        if (t > 0) /* at the start of the sound a low tone's first peak lies apart */
            assert_within(out.most_db, 3.0, 0.0, 0.1);
        free(out.samples);
    }
    free(samples);
}

static void output_does_not_depend_on_how_the_stream_is_cut(void **state)
{
    (void)state;
    enum { COUNT = RATE_HZ / 2 };
    for (int sound = 0; sound < SOUNDS; sound++) {
        float *samples = sound_of((enum sound)sound, COUNT, RATE_HZ);
        struct limited whole = limit(RATE_HZ, samples, COUNT, 1.5, 0.7, COUNT);
        static const size_t parts[] = {1, 97, 3000};
        for (size_t p = 0; p < 3; p++) {
            struct limited cut = limit(RATE_HZ, samples, COUNT, 1.5, 0.7, parts[p]);
            assert_memory_equal(whole.samples, cut.samples, COUNT * sizeof *samples);
            assert_within(whole.most_db, cut.most_db, 0, 0);
            free(cut.samples);
        }
        free(whole.samples);
        free(samples);
    }
}

static void the_gain_only_sinks_and_comes_back_whole(void **state)
{
    (void)state;
    enum { COUNT = 6 * RATE_HZ, PEAK_AT = RATE_HZ };
    float *samples = test_sound(COUNT);
    for (size_t i = 0; i < COUNT; i++)
        samples[i] = (float)(0.25 * sin(0.03 * (double)i));
    for (size_t i = PEAK_AT; i < PEAK_AT + 40; i++)
        samples[i] *= 4.0F;
    struct limited out = limit(RATE_HZ, samples, COUNT, 1.0, 0.5, 4096);
    double largest_step = 0, last = 1.0;
    for (size_t i = 0; i < COUNT; i++) {
        assert_true(fabs((double)out.samples[i]) <= fabs((double)samples[i]));
        const bool is_far = i + RATE_HZ / 100 < PEAK_AT || i > PEAK_AT + 3 * RATE_HZ;
        assert_true(!is_far || out.samples[i] == samples[i]);
        if (fabs((double)samples[i]) > 0.2) {
            const double gain = (double)out.samples[i] / (double)samples[i];
            largest_step = fmax(largest_step, i > 0 && fabs((double)samples[i - 1]) > 0.2 ? fabs(gain - last) : 0.0);
            last = gain;
        }
    }
    assert_true(out.most_db > 5.0);
    assert_true(largest_step < 0.008); /* 6 dB in 3 ms by a triangle: at most 0.5 / 72 a sample */
    free(out.samples);
    free(samples);
}

static void it_tells_how_far_the_highest_peak_stood_over_the_ceiling(void **state)
{
    (void)state;
    enum { COUNT = 2 * RATE_HZ };
    float *samples = test_speech(RATE_HZ, COUNT, 5), *out = test_sound(2 * COUNT);
    const double peak = true_peak(samples, COUNT);
    static const double over_db[] = {-3, -0.01, 0.5, 3, 9};
    for (size_t i = 0; i < sizeof over_db / sizeof *over_db; i++) {
        const double gain = 0.7;
        struct tt_limiter *limiter = tt_limiter_create(RATE_HZ, gain, gain * peak / amplitude(over_db[i]), NULL);
        tt_limiter_run(limiter, samples, COUNT, out);
        tt_limiter_finish(limiter, out);
        assert_within(tt_limiter_over_db(limiter), fmax(0, over_db[i]), 0.001, 0.001);
        tt_limiter_destroy(limiter);
    }
    free(samples);
    free(out);
}

struct demands {
    struct tt_limiter_demand *all;
    size_t count, room, next[TT_LIMITER_PASSES];
};

static void keep_demand(void *context, const struct tt_limiter_demand *demand)
{
    struct demands *demands = context;
    assert_true(demands->count < demands->room);
    demands->all[demands->count++] = *demand;
}

static bool next_demand(void *context, int pass, struct tt_limiter_demand *demand)
{
    struct demands *demands = context;
    while (demands->next[pass] < demands->count) {
        *demand = demands->all[demands->next[pass]++];
        if (demand->pass == pass)
            return true;
    }
    return false;
}

/* By 6 dB at most, with peaks on the first and the last sample. What is taken back differs from what went in by
 * roundings: half a step of a float each for the two gains and their quotient. */
static void what_it_did_can_be_taken_back(void **state)
{
    (void)state;
    enum { COUNT = 6 * RATE_HZ };
    static const int rates[] = {8000, 48000};
    for (size_t r = 0; r < 2; r++) {
        float *samples = test_speech(rates[r], COUNT, 5);
        samples[0] = samples[COUNT - 1] = 0.5F;
        const double ceiling = 0.5 * amplitude(-6.0), gain = 1.01;
        struct demands demands = {.room = COUNT};
        demands.all = calloc(demands.room, sizeof *demands.all);
        struct tt_limiter *limiter = tt_limiter_create(rates[r], gain, ceiling, NULL);
        tt_limiter_tell(limiter, keep_demand, &demands);
        float *out = test_sound(COUNT + tt_limiter_latency(limiter));
        size_t written = 0;
        for (size_t at = 0; at < COUNT; at += 4096)
            written += tt_limiter_run(limiter, samples + at, COUNT - at < 4096 ? COUNT - at : 4096, out + written);
        tt_limiter_finish(limiter, out + written);
        assert_true(tt_limiter_most_db(limiter) > 5.0 && demands.count > 10);
        tt_limiter_destroy(limiter);
        struct tt_limiter_undo *undo = tt_limiter_undo_create(rates[r], next_demand, &demands, NULL);
        for (size_t at = 0, part = 1; at < COUNT; at += part, part = 1 + part * 7 % 5003) {
            part = part < COUNT - at ? part : COUNT - at;
            tt_limiter_undo_run(undo, out + at, part);
        }
        tt_limiter_undo_destroy(undo);
        for (size_t i = 0; i < COUNT; i++)
            assert_within(out[i], (double)(samples[i] * (float)gain), 2e-7, 2e-7);
        free(out);
        free(demands.all);
        free(samples);
    }
}

/* Demands as they are told of a sound with peaks, handed over in parts. */
static struct demands told_in_parts(const float *samples, size_t count, size_t part, float *out)
{
    struct demands demands = {.all = calloc(count, sizeof *demands.all), .room = count};
    struct tt_limiter *limiter = tt_limiter_create(RATE_HZ, 1.0, 0.25, NULL);
    tt_limiter_tell(limiter, keep_demand, &demands);
    for (size_t at = 0; at < count; at += part)
        tt_limiter_run(limiter, samples + at, count - at < part ? count - at : part, out);
    tt_limiter_finish(limiter, out);
    tt_limiter_destroy(limiter);
    return demands;
}

static void demands_are_told_in_one_order_however_the_stream_is_cut(void **state)
{
    (void)state;
    enum { COUNT = 2 * RATE_HZ };
    float *samples = test_speech(RATE_HZ, COUNT, 5), *out = test_sound(2 * COUNT);
    struct demands whole = told_in_parts(samples, COUNT, COUNT, out), cut = told_in_parts(samples, COUNT, 777, out);
    assert_true(whole.count > 10 && whole.all[0].pass == 0);
    assert_int_equal(whole.count, cut.count);
    for (size_t i = 0; i < whole.count; i++)
        assert_true(whole.all[i].place == cut.all[i].place && whole.all[i].reduction == cut.all[i].reduction &&
                    whole.all[i].pass == cut.all[i].pass);
    free(whole.all);
    free(cut.all);
    free(out);
    free(samples);
}

static void it_is_done_soon_behind_a_peak(void **state)
{
    (void)state;
    enum { COUNT = 2 * RATE_HZ, PEAK = RATE_HZ / 2 };
    float *samples = test_sound(COUNT);
    for (size_t i = 0; i < COUNT; i++)
        samples[i] = 0.1F;
    samples[PEAK] = 0.9F;
    struct limited out = limit(RATE_HZ, samples, COUNT, 1.0, 0.45, 4096);
    for (size_t i = 0; i < COUNT; i++)
        if (out.samples[i] != samples[i] && (i + RATE_HZ / 100 < PEAK || i > PEAK + 7 * RATE_HZ / 10))
            fail_msg("sample %zu was changed", i);
    free(out.samples);
    free(samples);
}

static void peaks_at_the_very_ends_are_met(void **state)
{
    (void)state;
    const float one[] = {1.0F}, two[] = {1.0F, -1.0F};
    struct limited single = limit(RATE_HZ, one, 1, 1.0, 0.5, 1), both = limit(RATE_HZ, two, 2, 1.0, 0.5, 1);
    assert_within((double)single.samples[0], 0.5, 0.01, 0.0);
    assert_true(true_peak(both.samples, 2) <= 0.5);
    struct limited none = limit(RATE_HZ, one, 0, 1.0, 0.5, 1);
    assert_int_equal(none.count, 0);
    free(single.samples);
    free(both.samples);
    free(none.samples);
}

static void impossible_demands_are_refused(void **state)
{
    (void)state;
    struct tt_error err = {0};
    assert_null(tt_limiter_create(RATE_HZ, 1.0, 0.0, &err));
    assert_int_equal(err.kind, TT_ERROR_INTERNAL);
    assert_null(tt_limiter_create(0, 1.0, 1.0, NULL));
    assert_null(tt_limiter_create(RATE_HZ, (double)NAN, 1.0, NULL));
    tt_limiter_destroy(NULL);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(sound_below_the_ceiling_is_only_multiplied),
        cmocka_unit_test(no_true_peak_passes_the_ceiling),
        cmocka_unit_test(a_falling_gain_shifts_no_peak_above_the_ceiling),
        cmocka_unit_test(other_meters_agree_that_speech_stays_below),
        cmocka_unit_test(a_steady_tone_limited_by_3_db_keeps_its_shape),
        cmocka_unit_test(output_does_not_depend_on_how_the_stream_is_cut),
        cmocka_unit_test(the_gain_only_sinks_and_comes_back_whole),
        cmocka_unit_test(peaks_at_the_very_ends_are_met),
        cmocka_unit_test(what_it_did_can_be_taken_back),
        cmocka_unit_test(it_tells_how_far_the_highest_peak_stood_over_the_ceiling),
        cmocka_unit_test(demands_are_told_in_one_order_however_the_stream_is_cut),
        cmocka_unit_test(it_is_done_soon_behind_a_peak),
        cmocka_unit_test(impossible_demands_are_refused),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
