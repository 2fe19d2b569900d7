/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Takes that are no faults but odd: each is used, or says in the report what is the matter. And every way to deliver.
 */
#include "take_support.h"

#define NO_MISREADS "misreads.action=off", "misreads.talk=off"
static const struct clean_run plain = {.assignments = {NO_MISREADS}};

static void assert_lufs(const char *path, double wanted, double within)
{
    double lufs = lufs_of(path);
    if (!(fabs(lufs - wanted) < within))
        fail_msg("%s: %.3f LUFS in place of %.1f", path, lufs, wanted);
}

static json_t *decisions_of(json_t *report) { return json_object_get(report, "decisions"); }

static size_t count_kind(json_t *report, const char *kind)
{
    size_t count = 0;
    for (size_t i = 0; i < json_array_size(decisions_of(report)); i++)
        count += strcmp(json_string_value(json_object_get(json_array_get(decisions_of(report), i), "kind")), kind) == 0;
    return count;
}

/* ---- one recording in two files ---- */

/* Where the first file ends: in the middle of a line, or in the pause behind it. */
static bool is_told_as_torn(struct place *p, double cut_s)
{
    size_t frames;
    float *samples = take_samples((struct take_shape){.seconds = 12}, &frames);
    const size_t cut = (size_t)(cut_s * 24000);
    take_write_samples(take_path(p, "a.wav"), (struct take_shape){.format = WAV_FLOAT}, samples, cut);
    take_write_samples(take_path(p, "b.wav"), (struct take_shape){.format = WAV_FLOAT}, samples + cut, frames - cut);
    free(samples);
    struct tt_clean_result result = clean_place(p, (struct clean_run){.assignments = {NO_MISREADS}, .is_plan = true});
    tt_clean_result_free(&result);
    char *page = file_read(in_folder(p->out, "index.html"), NULL);
    const bool is_told = strstr(page, "begins in it: if the recorder split one recording there") != NULL;
    free(page);
    return is_told;
}

static void two_files_that_meet_in_the_middle_of_speech_are_pointed_out(void **state)
{
    assert_true(is_told_as_torn(*state, 3.0));
}

static void two_files_that_meet_in_a_pause_are_two_takes(void **state) { assert_false(is_told_as_torn(*state, 6.0)); }

/* ---- files that are no takes ---- */

static void the_page_names_files_that_were_passed_over_in_order(void **state)
{
    struct place *p = *state;
    char name[16];
    take_write(take_path(p, "take.wav"), (struct take_shape){.seconds = 3});
    for (int i = 0; i < 14; i++) {
        snprintf(name, sizeof name, "hive%02d.jpg", (i * 5 + 3) % 14);
        file_write(take_path(p, name), "", 0);
    }
    struct tt_clean_result result = clean_place(p, (struct clean_run){.assignments = {NO_MISREADS}, .is_plan = true});
    tt_clean_result_free(&result);
    char *page = file_read(in_folder(p->out, "index.html"), NULL);
    assert_non_null(strstr(page, "passed over: <bdi>hive00.jpg</bdi>, <bdi>hive01.jpg</bdi>, <bdi>hive02.jpg</bdi>"));
    assert_non_null(strstr(page, "<bdi>hive11.jpg</bdi> and 2 more."));
    free(page);
}

/* ---- samples that are none ---- */

