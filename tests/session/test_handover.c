/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What becomes of a narration that was handed over: it is left as it lies, kept when another replaces it, told about,
 * and held. */
#include "clean_support.h"

#include <math.h>
#include <sndfile.h>
#include <sys/stat.h>

static void clean(const struct fixture *f, struct clean_run how)
{
    struct tt_clean_result result = clean_well(f->session, f->out, how);
    tt_clean_result_free(&result);
}

/* Error message of a run that has to fail. */
static const char *failure(const struct fixture *f, struct clean_run how)
{
    static struct tt_error error;
    struct tt_clean_result result;
    if (clean_run(f->session, f->out, how, &result, &error))
        fail_msg("the run went well");
    return error.message;
}

static ino_t file_number(const char *path)
{
    struct stat status;
    assert_int_equal(stat(path, &status), 0);
    return status.st_ino;
}

static size_t frames_of(const char *path)
{
    size_t frames;
    free(sound_read(path, &frames, NULL));
    return frames;
}

/* A publish makes another file of the name: its number tells that it was written. */
static void narration_and_pieces_are_not_written_again_when_nothing_changed(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,", "01.flac,yes,opening");
    clean(f, (struct clean_run){0});
    ino_t narration = file_number(in_folder(f->out, "narration.wav")),
          piece = file_number(in_folder(f->out, "pieces/opening.wav"));
    const char *state_before = file_digest(in_folder(f->out, "session.json"));
    clean(f, (struct clean_run){0});
    assert_int_equal(narration, file_number(in_folder(f->out, "narration.wav")));
    assert_int_equal(piece, file_number(in_folder(f->out, "pieces/opening.wav")));
    assert_string_equal(state_before, file_digest(in_folder(f->out, "session.json")));
    clean(f, (struct clean_run){.assignments = {"pauses.between_ms=3000"}});
    assert_int_not_equal(narration, file_number(in_folder(f->out, "narration.wav")));
    assert_int_equal(piece, file_number(in_folder(f->out, "pieces/opening.wav")));
}

static void the_pause_between_takes_is_as_much_longer_as_was_asked(void **state)
{
    struct fixture *f = *state;
    size_t frames;
    int rate_hz;
    clean(f, (struct clean_run){.assignments = {"pauses.between_ms=2000"}});
    free(sound_read(in_folder(f->out, "narration.wav"), &frames, &rate_hz));
    clean(f, (struct clean_run){.assignments = {"pauses.between_ms=3500"}});
    assert_int_equal(frames_of(in_folder(f->out, "narration.wav")), frames + 3 * (size_t)rate_hz / 2);
}

static void the_narration_before_is_kept_when_another_replaces_it(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    const char *first = file_digest(in_folder(f->out, "narration.wav"));
    clean(f, (struct clean_run){.is_again = true}); /* the same bytes: nothing to keep */
    assert_false(file_exists(in_folder(f->out, "earlier")));
    clean(f, (struct clean_run){.assignments = {"pauses.between_ms=3000"}});
    assert_string_equal(first, file_digest(in_folder(f->out, "earlier/narration-0001.wav")));
    const char *second = file_digest(in_folder(f->out, "narration.wav"));
    clean(f, (struct clean_run){0});
    assert_string_equal(second, file_digest(in_folder(f->out, "earlier/narration-0002.wav")));
    assert_string_equal(first, file_digest(in_folder(f->out, "narration.wav")));
}

static void voices_of_another_kind_go_and_what_a_person_put_there_stays(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){.assignments = {"deliver.whole=yes"}});
    file_write(in_folder(f->out, "voice/mine.wav"), "mine", 4);
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,", "01.flac,yes,opening");
    clean(f, (struct clean_run){.assignments = {"deliver.whole=yes"}});
    clean(f, (struct clean_run){.assignments = {"deliver.whole=yes", "deliver.format=flac"}});
    static const char *const gone[] = {"voice/01.wav", "voice/02.wav", "whole/01.wav", "pieces/opening.wav",
                                       "narration.wav"};
    for (size_t i = 0; i < sizeof gone / sizeof *gone; i++)
        if (file_exists(in_folder(f->out, gone[i])))
            fail_msg("%s is still there", gone[i]);
    static const char *const there[] = {"voice/mine.wav",
                                        "voice/01.flac",
                                        "whole/02.flac",
                                        "pieces/opening.flac",
                                        "earlier/pieces/opening.wav",
                                        "narration.flac",
                                        "earlier/narration-0001.wav"};
    for (size_t i = 0; i < sizeof there / sizeof *there; i++)
        if (!file_exists(in_folder(f->out, there[i])))
            fail_msg("%s is not there", there[i]);
}

