/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The running order as a person edits it: parts of a long take, pick-ups, channels and rooms of single takes, faults in
 * the file. */
#include "take_support.h"

#include "session/judging.h"

#define NO_MISREADS "misreads.action=off", "misreads.talk=off"
static const struct clean_run plain = {.assignments = {NO_MISREADS}};
enum { RATE = 24000 };

/* Room, and lines of 2.4 s that begin 0.8 s into each four seconds; level 0.05 but for a factor. */
static float *lines(size_t count, double noise_rms, double gain, uint64_t seed, size_t *frames)
{
    *frames = count * 4 * RATE;
    float *samples = calloc(*frames, sizeof *samples);
    assert_non_null(samples);
    noise_add(samples, *frames, noise_rms, 5 + seed);
    for (size_t i = 0; i < count; i++)
        voice_add(samples + (size_t)((double)i * 4 * RATE + 0.8 * RATE), (size_t)(2.4 * RATE), RATE, 0.05 * gain,
                  100 * seed + i);
    return samples;
}

static void write_lines(const struct place *p, const char *name, size_t count, double gain, uint64_t seed)
{
    size_t frames;
    float *samples = lines(count, 0.0005 * gain, gain, seed, &frames);
    sound_write(take_path(p, name), WAV_24, RATE, 1, samples, frames);
    free(samples);
}

static void write_order(const struct place *p, const char *rows)
{
    char *text =
        tt_format("take,use,piece,channel,room_tone,from,to,note,instead_of,instead_from,instead_to\n%s", rows);
    assert_non_null(text);
    mkdir(p->out, 0777);
    file_write(in_folder(p->out, "order.csv"), text, strlen(text));
    free(text);
}

static double duration_of(const struct place *p, const char *name)
{
    SF_INFO info = info_of(in_folder(p->out, name));
    return (double)info.frames / info.samplerate;
}

static void assert_refused(struct place *p, const char *rows, const char *place, const char *words)
{
    struct tt_clean_result result;
    struct tt_error error;
    write_order(p, rows);
    assert_false(clean_run(p->session, p->out, plain, &result, &error));
    assert_int_equal(error.kind, TT_ERROR_USAGE);
    if (!strstr(error.message, place) || !strstr(error.message, words))
        fail_msg("'%s' has not both '%s' and '%s'", error.message, place, words);
    assert_false(file_exists(in_folder(p->out, "narration.wav")));
    assert_false(file_exists(in_folder(p->out, "session.json")));
}

/* First and last source sample that a voice was made of, in seconds. */
static void source_span(const struct place *p, const char *stem, double *from, double *to)
{
    json_t *report = report_of(p->out, stem);
    const json_t *map = json_object_get(report, "time_map");
    const size_t count = json_array_size(map);
    assert_true(count > 0);
    *from = number_at(json_array_get(map, 0), NULL, "source_start_frame") / RATE;
    *to = number_at(json_array_get(map, count - 1), NULL, "source_end_frame") / RATE;
    json_decref(report);
}

/* ---- parts of one long take ---- */

static void parts_of_a_long_take_become_pieces_each_at_the_target(void **state)
{
    struct place *p = *state;
    write_lines(p, "long.wav", 5, 1, 1);
    write_order(p, "long.wav,yes,hive,,,8,,\nlong.wav,yes,smoker,,,,00:00:08.000,\n");
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "deliver.head_ms=500", "deliver.tail_ms=1000",
                                                          "loudness.target_lufs=-24"}});
    double from, to;
    source_span(p, "long", &from, &to); /* the part that begins with the take keeps its name */
    assert_true(from >= 0.3 && to <= 8.0);
    source_span(p, "long.from-00.00.08.000", &from, &to);
    assert_true(from >= 8.0 && to > 19.0 && to < 20.0);
    /* Two lines and three, with head and tail, in the order of the rows. */
    const double smoker_s = duration_of(p, "pieces/smoker.wav"), hive_s = duration_of(p, "pieces/hive.wav");
    assert_true(smoker_s > 6 && smoker_s < 8.5 && hive_s > 9.5 && hive_s < 13);
    assert_true(fabs(lufs_of(in_folder(p->out, "pieces/smoker.wav")) + 24) < 0.06);
    assert_true(fabs(lufs_of(in_folder(p->out, "pieces/hive.wav")) + 24) < 0.06);
    json_t *hive = report_of(p->out, "long.from-00.00.08.000"), *session = json_of(in_folder(p->out, "session.json"));
    assert_string_equal(
        json_string_value(json_object_get(json_array_get(json_object_get(session, "takes"), 0), "take")),
        "long.wav from 00:00:08.000");
    json_decref(hive);
    json_decref(session);
    assert_true(file_exists(in_folder(p->out, "heard/long.bin"))); /* heard once */
    assert_false(file_exists(in_folder(p->out, "heard/long.from-00.00.08.000.bin")));
    tt_clean_result_free(&result);
}