static void what_is_no_number_becomes_silence_and_is_counted(void **state)
{
    struct place *p = *state;
    size_t frames, voice_frames;
    float *samples = take_samples((struct take_shape){0}, &frames);
    for (size_t i = 100; i < 110; i++)
        samples[i] = NAN;
    samples[frames / 2] = INFINITY;
    samples[frames - 1] = -INFINITY;
    take_write_samples(take_path(p, "nan.wav"), (struct take_shape){.format = WAV_FLOAT}, samples, frames);
    for (size_t i = 0; i < frames; i++)
        samples[i] = NAN;
    take_write_samples(take_path(p, "only.wav"), (struct take_shape){.format = WAV_FLOAT}, samples, frames);
    free(samples);
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 0);
    assert_warns(p->out, "nan", "bad-samples");
    assert_warns(p->out, "only", "bad-samples");
    assert_warns(p->out, "only", "digital-silence");
    json_t *report = report_of(p->out, "nan");
    const json_t *warnings = json_object_get(report, "warnings");
    bool is_counted = false;
    for (size_t i = 0; i < json_array_size(warnings); i++)
        is_counted = is_counted || strncmp(json_string_value(json_object_get(json_array_get(warnings, i), "message")),
                                           "12 samples", 10) == 0;
    assert_true(is_counted);
    json_decref(report);
    static const char *const voices[] = {"voice/nan.wav", "voice/only.wav", "narration.wav"};
    for (int v = 0; v < 3; v++) {
        samples = sound_read(in_folder(p->out, voices[v]), &voice_frames, NULL);
        for (size_t i = 0; i < voice_frames; i++)
            assert_true(isfinite(samples[i]) && fabsf(samples[i]) <= 0.9f);
        free(samples);
    }
    tt_clean_result_free(&result);
}

static void digital_silence_is_kept_at_its_length_and_pointed_out(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "mute.wav"), (struct take_shape){.voice_rms = -1, .noise_rms = -1, .seconds = 3});
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 0);
    assert_warns(p->out, "mute", "digital-silence");
    assert_int_equal(info_of(in_folder(p->out, "voice/mute.wav")).frames, 72000);
    json_t *report = report_of(p->out, "mute");
    assert_true(json_is_null(
        json_object_get(json_object_get(report, "after"), "integrated_lufs"))); /* not defined: null, never NaN */
    json_decref(report);
    tt_clean_result_free(&result);
}

static void however_short_a_take_is_it_stays(void **state)
{
    struct place *p = *state;
    static const int lengths[] = {1, 2, 7, 100, 511, 512, 513, 1023, 1024, 1025, 4096};
    size_t frames;
    float *samples = take_samples((struct take_shape){0}, &frames);
    for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
        char name[40];
        snprintf(name, sizeof name, "%d.wav", lengths[i]);
        take_write_samples(take_path(p, name), (struct take_shape){0}, samples, (size_t)lengths[i]);
    }
    free(samples);
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 0);
    for (size_t i = 0; i < sizeof lengths / sizeof *lengths; i++) {
        char name[40];
        snprintf(name, sizeof name, "voice/%d.wav", lengths[i]);
        assert_int_equal(info_of(in_folder(p->out, name)).frames, lengths[i]);
    }
    assert_warns(p->out, "1", "no-speech");
    tt_clean_result_free(&result);
}

static void takes_that_are_called_like_pages_meet_none(void **state)
{
    struct place *p = *state;
    static const char *const names[] = {"x.wav", "x.html.wav", "x.JSON.wav"}, *const stems[] = {"x", "x.html.wav",
                                                                                                "x.JSON.wav"};
    for (int i = 0; i < 3; i++)
        take_write(take_path(p, names[i]), (struct take_shape){.seed = (uint64_t)i});
    struct tt_clean_result result = clean_place(p, plain);
    for (int i = 0; i < 3; i++) {
        char file[60];
        json_t *report = report_of(p->out, stems[i]);
        assert_string_equal(json_string_value(json_object_get(report, "take")), names[i]);
        json_decref(report);
        snprintf(file, sizeof file, "report/%s.html", stems[i]);
        assert_true(file_exists(in_folder(p->out, file)));
        snprintf(file, sizeof file, "report/%s/before-0-0.png", stems[i]);
        assert_true(file_exists(in_folder(p->out, file)));
    }
    tt_clean_result_free(&result);
}

/* ---- speech: none, all, one of many channels ---- */

static void noise_without_speech_is_kept_whole_and_pointed_out(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "soft.wav"), (struct take_shape){.voice_rms = -1});
    take_write(take_path(p, "loud.wav"), (struct take_shape){.voice_rms = -1, .noise_rms = 0.1, .seed = 4});
    struct tt_clean_result result = clean_place(p, plain);
    static const char *const stems[] = {"soft", "loud"};
    for (int i = 0; i < 2; i++) {
        char voice[40];
        snprintf(voice, sizeof voice, "voice/%s.wav", stems[i]);
        assert_warns(p->out, stems[i], "no-speech");
        assert_int_equal(info_of(in_folder(p->out, voice)).frames, 6 * 24000);
        json_t *report = report_of(p->out, stems[i]);
        assert_int_equal(json_array_size(decisions_of(report)), 0);
        json_decref(report);
    }
    tt_clean_result_free(&result);
}