static void a_piece_that_nobody_wants_any_more_is_put_aside(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,", "01.flac,yes,opening");
    clean(f, (struct clean_run){0});
    const char *piece = file_digest(in_folder(f->out, "pieces/opening.wav"));
    file_write(in_folder(f->out, "pieces/mine.wav"), "mine", 4);
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,opening", "01.flac,yes,beginning");
    clean(f, (struct clean_run){0});
    assert_false(file_exists(in_folder(f->out, "pieces/opening.wav")));
    assert_string_equal(piece, file_digest(in_folder(f->out, "earlier/pieces/opening.wav")));
    assert_true(file_exists(in_folder(f->out, "pieces/beginning.wav")));
    assert_true(file_exists(in_folder(f->out, "pieces/mine.wav")));
    /* Wanted again, and not again: the one put aside before stays. */
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,beginning", "01.flac,yes,opening");
    clean(f, (struct clean_run){0});
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,opening", "01.flac,yes,beginning");
    clean(f, (struct clean_run){0});
    assert_true(file_exists(in_folder(f->out, "earlier/pieces/opening-2.wav")));
    assert_string_equal(piece, file_digest(in_folder(f->out, "earlier/pieces/opening.wav")));
}

/* Whoever can write session.json must not be able to have files of others moved. */
static void a_piece_whose_name_leads_out_of_the_results_moves_nothing(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,", "01.flac,yes,opening");
    clean(f, (struct clean_run){0});
    mkdir(in_folder(f->folder, "elsewhere"), 0777);
    mkdir(in_folder(f->out, "elsewhere"), 0777);
    file_write(in_folder(f->folder, "elsewhere/01.wav"), "mine", 4);
    file_replace(in_folder(f->out, "session.json"), "\"opening\": {", "\"../../elsewhere/01\": {");
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,opening", "01.flac,yes,");
    clean(f, (struct clean_run){0});
    assert_true(file_exists(in_folder(f->folder, "elsewhere/01.wav")));
}

static void a_piece_that_waited_for_a_failed_take_is_put_aside_when_nobody_wants_it_then(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,", "01.flac,yes,opening");
    clean(f, (struct clean_run){0});
    const char *piece = file_digest(in_folder(f->out, "pieces/opening.wav"));
    size_t size;
    char *take = file_read(in_folder(f->session, "01.flac"), &size), whole[4096];
    snprintf(whole, sizeof whole, "%s/whole.flac", f->folder);
    file_write(whole, take, size);
    free(take);
    file_write(in_folder(f->session, "01.flac"), "a bad card", 10);
    struct tt_clean_result result = clean_well(f->session, f->out, (struct clean_run){0});
    assert_int_equal(result.failed_count, 1);
    tt_clean_result_free(&result);
    assert_string_equal(piece, file_digest(in_folder(f->out, "pieces/opening.wav")));
    assert_int_equal(rename(whole, in_folder(f->session, "01.flac")), 0);
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,opening", "01.flac,yes,beginning");
    clean(f, (struct clean_run){0});
    assert_false(file_exists(in_folder(f->out, "pieces/opening.wav")));
    assert_string_equal(piece, file_digest(in_folder(f->out, "earlier/pieces/opening.wav")));
}

static void only_so_many_earlier_narrations_stay(void **state)
{
    struct fixture *f = *state;
    static const char *const betweens[] = {"pauses.between_ms=3000", "pauses.between_ms=3100", "pauses.between_ms=3200",
                                           "pauses.between_ms=3300"};
    clean(f, (struct clean_run){0});
    assert_int_equal(mkdir(in_folder(f->out, "earlier"), 0777), 0);
    file_write(in_folder(f->out, "earlier/mine.wav"), "mine", 4);
    file_write(in_folder(f->out, "earlier/narration-0001 as sent.wav"), "mine", 4);
    for (size_t i = 0; i < 3; i++)
        clean(f, (struct clean_run){.assignments = {betweens[i], "deliver.keep_earlier=2"}});
    assert_false(file_exists(in_folder(f->out, "earlier/narration-0001.wav")));
    assert_true(file_exists(in_folder(f->out, "earlier/narration-0002.wav")));
    assert_true(file_exists(in_folder(f->out, "earlier/narration-0003.wav")));
    clean(f, (struct clean_run){.assignments = {betweens[3], "deliver.keep_earlier=0"}});
    assert_true(file_exists(in_folder(f->out, "earlier/narration-0002.wav")));
    assert_true(file_exists(in_folder(f->out, "earlier/mine.wav")));
    assert_true(file_exists(in_folder(f->out, "earlier/narration-0001 as sent.wav")));
}

