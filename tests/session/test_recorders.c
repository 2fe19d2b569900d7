/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What recorders leave: split recordings, times inside the files, safety tracks, many kinds of files in one session. */
#include "take_support.h"

#include "audio/camera.h"
#include "session/space.h"

#define NO_MISREADS "misreads.action=off", "misreads.talk=off"
static const struct clean_run plain = {.assignments = {NO_MISREADS}};
enum { RATE = 24000 };

static const char *warning_of(const struct place *p, const char *code)
{
    static char message[1024];
    json_t *session = json_of(in_folder(p->out, "session.json"));
    const json_t *warnings = json_object_get(session, "warnings");
    message[0] = '\0';
    for (size_t i = 0; i < json_array_size(warnings); i++)
        if (strcmp(json_string_value(json_object_get(json_array_get(warnings, i), "code")), code) == 0)
            snprintf(message, sizeof message, "%s",
                     json_string_value(json_object_get(json_array_get(warnings, i), "message")));
    json_decref(session);
    return message;
}

static void write_order_of(const struct place *p, const char *text)
{
    mkdir(p->out, 0777);
    file_write(in_folder(p->out, "order.csv"), text, strlen(text));
}

/* ---- one recording in several files ---- */

/* 12 s of lines, cut at 5.1 s, in the middle of a line, and at 8.4 s. */
static void write_split(const struct place *p, int64_t reference)
{
    size_t frames;
    float *samples = take_samples((struct take_shape){.seconds = 12}, &frames);
    const size_t cuts[] = {0, (size_t)(5.1 * RATE), (size_t)(8.4 * RATE), frames};
    for (int i = 0; i < 3; i++) {
        char name[40];
        snprintf(name, sizeof name, "T01_%d.wav", i + 1);
        write_bext(take_path(p, name), RATE, "2026-04-12", "14:00:00",
                   (reference + (int64_t)cuts[i]) % (INT64_C(86400) * RATE), 1, samples + cuts[i],
                   cuts[i + 1] - cuts[i]);
    }
    free(samples);
}

static void a_recording_that_was_split_sounds_as_if_it_had_not_been(void **state)
{
    struct place *p = *state;
    const int64_t reference = INT64_C(14) * 3600 * RATE;
    static const struct clean_run exact = {.assignments = {NO_MISREADS, "deliver.bits=32f"}};
    size_t frames, whole_frames;
    write_split(p, reference);
    struct tt_clean_result result = clean_place(p, exact);
    float *voice = sound_read(in_folder(p->out, "voice/T01_1.wav"), &frames, NULL);
    assert_false(file_exists(in_folder(p->out, "voice/T01_2.wav")));
    json_t *report = report_of(p->out, "T01_1");
    assert_int_equal((int)number_at(report, "source", "frames"), 12 * RATE);
    json_decref(report);
    char *page = file_read(in_folder(p->out, "report/T01_1.html"), NULL);
    assert_non_null(strstr(page, "src=\"./T01_1/take-")); /* one file that holds it all */
    free(page);
    char *otio = file_read(in_folder(p->out, "edit/narration.otio"), NULL),
         *edl = file_read(in_folder(p->out, "edit/narration.edl"), NULL);
    assert_non_null(strstr(otio, "T01_2.wav")); /* the picture edit finds each file */
    assert_non_null(strstr(otio, "T01_3.wav"));
    assert_non_null(strstr(edl, "FROM CLIP NAME: T01_3.wav"));
    free(otio);
    free(edl);
    tt_clean_result_free(&result);
    /* The same in one file. */
    folder_remove(tt_copy_string(p->session));
    folder_remove(tt_copy_string(p->out));
    assert_int_equal(mkdir(p->session, 0777), 0);
    float *samples = take_samples((struct take_shape){.seconds = 12}, &whole_frames);
    write_bext(take_path(p, "T01_1.wav"), RATE, "2026-04-12", "14:00:00", reference, 1, samples, whole_frames);
    free(samples);
    result = clean_place(p, exact);
    float *whole = sound_read(in_folder(p->out, "voice/T01_1.wav"), &whole_frames, NULL);
    assert_int_equal(frames, whole_frames);
    /* The made room tone differs (its seed is the recording's digest); the words do not. */
    double sum_ab = 0, sum_aa = 0, sum_bb = 0;
    for (size_t i = 0; i < frames; i++) {
        sum_ab += (double)voice[i] * whole[i];
        sum_aa += (double)voice[i] * voice[i];
        sum_bb += (double)whole[i] * whole[i];
    }
    assert_true(sum_ab / sqrt(sum_aa * sum_bb) > 0.99999);
    free(voice);
    free(whole);
    tt_clean_result_free(&result);
}

static void a_split_over_midnight_is_one_recording_and_a_pause_between_files_is_not(void **state)
{
    struct place *p = *state;
    write_split(p, INT64_C(86400) * RATE - 6 * RATE);
    struct tt_clean_result result = clean_place(p, (struct clean_run){.is_plan = true});
    assert_true(file_exists(in_folder(p->out, "sheets/T01_1.csv")));
    assert_false(file_exists(in_folder(p->out, "sheets/T01_2.csv")));
    assert_false(file_exists(in_folder(p->out, "sheets/T01_3.csv")));
    tt_clean_result_free(&result);
    size_t frames;
    float *samples = take_samples((struct take_shape){0}, &frames);
    write_bext(take_path(p, "T02_1.wav"), RATE, "2026-04-12", "15:00:00", INT64_C(15) * 3600 * RATE, 1, samples,
               frames);
    write_bext(take_path(p, "T02_2.wav"), RATE, "2026-04-12", "15:00:06",
               INT64_C(15) * 3600 * RATE + (int64_t)frames + RATE, 1, samples, frames / 2);
    free(samples);
    result = clean_place(p, (struct clean_run){.is_plan = true});
    assert_true(file_exists(in_folder(p->out, "sheets/T02_2.csv")));
    tt_clean_result_free(&result);
}