static void speech_from_the_first_sample_to_the_last_loses_none(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "full.wav"), (struct take_shape){.is_full = true, .seconds = 5});
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 0);
    assert_warns_not(p->out, "full", "no-speech");
    assert_int_equal(info_of(in_folder(p->out, "voice/full.wav")).frames, 5 * 24000);
    tt_clean_result_free(&result);
}

static void the_voice_is_found_in_one_of_eight_channels(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "eight.wav"), (struct take_shape){.channels = 8, .voice_channel = 5});
    struct tt_clean_result result = clean_place(p, plain);
    json_t *report = report_of(p->out, "eight");
    assert_int_equal(json_integer_value(json_object_get(json_object_get(report, "source"), "channels")), 8);
    assert_true(number_at(report, "before", "speech_to_floor_db") > 25);
    assert_int_equal(info_of(in_folder(p->out, "voice/eight.wav")).channels, 1);
    json_decref(report);
    tt_clean_result_free(&result);
    struct tt_clean_result wrong;
    struct tt_error error;
    assert_true(clean_run(p->session, p->out, (struct clean_run){.assignments = {"take.channel=9"}}, &wrong, &error));
    assert_int_equal(wrong.failed_count, 1);
    assert_non_null(strstr(error_of(&wrong, "eight.wav"), "has 8 channels"));
    tt_clean_result_free(&wrong);
}

/* ---- levels ---- */

static void an_offset_is_pointed_out_and_gone_from_the_voice(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "dc.wav"), (struct take_shape){.offset = 0.2});
    struct tt_clean_result result = clean_place(p, plain);
    assert_warns(p->out, "dc", "dc-offset");
    size_t frames;
    float *samples = sound_read(in_folder(p->out, "voice/dc.wav"), &frames, NULL);
    double sum = 0;
    for (size_t i = 0; i < frames; i++)
        sum += samples[i];
    assert_true(fabs(sum / (double)frames) < 1e-4);
    free(samples);
    tt_clean_result_free(&result);
}

static void clipped_is_pointed_out_and_a_float_take_above_full_scale_is_not_clipped(void **state)
{
    struct place *p = *state;
    size_t frames;
    float *samples = take_samples((struct take_shape){0}, &frames);
    for (size_t i = 0; i < frames; i++)
        samples[i] *= 30;
    take_write_samples(take_path(p, "clipped.wav"), (struct take_shape){.format = SF_FORMAT_WAV | SF_FORMAT_PCM_16},
                       samples, frames);
    take_write_samples(take_path(p, "hot.wav"), (struct take_shape){.format = WAV_FLOAT}, samples, frames);
    free(samples);
    struct tt_clean_result result = clean_place(p, plain);
    assert_warns(p->out, "clipped", "clipped");
    assert_warns_not(p->out, "hot", "clipped");
    json_t *report = report_of(p->out, "hot");
    assert_true(number_at(report, "before", "max_true_peak_dbtp") >
                6); /* kept above full scale while it is heard ... */
    assert_true(number_at(report, "after", "max_true_peak_dbtp") <=
                -1.0); /* ... and under the ceiling when it goes out */
    json_decref(report);
    tt_clean_result_free(&result);
}

