/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Gain and ceiling of what is delivered, and what is made of it again: limited once. */
#include "pass_support.h"

#include "pipeline/delivery.h"
#include "pipeline/limit_record.h"
#include "session/voices.h"

enum { RATE_HZ = 48000, SECONDS = 30 };

struct sound {
    float *samples;
    size_t count, at;
    int rewinds;
};

static int64_t sound_next(void *context, float *samples, size_t most, struct tt_error *err)
{
    (void)err;
    struct sound *sound = context;
    size_t left = sound->count - sound->at, part = most < left ? most : left;
    memcpy(samples, sound->samples + sound->at, part * sizeof *samples);
    sound->at += part;
    return (int64_t)part;
}

static bool sound_rewind(void *context, struct tt_error *err)
{
    (void)err;
    struct sound *sound = context;
    sound->at = 0;
    sound->rewinds++;
    return true;
}

/* Syllables of a buzz: its peaks stand some 14 dB over its loudness. */
static struct sound buzz(void)
{
    struct sound sound = {.samples = calloc(SECONDS * RATE_HZ, sizeof(float)), .count = SECONDS * RATE_HZ};
    assert_non_null(sound.samples);
    for (size_t second = 0; second < SECONDS; second += 3)
        voice_add(sound.samples + second * RATE_HZ, 2 * RATE_HZ, RATE_HZ, 0.05, 11 + second);
    noise_add(sound.samples, sound.count, 0.0003, 5);
    return sound;
}

/* Delivers the sound by settings; how often its source was read goes into *rewinds. */
static struct tt_delivered deliver(const struct place *p, const struct tt_settings *settings, const char *limit_path,
                                   double *gain_db, bool *is_held_back, int *passes)
{
    struct tt_error error = {0};
    struct sound sound = buzz();
    struct tt_source source = {.context = &sound, .read = sound_next, .rewind = sound_rewind};
    struct tt_gain_finder *finder = tt_gain_finder_create(RATE_HZ, settings, &error);
    assert_ok(tt_delivery_measure(&source, finder, &error), error);
    struct tt_delivery delivery = {
        .path = in_folder(p->folder, "voice.wav"),
        .format = {settings->deliver.format, settings->deliver.bits, settings->deliver.channels, RATE_HZ},
        .limit_path = limit_path,
        .settings = settings};
    struct tt_delivered delivered;
    assert_ok(tt_delivery_write_exact(&source, &delivery, finder, gain_db, is_held_back, &delivered, &error), error);
    tt_gain_finder_destroy(finder);
    *passes = sound.rewinds;
    free(sound.samples);
    return delivered;
}

/* Limited by 2 to 9 dB; loudness by the reference library libebur128. */
static void a_limited_file_is_exact_and_as_a_rule_written_once(void **state)
{
    struct place *p = *state;
    static const double targets[] = {-26, -24.5, -23.5};
    for (size_t i = 0; i < sizeof targets / sizeof *targets; i++) {
        struct tt_settings settings;
        double gain_db;
        bool is_held_back;
        int passes;
        tt_settings_default(&settings);
        settings.loudness.target_lufs = targets[i];
        settings.loudness.limit_most_db = 12;
        settings.loudness.ceiling_dbtp = -6;
        struct tt_delivered delivered = deliver(p, &settings, NULL, &gain_db, &is_held_back, &passes);
        assert_false(is_held_back);
        assert_true(delivered.limited_db > 2 && delivered.limited_db < 12);
        assert_true(passes == 2 || (delivered.limited_db > 6 && passes == 3)); /* measured, written */
        assert_true(fabs(lufs_of(in_folder(p->folder, "voice.wav")) - targets[i]) < 0.03);
        assert_true(delivered.levels.max_true_peak_dbtp <= -6.0);
    }
}

static void rms_is_exact_behind_the_limiter_too(void **state)
{
    struct place *p = *state;
    struct tt_settings settings;
    double gain_db;
    bool is_held_back;
    int passes;
    tt_settings_default(&settings);
    settings.loudness.aim = TT_AIM_RMS;
    settings.loudness.target_rms_dbfs = -24;
    settings.loudness.limit_most_db = 12;
    settings.loudness.ceiling_dbtp = -6;
    deliver(p, &settings, NULL, &gain_db, &is_held_back, &passes);
    size_t frames;
    float *samples = sound_read(in_folder(p->folder, "voice.wav"), &frames, NULL);
    assert_true(fabs(20 * log10(rms_of(samples, frames)) + 24) < 0.03);
    free(samples);
}

static void limiting_stops_at_what_was_allowed(void **state)
{
    struct place *p = *state;
    struct tt_settings settings;
    double gain_db;
    bool is_held_back;
    int passes;
    tt_settings_default(&settings);
    settings.loudness.target_lufs = -6;
    settings.loudness.limit_most_db = 3;
    struct tt_delivered delivered = deliver(p, &settings, NULL, &gain_db, &is_held_back, &passes);
    assert_true(is_held_back);
    assert_true(delivered.limited_db > 2.9 && delivered.limited_db < 3.1); /* and its margin of 0.02 dB */
    assert_true(delivered.levels.integrated_lufs < -6.5);
    assert_int_equal(passes, 2);
}

/* The limited voice, taken back, against the same gain without a limiter. */
/* Twice over: from the start again, too. */
static void assert_gives(struct tt_source source, const struct sound *sound, double gain_db)
{
    struct tt_error error = {0};
    float *block = malloc(5000 * sizeof *block);
    for (int round = 0; round < 2; round++) {
        size_t at = 0;
        int64_t count;
        assert_ok(source.rewind(source.context, &error), error);
        while ((count = source.read(source.context, block, 5000, &error)) > 0)
            for (int64_t i = 0; i < count; i++, at++)
                if (fabs((double)block[i] - (double)sound->samples[at] * pow(10, gain_db / 20)) > 1e-6)
                    fail_msg("sample %zu: %.7f is not %.7f", at, (double)block[i],
                             (double)sound->samples[at] * pow(10, gain_db / 20));
        assert_ok(count == 0, error);
        assert_int_equal(at, sound->count);
    }
    free(block);
}

