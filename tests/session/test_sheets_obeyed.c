/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a person brings to the sheets of a session, takes out of them, or asks of them that cannot be. */
#include "take_support.h"

static const struct clean_run plan = {.is_plan = true, .assignments = {"report.page=no"}};
#define HEADER "take,id,start,end,kind,proposed,action,amount,confidence,by,note\r\n"

static const char *place_file(const struct place *p, const char *name, const char *text)
{
    static char paths[4][2100];
    static int next;
    char *path = paths[next++ % 4];
    snprintf(path, sizeof paths[0], "%s/%s", p->folder, name);
    file_write(path, text, strlen(text));
    return path;
}

static void clean_place_well(const struct place *p, struct clean_run how)
{
    struct tt_clean_result result = clean_well(p->session, p->out, how);
    tt_clean_result_free(&result);
}

static void assert_in_sheet(const struct place *p, const char *stem, const char *words, bool is_in)
{
    char path[2200];
    snprintf(path, sizeof path, "%s/sheets/%s.csv", p->out, stem);
    char *text = file_read(path, NULL);
    if ((strstr(text, words) != NULL) != is_in)
        fail_msg("%s %s in\n%s", words, is_in ? "is not" : "is", text);
    free(text);
}

static void of_several_changes_files_the_later_counts(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seed = 1});
    take_write(take_path(p, "02.wav"), (struct take_shape){.seed = 2});
    struct clean_run both = plan;
    both.changes =
        place_file(p, "a.csv", HEADER "01.wav,,1.000,1.500,other,,cut,,,,\r\n02.wav,,1.000,1.500,other,,cut,,,,\r\n");
    both.more_changes = place_file(p, "b.csv", HEADER "01.wav,,1.000,1.500,other,,keep,,,,\r\n");
    clean_place_well(p, both);
    assert_in_sheet(p, "01", "00:00:01.000,00:00:01.500,other,,keep", true);
    assert_in_sheet(p, "01", "other,,cut", false);
    assert_in_sheet(p, "02", "00:00:01.000,00:00:01.500,other,,cut", true);
}

static void decisions_on_a_take_that_failed_are_not_lost_in_silence(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seed = 1});
    take_write(take_path(p, "02.wav"), (struct take_shape){.seed = 2});
    clean_place_well(p, plan);
    char path[2200];
    snprintf(path, sizeof path, "%s/sheets/02.csv", p->out);
    file_append(path, "02.wav,,00:00:99.000,,label,,keep,,,,smoke\r\n");
    struct clean_run both = plan;
    both.changes =
        place_file(p, "a.csv", HEADER "01.wav,,1.000,1.500,other,,cut,,,,\r\n02.wav,,1.000,1.500,other,,cut,,,,\r\n");
    struct tt_clean_result result = clean_well(p->session, p->out, both);
    assert_int_equal(result.failed_count, 1);
    tt_clean_result_free(&result);
    assert_true(warns(in_folder(p->out, "session.json"), "changes", "1 of its 2 rows were not taken over"));
}

static void a_changes_file_that_fits_no_take_is_an_error_and_touches_no_sheet(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){0});
    clean_place_well(p, plan);
    char path[2200], *before, *after;
    snprintf(path, sizeof path, "%s/sheets/01.csv", p->out);
    before = file_read(path, NULL);
    struct clean_run how = plan;
    how.changes = place_file(p, "a.csv", HEADER "07.wav,,1.000,1.500,other,,cut,,,,\r\n");
    struct tt_clean_result result;
    struct tt_error error;
    assert_false(clean_run(p->session, p->out, how, &result, &error));
    assert_int_equal(error.kind, TT_ERROR_USAGE);
    assert_non_null(strstr(error.message, "none of its rows belongs to a take of this session"));
    after = file_read(path, NULL);
    assert_string_equal(before, after);
    how.may_miss_changes = true; /* one of several sessions */
    clean_place_well(p, how);
    assert_true(warns(in_folder(p->out, "session.json"), "changes", "none of its rows"));
    free(before);
    free(after);
}

