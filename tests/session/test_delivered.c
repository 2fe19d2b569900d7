/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is delivered, by settings and targets. Figures that the program claims are checked on the files by ffmpeg's
 * meter where that is installed. */
#include "clean_support.h"

#include <math.h>
#include <sndfile.h>

static void clean(const struct fixture *f, const char *target, const char *const *assignments)
{
    struct clean_run how = {.target = target};
    for (size_t i = 0; assignments[i]; i++)
        how.assignments[i] = assignments[i];
    struct tt_clean_result result = clean_well(f->session, f->out, how);
    tt_clean_result_free(&result);
}

#define SET(...) ((const char *const[]){__VA_ARGS__, NULL})

static void an_audiobook_meets_its_rms_with_room_tone_around_it(void **state)
{
    struct fixture *f = *state;
    clean(f, "audiobook", SET("gate.depth_db=24"));
    size_t frames;
    int rate_hz;
    float *sound = sound_read(in_folder(f->out, "narration.wav"), &frames, &rate_hz);
    assert_int_equal(rate_hz, 44100);
    double peak = 0;
    for (size_t i = 0; i < frames; i++)
        peak = fmax(peak, fabs((double)sound[i]));
    assert_true(20 * log10(peak) <= -3.0);
    assert_true(fabs(20 * log10(rms_of(sound, frames)) + 20) < 0.05); /* of the whole file, re full scale 1.0 */
    /* 750 ms in front and 3 s behind: made room tone, not silence, and no voice. */
    double head = 20 * log10(rms_of(sound, 700 * 44100 / 1000)),
           tail = 20 * log10(rms_of(sound + frames - 29 * 4410, 29 * 4410));
    assert_true(head < -50 && head > -110);
    assert_true(tail < -50 && tail > -110);
    free(sound);
}

static void what_fails_its_target_is_told_with_what_helps(void **state)
{
    struct fixture *f = *state;
    clean(f, "audiobook", SET("gate.depth_db=3")); /* leaves a floor over -60 dBFS */
    assert_true(warns(in_folder(f->out, "session.json"), "target-fails", "noise floor"));
    assert_true(warns(in_folder(f->out, "session.json"), "target-fails", "gate.depth_db"));
    clean(f, "audiobook", SET("gate.depth_db=3")); /* also when nothing was written in this run */
    assert_true(warns(in_folder(f->out, "session.json"), "target-fails", "noise floor"));
    clean(f, "audiobook", SET("gate.depth_db=24"));
    assert_false(warns(in_folder(f->out, "session.json"), "target-fails", ""));
}

static void for_a_mix_nothing_is_limited(void **state)
{
    struct fixture *f = *state;
    clean(f, "mix", SET("loudness.across=take"));
    json_t *report = json_of(in_folder(f->out, "report/01.json"));
    assert_true(number_at(report, NULL, "limited_db") == 0);
    assert_true(fabs(number_at(report, "after", "integrated_lufs") + 23) < 0.05);
    json_decref(report);
}

/* BS.1770: two channels alike add 10 log10(2) = 3.01 dB; the target is what a meter reads on the file. */
static void two_channels_alike_are_3_db_softer_each(void **state)
{
    struct fixture *f = *state;
    clean(f, NULL, SET("loudness.across=take", "loudness.target_lufs=-24"));
    size_t frames, dual_frames;
    float *mono = sound_read(in_folder(f->out, "voice/01.wav"), &frames, NULL);
    clean(f, NULL, SET("loudness.across=take", "loudness.target_lufs=-24", "deliver.channels=dual"));
    float *dual = sound_read(in_folder(f->out, "voice/01.wav"), &dual_frames, NULL);
    assert_int_equal(frames, dual_frames);
    assert_true(fabs(20 * log10(rms_of(mono, frames) / rms_of(dual, frames)) - 3.01) < 0.02);
    free(mono);
    free(dual);
}