static void a_take_that_is_8_db_louder_gets_a_gain_of_its_own(void **state)
{
    struct place *p = *state;
    for (int i = 1; i <= 4; i++) {
        char name[40];
        snprintf(name, sizeof name, "%d.wav", i);
        take_write(take_path(p, name),
                   (struct take_shape){.seed = (uint64_t)i, .voice_rms = i == 3 ? 0.1005 : 0.04, .noise_rms = 0.0004});
    }
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "loudness.target_lufs=-23"}});
    double gains[5];
    for (int i = 1; i <= 4; i++) {
        char stem[16];
        snprintf(stem, sizeof stem, "%d", i);
        json_t *report = report_of(p->out, stem), *all = json_loads(result.json, 0, NULL);
        gains[i] = number_at(json_array_get(json_object_get(all, "takes"), (size_t)i - 1), NULL, "gain_db");
        json_decref(all);
        assert_true(has_warning(report, "level-apart") == (i == 3));
        json_decref(report);
    }
    assert_true(gains[1] == gains[2] && gains[2] == gains[4]);
    if (fabs(gains[1] - gains[3] - 8) >= 1.5)
        fail_msg("gains %.2f, %.2f, %.2f, %.2f", gains[1], gains[2], gains[3], gains[4]);
    assert_true(fabs(lufs_of(in_folder(p->out, "voice/3.wav")) - lufs_of(in_folder(p->out, "voice/1.wav"))) < 1.5);
    assert_lufs(in_folder(p->out, "narration.wav"), -23, 0.05);
    tt_clean_result_free(&result);
}

/* ---- formats and rates in ---- */

struct known_format {
    const char *ending;
    int format;
    int rate_hz;
};
static const struct known_format formats[] = {
    {"wav", SF_FORMAT_WAV | SF_FORMAT_PCM_U8, 24000},
    {"bwf", SF_FORMAT_WAV | SF_FORMAT_PCM_16, 24000},
    {"rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_24, 24000},
    {"w64", SF_FORMAT_W64 | SF_FORMAT_PCM_24, 24000},
    {"aif", SF_FORMAT_AIFF | SF_FORMAT_PCM_16, 24000},
    {"aiff", SF_FORMAT_AIFF | SF_FORMAT_PCM_24, 24000},
    {"flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 24000},
    {"caf", SF_FORMAT_CAF | SF_FORMAT_PCM_24, 24000},
    {"au", SF_FORMAT_AU | SF_FORMAT_PCM_16, 24000},
    {"ogg", SF_FORMAT_OGG | SF_FORMAT_VORBIS, 24000},
    {"opus", SF_FORMAT_OGG | SF_FORMAT_OPUS, 24000},
#ifdef SF_FORMAT_MPEG
    {"mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III, 24000},
#endif
};

static void every_format_that_the_sound_library_writes_is_a_take(void **state)
{
    struct place *p = *state;
    size_t written = 0, frames;
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++) {
        SF_INFO info = {.samplerate = formats[i].rate_hz, .channels = 1, .format = formats[i].format};
        char name[40];
        snprintf(name, sizeof name, "t%zu.%s", i, formats[i].ending);
        if (!sf_format_check(&info)) {
            printf("skipped: %s is not written here\n", formats[i].ending);
            continue;
        }
        /* Each of a sound of its own: copies would be taken for the same recording. */
        float *samples =
            take_samples((struct take_shape){.seconds = 4, .noise_rms = 0.003, .seed = 100 * (i + 1)}, &frames);
        take_write_samples(take_path(p, name),
                           (struct take_shape){.format = formats[i].format, .rate_hz = formats[i].rate_hz}, samples,
                           frames);
        free(samples);
        written++;
    }
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.take_count, written);
    assert_int_equal(result.failed_count, 0);
    for (size_t i = 0; i < sizeof formats / sizeof *formats; i++) {
        char stem[40];
        snprintf(stem, sizeof stem, "t%zu", i);
        json_t *report = report_of(p->out, stem);
        assert_true(count_kind(report, "pause") >= 1);
        assert_true(fabs(number_at(report, "before", "duration_s") - 4) < 0.1);
        json_decref(report);
    }
    tt_clean_result_free(&result);
}

static void rates_from_8_to_192_khz_are_kept_and_one_narration_is_made_of_them_at_48(void **state)
{
    struct place *p = *state;
    static const int rates[] = {8000, 11025, 16000, 44100, 96000, 192000};
    enum { RATES = sizeof rates / sizeof *rates };
    for (size_t i = 0; i < RATES; i++) {
        char name[40];
        snprintf(name, sizeof name, "r%d.wav", rates[i]);
        take_write(take_path(p, name), (struct take_shape){.rate_hz = rates[i], .seconds = 4, .seed = i});
    }
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "loudness.target_lufs=-23"}});
    assert_int_equal(result.failed_count, 0);
    for (size_t i = 0; i < RATES; i++) {
        char stem[40], voice[60];
        snprintf(stem, sizeof stem, "r%d", rates[i]);
        snprintf(voice, sizeof voice, "voice/%s.wav", stem);
        assert_int_equal(info_of(in_folder(p->out, voice)).samplerate, rates[i]);
        json_t *report = report_of(p->out, stem);
        if (count_kind(report, "pause") < 1)
            fail_msg("%s: no pause was found", stem);
        json_decref(report);
    }
    assert_int_equal(info_of(in_folder(p->out, "narration.wav")).samplerate, 48000);
    assert_lufs(in_folder(p->out, "narration.wav"), -23, 0.05);
    tt_clean_result_free(&result);
}