static void rows_that_a_person_deletes_come_back_and_are_counted(void **state)
{
    struct place *p = *state;
    const struct clean_run sound = {.assignments = {"report.page=no"}}; /* a plan leaves no report to compare with */
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 8});
    clean_place_well(p, sound);
    char path[2200];
    snprintf(path, sizeof path, "%s/sheets/01.csv", p->out);
    assert_in_sheet(p, "01", ",pause,", true);
    file_write(path, HEADER, strlen(HEADER));
    clean_place_well(p, sound);
    assert_in_sheet(p, "01", ",pause,", true);
    assert_true(warns(in_folder(p->out, "session.json"), "brought-back", "that you took out of its sheet"));
    clean_place_well(p, sound);
    assert_false(warns(in_folder(p->out, "session.json"), "brought-back", ""));
    /* Nobody took out what is decided otherwise because of other settings. */
    struct clean_run other = sound;
    other.assignments[1] = "pauses.longest_ms=700";
    clean_place_well(p, other);
    assert_false(warns(in_folder(p->out, "session.json"), "brought-back", ""));
}

static void an_edited_amount_is_obeyed_and_what_was_proposed_stays_to_be_seen(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 8});
    clean_place_well(p, plan);
    char path[2200];
    snprintf(path, sizeof path, "%s/sheets/01.csv", p->out);
    char *text = file_read(path, NULL), *row = strstr(text, ",pause,shorten,shorten,0.");
    assert_non_null(row);
    memcpy(row, ",pause,shorten,shorten,0.4", 26);
    file_write(path, text, strlen(text));
    for (int again = 0; again < 2; again++) {
        clean_place_well(p, plan);
        assert_in_sheet(p, "01", ",pause,shorten,shorten,0.4", true);
        assert_in_sheet(p, "01", ",me,", true);
    }
    free(text);
}

static void a_session_of_which_no_take_is_used_says_so(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){0});
    clean_place_well(p, plan);
    assert_false(warns(in_folder(p->out, "session.json"), "none-used", ""));
    file_replace(in_folder(p->out, "order.csv"), "01.wav,yes", "01.wav,no");
    clean_place_well(p, (struct clean_run){.assignments = {"report.page=no"}});
    assert_true(warns(in_folder(p->out, "session.json"), "none-used", "order.csv says no to every take"));
}

/* Saves a file once the narration is under way: behind the last look of the run at its sheets. */
struct late {
    char path[2200];
    const char *row;
    bool is_saved;
};

static bool save_late(void *context, double share, const char *take, const char *what)
{
    struct late *late = context;
    (void)share, (void)take;
    if (what && strcmp(what, "narration") == 0 && !late->is_saved && late->row)
        file_append(late->path, late->row);
    late->is_saved = late->is_saved || (what && strcmp(what, "narration") == 0);
    return true;
}

static bool was_edited_by(const struct place *p, const char *name, const char *row)
{
    const char *const sources[] = {p->session}, *const settings[] = {"report.page=no"};
    struct tt_clean_options options = {.sources = sources,
                                       .source_count = 1,
                                       .out = p->out,
                                       .assignments = settings,
                                       .assignment_count = 1,
                                       .is_again = true};
    struct late late = {.row = row};
    snprintf(late.path, sizeof late.path, "%s/%s", p->out, name);
    struct tt_clean_watcher watcher = {.context = &late, .progress = save_late};
    struct tt_clean_result result;
    struct tt_error error = {0};
    assert_ok(tt_clean(&options, &watcher, &result, &error), error);
    assert_true(late.is_saved);
    const bool was_edited = result.was_edited;
    tt_clean_result_free(&result);
    return was_edited;
}

static void what_is_saved_too_late_for_a_run_is_told_so_that_another_follows(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seed = 1});
    assert_false(was_edited_by(p, "sheets/01.csv", NULL));
    assert_true(was_edited_by(p, "sheets/01.csv", "01.wav,,1.000,1.500,other,,keep,,,,\r\n"));
    assert_false(was_edited_by(p, "sheets/01.csv", NULL));
    assert_in_sheet(p, "01", "00:00:01.000,00:00:01.500,other,,keep", true);
    assert_true(was_edited_by(p, "order.csv", "gone.wav,no,,,,,,,,,\r\n"));
    assert_false(was_edited_by(p, "order.csv", NULL));
}

#define IN_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)

/* Saves a sheet as soon as its voice is under way. */
struct saving {
    const struct place *place;
    bool is_done;
};

static bool save_once(void *context, double share, const char *take, const char *what)
{
    struct saving *saving = context;
    (void)share;
    if (!saving->is_done && what && take && strcmp(what, "rendering") == 0 && strcmp(take, "01.wav") == 0) {
        char path[2200];
        snprintf(path, sizeof path, "%s/sheets/01.csv", saving->place->out);
        file_append(path, "01.wav,,1.000,1.500,other,,cut,,,,too loud\r\n");
        saving->is_done = true;
    }
    return true;
}