/* audiobook: -20 dBFS RMS, floor -60 dBFS, 750 ms in front and 3 s behind (common practice, no source). */
static void each_piece_has_head_and_tail_by_itself_and_is_judged_by_name(void **state)
{
    struct place *p = *state;
    size_t take_frames;
    float *samples = lines(5, 0.002, 1, 1, &take_frames);
    sound_write(take_path(p, "long.wav"), WAV_24, RATE, 1, samples, take_frames);
    free(samples);
    write_order(p, "long.wav,yes,hive,,,0,8,\nlong.wav,yes,the smoker,,,8,,\n");
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "gate.depth_db=24", "loudness.limit_most_db=20"},
                                          .target = "audiobook"});
    static const char *const pieces[] = {"pieces/hive.wav", "pieces/the smoker.wav"};
    for (size_t i = 0; i < 2; i++) {
        size_t frames;
        int rate_hz;
        float *sound = sound_read(in_folder(p->out, pieces[i]), &frames, &rate_hz);
        assert_int_equal(rate_hz, 44100);
        const size_t head = (size_t)(0.74 * rate_hz), tail = (size_t)(2.9 * rate_hz);
        const double voice = 20 * log10(rms_of(sound + (size_t)(1.2 * rate_hz), (size_t)rate_hz));
        const double before = 20 * log10(rms_of(sound, head)), behind = 20 * log10(rms_of(sound + frames - tail, tail));
        if (fabs(20 * log10(rms_of(sound, frames)) + 20) > 0.05 || before > voice - 30 || behind > voice - 30 ||
            before < -120 || behind < -120)
            fail_msg("%s: %.2f dBFS, head %.1f, tail %.1f, voice %.1f", pieces[i], 20 * log10(rms_of(sound, frames)),
                     before, behind, voice);
        free(sound);
    }
    assert_false(warns(in_folder(p->out, "session.json"), "target-fails", "the smoker"));
    tt_clean_result_free(&result);
    result = clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "gate.depth_db=3"}, .target = "audiobook"});
    assert_true(warns(in_folder(p->out, "session.json"), "target-fails", "hive"));
    assert_true(warns(in_folder(p->out, "session.json"), "target-fails", "the smoker"));
    tt_clean_result_free(&result);
}

static void a_piece_longer_than_its_target_allows_is_named(void **state)
{
    (void)state;
    const struct tt_clean_options options = {.target = "audiobook"};
    struct tt_run_state *run = calloc(1, sizeof *run);
    assert_non_null(run);
    tt_settings_default(&run->settings);
    run->options = &options;
    const struct tt_after after = {
        .levels = {.rms_dbfs = -20, .max_true_peak_dbtp = -4, .sample_peak_dbfs = -4, .integrated_lufs = -20},
        .floor_dbfs = -65};
    tt_session_judge_track(run, "the smoker", &after, 44100, INT64_C(44100) * 60 * 119); /* 120 minutes at most */
    assert_int_equal(run->warning_count, 0);
    tt_session_judge_track(run, "the smoker", &after, 44100, INT64_C(44100) * 60 * 121);
    assert_int_equal(run->warning_count, 1);
    assert_non_null(strstr(run->warnings[0].message, "the smoker fails audiobook"));
    assert_non_null(strstr(run->warnings[0].message, "divide it into pieces"));
    free(run);
}