/* ---- times, checksums ---- */

static void recording_times_that_contradict_the_order_are_pointed_out(void **state)
{
    struct place *p = *state;
    size_t frames;
    float *samples = take_samples((struct take_shape){0}, &frames);
    write_bext(take_path(p, "1 hive.wav"), RATE, "2026-04-12", "15:30:00", INT64_C(15) * 3600 * RATE, 1, samples,
               frames);
    write_bext(take_path(p, "2 smoker.wav"), RATE, "2026-04-12", "14:00:00", INT64_C(14) * 3600 * RATE, 1, samples,
               frames - 1000);
    write_bext(take_path(p, "3 brood.wav"), RATE, "2026-04-13", "09:00:00", INT64_C(9) * 3600 * RATE, 1, samples,
               frames / 2);
    free(samples);
    struct tt_clean_result result = clean_place(p, (struct clean_run){.is_plan = true, .assignments = {NO_MISREADS}});
    assert_string_equal(
        warning_of(p, "order-times"),
        "1 hive.wav (recorded 2026-04-12 15:00:00) comes before 2 smoker.wav (recorded 2026-04-12 14:00:00): "
        "if that is not meant, change their rows in order.csv");
    tt_clean_result_free(&result);
    static const char order[] = "take,use\n2 smoker.wav,yes\n1 hive.wav,yes\n3 brood.wav,yes\n";
    file_write(in_folder(p->out, "order.csv"), order, sizeof order - 1);
    result = clean_place(p, (struct clean_run){.is_plan = true, .assignments = {NO_MISREADS}});
    assert_string_equal(warning_of(p, "order-times"), "");
    tt_clean_result_free(&result);
}

static void the_turn_of_a_year_or_of_february_is_no_step_back(void **state)
{
    struct place *p = *state;
    static const char *const dates[] = {"2027-12-31", "2028-01-01", "2028-02-29", "2028-03-01"};
    size_t frames;
    float *samples = take_samples((struct take_shape){0}, &frames);
    for (size_t i = 0; i < sizeof dates / sizeof *dates; i++) {
        char name[20];
        snprintf(name, sizeof name, "%zu.wav", i + 1);
        write_bext(take_path(p, name), RATE, dates[i], "09:00:00", INT64_C(9) * 3600 * RATE, 1, samples,
                   frames - 1000 * i);
    }
    free(samples);
    struct tt_clean_result result = clean_place(p, (struct clean_run){.is_plan = true, .assignments = {NO_MISREADS}});
    assert_int_equal(result.failed_count, 0);
    assert_string_equal(warning_of(p, "order-times"), "");
    tt_clean_result_free(&result);
}

static void a_recording_that_changed_since_the_last_run_is_told(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "001.wav"), (struct take_shape){.seed = 1});
    struct tt_clean_result result = clean_place(p, plain);
    tt_clean_result_free(&result);
    result = clean_place(p, plain);
    assert_string_equal(warning_of(p, "changed"), "");
    tt_clean_result_free(&result);
    take_write(take_path(p, "001.wav"), (struct take_shape){.seed = 2});
    result = clean_place(p, plain);
    assert_non_null(strstr(warning_of(p, "changed"), "001.wav is another recording"));
    tt_clean_result_free(&result);
}

/* ---- a safety track ---- */

static void where_the_voice_clips_the_safety_track_is_heard_without_a_step(void **state)
{
    struct place *p = *state;
    size_t frames;
    float *mono = take_samples((struct take_shape){.voice_rms = 0.1, .noise_rms = 0.0003}, &frames),
          *both = calloc(frames * 2, sizeof *both);
    float peak = 0;
    for (size_t i = 0; i < frames; i++)
        peak = fmaxf(peak, fabsf(mono[i]));
    const float loud = 1.5f / peak; /* the loudest words 3.5 dB over full scale */
    for (size_t i = 0; i < frames; i++) {
        both[2 * i] = fmaxf(-1.0f, fminf(1.0f - 1.0f / 8388608, loud * mono[i]));
        both[2 * i + 1] = 0.25f * loud * mono[i];
    }
    sound_write(take_path(p, "001.wav"), WAV_24, RATE, 2, both, frames);
    static const struct clean_run exact = {.assignments = {NO_MISREADS, "deliver.bits=32f", "loudness.target_lufs=-30",
                                                           "gate.depth_db=0", "take.highpass_hz=0",
                                                           "breaths.soften_db=0"}};
    struct tt_clean_result result = clean_place(p, exact);
    assert_warns(p->out, "001", "safety");
    assert_warns_not(p->out, "001", "clipped");
    json_t *report = report_of(p->out, "001");
    const json_t *map = json_array_get(json_object_get(report, "time_map"), 0);
    const size_t from = (size_t)number_at(map, NULL, "source_start_frame"),
                 to = (size_t)number_at(map, NULL, "source_end_frame");
    json_decref(report);
    /* As the microphone gave it: the voice is the unclipped sound, at one gain. */
    size_t out_frames;
    float *voice = sound_read(in_folder(p->out, "voice/001.wav"), &out_frames, NULL);
    double sum_ab = 0, sum_aa = 0, worst = 0;
    const size_t count = to - from - RATE / 10;
    for (size_t i = RATE / 10; i < count; i++) {
        sum_ab += (double)voice[i] * mono[from + i];
        sum_aa += (double)mono[from + i] * mono[from + i];
    }
    const double gain = sum_ab / sum_aa;
    for (size_t i = RATE / 10; i < count; i++)
        worst = fmax(worst, fabs(voice[i] - gain * mono[from + i]));
    if (worst > 0.004 * gain * (double)peak)
        fail_msg("%.2f %% of the peak off", 100 * worst / (gain * (double)peak));
    free(voice);
    free(mono);
    free(both);
    tt_clean_result_free(&result);
}

