/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "dsp/gate_units.h"
#include "noise_sounds.h"

static bool before_half_a_second(double second) { return second < 0.5 || second >= 3.5; }
static bool always(double second)
{
    (void)second;
    return true;
}

/* Ephraim & Malah 1985: G = xi / (1 + xi) * exp(E1(v) / 2), in dB; evaluated with an independent E1 in double
 * precision. */
static const double TABLE_GAMMA_DB[7] = {-10, -5, 0, 5, 10, 15, 20};
static const double TABLE[9][8] = {
    {-25, -17.5192, -22.5162, -27.5068, -32.4773, -37.3847, -42.0982, -46.2523},
    {-20, -12.5457, -17.5364, -22.5071, -27.4151, -32.1304, -36.2897, -39.1177},
    {-15, -7.6287, -12.6000, -17.5099, -22.2310, -26.4062, -29.2671, -30.2183},
    {-10, -2.8814, -7.7968, -12.5347, -16.7565, -19.7156, -20.7614, -20.8278},
    {-5, 1.4036, -3.3763, -7.7162, -10.9349, -12.2635, -12.3864, -12.3866},
    {0, 4.6973, 0.1433, -3.5895, -5.6353, -6.0156, -6.0206, -6.0206},
    {5, 6.6237, 2.2838, -0.9349, -2.2635, -2.3864, -2.3866, -2.3866},
    {10, 7.4653, 3.2435, 0.2844, -0.7614, -0.8278, -0.8279, -0.8279},
    {20, 7.8696, 3.7103, 0.8823, -0.0384, -0.0864, -0.0864, -0.0864},
};

static void the_gain_rule_is_that_of_the_table(void **state)
{
    (void)state;
    for (int r = 0; r < 9; r++)
        for (int c = 0; c < 7; c++) {
            const double gain = tt_lsa_gain(pow(10, TABLE[r][0] / 10), pow(10, TABLE_GAMMA_DB[c] / 10));
            assert_within(20 * log10(gain), TABLE[r][c + 1], 1e-4, 1e-4);
        }
    assert_within(tt_lsa_gain(1, 1), 0.6614900195, 1e-9, 1e-9);
    assert_within(tt_lsa_gain(10, 10), 0.9090960280, 1e-9, 1e-9);
    assert_within(tt_lsa_gain(0.1, 1), 0.2361912403, 1e-9, 1e-9);
}

/* E1 as tables give it, taken back out of the gain: G (1 + xi) / xi = exp(E1 / 2) with v = gamma xi / (1 + xi). */
static void the_exponential_integral_is_that_of_the_tables(void **state)
{
    static const double table[][2] = {{0.01, 4.0379295765}, {0.1, 1.8229239584}, {0.5, 0.5597735948},
                                      {1, 0.2193839344},    {2, 0.0489005107},   {5, 0.0011482956}};
    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        assert_within(2 * log(2 * tt_lsa_gain(1, 2 * table[i][0])), table[i][1], 1e-9, 1e-9);
}

/* Gerkmann & Hendriks 2012 at 15 dB, evaluated in double precision. */
static void speech_presence_is_that_of_the_table(void **state)
{
    static const double table[][2] = {{0, 0.02974174}, {0.5, 0.04741063}, {1, 0.07476734}, {2, 0.17561876},
                                      {3, 0.35962986}, {4, 0.59685444},   {6, 0.91141766}, {10, 0.99799170}};
    (void)state;
    for (size_t i = 0; i < sizeof table / sizeof *table; i++)
        assert_within(tt_speech_presence(pow(10, 1.5), table[i][0]), table[i][1], 1e-8, 1e-8);
    assert_within(tt_speech_presence(pow(10, 1.5), 3.595216), 0.5, 1e-6, 1e-6);
}

static void the_quick_gain_rule_stays_within_its_error(void **state)
{
    (void)state;
    for (double xi_db = -30; xi_db <= 40; xi_db += 0.37)
        for (double gamma_db = -30; gamma_db <= 40; gamma_db += 1.1) {
            const float xi = (float)pow(10, xi_db / 10), gamma = (float)pow(10, gamma_db / 10);
            float gain;
            tt_lsa_gains(&xi, &gamma, &gain, 1);
            const double exact = tt_lsa_gain((double)xi, (double)gamma);
            assert_within(20 * log10((double)gain), 20 * log10(exact < 1 ? exact : 1), 0.004, 0.004);
        }
}

