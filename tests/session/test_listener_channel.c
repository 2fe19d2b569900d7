/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A second microphone that somebody else speaks into: never heard in the voice, and what is said there is talk. */
#include "take_support.h"

#include "audio/reader.h"

enum { RATE = 24000 };

/* Narrator and listener in one room: each microphone carries its own person and, so many dB lower, the other one. */
struct table {
    double bleed_db;     /* of each in the other's microphone; 200: none */
    double listener_rms; /* at the listener's microphone; 0: says nothing */
    bool is_swapped;     /* the listener's is the first channel */
};

static const double line_s = 3,
                    pause_s = 1.2; /* narrator's lines; the listener answers behind the second, and behind the fourth */
enum { LINES = 6 };
static double line_start_s(int i) { return 1 + i * (line_s + pause_s) + (i > 1) * 3 + (i > 3) * 3; }
static double answer_start_s(int i) { return line_start_s(i) + line_s + 1.2; }
static const double answer_s = 1.8;

static void write_table(const char *path, struct table table)
{
    const double seconds = line_start_s(LINES - 1) + line_s + 1;
    const size_t frames = (size_t)(seconds * RATE);
    float *narrator = calloc(frames, sizeof *narrator), *listener = calloc(frames, sizeof *listener),
          *both = calloc(2 * frames, sizeof *both);
    float *rooms[2] = {calloc(frames, sizeof(float)), calloc(frames, sizeof(float))};
    for (int i = 0; i < LINES; i++)
        voice_add(narrator + (size_t)(line_start_s(i) * RATE), (size_t)(line_s * RATE), RATE, 0.06, 300 + (uint64_t)i);
    for (int i = 1; i <= 3 && table.listener_rms > 0; i += 2)
        voice_add(listener + (size_t)(answer_start_s(i) * RATE), (size_t)(answer_s * RATE), RATE, table.listener_rms,
                  900 + (uint64_t)i);
    noise_add(rooms[0], frames, 0.0003, 5);
    noise_add(rooms[1], frames, 0.00005, 6); /* the quieter place of the two: clearness alone would take this one */
    const float bleed = (float)pow(10, -table.bleed_db / 20);
    for (size_t i = 0; i < frames; i++) {
        both[2 * i + (table.is_swapped ? 1 : 0)] = narrator[i] + bleed * listener[i] + rooms[0][i];
        both[2 * i + (table.is_swapped ? 0 : 1)] = listener[i] + bleed * narrator[i] + rooms[1][i];
    }
    sound_write(path, WAV_24, RATE, 2, both, frames);
    free(narrator);
    free(listener);
    free(both);
    free(rooms[0]);
    free(rooms[1]);
}

static struct tt_channel_choice choice_for(const struct place *p, struct table table)
{
    struct tt_channel_stats stats[TT_MOST_CHANNELS];
    struct tt_error err = {0};
    int count;
    write_table(take_path(p, "table.wav"), table);
    assert_ok(tt_channels_survey(take_path(p, "table.wav"), NULL, NULL, stats, &count, &err), err);
    return tt_channel_choose(stats, count);
}

static void the_narrator_is_who_speaks_for_longer_however_loud_the_other_one_is(void **state)
{
    const struct place *p = *state;
    static const double bleeds_db[] = {12, 20, 35, 200}, levels[] = {0.03, 0.06, 0.2};
    for (size_t b = 0; b < sizeof bleeds_db / sizeof *bleeds_db; b++)
        for (size_t l = 0; l < sizeof levels / sizeof *levels; l++)
            for (int swapped = 0; swapped < 2; swapped++) {
                struct tt_channel_choice choice = choice_for(p, (struct table){bleeds_db[b], levels[l], swapped});
                if (choice.channel != swapped || choice.listener_number != 2 - swapped)
                    fail_msg("bleed %g dB, listener %g, swapped %d: channel %d, listener %d: %s", bleeds_db[b],
                             levels[l], swapped, choice.channel, choice.listener_number, choice.why);
                assert_non_null(strstr(choice.why, "somebody else speaks"));
            }
}

static void a_second_microphone_into_which_nobody_speaks_is_no_listeners(void **state)
{
    const struct place *p = *state;
    static const double bleeds_db[] = {0.5, 6, 20, 40, 200};
    for (size_t b = 0; b < sizeof bleeds_db / sizeof *bleeds_db; b++) {
        struct tt_channel_choice choice = choice_for(p, (struct table){.bleed_db = bleeds_db[b]});
        if (choice.listener_number != 0)
            fail_msg("bleed %g dB: %s", bleeds_db[b], choice.why);
    }
}