static void a_narration_is_made_of_voices_that_nothing_limited(void **state)
{
    struct place *p = *state;
    char limit_path[2200];
    snprintf(limit_path, sizeof limit_path, "%s/take.limit", p->folder);
    struct tt_settings settings;
    double gain_db;
    bool is_held_back;
    int passes;
    tt_settings_default(&settings);
    settings.loudness.target_lufs = -16;
    settings.loudness.limit_most_db = 12;
    settings.loudness.ceiling_dbtp = -6;
    struct tt_delivered delivered = deliver(p, &settings, limit_path, &gain_db, &is_held_back, &passes);
    assert_true(delivered.limited_db > 2);
    assert_true(file_exists(limit_path));
    struct tt_error error = {0};
    struct sound sound = buzz();
    struct tt_heard heard = {
        .facts = {.rate_hz = RATE_HZ, .frame_count = (int64_t)sound.count},
        .floor = {.shape = tt_stft_shape_for(RATE_HZ), .node_count = 1, .node_sample = &(int64_t){0}}};
    heard.floor.power = calloc((size_t)heard.floor.shape.bin_count, sizeof *heard.floor.power);
    struct tt_stretch all = {.source_end = (int64_t)sound.count};
    const struct tt_time_map map = {
        .rate_hz = RATE_HZ, .stretches = &all, .count = 1, .out_samples = (int64_t)sound.count};
    struct tt_voice_part part = {.path = in_folder(p->folder, "voice.wav"),
                                 .limit_path = limit_path,
                                 .rate_hz = RATE_HZ,
                                 .frames = (int64_t)sound.count,
                                 .heard = &heard,
                                 .map = &map,
                                 .tone_gain = 1,
                                 .seed = 1};
    struct tt_voices *voices = tt_voices_open(&part, 1, RATE_HZ, &error);
    assert_non_null(voices);
    assert_gives(tt_voices_source(voices), &sound, gain_db);
    tt_voices_close(voices);
    free(heard.floor.power);
    free(sound.samples);
}

static void a_damaged_record_is_an_error_that_says_what_helps(void **state)
{
    struct place *p = *state;
    struct tt_error error = {0};
    const char *path = in_folder(p->folder, "take.limit");
    file_write(path, "ttlimit1 but no more than this", 30);
    assert_null(tt_limit_reader_open(path, RATE_HZ, &error));
    assert_non_null(strstr(error.message, "--again"));
    struct tt_limit_writer *writer = tt_limit_writer_open(path, RATE_HZ, &error);
    tt_limit_writer_add(writer, &(struct tt_limiter_demand){5, 1 << 20, 0});
    assert_true(tt_limit_writer_commit(writer, &error));
    assert_null(tt_limit_reader_open(path, 44100, &error)); /* of a voice at another rate */
    struct tt_limit_reader *reader = tt_limit_reader_open(path, RATE_HZ, &error);
    assert_non_null(reader);
    tt_limit_reader_close(reader);
    /* Demands that no limiter can have had: of a third pass, of all there is or less than nothing, at a place gone by,
     * far before the start. */
    static const struct tt_limiter_demand impossible[] = {
        {6, 1 << 20, 2}, {6, 1 << 30, 0}, {6, -5, 0}, {5, 1 << 20, 0}, {INT64_MIN, 1 << 20, 1}};
    for (size_t i = 0; i < sizeof impossible / sizeof *impossible; i++) {
        float samples[4000] = {0};
        writer = tt_limit_writer_open(path, RATE_HZ, &error);
        tt_limit_writer_add(writer, &(struct tt_limiter_demand){5, 1 << 20, 0});
        tt_limit_writer_add(writer, &impossible[i]);
        assert_true(tt_limit_writer_commit(writer, &error));
        reader = tt_limit_reader_open(path, RATE_HZ, &error);
        assert_non_null(reader);
        tt_limit_reader_restore(reader, samples, sizeof samples / sizeof *samples);
        error = (struct tt_error){0};
        assert_false(tt_limit_reader_is_whole(reader, &error));
        assert_non_null(strstr(error.message, "--again"));
        tt_limit_reader_close(reader);
    }
}

static void where_nothing_was_limited_there_is_no_record(void **state)
{
    struct place *p = *state;
    struct tt_error error = {0};
    const char *path = in_folder(p->folder, "take.limit");
    file_write(path, "old", 3);
    struct tt_limit_writer *writer = tt_limit_writer_open(path, RATE_HZ, &error);
    assert_true(tt_limit_writer_commit(writer, &error));
    assert_false(file_exists(path));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(a_limited_file_is_exact_and_as_a_rule_written_once, place_set_up,
                                        place_tear_down),
        cmocka_unit_test_setup_teardown(rms_is_exact_behind_the_limiter_too, place_set_up, place_tear_down),
        cmocka_unit_test_setup_teardown(limiting_stops_at_what_was_allowed, place_set_up, place_tear_down),
        cmocka_unit_test_setup_teardown(a_narration_is_made_of_voices_that_nothing_limited, place_set_up,
                                        place_tear_down),
        cmocka_unit_test_setup_teardown(a_damaged_record_is_an_error_that_says_what_helps, place_set_up,
                                        place_tear_down),
        cmocka_unit_test_setup_teardown(where_nothing_was_limited_there_is_no_record, place_set_up, place_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