static float *run_gate(struct tt_gate *gate, const float *in, size_t count, size_t cut)
{
    assert_non_null(gate);
    float *out = test_sound(count + tt_gate_latency(gate));
    size_t have = 0;
    for (size_t at = 0; at < count; at += cut) {
        const size_t part = count - at < cut ? count - at : cut;
        const size_t got = tt_gate_run(gate, in + at, part, out + have);
        assert_true(got <= part + tt_gate_latency(gate));
        have += got;
    }
    have += tt_gate_finish(gate, out + have);
    assert_int_equal(have, count);
    tt_gate_destroy(gate);
    return out;
}

static float *gated(const float *in, size_t count, const struct tt_floor_track *track, double depth_db,
                    double keep_faint_db, size_t cut)
{
    struct tt_error err = {0};
    return run_gate(
        tt_gate_create(track, (struct tt_gate_settings){.depth_db = depth_db, .keep_faint_db = keep_faint_db}, &err),
        in, count, cut);
}

static void depth_is_what_happens_to_pure_noise(void **state)
{
    (void)state;
    static const int rates[] = {16000, 44100, 48000};
    static const double depths[] = {0, 6, 15, 24, 30};
    for (size_t r = 0; r < 3; r++)
        for (size_t d = 0; d < 5; d++) {
            const size_t count = 6 * (size_t)rates[r];
            float *in = test_sound(count);
            add_white(in, count, 0.01, 4);
            struct tt_floor_track track = flat_track(rates[r], 1e-4);
            float *out = gated(in, count, &track, depths[d], 0, 4096);
            assert_within(level_db(out, count) - level_db(in, count), -depths[d], 0.7, 0.7);
            tt_floor_track_free(&track);
            free(in);
            free(out);
        }
}

static void depth_nought_gives_the_input_back(void **state)
{
    (void)state;
    const size_t count = 50000;
    float *in = test_speech(48000, count, 1);
    add_white(in, count, 0.01, 4);
    struct tt_floor_track track = flat_track(48000, 1e-4);
    float *out = gated(in, count, &track, 0, 0, 999);
    for (size_t i = 0; i < count; i++)
        assert_within((double)out[i], (double)in[i], 1e-6, 1e-6);
    tt_floor_track_free(&track);
    free(in);
    free(out);
}

/* Spans of one sample, of less and of more than a block of frames; the second and third meet. */
static void what_is_wanted_has_the_same_bits_and_the_rest_costs_nothing(void **state)
{
    (void)state;
    const size_t count = 4 * 48000;
    static const struct tt_span_samples spans[] = {
        {-30, 1}, {20000, 20001}, {20001, 24000}, {60000, 100001}, {191000, 200000}};
    const size_t span_count = sizeof spans / sizeof *spans;
    float *in = test_speech(48000, count, 3);
    add_white(in, count, 0.01, 4);
    struct tt_floor_track track = flat_track(48000, 1e-4);
    float *whole = gated(in, count, &track, 15, 0, 4096);
    struct tt_gate *gate = tt_gate_create(&track, (struct tt_gate_settings){.depth_db = 15}, NULL);
    tt_gate_want(gate, spans, span_count);
    float *out = run_gate(gate, in, count, 1000);
    for (size_t s = 0; s < span_count; s++)
        for (int64_t i = spans[s].start < 0 ? 0 : spans[s].start; i < spans[s].end && i < (int64_t)count; i++)
            assert_true(out[i] == whole[i]);
    for (size_t i = 30000; i < 58000; i++)
        assert_true(out[i] == 0.0f); /* further from what is wanted than a window */
    tt_floor_track_free(&track);
    free(in);
    free(whole);
    free(out);
}

static void cuts_of_the_stream_do_not_change_a_bit(void **state)
{
    (void)state;
    const size_t count = 60000;
    float *in = test_speech(48000, count, 1);
    add_white(in, count, 0.01, 4);
    struct tt_floor_track track = flat_track(48000, 1e-4);
    float *a = gated(in, count, &track, 15, 0, count), *b = gated(in, count, &track, 15, 0, 77),
          *c = gated(in, count, &track, 15, 0, 30011);
    assert_memory_equal(a, b, count * sizeof *a);
    assert_memory_equal(a, c, count * sizeof *a);
    tt_floor_track_free(&track);
    free(in);
    free(a);
    free(b);
    free(c);
}