/* ---- disk ---- */

static void a_session_that_would_not_fit_on_the_disk_stops_before_it_is_heard(void **state)
{
    struct place *p = *state;
    /* A sparse RF64 of 16 bits with more sound than the disk has room for (EBU Tech 3306). */
    unsigned char head[80] = "RF64\377\377\377\377WAVEds64";
    const uint64_t bytes = UINT64_C(1) << 43, riff = bytes + 72;
    const uint32_t ds64_size = 28, format_size = 16, rate = 48000, per_second = 96000;
    const uint16_t one = 1, block = 2, bits = 16;
    memcpy(head + 16, &ds64_size, 4);
    memcpy(head + 20, &riff, 8);
    memcpy(head + 28, &bytes, 8);
    memcpy(head + 48, "fmt ", 4);
    memcpy(head + 52, &format_size, 4);
    memcpy(head + 56, &one, 2);
    memcpy(head + 58, &one, 2);
    memcpy(head + 60, &rate, 4);
    memcpy(head + 64, &per_second, 4);
    memcpy(head + 68, &block, 2);
    memcpy(head + 70, &bits, 2);
    memcpy(head + 72, "data\377\377\377\377", 8);
    file_write(take_path(p, "001.wav"), head, sizeof head);
    if (truncate(take_path(p, "001.wav"), (off_t)(bytes + 80)) != 0) {
        print_message("skipped: no sparse files of this size here\n");
        skip();
    }
    struct tt_clean_result result;
    struct tt_error error;
    assert_false(clean_run(p->session, p->out, plain, &result, &error));
    if (!strstr(error.message, "GB there, and ") || !strstr(error.message, "are free"))
        fail_msg("%s", error.message);
    assert_false(file_exists(in_folder(p->out, "session.json")));
}

static void a_removable_medium_is_known_by_what_the_system_says(void **state)
{
    struct place *p = *state;
    struct stat status;
    assert_int_equal(stat(p->folder, &status), 0);
    char path[4096];
    snprintf(path, sizeof path,
             "mkdir -p '%s/sys/dev/block' '%s/sys/disk/part' && ln -s ../../disk/part '%s/sys/dev/block/%u:%u'",
             p->folder, p->folder, p->folder, (unsigned)(status.st_dev >> 8 & 0xfff),
             (unsigned)((status.st_dev & 0xff) | (status.st_dev >> 12 & 0xfff00)));
    assert_int_equal(system(path), 0);
    const char *sysfs = in_folder(p->folder, "sys");
    file_write(in_folder(p->folder, "sys/disk/removable"), "0\n", 2);
    assert_false(tt_space_is_removable(p->folder, sysfs));
    file_write(in_folder(p->folder, "sys/disk/removable"), "1\n", 2); /* the disk of the partition */
    assert_true(tt_space_is_removable(p->folder, sysfs));
}

/* A system as sysfs shows it, with the medium of the test's folder removable or not. To be freed. */
static char *make_sysfs(const struct place *p, bool is_removable)
{
    struct stat status;
    assert_int_equal(stat(p->folder, &status), 0);
    char *sysfs = tt_format("%s/sys%d", p->folder, is_removable), *command = NULL;
    assert_non_null(sysfs);
    command = tt_format(
        "mkdir -p '%s/dev/block' '%s/disk' && echo %d > '%s/disk/removable' && ln -s ../../disk '%s/dev/block/%u:%u'",
        sysfs, sysfs, is_removable, sysfs, sysfs, (unsigned)(status.st_dev >> 8 & 0xfff),
        (unsigned)((status.st_dev & 0xff) | (status.st_dev >> 12 & 0xfff00)));
    assert_int_equal(system(command), 0);
    free(command);
    return sysfs;
}

static void results_on_the_only_card_are_pointed_out(void **state)
{
    struct place *p = *state;
    mkdir(p->out, 0777);
    struct tt_run_state *run = calloc(1, sizeof *run);
    assert_non_null(run);
    run->list.folder = p->session;
    run->out = p->out;
    char *fixed = make_sysfs(p, false), *card = make_sysfs(p, true);
    tt_session_check_medium(run, fixed);
    assert_int_equal(run->warning_count, 0);
    tt_session_check_medium(run, card);
    assert_int_equal(run->warning_count, 1);
    assert_string_equal(run->warnings[0].code, "same-medium");
    assert_non_null(strstr(run->warnings[0].message, "second place"));
    /* On another medium they are no such thing. */
    run->warning_count = 0;
    run->out = "/proc";
    tt_session_check_medium(run, card);
    assert_int_equal(run->warning_count, 0);
    free(fixed);
    free(card);
    free(run);
}