/* Rows of kind talk in a sheet that begin near a time. */
static bool has_talk_at(const struct place *p, const char *stem, double start_s, double end_s, const char *action)
{
    json_t *report = report_of(p->out, stem), *row;
    size_t i;
    bool found = false;
    json_array_foreach(json_object_get(report, "decisions"), i, row) found |=
        strcmp(json_string_value(json_object_get(row, "kind")), "talk") == 0 &&
        fabs(number_at(row, NULL, "start_s") - start_s) < 0.6 && number_at(row, NULL, "end_s") > end_s - 0.3 &&
        number_at(row, NULL, "end_s") < end_s + 1.4 &&
        strcmp(json_string_value(json_object_get(row, "action")), action) == 0;
    json_decref(report);
    return found;
}

static size_t count_talk(const struct place *p, const char *stem)
{
    json_t *report = report_of(p->out, stem), *row;
    size_t i, count = 0;
    json_array_foreach(json_object_get(report, "decisions"), i, row) count +=
        strcmp(json_string_value(json_object_get(row, "kind")), "talk") == 0;
    json_decref(report);
    return count;
}

static void what_the_listener_says_is_asked_about_as_talk_and_no_line_is(void **state)
{
    struct place *p = *state;
    /* Only 8 dB fainter in the narrator's microphone than the lines: too loud to be told from a line by level alone. */
    write_table(take_path(p, "001.wav"), (struct table){.bleed_db = 14, .listener_rms = 0.12});
    struct tt_clean_result result = clean_place(p, (struct clean_run){0});
    for (int i = 1; i <= 3; i += 2)
        if (!has_talk_at(p, "001", answer_start_s(i), answer_start_s(i) + answer_s, "ask"))
            fail_msg("no talk at %.1f s:\n%s", answer_start_s(i), file_read(in_folder(p->out, "sheets/001.csv"), NULL));
    assert_int_equal(count_talk(p, "001"), 2);
    tt_clean_result_free(&result);
    result = clean_place(p, (struct clean_run){.assignments = {"misreads.talk=cut"}});
    for (int i = 1; i <= 3; i += 2)
        assert_true(has_talk_at(p, "001", answer_start_s(i), answer_start_s(i) + answer_s, "cut"));
    tt_clean_result_free(&result);
    /* Without the second channel the same sound is taken for lines. */
    result = clean_place(p, (struct clean_run){.assignments = {"take.channel=left"}});
    assert_int_equal(count_talk(p, "001"), 0);
    tt_clean_result_free(&result);
}

static void the_listeners_channel_is_never_heard_in_the_voice(void **state)
{
    struct place *p = *state;
    write_table(take_path(p, "001.wav"), (struct table){.bleed_db = 200, .listener_rms = 0.2});
    struct tt_clean_result result = clean_place(
        p, (struct clean_run){.assignments = {"gate.depth_db=0", "pauses.stay_ms=10000", "pauses.longest_ms=10000"}});
    json_t *report = report_of(p->out, "001");
    const json_t *map = json_array_get(json_object_get(report, "time_map"), 0);
    const double from_s = number_at(map, NULL, "source_start_frame") / RATE;
    assert_true(number_at(map, NULL, "source_end_frame") / RATE >
                answer_start_s(3) + answer_s); /* one piece: nothing was cut */
    json_decref(report);
    size_t frames;
    float *voice = sound_read(in_folder(p->out, "voice/001.wav"), &frames, NULL);
    const double answer = rms_of(voice + (size_t)((answer_start_s(1) - from_s) * RATE), (size_t)(answer_s * RATE));
    const double room =
        rms_of(voice + (size_t)((line_start_s(1) + line_s + 0.3 - from_s) * RATE), (size_t)(0.6 * RATE));
    if (answer > 1.2 * room)
        fail_msg("%.1f dB over the room where the listener speaks", 20 * log10(answer / room));
    free(voice);
    tt_clean_result_free(&result);
}

/* ---- recorded voices ---- */

static size_t add_voice(float *to, size_t at, size_t room, const char *language, const char *name, double rms)
{
    char path[300];
    snprintf(path, sizeof path, "/usr/share/asterisk/sounds/%s/%s.g722", language, name);
    if (!file_exists(path))
        return 0;
    char command[800], wav[] = "/tmp/tt-voice-XXXXXX";
    int fd = mkstemp(wav);
    close(fd);
    snprintf(command, sizeof command, "ffmpeg -loglevel error -y -f g722 -i '%s' -ar 24000 -f wav '%s' </dev/null",
             path, wav);
    size_t frames = 0;
    float *samples = system(command) == 0 ? sound_read(wav, &frames, NULL) : NULL;
    unlink(wav);
    const double own = samples ? rms_of(samples, frames) : 0;
    for (size_t i = 0; samples && own > 0 && i < frames && at + i < room; i++)
        to[at + i] += (float)(rms / own) * samples[i];
    free(samples);
    return frames;
}