static void nothing_is_made_again_when_nothing_changed(void **state)
{
    struct place *p = *state;
    write_lines(p, "long.wav", 4, 1, 1);
    write_order(p, "long.wav,yes,,,,0,8,\nlong.wav,yes,,,,8,,\n");
    struct tt_clean_result first = clean_place(p, plain), second = clean_place(p, plain);
    assert_int_equal(first.rendered_count, 2);
    assert_int_equal(second.rendered_count, 0);
    assert_int_equal(second.up_to_date_count, 2);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

static void a_take_of_which_nothing_is_left_is_not_worked_on_again(void **state)
{
    struct place *p = *state;
    write_lines(p, "a.wav", 2, 1, 1);
    write_lines(p, "b.wav", 2, 1, 2);
    struct tt_clean_result first = clean_place(p, plain);
    char *sheet = file_read(in_folder(p->out, "sheets/b.csv"), NULL),
         *all = tt_format("%sb.wav,,0,8,other,,cut,,,,\r\n", sheet);
    file_write(in_folder(p->out, "sheets/b.csv"), all, strlen(all));
    struct tt_clean_result second = clean_place(p, plain), third = clean_place(p, plain);
    assert_false(file_exists(in_folder(p->out, "voice/b.wav")));
    assert_true(second.rendered_count > 0);
    assert_int_equal(third.rendered_count, 0);
    free(sheet);
    free(all);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
    tt_clean_result_free(&third);
}

static void a_part_sounds_as_it_does_in_the_whole_take(void **state)
{
    struct place *p = *state;
    size_t whole_frames, part_frames;
    write_lines(p, "long.wav", 4, 1, 1);
    struct tt_clean_result whole = clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "deliver.bits=32f"}});
    float *all = sound_read(in_folder(p->out, "voice/long.wav"), &whole_frames, NULL);
    write_order(p, "long.wav,yes,,,,8,16,\n");
    struct tt_clean_result part = clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "deliver.bits=32f"}});
    float *some = sound_read(in_folder(p->out, "voice/long.wav"), &part_frames, NULL);
    assert_true(part_frames < whole_frames * 6 / 10);
    /* The last line of both is the same to its end, but for the gain. */
    double sum_ab = 0, sum_aa = 0, sum_bb = 0;
    for (size_t i = RATE / 2; i < 2 * RATE; i++) {
        double a = all[whole_frames - i], b = some[part_frames - i];
        sum_ab += a * b;
        sum_aa += a * a;
        sum_bb += b * b;
    }
    assert_true(sum_ab / sqrt(sum_aa * sum_bb) > 0.9999);
    free(all);
    free(some);
    tt_clean_result_free(&whole);
    tt_clean_result_free(&part);
}

