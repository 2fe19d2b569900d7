/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Two sessions of one script side by side. */
#include "take_support.h"

#include "session/lengths.h"
#include "sheet/csv.h"

/* A session.json as runs leave it, with what is read of it: takes by name, length, pace and piece; NULL ends. */
struct said_take {
    const char *name, *piece;
    double after_s, pace;
};

static const char *write_state(const struct place *p, const char *session, const struct said_take *takes,
                               const char *pieces)
{
    struct tt_text text = {0};
    const char *out = in_folder(p->folder, session);
    char *folder = tt_format("%s.tidy", out), *path = tt_format("%s.tidy/session.json", out);
    mkdir(folder, 0777);
    tt_text_addf(&text, "{\"session\":\"%s\",\"narration\":null,\"pieces\":{%s},\"takes\":[", session, pieces);
    for (size_t i = 0; takes[i].name; i++)
        tt_text_addf(&text, "%s{\"take\":\"%s\",\"piece\":%s%s%s,\"after_s\":%g,\"pace_syllables_per_s\":%g}",
                     i ? "," : "", takes[i].name, takes[i].piece ? "\"" : "", takes[i].piece ? takes[i].piece : "null",
                     takes[i].piece ? "\"" : "", takes[i].after_s, takes[i].pace);
    tt_text_add(&text, "]}\n");
    file_write(path, text.data, text.length);
    tt_text_free(&text);
    free(folder);
    free(path);
    return out;
}

static struct tt_lengths read_both(const char *first, const char *second)
{
    struct tt_lengths lengths;
    struct tt_error err = {0};
    assert_ok(tt_lengths_read((const char *const[]){first, second}, &lengths, &err), err);
    return lengths;
}

static void assert_row(const struct tt_lengths *lengths, size_t row, const char *first, const char *second)
{
    const char *const wanted[] = {first, second};
    assert_true(row < lengths->row_count);
    for (int s = 0; s < 2; s++) {
        const struct tt_length *is = tt_lengths_at(lengths, row, s);
        if ((wanted[s] == NULL) != (is == NULL) || (is && strcmp(is->name, wanted[s]) != 0))
            fail_msg("row %zu, side %d: %s instead of %s", row, s, is ? is->name : "nothing",
                     wanted[s] ? wanted[s] : "nothing");
    }
}

static void takes_of_one_name_stand_side_by_side_and_the_others_alone_in_their_places(void **state)
{
    const struct place *p = *state;
    const char *en = write_state(
        p, "en",
        (const struct said_take[]){{"001.wav", NULL, 10, 4}, {"002.wav", NULL, 20, 4}, {"004.wav", NULL, 5, 4}, {0}},
        "");
    const char *fr = write_state(
        p, "fr",
        (const struct said_take[]){
            {"000.wav", NULL, 3, 5}, {"001.flac", NULL, 12, 5}, {"003.wav", NULL, 7, 5}, {"004.wav", NULL, 5, 5}, {0}},
        "");
    struct tt_lengths lengths = read_both(en, fr);
    assert_false(lengths.is_by_piece);
    assert_true(lengths.is_by_name);
    assert_int_equal(lengths.row_count, 5);
    assert_row(&lengths, 0, NULL, "000.wav");
    assert_row(&lengths, 1, "001.wav", "001.flac");
    assert_row(&lengths, 2, NULL, "003.wav");
    assert_row(&lengths, 3, "002.wav", NULL);
    assert_row(&lengths, 4, "004.wav", "004.wav");
    assert_true(fabs(lengths.sides[0].whole.length_s - 35) < 1e-9 && fabs(lengths.sides[1].whole.length_s - 27) < 1e-9);
    struct tt_text text = {0};
    tt_lengths_table(&lengths, &text);
    assert_non_null(strstr(text.data, "1 take of en stands alone: fr has no take for it."));
    assert_non_null(strstr(text.data, "2 takes of fr stand alone: en has no take for them."));
    assert_non_null(strstr(text.data, "Farthest apart: 001.flac, for which fr takes 2.0 s longer."));
    assert_non_null(strstr(text.data, "+2.0 s   +20 %"));
    tt_text_free(&text);
    tt_lengths_free(&lengths);
}