/* ---- many kinds of files ---- */

/* Where a voice lies against the mono samples of the take: lag in frames at RATE, by the best agreement over 1 s, half
 * a second behind its beginning. */
static int voice_lag(const struct place *p, const char *stem, const float *mono, int most)
{
    char name[80];
    json_t *report = report_of(p->out, stem);
    const size_t from =
        (size_t)number_at(json_array_get(json_object_get(report, "time_map"), 0), NULL, "source_start_frame");
    json_decref(report);
    snprintf(name, sizeof name, "voice/%s.wav", stem);
    size_t frames;
    float *voice = sound_read(in_folder(p->out, name), &frames, NULL);
    const size_t at = RATE / 2 - (size_t)most;
    const int lag = lag_of(&mono[from + at], &voice[at], RATE + 2 * (size_t)most, most);
    free(voice);
    return lag;
}

static bool run_quietly(const char *format, ...)
{
    char command[3000];
    va_list args;
    va_start(args, format);
    vsnprintf(command, sizeof command, format, args);
    va_end(args);
    return system(command) == 0;
}

static bool has_ffmpeg(void) { return run_quietly("ffmpeg -version >/dev/null 2>&1"); }

static void takes_of_many_kinds_keep_their_places_to_the_sample(void **state)
{
    struct place *p = *state;
    static const struct {
        const char *name;
        int format;
    } kinds[] = {
        {"a.w64", SF_FORMAT_W64 | SF_FORMAT_PCM_24},   {"b.caf", SF_FORMAT_CAF | SF_FORMAT_PCM_24},
        {"c.aifc", SF_FORMAT_AIFF | SF_FORMAT_FLOAT},  {"d.rf64", SF_FORMAT_RF64 | SF_FORMAT_PCM_24},
        {"e.flac", SF_FORMAT_FLAC | SF_FORMAT_PCM_16}, {"f.mp3", SF_FORMAT_MPEG | SF_FORMAT_MPEG_LAYER_III},
        {"g.opus", SF_FORMAT_OGG | SF_FORMAT_OPUS},    {"h.aif", SF_FORMAT_AIFF | SF_FORMAT_PCM_24},
    };
    size_t frames;
    float *mono[sizeof kinds / sizeof *kinds];
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        mono[i] = take_samples((struct take_shape){.seed = i}, &frames);
        sound_write(take_path(p, kinds[i].name), kinds[i].format, RATE, 1, mono[i], frames);
    }
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 0);
    for (size_t i = 0; i < sizeof kinds / sizeof *kinds; i++) {
        int lag = voice_lag(p, (char[]){kinds[i].name[0], '\0'}, mono[i], 30);
        if (abs(lag) > (strcmp(kinds[i].name, "g.opus") == 0)) /* Opus runs at 48 kHz: half a frame */
            fail_msg("%s: %d frames off", kinds[i].name, lag);
        free(mono[i]);
    }
    tt_clean_result_free(&result);
}

/* Between two samples along a line: voices made here hold nothing near half the rate. */
static double sample_at(const float *samples, double place)
{
    const size_t at = (size_t)place;
    return (double)samples[at] + (place - (double)at) * ((double)samples[at + 1] - (double)samples[at]);
}

/* By how many frames a voice lies off in the narration, in which it is to begin at a frame; *likeness there. */
static int lag_in_narration(const float *voice, double ratio, const float *narration, double start, double *likeness)
{
    int best_lag = -99;
    *likeness = -1;
    for (int lag = -12; lag <= 12; lag++) {
        double sum = 0, voice_power = 0, power = 0;
        for (size_t k = 24000; k < 72000; k++) {
            const double a = sample_at(voice, (double)k * ratio), b = narration[(size_t)(start + (double)k + lag)];
            sum += a * b;
            voice_power += a * a;
            power += b * b;
        }
        if (power > 0 && sum / sqrt(voice_power * power) > *likeness) {
            *likeness = sum / sqrt(voice_power * power);
            best_lag = lag;
        }
    }
    return best_lag;
}

static void takes_of_several_rates_keep_theirs_and_lie_in_one_narration_to_the_sample(void **state)
{
    struct place *p = *state;
    static const int rates[] = {44100, 48000, 96000, 32000};
    static const char *const stems[] = {"a", "b", "c", "d"};
    for (size_t i = 0; i < 4; i++) {
        char name[20];
        snprintf(name, sizeof name, "%s.wav", stems[i]);
        take_write(take_path(p, name), (struct take_shape){.rate_hz = rates[i], .seed = 20 + i});
    }
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 0);
    size_t frames;
    int rate_hz;
    float *narration = sound_read(in_folder(p->out, "narration.wav"), &frames, &rate_hz);
    assert_int_equal(rate_hz, 48000);
    json_t *session = json_of(in_folder(p->out, "session.json"));
    for (size_t i = 0; i < 4; i++) {
        char name[40];
        size_t voice_frames;
        int voice_rate_hz;
        snprintf(name, sizeof name, "voice/%s.wav", stems[i]);
        float *voice = sound_read(in_folder(p->out, name), &voice_frames, &voice_rate_hz);
        assert_int_equal(voice_rate_hz, rates[i]);
        const double start =
                         number_at(json_array_get(json_object_get(session, "takes"), i), NULL, "narration_start_frame"),
                     ratio = rates[i] / 48000.0;
        double likeness;
        const int lag = lag_in_narration(voice, ratio, narration, start, &likeness);
        if (lag != 0 || likeness < 0.99)
            fail_msg("%s: %d frames off, alike by %.4f", stems[i], lag, likeness);
        free(voice);
    }
    json_decref(session);
    free(narration);
    tt_clean_result_free(&result);
}