static void a_row_without_its_take_is_told_and_names_only_a_take_that_has_no_row(void **state)
{
    struct place *p = *state;
    write_lines(p, "001.wav", 1, 1, 1);
    write_lines(p, "003.wav", 1, 1, 1);
    write_order(p, "001.wav,yes,,,,,,\n002.wav,yes,,,,,,\n003.wav,yes,,,,,,\n"); /* 002.wav is gone; 003.wav is no other
                                                                                    spelling of it */
    struct tt_clean_result first = clean_place(p, plain);
    char *gone = file_read(in_folder(p->out, "session.json"), NULL);
    assert_non_null(
        strstr(gone, "order.csv names '002.wav', which is not in the folder; take its row out if it is gone for good"));
    write_order(p, "001.wav,yes,,,,,,\n03.wav,yes,,,,,,\n");
    struct tt_clean_result second = clean_place(p, plain);
    char *misspelt = file_read(in_folder(p->out, "session.json"), NULL);
    assert_non_null(strstr(misspelt, "order.csv names '03.wav', which is not in the folder; did you mean 003.wav?"));
    free(gone);
    free(misspelt);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

/* As a shell's pattern names them, or somebody who thinks of these two only. */
static void takes_that_were_not_named_are_told_with_the_way_to_all_of_them(void **state)
{
    struct place *p = *state;
    write_lines(p, "001.wav", 1, 1, 1);
    write_lines(p, "002.wav", 1, 1, 1);
    write_lines(p, "003.wav", 1, 1, 1);
    write_order(p, "001.wav,yes,,,,,,\n002.wav,yes,,,,,,\n003.wav,no,,,,,,\n004.wav,yes,,,,,,\n");
    const char *const one[] = {take_path(p, "001.wav")};
    struct tt_clean_options options = {.sources = one, .source_count = 1, .out = p->out, .is_plan = true};
    struct tt_clean_result result;
    struct tt_error error = {0};
    assert_true(tt_clean(&options, NULL, &result, &error));
    char *session = file_read(in_folder(p->out, "session.json"), NULL);
    assert_non_null(strstr(session, "1 more, which order.csv uses, is not in this narration; to have all of them"));
    assert_null(strstr(session, "names '002.wav', which is not in the folder"));
    assert_non_null(strstr(session, "names '004.wav', which is not in the folder"));
    free(session);
    tt_clean_result_free(&result);
}

static void what_a_person_decided_on_the_whole_take_goes_with_its_parts(void **state)
{
    struct place *p = *state;
    write_lines(p, "long.wav", 4, 1, 1);
    struct tt_clean_result first = clean_place(p, plain);
    static const char sheet[] = "take,id,start,end,kind,proposed,action,amount,confidence,by,note\n"
                                "long.wav,,00:00:12.800,00:00:15.200,other,,cut,,,me,not this line\n";
    file_write(in_folder(p->out, "sheets/long.csv"), sheet, sizeof sheet - 1);
    write_order(p, "long.wav,yes,,,,,8,\nlong.wav,yes,,,,8,,\n");
    struct tt_clean_result second = clean_place(p, plain);
    double from, to;
    source_span(p, "long.from-00.00.08.000", &from, &to);
    assert_true(from >= 8 && to < 13);
    char *inherited = file_read(in_folder(p->out, "sheets/long.from-00.00.08.000.csv"), NULL);
    assert_non_null(strstr(inherited, "not this line"));
    free(inherited);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

/* ---- pick-ups ---- */

static void a_pick_up_stands_in_place_of_the_lines_it_replaces_as_loud_as_they_were(void **state)
{
    struct place *p = *state;
    write_lines(p, "001.wav", 4, 1, 1);
    write_lines(p, "pickup.wav", 2, 0.2, 9); /* another day: 14 dB down, and another room */
    /* The second line of the pick-up for the third of the take. */
    write_order(p, "001.wav,yes,,,,,,\npickup.wav,yes,,,,4,8,in the other room,001.wav,8,12\n");
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {NO_MISREADS, "deliver.bits=32f"}});
    double from, to;
    source_span(p, "001", &from, &to);
    assert_true(to <= 8);
    source_span(p, "pickup", &from, &to);
    assert_true(from >= 4 && to <= 8);
    source_span(p, "001.from-00.00.12.000", &from, &to);
    assert_true(from >= 12);
    assert_warns(p->out, "pickup", "pick-up");
    assert_warns_not(p->out, "pickup", "level-apart");
    /* Line for line at one level, and no louder step at the joins than in the lines themselves. */
    size_t frames, before = (size_t)(duration_of(p, "voice/001.wav") * RATE);
    float *voice = sound_read(in_folder(p->out, "narration.wav"), &frames, NULL);
    const double lines_lufs = lufs_of(in_folder(p->out, "voice/001.wav")),
                 pickup_lufs = lufs_of(in_folder(p->out, "voice/pickup.wav"));
    if (fabs(lines_lufs - pickup_lufs) > 1)
        fail_msg("lines at %.1f LUFS, the pick-up at %.1f LUFS", lines_lufs, pickup_lufs);
    for (size_t i = before - RATE / 20; i < before + RATE / 5; i++)
        assert_true(fabsf(voice[i + 1] - voice[i]) < 0.01f);
    /* A pause as inside a take: about 0.6 s, not the pause between two takes. */
    const double all_s = (double)frames / RATE, voices_s = duration_of(p, "voice/001.wav") +
                                                           duration_of(p, "voice/pickup.wav") +
                                                           duration_of(p, "voice/001.from-00.00.12.000.wav");
    assert_true(all_s - voices_s < 0.5);
    free(voice);
    tt_clean_result_free(&result);
}