/* A unit of a longer sound, in memory of its own: it is worked on in place. */
static float *unit_of(const struct tt_unit_link *link, size_t worker, const float *in, size_t count, size_t number)
{
    const size_t start = number * link->unit_samples, end = start + link->unit_samples + link->ahead_samples;
    struct tt_unit unit = {.run_in = number > 0 ? link->run_in_samples : 0, .length = link->unit_samples};
    unit.first_sample = (int64_t)(start - unit.run_in);
    unit.count = (end < count ? end : count) - (size_t)unit.first_sample;
    unit.samples = test_sound(unit.count);
    memcpy(unit.samples, in + unit.first_sample, unit.count * sizeof *in);
    link->run(link->state, worker, &unit);
    return unit.samples;
}

static void a_unit_comes_out_as_if_all_before_it_had_been_heard_whatever_its_worker_did_before(void **state)
{
    (void)state;
    enum { UNITS = 3 };
    struct tt_error err = {0};
    struct tt_floor_track track = flat_track(8000, 1e-4);
    struct tt_unit_link link = {0};
    assert_true(tt_gate_units_open(&track, (struct tt_gate_settings){.depth_db = 15}, 2, &link, &err));
    const size_t count = UNITS * link.unit_samples;
    float *in = test_speech(8000, count, 1);
    add_white(in, count, 0.01, 4);
    add_white(in + count / 2, count / 2, 0.012, 8); /* faint: what is slowest to be forgotten */
    float *whole = gated(in, count, &track, 15, 0, 4096), *forwards[UNITS], *backwards[UNITS];
    struct tt_span_samples wanted[UNITS]; /* all of it, one after the other */
    for (int64_t u = 0, unit = (int64_t)link.unit_samples; u < UNITS; u++)
        wanted[u] = (struct tt_span_samples){u * unit, (u + 1) * unit};
    tt_gate_units_want(&link, wanted, UNITS);
    for (size_t u = 0; u < UNITS; u++) {
        forwards[u] = unit_of(&link, 0, in, count, u);
        backwards[UNITS - 1 - u] = unit_of(&link, 1, in, count, UNITS - 1 - u);
    }
    for (size_t u = 0; u < UNITS; u++) {
        for (size_t i = 0; i < link.unit_samples; i++)
            assert_within((double)forwards[u][i], (double)whole[u * link.unit_samples + i], 1e-8, 1e-8);
        assert_memory_equal(forwards[u], backwards[u], link.unit_samples * sizeof *in);
        free(forwards[u]);
        free(backwards[u]);
    }
    link.destroy(link.state);
    tt_floor_track_free(&track);
    free(in);
    free(whole);
}

/* Mean over bins of ln(kurtosis of the power after / before), 1 to 8 kHz: what musical noise raises. */
static double mean_log_kurtosis(const float *samples, size_t count)
{
    struct tt_error err = {0};
    const struct tt_stft_shape shape = tt_stft_shape_for(48000);
    struct tt_stft *stft = tt_stft_create(shape, &err);
    const size_t bins = (size_t)shape.bin_count, frames = (count - 1024) / 512;
    float *rows = test_sound(frames * bins);
    for (size_t f = 0; f < frames; f++) {
        tt_stft_powers(stft, samples + f * 512, rows + f * bins);
    }
    double sum = 0;
    for (size_t i = 22; i < 171; i++) {
        double mean = 0, second = 0, fourth = 0;
        for (size_t f = 0; f < frames; f++)
            mean += (double)rows[f * bins + i] / (double)frames;
        for (size_t f = 0; f < frames; f++) {
            const double away = (double)rows[f * bins + i] - mean;
            second += away * away / (double)frames;
            fourth += away * away * away * away / (double)frames;
        }
        sum += log(fourth / (second * second)) / (171 - 22);
    }
    tt_stft_destroy(stft);
    free(rows);
    return sum;
}