static void floats_above_full_scale_are_no_clipping(void **state)
{
    struct place *p = *state;
    size_t frames;
    float *mono = take_samples((struct take_shape){.voice_rms = 0.9, .noise_rms = 0.004}, &frames);
    sound_write(take_path(p, "hot.wav"), WAV_FLOAT, RATE, 1, mono, frames);
    float most = 0;
    for (size_t i = 0; i < frames; i++)
        most = fmaxf(most, fabsf(mono[i]));
    assert_true(most > 1.5f);
    struct tt_clean_result result = clean_place(
        p, (struct clean_run){.assignments = {NO_MISREADS, "loudness.target_lufs=-24", "deliver.bits=32f",
                                              "gate.depth_db=0", "take.highpass_hz=0", "breaths.soften_db=0"}});
    assert_warns_not(p->out, "hot", "clipped");
    json_t *report = report_of(p->out, "hot");
    assert_true(number_at(report, "before", "max_true_peak_dbtp") > 3);
    /* What lay over full scale came out at the one gain of all. */
    const json_t *map = json_array_get(json_object_get(report, "time_map"), 0);
    const size_t from = (size_t)number_at(map, NULL, "source_start_frame"),
                 to = (size_t)number_at(map, NULL, "source_end_frame");
    const double gain = pow(10, number_at(report, NULL, "gain_db") / 20);
    size_t out_frames, over = 0;
    float *voice = sound_read(in_folder(p->out, "voice/hot.wav"), &out_frames, NULL);
    for (size_t i = from + RATE / 10; i + RATE / 10 < to; i++) {
        over += fabsf(mono[i]) > 1;
        if (fabs(voice[i - from] - gain * (double)mono[i]) > 0.001)
            fail_msg("frame %zu: %f, not %f", i, (double)voice[i - from], gain * (double)mono[i]);
    }
    assert_true(over > 100);
    free(voice);
    json_decref(report);
    free(mono);
    tt_clean_result_free(&result);
}

/* The same sound in each kind of file; in late.mov 1.5 s behind the picture; and a film without sound. */
static void make_camera_files(const struct place *p)
{
    static const char *const made[] = {
        ("-f lavfi -i testsrc=d=6:s=64x64:r=25 -i '%s/sound.wav' -map 0:v -map 1:a -c:a aac -b:a 160k "
         "'%s/hive/a.mp4'"), /* an edit list hides the coder's start */
        "-i '%s/sound.wav' -c:a aac -b:a 160k '%s/hive/b.m4a'",
        "-i '%s/sound.wav' -c:a pcm_s24le '%s/hive/c.mov'",
        "-f lavfi -i testsrc=d=6:s=64x64:r=25 -i '%s/sound.wav' -map 0:v -map 1:a -c:a pcm_s16le '%s/hive/d.mkv'",
        "-i '%s/sound.wav' -c:a aac -b:a 160k '%s/hive/e.3gp'",
    };
    for (size_t i = 0; i < sizeof made / sizeof *made; i++) {
        char arguments[2500];
        snprintf(arguments, sizeof arguments, made[i], p->folder, p->folder);
        assert_true(run_quietly("ffmpeg -loglevel error -y %s </dev/null", arguments));
    }
    assert_true(run_quietly("ffmpeg -loglevel error -y -f lavfi -i testsrc=d=8:s=64x64:r=25 -itsoffset 1.5 -i "
                            "'%s/sound.wav' -map 0:v -map 1:a -c:a pcm_s24le '%s/hive/late.mov' </dev/null",
                            p->folder, p->folder));
    assert_true(run_quietly(
        "ffmpeg -loglevel error -y -f lavfi -i testsrc=d=2:s=64x64:r=25 '%s/hive/mute.mp4' </dev/null", p->folder));
}