/* A narrator (French) and a listener (English) who answers some lines, recorded prompts of Debian's
 * asterisk-core-sounds, each into a microphone of its own. */
struct talk_at_table {
    float *narrator, *listener;
    size_t count, answered, missing;
    double starts[3], ends[3]; /* of the answers */
};

static struct talk_at_table record_talk(void)
{
    static const char *const lines[] = {"agent-pass",      "conf-adminmenu", "dir-instr",     "vm-options",
                                        "vm-tempgreeting", "vm-advopts",     "demo-congrats", "dir-multi1"};
    static const char *const answers[] = {"agent-loginok", "vm-nomore", "please-try-again"};
    enum { ROOM = 180 * RATE };
    struct talk_at_table talk = {
        .narrator = calloc(ROOM, sizeof(float)), .listener = calloc(ROOM, sizeof(float)), .count = RATE};
    for (size_t i = 0; i < sizeof lines / sizeof *lines; i++) {
        size_t got = add_voice(talk.narrator, talk.count, ROOM, "fr_CA_f_June", lines[i], 0.05);
        talk.missing += got == 0;
        talk.count += got + RATE;
        if (i % 3 != 1 || talk.answered == sizeof answers / sizeof *answers)
            continue;
        talk.starts[talk.answered] = (double)talk.count / RATE;
        got = add_voice(talk.listener, talk.count, ROOM, "en_US_f_Allison", answers[talk.answered], 0.1);
        talk.missing += got == 0;
        talk.count += got + RATE;
        talk.ends[talk.answered++] = (double)(talk.count - RATE) / RATE;
    }
    noise_add(talk.narrator, talk.count, 0.0003, 8);
    noise_add(talk.listener, talk.count, 0.0003, 9);
    return talk;
}

/* Each is heard in the other's microphone, a metre away, too. */
static void write_talk(const char *path, const struct talk_at_table *talk)
{
    const size_t late = RATE / 340;
    float *both = calloc(2 * talk->count, sizeof *both);
    for (size_t i = 0; i < talk->count; i++) {
        both[2 * i] = talk->narrator[i] + (i >= late ? 0.2f * talk->listener[i - late] : 0);
        both[2 * i + 1] = talk->listener[i] + (i >= late ? 0.2f * talk->narrator[i - late] : 0);
    }
    sound_write(path, WAV_24, RATE, 2, both, talk->count);
    free(both);
}

static bool is_answer(const struct talk_at_table *talk, const json_t *row)
{
    const double from_s = number_at(row, NULL, "start_s"), to_s = number_at(row, NULL, "end_s");
    bool is_it = false;
    for (size_t a = 0; a < talk->answered; a++)
        is_it |= from_s > talk->starts[a] - 0.6 && to_s < talk->ends[a] + 1.4;
    return is_it;
}

static void recorded_voices_are_told_apart_by_their_microphones(void **state)
{
    struct place *p = *state;
    struct talk_at_table talk = record_talk();
    if (talk.missing == 0)
        write_talk(take_path(p, "001.wav"), &talk);
    free(talk.narrator);
    free(talk.listener);
    if (talk.missing > 0) {
        print_message(
            "skipped: no recorded prompts (asterisk-core-sounds-en-g722, -fr-g722), or no ffmpeg to decode them\n");
        skip();
    }
    struct tt_clean_result result = clean_place(p, (struct clean_run){0});
    json_t *report = report_of(p->out, "001"), *row;
    size_t i, right = 0, wrong = 0;
    assert_int_equal(talk.answered, 3);
    json_array_foreach(json_object_get(report, "decisions"), i, row)
    {
        const bool is_talk = strcmp(json_string_value(json_object_get(row, "kind")), "talk") == 0;
        right += is_talk && is_answer(&talk, row);
        wrong += is_talk && !is_answer(&talk, row);
    }
    json_decref(report);
    if (right < 3 || wrong > 0)
        fail_msg("%zu rows of talk on answers, %zu elsewhere:\n%s", right, wrong,
                 file_read(in_folder(p->out, "sheets/001.csv"), NULL));
    tt_clean_result_free(&result);
}

int main(void)
{
#define WITH_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)
    const struct CMUnitTest tests[] = {
        WITH_PLACE(the_narrator_is_who_speaks_for_longer_however_loud_the_other_one_is),
        WITH_PLACE(a_second_microphone_into_which_nobody_speaks_is_no_listeners),
        WITH_PLACE(what_the_listener_says_is_asked_about_as_talk_and_no_line_is),
        WITH_PLACE(the_listeners_channel_is_never_heard_in_the_voice),
        WITH_PLACE(recorded_voices_are_told_apart_by_their_microphones),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