static void what_is_left_of_noise_holds_no_tones(void **state)
{
    (void)state;
    const size_t count = 20 * 48000;
    float *in = test_sound(count);
    add_white(in, count, 0.01, 4);
    struct tt_floor_track track = flat_track(48000, 1e-4);
    float *out = gated(in, count, &track, 15, 0, 4096);
    assert_within(mean_log_kurtosis(out, count) - mean_log_kurtosis(in, count), 0.0, 0.25, 0.25);
    tt_floor_track_free(&track);
    free(in);
    free(out);
}

static void a_floor_that_is_a_decibel_too_low_still_leaves_even_noise(void **state)
{
    (void)state;
    const size_t count = 20 * 48000;
    float *in = test_sound(count);
    add_white(in, count, 0.01122, 4);
    struct tt_floor_track track = flat_track(48000, 1e-4);
    float *out = gated(in, count, &track, 15, 0, 4096);
    assert_within(level_db(out, count) - level_db(in, count), -15, 0.5, 0.5);
    assert_within(mean_log_kurtosis(out, count) - mean_log_kurtosis(in, count), 0.0, 0.4, 0.4);
    tt_floor_track_free(&track);
    free(in);
    free(out);
}

/* A burst begins at full level 20 dB over the noise: within the first 5 ms it may lose little. */
static void an_onset_is_not_blunted(void **state)
{
    (void)state;
    const size_t count = 3 * 48000, from = 48000 + 77, length = 4800;
    float *in = test_sound(count), *clean = test_sound(count);
    add_white(clean + from, length, 0.1, 6);
    memcpy(in, clean, count * sizeof *in);
    add_white(in, count, 0.01, 4);
    struct tt_floor_track track = flat_track(48000, 1e-4);
    float *out = gated(in, count, &track, 15, 0, 4096);
    assert_within(level_db(out + from, 240) - level_db(in + from, 240), 0, 1.0, 0.5);
    assert_within(level_db(out + from + length - 240, 240) - level_db(in + from + length - 240, 240), 0, 1.0, 0.5);
    assert_within(level_db(out + 24000, 9600) - level_db(in + 24000, 9600), -15, 0.5, 0.5);
    assert_within(level_db(out + 2 * 48000, 9600) - level_db(in + 2 * 48000, 9600), -15, 0.5, 0.5);
    tt_floor_track_free(&track);
    free(in);
    free(clean);
    free(out);
}

static void a_near_clean_take_comes_out_as_it_was(void **state)
{
    (void)state;
    const size_t count = 6 * 48000;
    float *clean = test_speech(48000, count, 1), *in = test_sound(count);
    memcpy(in, clean, count * sizeof *in);
    add_white(in, count, 1e-4, 4); /* some 60 dB under the voice */
    struct tt_floor_track track = flat_track(48000, 1e-8);
    float *out = gated(in, count, &track, 15, 0, 4096);
    double error = 0, signal = 0;
    for (size_t i = 0; i < count; i++) {
        error += ((double)out[i] - (double)in[i]) * ((double)out[i] - (double)in[i]);
        signal += (double)in[i] * (double)in[i];
    }
    assert_true(10 * log10(signal / error) > 50);
    tt_floor_track_free(&track);
    free(clean);
    free(in);
    free(out);
}

static void keeping_the_faint_takes_less_off_a_weak_voice(void **state)
{
    (void)state;
    const size_t count = 2 * 48000;
    float *in = test_sound(count);
    add_white(in, count, 0.01, 4);
    add_white(in + 48000, 24000, 0.012, 8); /* a faint hiss of speech */
    struct tt_floor_track track = flat_track(48000, 1e-4);
    float *less = gated(in, count, &track, 15, -6, 4096), *as_is = gated(in, count, &track, 15, 0, 4096),
          *more = gated(in, count, &track, 15, 6, 4096);
    const double a = level_db(less + 50000, 20000), b = level_db(as_is + 50000, 20000),
                 c = level_db(more + 50000, 20000);
    assert_true(a < b && b < c);
    tt_floor_track_free(&track);
    free(in);
    free(less);
    free(as_is);
    free(more);
}