static void a_narration_that_was_held_is_never_deleted(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){.assignments = {"deliver.hold=yes"}});
    const char *held = file_digest(in_folder(f->out, "narration.wav"));
    clean(f, (struct clean_run){.assignments = {"pauses.between_ms=3000", "deliver.keep_earlier=1"}});
    clean(f, (struct clean_run){.assignments = {"pauses.between_ms=3100", "deliver.keep_earlier=1"}});
    clean(f, (struct clean_run){.assignments = {"pauses.between_ms=3200", "deliver.keep_earlier=1"}});
    assert_string_equal(held, file_digest(in_folder(f->out, "earlier/narration-0001-held.wav")));
    assert_false(file_exists(in_folder(f->out, "earlier/narration-0002.wav")));
    assert_true(file_exists(in_folder(f->out, "earlier/narration-0003.wav")));
}

static void a_target_that_is_left_off_the_next_time_is_missed_aloud(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){.target = "ebu-r128"});
    clean(f, (struct clean_run){.target = "ebu-r128"});
    assert_false(warns(in_folder(f->out, "session.json"), "another-target", ""));
    clean(f, (struct clean_run){.is_plan = true}); /* delivers nothing, says nothing, forgets nothing */
    assert_false(warns(in_folder(f->out, "session.json"), "another-target", ""));
    clean(f, (struct clean_run){0});
    assert_true(warns(in_folder(f->out, "session.json"), "another-target", "--for ebu-r128"));
    clean(f, (struct clean_run){0});
    assert_false(warns(in_folder(f->out, "session.json"), "another-target", ""));
}

/* 25 frames a second: 2 s are 50. The opened gap moves all behind it, and nothing before it. */
static void changes_tell_from_where_on_things_lie_how_much_later(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    assert_false(file_exists(in_folder(f->out, "edit/changes.csv")));
    size_t before = frames_of(in_folder(f->out, "narration.wav"));
    file_append(in_folder(f->out, "sheets/01.csv"), "01.flac,,00:00:20.000,00:00:20.000,gap,,open,2.000,,,smoker\r\n");
    clean(f, (struct clean_run){0});
    size_t after = frames_of(in_folder(f->out, "narration.wav"));
    assert_int_equal(after - before, 2 * 24000);
    char *text = file_read(in_folder(f->out, "edit/changes.csv"), NULL), since[64], was[16], now[16], take[16];
    int step, all;
    double seconds;
    char *row = strchr(text, '\n') + 1;
    assert_int_equal(
        sscanf(row, "%63[^,],%15[^,],%15[^,],%d,%d,%lf,%15[^,],", since, was, now, &step, &all, &seconds, take), 7);
    assert_string_equal(since, "earlier/narration-0001.wav");
    assert_int_equal(step, 50);
    assert_int_equal(all, 50);
    assert_true(fabs(seconds - 2) < 1e-4);
    assert_string_equal(take, "01.flac");
    assert_non_null(strstr(row, "gap: open, yours"));
    assert_null(strchr(strchr(row, '\n') + 1, '\n')); /* one place, one row */
    free(text);
}

static void a_take_that_is_left_out_is_named_in_the_changes(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes", "01.flac,no");
    clean(f, (struct clean_run){0});
    char *text = file_read(in_folder(f->out, "edit/changes.csv"), NULL);
    assert_non_null(strstr(text, "01.flac is out"));
    assert_non_null(strstr(text, ",-")); /* all that is left lies earlier */
    free(text);
}

static void a_narration_that_only_sounds_otherwise_moved_nothing(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    clean(f, (struct clean_run){.assignments = {"breaths.soften_db=6"}});
    char *text = file_read(in_folder(f->out, "edit/changes.csv"), NULL);
    assert_non_null(strstr(text, "nothing moved in time"));
    free(text);
}

/* ---- hold ---- */

#define HOLD "deliver.hold=yes"

static void with_hold_nothing_is_decided_anew(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    const char *sheets = folder_digest(f->out, "sheets"), *voices = folder_digest(f->out, "voice"),
               *narration = file_digest(in_folder(f->out, "narration.wav"));
    /* Settings that would decide otherwise show in no sheet. */
    clean(f, (struct clean_run){
                 .assignments = {HOLD, "misreads.action=off", "pauses.stay_ms=100", "pauses.longest_ms=200"},
                 .is_again = true});
    assert_string_equal(sheets, folder_digest(f->out, "sheets"));
    assert_string_equal(voices, folder_digest(f->out, "voice"));
    assert_string_equal(narration, file_digest(in_folder(f->out, "narration.wav")));
    /* The same without hold does. */
    clean(f, (struct clean_run){.assignments = {"misreads.action=off"}});
    assert_string_not_equal(sheets, folder_digest(f->out, "sheets"));
}