/* ---- ways out ---- */

static void write_session(struct place *p)
{
    take_write(take_path(p, "01.wav"), (struct take_shape){.rate_hz = 48000, .seed = 1});
    take_write(take_path(p, "02.wav"), (struct take_shape){.rate_hz = 48000, .seed = 2, .seconds = 5});
}

static double total_kept_s(const char *out, const char *stem)
{
    json_t *report = report_of(out, stem);
    const json_t *map = json_object_get(report, "time_map");
    double frames = 0;
    for (size_t i = 0; i < json_array_size(map); i++)
        frames += number_at(json_array_get(map, i), NULL, "source_end_frame") -
                  number_at(json_array_get(map, i), NULL, "source_start_frame");
    double rate = number_at(report, "source", "rate_hz");
    json_decref(report);
    return frames / rate;
}

static void another_rate_has_exact_lengths_and_loudness(void **state)
{
    struct place *p = *state;
    write_session(p);
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "deliver.rate_hz=44100", "loudness.across=take",
                                                          "loudness.target_lufs=-23"}});
    static const char *const stems[] = {"01", "02"};
    for (int i = 0; i < 2; i++) {
        char voice[40];
        snprintf(voice, sizeof voice, "voice/%s.wav", stems[i]);
        SF_INFO info = info_of(in_folder(p->out, voice));
        assert_int_equal(info.samplerate, 44100);
        assert_true(fabs((double)info.frames - total_kept_s(p->out, stems[i]) * 44100) <= 1);
        assert_lufs(in_folder(p->out, voice), -23, 0.05);
    }
    assert_int_equal(info_of(in_folder(p->out, "narration.wav")).samplerate, 44100);
    tt_clean_result_free(&result);
}

struct way_out {
    const char *assignment, *ending;
    int type, subtype, channels;
};

static void every_way_out_is_of_the_format_that_was_asked_for_and_as_loud(void **state)
{
    struct place *p = *state;
    write_session(p);
    static const struct way_out ways[] = {
        {"deliver.bits=16", "wav", SF_FORMAT_WAV, SF_FORMAT_PCM_16, 1},
        {"deliver.bits=24", "wav", SF_FORMAT_WAV, SF_FORMAT_PCM_24, 1},
        {"deliver.bits=32f", "wav", SF_FORMAT_WAV, SF_FORMAT_FLOAT, 1},
        {"deliver.format=flac", "flac", SF_FORMAT_FLAC, SF_FORMAT_PCM_24, 1},
        {"deliver.format=rf64", "wav", SF_FORMAT_RF64, SF_FORMAT_PCM_24, 1},
        {"deliver.channels=dual", "wav", SF_FORMAT_WAV, SF_FORMAT_PCM_24, 2},
    };
    for (size_t i = 0; i < sizeof ways / sizeof *ways; i++) {
        struct tt_clean_result result = clean_place(
            p, (struct clean_run){.assignments = {NO_MISREADS, "loudness.target_lufs=-20", ways[i].assignment}});
        char names[2][40];
        snprintf(names[0], sizeof names[0], "narration.%s", ways[i].ending);
        snprintf(names[1], sizeof names[1], "voice/01.%s", ways[i].ending);
        for (int n = 0; n < 2; n++) {
            SF_INFO info = info_of(in_folder(p->out, names[n]));
            int type = info.format & SF_FORMAT_TYPEMASK;
            if (type != ways[i].type && !(ways[i].type == SF_FORMAT_WAV && type == SF_FORMAT_WAVEX))
                fail_msg("%s: %s is of type %x", ways[i].assignment, names[n], (unsigned)type);
            assert_int_equal(info.format & SF_FORMAT_SUBMASK, ways[i].subtype);
            assert_int_equal(info.channels, ways[i].channels);
        }
        /* Two channels alike read 3.01 LU higher (BS.1770): the target is what a meter reads on the file itself. */
        assert_lufs(in_folder(p->out, names[0]), -20, 0.05);
        tt_clean_result_free(&result);
    }
}