static void camera_files_are_heard_in_step_with_their_pictures(void **state)
{
    struct place *p = *state;
    if (!tt_camera_is_built_in() || !has_ffmpeg()) {
        print_message("skipped: built without libavformat, or no ffmpeg to make camera files with\n");
        skip();
    }
    size_t frames;
    float *mono = take_samples((struct take_shape){0}, &frames);
    sound_write(in_folder(p->folder, "sound.wav"), WAV_24, RATE, 1, mono, frames);
    make_camera_files(p);
    write_order_of(p, "take,use\na.mp4,yes\nb.m4a,yes\nc.mov,yes\nd.mkv,yes\ne.3gp,yes\nlate.mov,yes\nmute.mp4,yes\n");
    struct tt_clean_result result = clean_place(p, (struct clean_run){.assignments = {NO_MISREADS}});
    assert_int_equal(result.failed_count, 0);
    /* They hold the same: one is used. Each by itself: */
    tt_clean_result_free(&result);
    static const char *const stems[] = {"a", "b", "c", "d", "e", "late"};
    static const char *const names[] = {"a.mp4", "b.m4a", "c.mov", "d.mkv", "e.3gp", "late.mov"};
    for (size_t i = 0; i < sizeof stems / sizeof *stems; i++) {
        char order[300] = "take,use\n";
        for (size_t j = 0; j < sizeof stems / sizeof *stems; j++)
            snprintf(order + strlen(order), sizeof order - strlen(order), "%s,%s\n", names[j], i == j ? "yes" : "no");
        snprintf(order + strlen(order), sizeof order - strlen(order), "mute.mp4,yes\n");
        write_order_of(p, order);
        result = clean_place(p, plain);
        float *shifted = calloc(frames + 2 * RATE, sizeof *shifted);
        const size_t late = i == 5 ? (size_t)(1.5 * RATE) : 0;
        memcpy(shifted + late, mono, frames * sizeof *mono);
        int lag = voice_lag(p, stems[i], shifted, 60);
        free(shifted);
        if (lag < -24 || lag > 24 || (!late && lag != 0)) /* edit lists count in ms: 1 ms is 24 frames */
            fail_msg("%s: %d frames off", names[i], lag);
        tt_clean_result_free(&result);
    }
    free(mono);
}

/* 60 kB that would have been three years of silence, on any disk. */
static void a_camera_file_whose_times_jump_far_ahead_is_an_error(void **state)
{
    struct place *p = *state;
    if (!tt_camera_is_built_in() || !has_ffmpeg()) {
        print_message("skipped: built without libavformat, or no ffmpeg to make camera files with\n");
        skip();
    }
    assert_true(run_quietly("ffmpeg -loglevel error -y -f lavfi -i sine=f=300:d=4:r=8000 -af "
                            "\"asetpts='if(gt(T,2),PTS+100000000/TB,PTS)'\" -c:a pcm_s16le '%s/hive/a.mkv' </dev/null",
                            p->folder));
    take_write(take_path(p, "b.wav"), (struct take_shape){0});
    alarm(120); /* ends this program, should it go on for years */
    struct tt_clean_result result = clean_place(p, plain);
    alarm(0);
    assert_int_equal(result.failed_count, 1);
    assert_non_null(strstr(error_of(&result, "a.mkv"), "jump more than an hour ahead"));
    tt_clean_result_free(&result);
}

static void what_is_no_take_is_passed_over_and_counted(void **state)
{
    struct place *p = *state;
    static const char *const others[] = {"script.txt", "hive.jpg", "001.xml", "._001.wav", "notes.docx"};
    take_write(take_path(p, "001.wav"), (struct take_shape){0});
    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        file_write(take_path(p, others[i]), "bees", 4);
    if (!tt_camera_is_built_in())
        file_write(take_path(p, "film.mp4"), "bees", 4);
    struct tt_clean_result result = clean_place(p, plain);
    json_t *session = json_loads(result.json, 0, NULL);
    assert_int_equal((int)number_at(session, "totals", "passed_over"), tt_camera_is_built_in() ? 5 : 6);
    json_decref(session);
    if (!tt_camera_is_built_in())
        assert_non_null(strstr(warning_of(p, "camera"), "film.mp4"));
    tt_clean_result_free(&result);
    /* Our own results beside the takes are none either. */
    file_copy(in_folder(p->out, "narration.wav"), take_path(p, "narration.wav"));
    file_copy(in_folder(p->out, "voice/001.wav"), take_path(p, "001 clean.wav"));
    result = clean_place(p, plain);
    assert_false(file_exists(in_folder(p->out, "sheets/narration.csv")));
    assert_false(file_exists(in_folder(p->out, "sheets/001 clean.csv")));
    tt_clean_result_free(&result);
}

/* ---- takes beside each other ---- */

static void a_take_from_another_room_or_microphone_is_named(void **state)
{
    struct place *p = *state;
    for (int i = 0; i < 5; i++) {
        char name[20];
        size_t frames;
        float *mono = take_samples(
            (struct take_shape){.seconds = 20, .seed = (uint64_t)i, .noise_rms = i == 3 ? 0.003 : 0.0005}, &frames);
        float low = 0;
        for (size_t k = 0; k < frames && i == 1;
             k++) { /* a blanket over the microphone: the voice without its treble */
            low += 0.15f * (mono[k] - low);
            mono[k] = 2 * low;
        }
        snprintf(name, sizeof name, "%d.wav", i);
        sound_write(take_path(p, name), WAV_24, RATE, 1, mono, frames);
        free(mono);
    }
    struct tt_clean_result result = clean_place(p, plain);
    assert_warns(p->out, "1", "colour-apart");
    assert_warns(p->out, "3", "room-apart");
    static const char *const alike[] = {"0", "2", "4"};
    for (int i = 0; i < 3; i++) {
        assert_warns_not(p->out, alike[i], "colour-apart");
        assert_warns_not(p->out, alike[i], "room-apart");
    }
    tt_clean_result_free(&result);
}