static void two_takes_of_one_stem_have_one_partner_each(void **state)
{
    const struct place *p = *state;
    const char *en =
        write_state(p, "en", (const struct said_take[]){{"001.wav", NULL, 10, 4}, {"001.flac", NULL, 11, 4}, {0}}, "");
    const char *fr = write_state(
        p, "fr",
        (const struct said_take[]){
            {"001.flac", NULL, 12, 5}, {"a.wav", NULL, 1, 5}, {"b.wav", NULL, 1, 5}, {"c.wav", NULL, 1, 5}, {0}},
        "");
    for (int turned = 0; turned < 2; turned++) {
        struct tt_lengths lengths = turned ? read_both(fr, en) : read_both(en, fr);
        assert_int_equal(lengths.row_count, 5);
        size_t both = 0;
        for (size_t i = 0; i < lengths.row_count; i++) {
            const struct tt_length *one = tt_lengths_at(&lengths, i, 0), *other = tt_lengths_at(&lengths, i, 1);
            both += one && other;
            assert_true(!one || !other || strcmp(one->name, other->name) == 0);
        }
        assert_int_equal(both, 1);
        tt_lengths_free(&lengths);
    }
}

static void takes_whose_names_differ_are_set_side_by_side_by_place_and_it_is_said(void **state)
{
    const struct place *p = *state;
    const char *en = write_state(
        p, "en", (const struct said_take[]){{"en_01.wav", NULL, 10, 4}, {"en_02.wav", NULL, 20, 4}, {0}}, "");
    const char *fr =
        write_state(p, "fr",
                    (const struct said_take[]){
                        {"fr_01.wav", NULL, 12, 5}, {"fr_02.wav", NULL, 7, 5}, {"fr_03.wav", NULL, 7, 5}, {0}},
                    "");
    struct tt_lengths lengths = read_both(en, fr);
    assert_false(lengths.is_by_name);
    assert_int_equal(lengths.row_count, 3);
    assert_row(&lengths, 1, "en_02.wav", "fr_02.wav");
    assert_row(&lengths, 2, NULL, "fr_03.wav");
    struct tt_text text = {0};
    tt_lengths_table(&lengths, &text);
    assert_non_null(strstr(text.data, "by their place"));
    assert_non_null(strstr(text.data, "en_01.wav / fr_01.wav"));
    tt_text_free(&text);
    tt_lengths_free(&lengths);
}

static void pieces_are_compared_where_both_have_them_as_long_as_their_files(void **state)
{
    const struct place *p = *state;
    const char *en = write_state(
        p, "en",
        (const struct said_take[]){{"1.wav", "smoke", 10, 4}, {"2.wav", "smoke", 30, 6}, {"3.wav", "brood", 9, 4}, {0}},
        "\"smoke\":{\"rate_hz\":48000,\"frames\":2064000},\"brood\":{\"rate_hz\":48000,\"frames\":480000}");
    const char *fr = write_state(
        p, "fr",
        (const struct said_take[]){{"a.wav", "smoke", 44, 5}, {"b.wav", "brood", 8, 5}, {"c.wav", "honey", 8, 5}, {0}},
        "\"smoke\":{\"rate_hz\":44100,\"frames\":1984500},\"brood\":{\"rate_hz\":48000,\"frames\":432000}");
    struct tt_lengths lengths = read_both(en, fr);
    assert_true(lengths.is_by_piece && lengths.is_by_name);
    assert_int_equal(lengths.row_count, 3);
    assert_row(&lengths, 0, "smoke", "smoke");
    assert_row(&lengths, 1, "brood", "brood");
    assert_row(&lengths, 2, NULL, "honey");
    const struct tt_length *smoke = tt_lengths_at(&lengths, 0, 0);
    assert_true(fabs(smoke->length_s - 43) < 1e-9);              /* of the file: with the pause between the takes */
    assert_true(fabs(smoke->pace_syllables_per_s - 5.5) < 1e-9); /* (10 * 4 + 30 * 6) / 40 */
    assert_true(fabs(tt_lengths_at(&lengths, 0, 1)->length_s - 45) < 1e-9);
    tt_lengths_free(&lengths);
    /* Pieces on one side only: by take. */
    const char *plain = write_state(p, "es", (const struct said_take[]){{"1.wav", NULL, 10, 4}, {0}}, "");
    lengths = read_both(en, plain);
    assert_false(lengths.is_by_piece);
    struct tt_text text = {0};
    tt_lengths_table(&lengths, &text);
    assert_non_null(strstr(text.data, "By take, since order.csv of es names no pieces."));
    tt_text_free(&text);
    tt_lengths_free(&lengths);
}