static void a_room_that_changes_by_8_db_goes_down_as_far_on_both_sides(void **state)
{
    (void)state;
    const size_t count = 12 * 48000;
    for (int up = 0; up < 2; up++) {
        float *in = test_sound(count);
        add_white(in, count, up ? 0.004 : 0.01, 4);
        for (size_t i = 6 * 48000; i < count; i++)
            in[i] *= up ? 2.5f : 0.4f;
        struct tt_floor_track track = track_of(in, count, 48000, 20, always);
        float *out = gated(in, count, &track, 15, 0, 4096);
        for (size_t second = 1; second < 11; second++) {
            const size_t from = second * 48000;
            if (second < 4 || second >= 8)
                assert_within(level_db(out + from, 48000) - level_db(in + from, 48000), -15, 0.5, 0.5);
        }
        tt_floor_track_free(&track);
        free(in);
        free(out);
    }
}

/* Noise of a band of frequencies, by two resonances in a row; the level is set to rms. */
static void add_band(float *samples, size_t count, double centre_hz, double rms, uint32_t seed)
{
    float *band = test_sound(count);
    double state[4] = {0}, sum = 0;
    const double radius = 0.97, turn = 2 * radius * cos(2 * TEST_PI * centre_hz / 48000);
    for (size_t i = 0; i < count; i++) {
        const double first = test_gaussian(&seed) + turn * state[0] - radius * radius * state[1];
        const double second = first + turn * state[2] - radius * radius * state[3];
        state[1] = state[0], state[0] = first, state[3] = state[2], state[2] = second;
        band[i] = (float)second;
        sum += second * second;
    }
    for (size_t i = 0; i < count; i++)
        samples[i] += band[i] * (float)(rms / sqrt(sum / (double)count));
    free(band);
}

/* Mean of 10 log10 of the power over bins and frames of a band. */
static double mean_log_power(const float *samples, size_t count, double from_hz, double to_hz)
{
    struct tt_error err = {0};
    const struct tt_stft_shape shape = tt_stft_shape_for(48000);
    struct tt_stft *stft = tt_stft_create(shape, &err);
    float *power = test_sound((size_t)shape.bin_count);
    double sum = 0;
    int cells = 0;
    for (size_t at = 0; at + (size_t)shape.window_samples <= count; at += 512) {
        tt_stft_powers(stft, samples + at, power);
        for (int i = (int)(from_hz * shape.window_samples / 48000); i < to_hz * shape.window_samples / 48000;
             i++, cells++)
            sum += 10 * log10((double)power[i] + 1e-20);
    }
    tt_stft_destroy(stft);
    free(power);
    return sum / cells;
}

/* A voice strong around 700 Hz whose fricative part at 4 kHz is as strong as the noise: that part must keep its level.
 */
static void what_is_weak_under_a_voice_is_not_taken_for_noise(void **state)
{
    (void)state;
    const size_t count = 4 * 48000, from = 48000, length = 2 * 48000;
    float *clean = test_sound(count), *in = test_sound(count), *floor_alone = test_sound(count);
    add_band(clean + from, length, 700, 0.1, 6);
    add_band(clean + from, length, 4000, 0.002, 8);
    add_white(floor_alone, count, 0.01, 4);
    for (size_t i = 0; i < count; i++)
        in[i] = clean[i] + floor_alone[i];
    struct tt_floor_track track = flat_track(48000, 1e-4);
    float *out = gated(in, count, &track, 15, 0, 4096);
    const double was = mean_log_power(clean + from + 4800, length - 9600, 3700, 4300),
                 is = mean_log_power(out + from + 4800, length - 9600, 3700, 4300);
    assert_within(is - was, 0, 4.5, 2.0); /* -3.6; by decision-directed smoothing alone -9.4 */
    /* Half a second before and behind it, the room is down as far as ever. */
    assert_within(level_db(out + from - 24000, 12000) - level_db(in + from - 24000, 12000), -15, 0.5, 0.5);
    assert_within(level_db(out + from + length + 12000, 12000) - level_db(in + from + length + 12000, 12000), -15, 0.5,
                  0.5);
    /* Where the voice is nowhere near, what is left of the room under it stands a little higher, and no more. */
    const double residue = mean_log_power(out + from + 4800, length - 9600, 6000, 7000) -
                           mean_log_power(in + from + 4800, length - 9600, 6000, 7000);
    assert_within(residue, -9, 3.0, 2.5);
    tt_floor_track_free(&track);
    free(clean);
    free(in);
    free(floor_alone);
    free(out);
}