static void head_and_tail_are_room_tone_around_the_narration(void **state)
{
    struct place *p = *state;
    write_session(p);
    struct tt_clean_result bare = clean_place(p, plain);
    sf_count_t before = info_of(in_folder(p->out, "narration.wav")).frames;
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "deliver.head_ms=750", "deliver.tail_ms=3000"}});
    assert_int_equal(info_of(in_folder(p->out, "narration.wav")).frames - before, 48 * 3750);
    assert_int_equal(result.rendered_count, 0); /* the voices are the same */
    size_t frames;
    float *samples = sound_read(in_folder(p->out, "narration.wav"), &frames, NULL);
    double head = rms_of(samples, 48 * 700), tail = rms_of(samples + frames - 48 * 2900, 48 * 2900);
    assert_true(head > 0 && tail > 0 && head < 0.005 && tail < 0.005); /* quiet, and no digital silence */
    assert_true(fabs(20 * log10(head / tail)) < 2);
    free(samples);
    tt_clean_result_free(&bare);
    tt_clean_result_free(&result);
}

static void a_target_that_peaks_do_not_allow_is_missed_with_a_warning_and_under_the_ceiling(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 4});
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "loudness.target_lufs=-9",
                                                          "loudness.limit_most_db=0", "loudness.across=take"}});
    assert_warns(p->out, "01", "target-missed");
    json_t *report = report_of(p->out, "01");
    assert_true(number_at(report, "after", "max_true_peak_dbtp") <= -1.0);
    json_decref(report);
    assert_true(lufs_of(in_folder(p->out, "voice/01.wav")) < -10);
    tt_clean_result_free(&result);
}

static void rms_may_be_the_aim(void **state)
{
    struct place *p = *state;
    write_session(p);
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "loudness.aim=rms",
                                                          "loudness.target_rms_dbfs=-24", "loudness.across=take"}});
    size_t frames;
    float *samples = sound_read(in_folder(p->out, "voice/01.wav"), &frames, NULL);
    assert_true(fabs(20 * log10(rms_of(samples, frames)) + 24) < 0.05);
    free(samples);
    tt_clean_result_free(&result);
}

/* RMS of what is no pause. */
static double voiced_rms(const float *samples, size_t count)
{
    const size_t part = 480;
    double power = 0, parts = 0;
    for (size_t at = 0; at + part <= count; at += part) {
        double rms = rms_of(samples + at, part);
        if (rms > 0.02) {
            power += rms * rms;
            parts++;
        }
    }
    return sqrt(power / parts);
}

/* How far the first lines of a voice stand over its last ones, wherever its pauses lie. */
static double level_spread_db(const char *path)
{
    size_t frames, some = 72000;
    float *samples = sound_read(path, &frames, NULL);
    assert_true(frames > 2 * some);
    double spread_db = 20 * log10(voiced_rms(samples, some) / voiced_rms(samples + frames - some, some));
    free(samples);
    return spread_db;
}