static void the_table_keeps_to_eighty_columns_whatever_the_names(void **state)
{
    const struct place *p = *state;
    static const struct said_take en[] = {
        {"a very long name of a chapter with the end that tells it apart 17.wav", NULL, 40000, 4},
        {"\xc3\xa9t\xc3\xa9.wav", NULL, 1, 4},
        {0}};
    static const struct said_take fr[] = {
        {"a very long name of a chapter with the end that tells it apart 17.wav", NULL, 43000, 5},
        {"\xc3\xa9t\xc3\xa9.wav", NULL, 300, 5},
        {0}};
    struct tt_lengths lengths = read_both(write_state(p, "the beekeeper in English", en, ""),
                                          write_state(p, "the beekeeper in French", fr, ""));
    struct tt_text text = {0};
    size_t columns = 0;
    tt_lengths_table(&lengths, &text);
    for (const char *c = text.data; *c; c++) {
        columns = *c == '\n' ? 0 : columns + (((unsigned char)*c & 0xC0) != 0x80);
        if (columns > 80)
            fail_msg("%s", text.data);
    }
    assert_non_null(strstr(text.data, "apart 17.wav")); /* the end that tells takes apart */
    tt_text_free(&text);
    tt_lengths_free(&lengths);
}

static void the_csv_is_read_as_a_table_with_the_same_figures(void **state)
{
    const struct place *p = *state;
    const char *en = write_state(p, "en", (const struct said_take[]){{"=1+2.wav", NULL, 10, 4}, {0}}, "");
    const char *fr = write_state(p, "fr", (const struct said_take[]){{"=1+2.wav", NULL, 7.5, 5}, {0}}, "");
    struct tt_lengths lengths = read_both(en, fr);
    struct tt_text text = {0};
    tt_lengths_csv(&lengths, &text);
    assert_non_null(strstr(text.data, "'=1+2.wav")); /* no formula to a spreadsheet */
    static const char *const names[] = {
        "first", "first_s", "second_s", "difference_s", "difference_percent", "second_syllables_per_s"};
    static const bool needed[6] = {true, true, true, true, true, true};
    struct tt_csv csv;
    struct tt_error err = {0};
    int columns[6];
    bool has_row = false;
    assert_ok(tt_csv_open(&csv, "lengths", text.data, text.length, &err) &&
                  tt_csv_read_header(&csv, names, needed, 6, columns, &err) && tt_csv_next(&csv, &has_row, &err),
              err);
    assert_true(has_row);
    assert_string_equal(tt_csv_text(&csv, columns[0]), "=1+2.wav");
    static const double wanted[6] = {0, 10, 7.5, -2.5, -25, 5};
    for (int c = 1; c < 6; c++) {
        double value;
        assert_true(tt_number_parse(tt_csv_text(&csv, columns[c]), &value));
        assert_true(fabs(value - wanted[c]) < 1e-9);
    }
    tt_csv_close(&csv);
    tt_text_free(&text);
    tt_lengths_free(&lengths);
}