/* A take again, softer, under another name, and without its first second, so that it is a recording of its own. */
static void copy_softer(const struct fixture *f, const char *from, const char *to, float gain)
{
    size_t frames;
    int rate_hz;
    float *sound = sound_read(in_folder(f->session, from), &frames, &rate_hz);
    for (size_t i = 0; i < frames; i++)
        sound[i] *= gain;
    sound_write(in_folder(f->session, to), SF_FORMAT_WAV | SF_FORMAT_PCM_24, rate_hz, 1, sound + 1000 * (to[1] - '0'),
                frames - (size_t)(1000 * (to[1] - '0')));
    free(sound);
}

/* Four takes about as loud, and one 8 dB softer, which lies apart. */
static void a_take_far_from_the_others_gets_a_gain_of_its_own(void **state)
{
    struct fixture *f = *state;
    copy_softer(f, "01.flac", "03.wav", 0.98f);
    copy_softer(f, "02.flac", "04.wav", 0.97f);
    copy_softer(f, "01.flac", "05.wav", 0.4f);
    clean(f, NULL, SET("misreads.action=off", "loudness.target_lufs=-23"));
    json_t *first = json_of(in_folder(f->out, "report/01.json")),
           *second = json_of(in_folder(f->out, "report/02.json")), *last = json_of(in_folder(f->out, "report/05.json"));
    assert_true(number_at(first, NULL, "gain_db") == number_at(second, NULL, "gain_db"));
    double more = number_at(last, NULL, "gain_db") - number_at(first, NULL, "gain_db");
    assert_true(more > 5 && more < 11); /* 8 dB, and what the takes differ by anyway */
    assert_true(warns(in_folder(f->out, "report/05.json"), "level-apart",
                      "LU softer than the other takes; it got a gain of its own"));
    json_decref(first);
    json_decref(second);
    json_decref(last);
}

/* EBU Tech 3285: the recording's own fields stay; the time moves by what was cut at the head; our line comes last. */
static void what_the_recording_says_of_itself_stays_in_its_voice(void **state)
{
    struct fixture *f = *state;
    size_t frames;
    int rate_hz;
    float *sound = sound_read(in_folder(f->session, "01.flac"), &frames, &rate_hz);
    unlink(in_folder(f->session, "01.flac"));
    SF_INFO info = {.samplerate = rate_hz, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_24};
    SNDFILE *file = sf_open(in_folder(f->session, "01.wav"), SFM_WRITE, &info);
    SF_BROADCAST_INFO bext;
    memset(&bext, 0, sizeof bext);
    snprintf(bext.description, sizeof bext.description, "Opening the hive, first reading");
    snprintf(bext.originator, sizeof bext.originator, "field recorder");
    snprintf(bext.originator_reference, sizeof bext.originator_reference, "hive-0001");
    memcpy(bext.origination_date, "2026-04-03", 10);
    memcpy(bext.origination_time, "09-30-00", 8);
    bext.time_reference_low = 24000u * 3600u * 9;
    snprintf(bext.coding_history, sizeof bext.coding_history, "A=PCM,F=24000,W=24,M=mono,T=field recorder\r\n");
    bext.coding_history_size = (uint32_t)strlen(bext.coding_history);
    assert_int_equal(sf_command(file, SFC_SET_BROADCAST_INFO, &bext, sizeof bext), SF_TRUE);
    assert_int_equal(sf_writef_float(file, sound, (sf_count_t)frames), (sf_count_t)frames);
    sf_close(file);
    free(sound);
    clean(f, NULL, SET("deliver.whole=yes"));
    json_t *report = json_of(in_folder(f->out, "report/01.json"));
    int64_t cut =
        (int64_t)number_at(json_array_get(json_object_get(report, "time_map"), 0), NULL, "source_start_frame");
    assert_true(cut > 0);
    json_decref(report);
    static const char *const files[] = {"voice/01.wav", "whole/01.wav"};
    for (int i = 0; i < 2; i++) {
        memset(&info, 0, sizeof info);
        file = sf_open(in_folder(f->out, files[i]), SFM_READ, &info);
        memset(&bext, 0, sizeof bext);
        assert_int_equal(sf_command(file, SFC_GET_BROADCAST_INFO, &bext, sizeof bext), SF_TRUE);
        sf_close(file);
        assert_string_equal(bext.description, "Opening the hive, first reading");
        assert_string_equal(bext.originator, "field recorder");
        assert_string_equal(bext.originator_reference, "hive-0001");
        assert_memory_equal(bext.origination_date, "2026-04-03", 10);
        assert_true(bext.time_reference_low == 24000u * 3600u * 9 + (i == 0 ? (uint32_t)cut : 0));
        char *theirs = strstr(bext.coding_history, "T=field recorder\r\n"),
             *our = strstr(bext.coding_history, "T=tidytake\r\n");
        assert_true(theirs && our && theirs < our);
    }
}