static void with_hold_a_persons_edit_is_obeyed_and_no_gain_moves(void **state)
{
    struct fixture *f = *state;
    static const char *const ways[] = {"loudness.across=session", "loudness.across=take"};
    for (int i = 0; i < 2; i++) {
        clean(f, (struct clean_run){.assignments = {ways[i]}});
        json_t *before = json_of(in_folder(f->out, "report/01.json")),
               *track = json_of(in_folder(f->out, "session.json"));
        const char *other = file_digest(in_folder(f->out, "voice/02.wav"));
        file_replace(in_folder(f->out, "sheets/01.csv"), "pause,shorten,shorten", "pause,shorten,keep");
        clean(f, (struct clean_run){.assignments = {ways[i], HOLD}});
        json_t *after = json_of(in_folder(f->out, "report/01.json")),
               *track_after = json_of(in_folder(f->out, "session.json"));
        assert_true(number_at(after, "output", "frames") > number_at(before, "output", "frames"));
        assert_true(number_at(after, NULL, "gain_db") == number_at(before, NULL, "gain_db"));
        assert_true(number_at(track_after, "track", "trim_db") == number_at(track, "track", "trim_db"));
        assert_string_equal(other, file_digest(in_folder(f->out, "voice/02.wav")));
        /* And the run after that has nothing to do. */
        struct tt_clean_result again =
            clean_well(f->session, f->out, (struct clean_run){.assignments = {ways[i], HOLD}});
        assert_int_equal(again.rendered_count, 0);
        tt_clean_result_free(&again);
        json_decref(before);
        json_decref(after);
        json_decref(track);
        json_decref(track_after);
    }
}

static void with_hold_what_would_move_it_is_an_error_that_says_what(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    assert_non_null(
        strstr(failure(f, (struct clean_run){.assignments = {HOLD, "gate.depth_db=9"}}), "gate.depth_db is 9, was 15"));
    size_t frames;
    int rate_hz;
    float *other =
        sound_read(in_folder(f->session, "02.flac"), &frames, &rate_hz); /* from later on, so that it is no copy */
    sound_write(in_folder(f->session, "03.wav"), SF_FORMAT_WAV | SF_FORMAT_PCM_24, rate_hz, 1, other + 3 * rate_hz,
                frames - 3 * (size_t)rate_hz);
    free(other);
    assert_non_null(strstr(failure(f, (struct clean_run){.assignments = {HOLD}}), "03.wav is new"));
    unlink(in_folder(f->session, "03.wav"));
    size_t size;
    char *sound = file_read(in_folder(f->session, "02.flac"), &size);
    file_copy(in_folder(f->session, "01.flac"), in_folder(f->session, "02.flac"));
    assert_non_null(strstr(failure(f, (struct clean_run){.assignments = {HOLD}}), "02.flac: its recording changed"));
    unlink(in_folder(f->session, "02.flac"));
    assert_non_null(strstr(failure(f, (struct clean_run){.assignments = {HOLD}}), "02.flac is gone"));
    file_write(in_folder(f->session, "02.flac"), sound, size);
    free(sound);
    /* What was handed over is as it was: sheets, voices, order, narration. (heard/ is heard anew for what changed.) */
    clean(f, (struct clean_run){.assignments = {HOLD}});
    assert_false(file_exists(in_folder(f->out, "earlier")));
}

static void a_plan_leaves_what_the_next_run_knows(void **state)
{
    struct fixture *f = *state;
    clean(f, (struct clean_run){0});
    ino_t narration = file_number(in_folder(f->out, "narration.wav"));
    clean(f, (struct clean_run){.is_plan = true});
    clean(f, (struct clean_run){0});
    assert_int_equal(narration, file_number(in_folder(f->out, "narration.wav")));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(narration_and_pieces_are_not_written_again_when_nothing_changed, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(the_pause_between_takes_is_as_much_longer_as_was_asked, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(the_narration_before_is_kept_when_another_replaces_it, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(changes_tell_from_where_on_things_lie_how_much_later, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_take_that_is_left_out_is_named_in_the_changes, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_narration_that_only_sounds_otherwise_moved_nothing, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(with_hold_nothing_is_decided_anew, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(with_hold_a_persons_edit_is_obeyed_and_no_gain_moves, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(with_hold_what_would_move_it_is_an_error_that_says_what, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_plan_leaves_what_the_next_run_knows, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(voices_of_another_kind_go_and_what_a_person_put_there_stays, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_piece_that_nobody_wants_any_more_is_put_aside, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_piece_whose_name_leads_out_of_the_results_moves_nothing, fixture_set_up,
                                        fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_piece_that_waited_for_a_failed_take_is_put_aside_when_nobody_wants_it_then,
                                        fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(only_so_many_earlier_narrations_stay, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_narration_that_was_held_is_never_deleted, fixture_set_up, fixture_tear_down),
        cmocka_unit_test_setup_teardown(a_target_that_is_left_off_the_next_time_is_missed_aloud, fixture_set_up,
                                        fixture_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