static void a_line_that_is_in_again_since_its_re_read_was_left_out_is_told(void **state)
{
    struct place *p = *state;
    copy_fixture_session(p->session); /* the last line of 01.flac is read again in 02.flac */
    struct tt_clean_result result = clean_place(p, (struct clean_run){.is_plan = true});
    char *sheet = file_read(in_folder(p->out, "sheets/01.csv"), NULL);
    assert_non_null(strstr(sheet, "in 02.flac"));
    free(sheet);
    tt_clean_result_free(&result);
    write_order_of(p, "take,use\n01.flac,yes\n02.flac,no\n");
    result = clean_well(p->session, p->out, (struct clean_run){0});
    assert_warns(p->out, "01", "in-again");
    tt_clean_result_free(&result);
}

static void a_likely_place_for_a_pick_up_is_proposed_and_nothing_is_done(void **state)
{
    struct place *p = *state;
    copy_fixture_session(p->session);
    int rate;
    size_t frames;
    float *take = sound_read(take_path(p, "02.flac"), &frames, &rate);
    /* 130 s of other lines, then the line from 13.3 to 17.6 s of 02.flac, read again at another level. */
    struct take_shape filler = {.rate_hz = rate, .seconds = 140, .seed = 3};
    take_write(take_path(p, "03.wav"), filler);
    size_t from = (size_t)(13.15 * rate), count = (size_t)(4.6 * rate), fade = (size_t)(0.1 * rate);
    float *again = calloc(count + 2 * (size_t)rate, sizeof *again);
    noise_add(again, count + 2 * (size_t)rate, 0.0005, 5);
    for (size_t i = 0; i < count; i++)
        again[(size_t)rate + i] +=
            0.6f * take[from + i] * fminf(1.0f, fminf((float)i, (float)(count - i)) / (float)fade);
    sound_write(take_path(p, "pickup.wav"), WAV_24, rate, 1, again, count + 2 * (size_t)rate);
    free(again);
    free(take);
    struct tt_clean_result result = clean_well(p->session, p->out, (struct clean_run){0});
    assert_warns(p->out, "pickup", "pick-up?");
    json_t *report = report_of(p->out, "pickup");
    char *all = json_dumps(json_object_get(report, "warnings"), 0);
    assert_non_null(strstr(all, "instead_of 02.flac, instead_from 00:00:13"));
    free(all);
    json_decref(report);
    assert_true(file_exists(in_folder(p->out, "voice/pickup.wav")));
    tt_clean_result_free(&result);
}

/* A line of the fixture's first take as read again at another level and in another room, and behind it so many seconds
 * of what sounds like speech and is said nowhere else, the take backwards. */
static float *read_line_again(const float *take, size_t frames, double more_s, size_t *all)
{
    /* 9.2 to 14.8 s by the fixture's labels. */
    const size_t from = (size_t)(9.05 * RATE), count = (size_t)(5.95 * RATE), more = (size_t)(more_s * RATE);
    *all = count + more + 2 * RATE;
    float *again = calloc(*all, sizeof *again);
    noise_add(again, *all, 0.001, 5);
    for (size_t i = 0; i < count; i++)
        again[RATE + i] += 0.5f * take[from + i] * fminf(1.0f, fminf((float)i, (float)(count - i)) / 2400.0f);
    for (size_t i = 0; i < more; i++)
        again[RATE + count + i] += 0.5f * take[frames - 1 - i % frames];
    return again;
}

static void write_pickup(struct place *p, double more_s)
{
    int rate;
    size_t frames, all;
    float *take = sound_read(take_path(p, "01.flac"), &frames, &rate);
    assert_int_equal(rate, RATE);
    float *again = read_line_again(take, frames, more_s, &all);
    sound_write(take_path(p, "pickup.wav"), WAV_24, RATE, 1, again, all);
    free(again);
    free(take);
}

/* Most recorders write no date. Half a minute of other lines stands between, which is within reach of a re-read. */
static void a_pick_up_without_a_date_is_proposed_where_another_take_stands_between(void **state)
{
    struct place *p = *state;
    copy_fixture_session(p->session);
    write_pickup(p, 0.0);
    struct tt_clean_result result = clean_well(p->session, p->out, (struct clean_run){.is_plan = true});
    assert_warns(p->out, "pickup", "pick-up?");
    tt_clean_result_free(&result);
}

/* Narrations say some things twice. */
static void a_take_that_says_much_else_beside_an_earlier_line_is_no_pick_up(void **state)
{
    struct place *p = *state;
    copy_fixture_session(p->session);
    write_pickup(p, 12.0);
    struct tt_clean_result result = clean_well(p->session, p->out, (struct clean_run){.is_plan = true});
    assert_warns_not(p->out, "pickup", "pick-up?");
    tt_clean_result_free(&result);
}