static void a_sheet_that_is_saved_while_the_run_works_is_obeyed_by_that_run(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 8});
    struct saving saving = {.place = p};
    const struct tt_clean_watcher watcher = {.context = &saving, .progress = save_once};
    const char *const sources[] = {p->session}, *const assignments[] = {"report.page=no"};
    struct tt_clean_options options = {
        .sources = sources, .source_count = 1, .out = p->out, .assignments = assignments, .assignment_count = 1};
    struct tt_clean_result result;
    struct tt_error error = {0};
    assert_ok(tt_clean(&options, &watcher, &result, &error), error);
    tt_clean_result_free(&result);
    assert_true(saving.is_done);
    assert_in_sheet(p, "01", "00:00:01.000,00:00:01.500,other,,cut,,,me,too loud", true);
    /* Nothing of it is in the voice that this run left. */
    json_t *report = json_of(in_folder(p->out, "report/01.json")), *entry;
    size_t i;
    json_array_foreach(json_object_get(report, "time_map"), i, entry)
    {
        double start_s = number_at(entry, NULL, "source_start_frame") / 24000,
               end_s = number_at(entry, NULL, "source_end_frame") / 24000;
        assert_true(end_s <= 1.01 || start_s >= 1.49);
    }
    json_decref(report);
}

static void the_sheet_of_a_take_that_was_recorded_anew_is_refused_and_stays_as_it_is(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seed = 1});
    take_write(take_path(p, "02.wav"), (struct take_shape){.seed = 2});
    clean_place_well(p, plan);
    char path[2200];
    snprintf(path, sizeof path, "%s/sheets/01.csv", p->out);
    file_append(path, "01.wav,,1.000,1.500,other,,cut,,,,too loud\r\n");
    clean_place_well(p, plan);
    char *before = file_read(path, NULL);
    take_write(take_path(p, "01.wav"), (struct take_shape){.seed = 9, .seconds = 9});
    struct tt_clean_result result = clean_well(p->session, p->out, plan);
    assert_int_equal(result.failed_count, 1);
    tt_clean_result_free(&result);
    char *after = file_read(path, NULL);
    assert_string_equal(before, after);
    free(before);
    free(after);
}

/* A person draws a row's end out over the rows behind it: his row stands whole, and the program's get out of its way.
 */
static void times_drawn_out_over_the_neighbours_take_their_place(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 8});
    clean_place_well(p, plan);
    assert_in_sheet(p, "01", ",pause,shorten,shorten,", true);
    char path[2200];
    snprintf(path, sizeof path, "%s/sheets/01.csv", p->out);
    file_append(path, "01.wav,,0.200,7.900,other,,cut,,,,all but the ends\r\n");
    clean_place_well(p, plan);
    assert_in_sheet(p, "01", "00:00:00.200,00:00:07.900,other,,cut,,,me,all but the ends", true);
    char *text = file_read(path, NULL);
    for (const char *at = text; (at = strstr(at, "\r\n")) != NULL && at[2]; at += 2) {
        double start = 0, end = 0;
        char kind[16] = "";
        if (sscanf(at + 2, "01.wav,%*[^,],00:00:%lf,00:00:%lf,%15[a-z]", &start, &end, kind) == 3 &&
            strcmp(kind, "other") != 0)
            assert_true(end <= 0.2005 || start >= 7.8995);
    }
    free(text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_PLACE(of_several_changes_files_the_later_counts),
        IN_PLACE(decisions_on_a_take_that_failed_are_not_lost_in_silence),
        IN_PLACE(a_changes_file_that_fits_no_take_is_an_error_and_touches_no_sheet),
        IN_PLACE(a_sheet_that_is_saved_while_the_run_works_is_obeyed_by_that_run),
        IN_PLACE(the_sheet_of_a_take_that_was_recorded_anew_is_refused_and_stays_as_it_is),
        IN_PLACE(times_drawn_out_over_the_neighbours_take_their_place),
        IN_PLACE(rows_that_a_person_deletes_come_back_and_are_counted),
        IN_PLACE(an_edited_amount_is_obeyed_and_what_was_proposed_stays_to_be_seen),
        IN_PLACE(a_session_of_which_no_take_is_used_says_so),
        IN_PLACE(what_is_saved_too_late_for_a_run_is_told_so_that_another_follows),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