static void evening_brings_lines_together(void **state)
{
    struct place *p = *state;
    size_t frames;
    float *samples = take_samples((struct take_shape){.rate_hz = 48000, .seconds = 7}, &frames);
    for (size_t i = frames / 2; i < frames; i++)
        samples[i] *= 0.4f;
    take_write_samples(take_path(p, "01.wav"), (struct take_shape){.rate_hz = 48000}, samples, frames);
    free(samples);
    struct tt_clean_result plainly =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "loudness.limit_most_db=12"}});
    double before = level_spread_db(in_folder(p->out, "voice/01.wav"));
    struct tt_clean_result result = clean_place(
        p, (struct clean_run){.assignments = {NO_MISREADS, "loudness.limit_most_db=12", "loudness.even_db=6"}});
    double after = level_spread_db(in_folder(p->out, "voice/01.wav"));
    assert_true(before > 6 && after < before / 2);
    assert_lufs(in_folder(p->out, "narration.wav"), -16, 0.1);
    tt_clean_result_free(&plainly);
    tt_clean_result_free(&result);
}

static void the_same_bytes_come_out_whatever_the_number_of_jobs(void **state)
{
    struct place *p = *state;
    for (int i = 1; i <= 3; i++) {
        char name[40];
        snprintf(name, sizeof name, "%d.wav", i);
        take_write(
            take_path(p, name),
            (struct take_shape){.seed = (uint64_t)i, .rate_hz = i == 2 ? 44100 : 48000, .channels = i, .seconds = 4});
    }
    struct tt_clean_result one = clean_place(p, (struct clean_run){.jobs = 1, .assignments = {"deliver.bits=16"}});
    char voices[65], sheets[65], narration[65];
    snprintf(voices, sizeof voices, "%s", folder_digest(p->out, "voice"));
    snprintf(sheets, sizeof sheets, "%s", folder_digest(p->out, "sheets"));
    snprintf(narration, sizeof narration, "%s", file_digest(in_folder(p->out, "narration.wav")));
    for (int jobs = 1; jobs <= 2; jobs++) {
        struct tt_clean_result again =
            clean_place(p, (struct clean_run){.jobs = jobs, .is_again = true, .assignments = {"deliver.bits=16"}});
        assert_int_equal(again.rendered_count, 3);
        assert_string_equal(voices, folder_digest(p->out, "voice"));
        assert_string_equal(sheets, folder_digest(p->out, "sheets"));
        assert_string_equal(narration, file_digest(in_folder(p->out, "narration.wav")));
        tt_clean_result_free(&again);
    }
    tt_clean_result_free(&one);
}

#define IN_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_PLACE(two_files_that_meet_in_the_middle_of_speech_are_pointed_out),
        IN_PLACE(two_files_that_meet_in_a_pause_are_two_takes),
        IN_PLACE(the_page_names_files_that_were_passed_over_in_order),
        IN_PLACE(what_is_no_number_becomes_silence_and_is_counted),
        IN_PLACE(digital_silence_is_kept_at_its_length_and_pointed_out),
        IN_PLACE(however_short_a_take_is_it_stays),
        IN_PLACE(takes_that_are_called_like_pages_meet_none),
        IN_PLACE(noise_without_speech_is_kept_whole_and_pointed_out),
        IN_PLACE(speech_from_the_first_sample_to_the_last_loses_none),
        IN_PLACE(the_voice_is_found_in_one_of_eight_channels),
        IN_PLACE(an_offset_is_pointed_out_and_gone_from_the_voice),
        IN_PLACE(clipped_is_pointed_out_and_a_float_take_above_full_scale_is_not_clipped),
        IN_PLACE(a_take_that_is_8_db_louder_gets_a_gain_of_its_own),
        IN_PLACE(every_format_that_the_sound_library_writes_is_a_take),
        IN_PLACE(rates_from_8_to_192_khz_are_kept_and_one_narration_is_made_of_them_at_48),
        IN_PLACE(another_rate_has_exact_lengths_and_loudness),
        IN_PLACE(every_way_out_is_of_the_format_that_was_asked_for_and_as_loud),
        IN_PLACE(head_and_tail_are_room_tone_around_the_narration),
        IN_PLACE(a_target_that_peaks_do_not_allow_is_missed_with_a_warning_and_under_the_ceiling),
        IN_PLACE(rms_may_be_the_aim),
        IN_PLACE(evening_brings_lines_together),
        IN_PLACE(the_same_bytes_come_out_whatever_the_number_of_jobs),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