/* Read again on another day, a line from the middle of a take: within reach of a re-read, with much said in between. */
static void a_pick_up_from_another_day_is_proposed_however_near_it_stands_and_whatever_lies_between(void **state)
{
    struct place *p = *state;
    copy_fixture_session(p->session);
    int rate;
    size_t frames;
    float *take = sound_read(take_path(p, "01.flac"), &frames, &rate);
    assert_int_equal(rate, RATE);
    write_bext(take_path(p, "01.wav"), RATE, "2026-04-12", "14:00:00", 0, 1, take, frames);
    unlink(take_path(p, "01.flac"));
    size_t all;
    float *again = read_line_again(take, frames, 0.0, &all);
    write_bext(take_path(p, "015.wav"), RATE, "2026-04-15", "09:00:00", 0, 1, again, all);
    free(again);
    /* Another line from that day, which nobody said before, is none. */
    size_t other_frames;
    float *other = take_samples((struct take_shape){.seconds = 8, .seed = 44}, &other_frames);
    write_bext(take_path(p, "016.wav"), RATE, "2026-04-15", "09:01:00", 0, 1, other, other_frames);
    free(other);
    free(take);
    struct tt_clean_result result = clean_well(p->session, p->out, (struct clean_run){.is_plan = false});
    json_t *report = report_of(p->out, "015");
    char *warnings = json_dumps(json_object_get(report, "warnings"), 0);
    if (!strstr(warnings, "instead_of 01.wav, instead_from 00:00:09.") || !strstr(warnings, "instead_to 00:00:14."))
        fail_msg("%s", warnings);
    free(warnings);
    json_decref(report);
    assert_warns_not(p->out, "016", "pick-up?");
    tt_clean_result_free(&result);
}

/* Within a day the second reading replaces the first one; from another day it does not, or the line would move to where
 * the new file sorts. */
static void what_was_read_on_another_day_replaces_nothing_by_itself(void **state)
{
    struct place *p = *state;
    copy_fixture_session(p->session);
    unlink(take_path(p, "02.flac"));
    size_t frames;
    float *take = sound_read(take_path(p, "01.flac"), &frames, NULL);
    unlink(take_path(p, "01.flac"));
    const size_t last = (size_t)(22.2 * RATE); /* the line from 17.6 to 21.7 s is the take's last one */
    write_bext(take_path(p, "01.wav"), RATE, "2026-04-12", "14:00:00", 0, 1, take, last);
    const size_t from = (size_t)(17.5 * RATE), count = (size_t)(4.4 * RATE), all = count + 2 * RATE;
    float *again = calloc(all, sizeof *again);
    noise_add(again, all, 0.0004, 5);
    for (size_t i = 0; i < count; i++)
        again[RATE + i] += 0.8f * take[from + i] * fminf(1.0f, fminf((float)i, (float)(count - i)) / 2400.0f);
    static const char *const dates[] = {"2026-04-12", "2026-04-15"}, *const names[] = {"02.wav", "03.wav"};
    for (int d = 0; d < 2; d++) {
        write_bext(take_path(p, names[d]), RATE, dates[d], "15:00:00", 0, 1, again, all);
        struct tt_clean_result result = clean_well(p->session, p->out, (struct clean_run){0});
        json_t *report = report_of(p->out, "01"), *row;
        size_t i;
        bool is_cut = false;
        json_array_foreach(json_object_get(report, "decisions"), i, row) is_cut |=
            strcmp(json_string_value(json_object_get(row, "kind")), "misread") == 0 &&
            number_at(row, NULL, "end_s") > 21 && number_at(row, NULL, "start_s") > 16;
        json_decref(report);
        if (is_cut != (d == 0))
            fail_msg("read again on %s: the first reading %s", dates[d], is_cut ? "is out" : "stays");
        if (d == 1)
            assert_warns(p->out, "03", "pick-up?");
        tt_clean_result_free(&result);
        unlink(take_path(p, names[d]));
    }
    free(again);
    free(take);
}

int main(void)
{
#define WITH_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)
    const struct CMUnitTest tests[] = {
        WITH_PLACE(a_recording_that_was_split_sounds_as_if_it_had_not_been),
        WITH_PLACE(a_split_over_midnight_is_one_recording_and_a_pause_between_files_is_not),
        WITH_PLACE(recording_times_that_contradict_the_order_are_pointed_out),
        WITH_PLACE(the_turn_of_a_year_or_of_february_is_no_step_back),
        WITH_PLACE(a_recording_that_changed_since_the_last_run_is_told),
        WITH_PLACE(where_the_voice_clips_the_safety_track_is_heard_without_a_step),
        WITH_PLACE(a_session_that_would_not_fit_on_the_disk_stops_before_it_is_heard),
        WITH_PLACE(a_removable_medium_is_known_by_what_the_system_says),
        WITH_PLACE(results_on_the_only_card_are_pointed_out),
        WITH_PLACE(takes_of_several_rates_keep_theirs_and_lie_in_one_narration_to_the_sample),
        WITH_PLACE(takes_of_many_kinds_keep_their_places_to_the_sample),
        WITH_PLACE(floats_above_full_scale_are_no_clipping),
        WITH_PLACE(camera_files_are_heard_in_step_with_their_pictures),
        WITH_PLACE(a_camera_file_whose_times_jump_far_ahead_is_an_error),
        WITH_PLACE(what_is_no_take_is_passed_over_and_counted),
        WITH_PLACE(a_take_from_another_room_or_microphone_is_named),
        WITH_PLACE(a_line_that_is_in_again_since_its_re_read_was_left_out_is_told),
        WITH_PLACE(a_likely_place_for_a_pick_up_is_proposed_and_nothing_is_done),
        WITH_PLACE(what_was_read_on_another_day_replaces_nothing_by_itself),
        WITH_PLACE(a_pick_up_without_a_date_is_proposed_where_another_take_stands_between),
        WITH_PLACE(a_take_that_says_much_else_beside_an_earlier_line_is_no_pick_up),
        WITH_PLACE(a_pick_up_from_another_day_is_proposed_however_near_it_stands_and_whatever_lies_between),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