static void a_pick_up_at_the_start_of_a_take_is_fitted_to_that_take(void **state)
{
    struct place *p = *state;
    write_lines(p, "001.wav", 3, 1, 1);
    write_lines(p, "002.wav", 3, 0.75, 2);
    write_lines(p, "pickup.wav", 2, 0.2, 9);
    write_order(p, "001.wav,yes,,,,,,\n002.wav,yes,,,,,,\npickup.wav,yes,,,,4,8,,002.wav,0,4\n");
    struct tt_clean_result result = clean_place(p, plain);
    assert_true(warns(in_folder(p->out, "report/pickup.json"), "pick-up", "the lines of 002.wav"));
    tt_clean_result_free(&result);
}

static void pick_ups_that_have_no_place_are_refused(void **state)
{
    struct place *p = *state;
    write_lines(p, "001.wav", 2, 1, 1);
    write_lines(p, "pickup.wav", 2, 1, 9);
    assert_refused(p, "001.wav,yes,,,,,,\npickup.wav,yes,,,,4,8,,001.wav,8,\n", "order.csv:3:11", "go together");
    assert_refused(p, "001.wav,yes,,,,,,\npickup.wav,yes,,,,4,8,,01.wav,2,4\n", "order.csv:3:9",
                   "did you mean 001.wav");
    assert_refused(p, "001.wav,no,,,,,,\npickup.wav,yes,,,,4,8,,001.wav,2,4\n", "order.csv:3:9", "is not used");
    assert_refused(p, "001.wav,yes,,,,,,\npickup.wav,yes,,,,4,8,,001.wav,2,4\npickup.wav,yes,,,,0,4,,001.wav,3,5\n",
                   "order.csv:4:10", "line 3 replaces");
}

/* ---- one take's own channel and room ---- */

static void a_channel_in_the_order_is_that_take_s_alone(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "a.wav"), (struct take_shape){.channels = 2, .voice_channel = 0, .seed = 1});
    take_write(take_path(p, "b.wav"), (struct take_shape){.channels = 2, .voice_channel = 0, .seed = 2});
    write_order(p, "a.wav,yes,,,,,,\nb.wav,yes,,right,,,,\n");
    struct tt_clean_result result = clean_place(p, plain);
    assert_warns_not(p->out, "a", "no-speech");
    assert_warns(p->out, "b", "no-speech");
    tt_clean_result_free(&result);
}

static void a_room_tone_in_the_order_is_that_take_s_alone(void **state)
{
    struct place *p = *state;
    write_lines(p, "a.wav", 2, 1, 1);
    write_lines(p, "b.wav", 2, 1, 2);
    size_t frames = 3 * RATE;
    float *room = calloc(frames, sizeof *room);
    noise_add(room, frames, 0.002, 77);
    sound_write(take_path(p, "room.wav"), WAV_24, RATE, 1, room, frames);
    free(room);
    write_order(p, "a.wav,yes,,,,,,\nb.wav,yes,,,room.wav,,,\nroom.wav,no,,,,,,\n");
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 0);
    json_t *a = report_of(p->out, "a"),
           *b = report_of(p->out, "b"); /* the room tone that was named is 12 dB over that of the takes */
    assert_true(fabs(number_at(b, "before", "noise_floor_dbfs") - number_at(a, "before", "noise_floor_dbfs") - 12) <
                1.5);
    json_decref(a);
    json_decref(b);
    tt_clean_result_free(&result);
}

/* ---- faults in the file ---- */

