/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What takes are called in the results, and how they are found by their names. */
#include "take_support.h"

#include <strings.h>

#include "session/clean_names.h"
#include "sheet/csv.h"

static struct tt_take_list list_of(const struct place *p, const char *const *names, size_t count)
{
    const char *const sources[] = {p->session};
    struct tt_take_list list;
    struct tt_error err = {0};
    for (size_t i = 0; i < count; i++)
        file_write(take_path(p, names[i]), "", 0);
    if (!tt_takes_list(sources, 1, false, &list, &err))
        fail_msg("%s", err.message);
    return list;
}

static const char *stem_of(const struct tt_take_list *list, const char *name)
{
    for (size_t i = 0; i < list->count; i++)
        if (strcmp(list->files[i].name, name) == 0)
            return list->files[i].stem;
    return "(not listed)";
}

static void takes_that_would_meet_in_one_file_keep_their_whole_names(void **state)
{
    struct place *p = *state;
    static const char *const names[] = {"A.wav",    "a.flac",     "1.wav", "1.flac",     "1.wav.flac",
                                        "hive.wav", "hive.2.wav", "x.wav", "x.html.wav", "x.HTML.wav.flac"};
    static const char *const stems[] = {"A.wav", "a.flac", "1.wav", "1.flac",     "1.wav.flac",
                                        "hive",  "hive.2", "x",     "x.html.wav", "x.HTML.wav.flac"};
    struct tt_take_list list = list_of(p, names, sizeof names / sizeof *names);
    assert_int_equal(list.count, sizeof names / sizeof *names);
    for (size_t i = 0; i < list.count; i++)
        assert_string_equal(stem_of(&list, names[i]), stems[i]);
    tt_takes_free(&list);
}

static void however_names_resemble_each_other_no_two_stems_are_one(void **state)
{
    struct place *p = *state;
    static const char *const beginnings[] = {"a", "A", "ab", "b.wav", "B.flac", "a.wav", "a.html"}, *const endings[] = {
                                                                                                        ".wav", ".flac",
                                                                                                        ".wav.flac",
                                                                                                        ".FLAC"};
    const char *names[28];
    char texts[28][32];
    for (size_t i = 0; i < 28; i++) {
        snprintf(texts[i], sizeof texts[i], "%s%s", beginnings[i / 4], endings[i % 4]);
        names[i] = texts[i];
    }
    struct tt_take_list list = list_of(p, names, 28);
    size_t same = 0;
    for (size_t i = 0; i < list.count; i++)
        for (size_t j = 0; j < i; j++) /* names that differ in case alone cannot be helped */
            same += strcasecmp(list.files[i].stem, list.files[j].stem) == 0 &&
                    strcasecmp(list.files[i].name, list.files[j].name) != 0;
    assert_int_equal(same, 0);
    tt_takes_free(&list);
}

static void names_that_read_alike_are_found_in_the_order_of_their_files(void **state)
{
    (void)state;
    static char *const names[] = {"b.wav", "caf\xE9.wav", "a.wav", "caf\xE8.wav", "d.wav", "caf\xE7.wav"};
    struct tt_take_file files[6];
    for (size_t i = 0; i < 6; i++)
        files[i] = (struct tt_take_file){.name = names[i]};
    const struct tt_take_list list = {.files = files, .count = 6};
    struct tt_clean_names found;
    struct tt_error err = {0};
    assert_true(tt_clean_names_open(&list, &found, &err));
    size_t at = tt_clean_names_find(&found, "a.wav");
    assert_true(at < found.count && found.all[at].file == 2);
    char *clean = tt_csv_clean(names[1]);
    assert_non_null(clean);
    at = tt_clean_names_find(&found, clean);
    assert_true(at + 2 < found.count);
    for (size_t k = 0; k < 3; k++) {
        assert_string_equal(found.all[at + k].clean, clean);
        assert_int_equal(found.all[at + k].file, 2 * k + 1);
    }
    at = tt_clean_names_find(&found, "c.wav"); /* not there */
    assert_true(at == found.count || strcmp(found.all[at].clean, "c.wav") != 0);
    assert_int_equal(tt_clean_names_find(&found, "e.wav"), found.count);
    free(clean);
    tt_clean_names_free(&found);
}

static void each_of_two_takes_that_read_alike_keeps_a_row_of_its_own(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "caf\xE9.wav"), (struct take_shape){.seconds = 3, .seed = 1});
    take_write(take_path(p, "caf\xE8.wav"), (struct take_shape){.seconds = 4, .seed = 2});
    for (int again = 0; again < 2; again++) { /* the second run reads what the first wrote */
        struct tt_clean_result result = clean_place(
            p, (struct clean_run){.assignments = {"misreads.action=off", "misreads.talk=off"}, .is_plan = true});
        assert_int_equal(result.take_count, 2);
        assert_int_equal(result.failed_count, 0);
        tt_clean_result_free(&result);
    }
}

int main(void)
{
#define WITH_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)
    const struct CMUnitTest tests[] = {
        WITH_PLACE(takes_that_would_meet_in_one_file_keep_their_whole_names),
        WITH_PLACE(however_names_resemble_each_other_no_two_stems_are_one),
        cmocka_unit_test(names_that_read_alike_are_found_in_the_order_of_their_files),
        WITH_PLACE(each_of_two_takes_that_read_alike_keeps_a_row_of_its_own),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