static void what_two_runs_left_is_compared_as_it_was_delivered(void **state)
{
    struct place *p = *state;
    static const char *const languages[] = {"en", "fr"};
    const char *folders[2];
    for (int l = 0; l < 2; l++) {
        folders[l] = in_folder(p->folder, languages[l]);
        mkdir(folders[l], 0777);
        for (int i = 1; i <= 2; i++) {
            char name[20];
            snprintf(name, sizeof name, "%d.wav", i);
            take_write(in_folder(folders[l], name),
                       (struct take_shape){.seconds = 14 + 4 * l * i, .seed = (uint64_t)(7 * l + i)});
        }
        char *out = tt_format("%s.tidy", folders[l]);
        mkdir(out, 0777);
        static const char order[] = "take,use,piece\n1.wav,yes,smoke\n2.wav,yes,brood\n";
        file_write(in_folder(out, "order.csv"), order, strlen(order));
        struct tt_clean_result result = clean_well(
            folders[l], out, (struct clean_run){.assignments = {"misreads.action=off", "misreads.talk=off"}});
        tt_clean_result_free(&result);
        free(out);
    }
    struct tt_lengths lengths =
        read_both(folders[0], in_folder(p->folder, "fr.tidy")); /* a session, and what a run left */
    assert_true(lengths.is_by_piece);
    assert_int_equal(lengths.row_count, 2);
    static const char *const pieces[] = {"smoke", "brood"};
    for (size_t i = 0; i < 2; i++)
        for (int s = 0; s < 2; s++) {
            char *path = tt_format("%s.tidy/pieces/%s.wav", folders[s], pieces[i]);
            SF_INFO info = info_of(path);
            const struct tt_length *is = tt_lengths_at(&lengths, i, s);
            assert_string_equal(is->name, pieces[i]);
            assert_true(fabs(is->length_s - (double)info.frames / info.samplerate) < 1e-5);
            /* Made voices have four syllables a second and more; of how many, dsp/nuclei is tested for. */
            if (!(is->pace_syllables_per_s > 1 && is->pace_syllables_per_s < 10))
                fail_msg("pace %g", is->pace_syllables_per_s);
            free(path);
        }
    SF_INFO whole = info_of(in_folder(p->folder, "fr.tidy/narration.wav"));
    assert_true(fabs(lengths.sides[1].whole.length_s - (double)whole.frames / whole.samplerate) < 1e-5);
    tt_lengths_free(&lengths);
}

static void a_session_that_was_not_cleaned_is_refused_with_the_command_that_does_it(void **state)
{
    const struct place *p = *state;
    struct tt_lengths lengths;
    struct tt_error err = {0};
    assert_false(tt_lengths_read((const char *const[]){p->session, p->session}, &lengths, &err));
    tt_lengths_free(&lengths);
    assert_non_null(strstr(err.message, "clean it first, with `tidytake clean`"));
    assert_int_equal(err.kind, TT_ERROR_USAGE);
}

static void a_damaged_state_is_told(void **state)
{
    const struct place *p = *state;
    static const char *const damaged[] = {"", "{", "[]", "{\"takes\":7}", "{\"takes\":[{\"after_s\":\"long\"}]}"};
    for (size_t i = 0; i < sizeof damaged / sizeof *damaged; i++) {
        struct tt_lengths lengths;
        struct tt_error err = {0};
        file_write(in_folder(p->session, "session.json"), damaged[i], strlen(damaged[i]));
        assert_false(tt_lengths_read((const char *const[]){p->session, p->session}, &lengths, &err));
        tt_lengths_free(&lengths);
        assert_non_null(strstr(err.message, "run clean again"));
    }
}

int main(void)
{
#define WITH_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)
    const struct CMUnitTest tests[] = {
        WITH_PLACE(takes_of_one_name_stand_side_by_side_and_the_others_alone_in_their_places),
        WITH_PLACE(two_takes_of_one_stem_have_one_partner_each),
        WITH_PLACE(takes_whose_names_differ_are_set_side_by_side_by_place_and_it_is_said),
        WITH_PLACE(pieces_are_compared_where_both_have_them_as_long_as_their_files),
        WITH_PLACE(the_table_keeps_to_eighty_columns_whatever_the_names),
        WITH_PLACE(the_csv_is_read_as_a_table_with_the_same_figures),
        WITH_PLACE(what_two_runs_left_is_compared_as_it_was_delivered),
        WITH_PLACE(a_session_that_was_not_cleaned_is_refused_with_the_command_that_does_it),
        WITH_PLACE(a_damaged_state_is_told),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