/* Third octaves of what was 60 dB over the noise. */
static void a_clean_take_keeps_its_colour(void **state)
{
    (void)state;
    const size_t count = 6 * 48000;
    float *clean = test_speech(48000, count, 1), *in = test_sound(count);
    memcpy(in, clean, count * sizeof *in);
    add_white(in, count, pow(10, (level_db(clean, count) - 60) / 20), 4);
    struct tt_floor_track track = flat_track(48000, (float)pow(10, (level_db(clean, count) - 60) / 10));
    float *out = gated(in, count, &track, 15, 0, 4096);
    struct tt_error err = {0};
    const struct tt_stft_shape shape = tt_stft_shape_for(48000);
    struct tt_stft *stft = tt_stft_create(shape, &err);
    float *power = test_sound((size_t)shape.bin_count);
    for (int third = -6; third <= 8; third++) { /* 250 Hz to 6.3 kHz, IEC 61260 */
        const double centre_hz = 1000 * pow(2, third / 3.0);
        double sums[2] = {0};
        for (int which = 0; which < 2; which++)
            for (size_t at = 0; at + 1024 <= count; at += 512) {
                tt_stft_powers(stft, (which ? out : clean) + at, power);
                for (int i = 0; i < shape.bin_count; i++) {
                    const double hz = i * 48000.0 / shape.window_samples;
                    if (hz >= centre_hz * pow(2, -1 / 6.0) && hz < centre_hz * pow(2, 1 / 6.0))
                        sums[which] += (double)power[i];
                }
            }
        assert_within(10 * log10(sums[1] / sums[0]), 0, 0.3, 0.3);
    }
    tt_stft_destroy(stft);
    tt_floor_track_free(&track);
    free(clean);
    free(in);
    free(out);
    free(power);
}

static void takes_of_any_shortness_and_strange_samples_are_taken(void **state)
{
    (void)state;
    static const size_t counts[] = {1, 2, 255, 256, 257, 1025};
    for (size_t i = 0; i < 6; i++) {
        float *in = test_sound(counts[i]);
        for (size_t k = 0; k < counts[i]; k++)
            in[k] = k % 3 ? 1e-40f : 3e4f;
        struct tt_floor_track track = track_of(in, counts[i], 48000, 20, before_half_a_second);
        float *out = gated(in, counts[i], &track, 15, 0, 64);
        for (size_t k = 0; k < counts[i]; k++)
            assert_true(isfinite(out[k]));
        tt_floor_track_free(&track);
        free(in);
        free(out);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_gain_rule_is_that_of_the_table),
        cmocka_unit_test(the_exponential_integral_is_that_of_the_tables),
        cmocka_unit_test(speech_presence_is_that_of_the_table),
        cmocka_unit_test(the_quick_gain_rule_stays_within_its_error),
        cmocka_unit_test(depth_is_what_happens_to_pure_noise),
        cmocka_unit_test(depth_nought_gives_the_input_back),
        cmocka_unit_test(cuts_of_the_stream_do_not_change_a_bit),
        cmocka_unit_test(a_unit_comes_out_as_if_all_before_it_had_been_heard_whatever_its_worker_did_before),
        cmocka_unit_test(what_is_wanted_has_the_same_bits_and_the_rest_costs_nothing),
        cmocka_unit_test(what_is_left_of_noise_holds_no_tones),
        cmocka_unit_test(a_floor_that_is_a_decibel_too_low_still_leaves_even_noise),
        cmocka_unit_test(an_onset_is_not_blunted),
        cmocka_unit_test(a_near_clean_take_comes_out_as_it_was),
        cmocka_unit_test(keeping_the_faint_takes_less_off_a_weak_voice),
        cmocka_unit_test(a_room_that_changes_by_8_db_goes_down_as_far_on_both_sides),
        cmocka_unit_test(what_is_weak_under_a_voice_is_not_taken_for_noise),
        cmocka_unit_test(a_clean_take_keeps_its_colour),
        cmocka_unit_test(takes_of_any_shortness_and_strange_samples_are_taken),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