static void a_faulty_row_stops_the_run_before_anything_is_rendered(void **state)
{
    struct place *p = *state;
    write_lines(p, "001.wav", 2, 1, 1);
    assert_refused(p, "001.wav,yes,,,,4,2,\n", "order.csv:2:7", "behind 'from'");
    assert_refused(p, "001.wav,yes,,,,four,,\n", "order.csv:2:6", "00:12:30.500");
    assert_refused(p, "001.wav,yes,,,,4,60,\n", "order.csv:2", "ends at 00:00:08.000");
    assert_refused(p, "001.wav,yes,,up,,,,\n", "order.csv:2:4", "channel");
    assert_refused(p, "001.wav,yes,,,rom.wav,,,\n", "order.csv:2:5", "no such sound file");
    assert_refused(p, "001.wav,yes,,,,,,\n001.wav,yes,,,,,,\n", "order.csv:3:1", "named twice (line 2)");
    assert_refused(p, "001.wav,yes,a/b,,,,,\n", "order.csv:2:3", "'/'");
}

static void parts_without_number_from_one_place_are_refused(void **state)
{
    struct place *p = *state;
    struct tt_text rows = {0};
    write_lines(p, "001.wav", 2, 1, 9);
    for (int i = 0; i < 101; i++) /* each would have to have a name of its own */
        tt_text_addf(&rows, "001.wav,yes,,,,1,%d,,,,\n", 2 + i);
    assert_refused(p, rows.data, "order.csv", "begin at 00:00:01.000");
    tt_text_free(&rows);
}

static void notes_and_rows_of_absent_takes_stay_when_a_take_is_added(void **state)
{
    struct place *p = *state;
    write_lines(p, "001.wav", 2, 1, 1);
    write_lines(p, "003.wav", 2, 1, 2);
    write_order(p, "003.wav,yes,,,,0,6,mind the bees\n009.wav,no,,,,,,not copied yet\n001.wav,yes,,,,,,\n");
    struct tt_clean_result first = clean_place(p, plain);
    write_lines(p, "002.wav", 2, 1, 3);
    struct tt_clean_result second = clean_place(p, plain);
    char *text = file_read(in_folder(p->out, "order.csv"), NULL);
    const char *third = strstr(text, "003.wav,yes,,,,0,6,mind the bees"),
               *absent = strstr(text, "009.wav,no,,,,,,not copied yet"), *added = strstr(text, "002.wav,yes");
    assert_true(third && absent && added && third < absent && absent < added); /* behind 001.wav */
    free(text);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

int main(void)
{
#define WITH_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)
    const struct CMUnitTest tests[] = {
        WITH_PLACE(parts_of_a_long_take_become_pieces_each_at_the_target),
        WITH_PLACE(each_piece_has_head_and_tail_by_itself_and_is_judged_by_name),
        cmocka_unit_test(a_piece_longer_than_its_target_allows_is_named),
        WITH_PLACE(nothing_is_made_again_when_nothing_changed),
        WITH_PLACE(a_take_of_which_nothing_is_left_is_not_worked_on_again),
        WITH_PLACE(a_part_sounds_as_it_does_in_the_whole_take),
        WITH_PLACE(a_row_without_its_take_is_told_and_names_only_a_take_that_has_no_row),
        WITH_PLACE(takes_that_were_not_named_are_told_with_the_way_to_all_of_them),
        WITH_PLACE(what_a_person_decided_on_the_whole_take_goes_with_its_parts),
        WITH_PLACE(a_pick_up_stands_in_place_of_the_lines_it_replaces_as_loud_as_they_were),
        WITH_PLACE(a_pick_up_at_the_start_of_a_take_is_fitted_to_that_take),
        WITH_PLACE(pick_ups_that_have_no_place_are_refused),
        WITH_PLACE(a_channel_in_the_order_is_that_take_s_alone),
        WITH_PLACE(a_room_tone_in_the_order_is_that_take_s_alone),
        WITH_PLACE(a_faulty_row_stops_the_run_before_anything_is_rendered),
        WITH_PLACE(parts_without_number_from_one_place_are_refused),
        WITH_PLACE(notes_and_rows_of_absent_takes_stay_when_a_take_is_added),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