/* 01:00:00:00 at 25 frames a second and 24 kHz is sample 86,400,000. */
static void the_narration_tells_when_it_starts(void **state)
{
    struct fixture *f = *state;
    clean(f, NULL, SET("deliver.start=01:00:00:00"));
    SF_INFO info = {0};
    SNDFILE *file = sf_open(in_folder(f->out, "narration.wav"), SFM_READ, &info);
    SF_BROADCAST_INFO bext;
    memset(&bext, 0, sizeof bext);
    assert_int_equal(sf_command(file, SFC_GET_BROADCAST_INFO, &bext, sizeof bext), SF_TRUE);
    sf_close(file);
    assert_int_equal(bext.time_reference_low, 86400000);
}

/* Last integrated loudness and true peak (dBTP) that ffmpeg's ebur128 filter reads in a file. */
static void read_by_another_meter(const char *path, double *lufs, double *dbtp)
{
    char command[8192], line[256];
    snprintf(command, sizeof command,
             "ffmpeg -hide_banner -nostats -nostdin -i '%s' -af ebur128=peak=true:metadata=1,ametadata=print:file=- -f "
             "null - 2>/dev/null",
             path);
    FILE *pipe = popen(command, "r");
    *lufs = *dbtp = NAN;
    while (pipe && fgets(line, sizeof line, pipe)) {
        double value;
        if (sscanf(line, "lavfi.r128.I=%lf", &value) == 1)
            *lufs = value;
        if (sscanf(line, "lavfi.r128.true_peak=%lf", &value) == 1)
            *dbtp = 20 * log10(value);
    }
    if (pipe)
        pclose(pipe);
}

static void another_meter_reads_the_same_on_every_file(void **state)
{
    struct fixture *f = *state;
    if (system("command -v ffmpeg >/dev/null 2>&1") != 0) {
        printf("skipped: another_meter_reads_the_same_on_every_file: ffmpeg is not installed\n");
        fflush(stdout);
        skip();
    }
    clean(f, NULL, SET("deliver.bits=16"));
    static const char *const files[][2] = {
        {"voice/01.wav", "report/01.json"}, {"voice/02.wav", "report/02.json"}, {"narration.wav", "session.json"}};
    for (int i = 0; i < 3; i++) {
        double lufs, dbtp;
        json_t *json = json_of(in_folder(f->out, files[i][1]));
        const char *object = i == 2 ? "narration" : "after";
        read_by_another_meter(in_folder(f->out, files[i][0]), &lufs, &dbtp);
        assert_true(fabs(lufs - number_at(json, object, "integrated_lufs")) <= 0.1); /* goals: 0.1 LU, 0.2 dB */
        assert_true(fabs(dbtp - number_at(json, object, "max_true_peak_dbtp")) <= 0.2);
        json_decref(json);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(an_audiobook_meets_its_rms_with_room_tone_around_it, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(what_fails_its_target_is_told_with_what_helps, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(for_a_mix_nothing_is_limited, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(two_channels_alike_are_3_db_softer_each, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_take_far_from_the_others_gets_a_gain_of_its_own, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(what_the_recording_says_of_itself_stays_in_its_voice, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(the_narration_tells_when_it_starts, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(another_meter_reads_the_same_on_every_file, fixture_set_up, fixture_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
