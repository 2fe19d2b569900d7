/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The whole job on the labelled session of the fixtures, against its truth.csv. Needs nothing from outside the project.
 */
#include <math.h>

#include "base/text.h"
#include "session/clean_support.h"
#include "sheet/csv.h"

enum { EVENTS_MOST = 64, STRETCHES_MOST = 256, TAKES = 2 };

struct event {
    int take; /* from 0 */
    char kind[16];
    double start_s, end_s;
};

struct stretch {
    double start_s, end_s, out_s;
};

struct take_result {
    json_t *report;
    struct stretch stretches[STRETCHES_MOST];
    size_t stretch_count;
};

static struct {
    char *folder;
    struct event events[EVENTS_MOST];
    size_t event_count;
    struct take_result takes[TAKES];
} f;

static void read_truth(void)
{
    const char *fixtures = getenv("TIDYTAKE_FIXTURES") ? getenv("TIDYTAKE_FIXTURES") : "fixtures";
    size_t size;
    char *text = file_read(in_folder(fixtures, "session/truth.csv"), &size);
    struct tt_error error = {0};
    struct tt_csv csv;
    static const char *const names[] = {"take", "kind", "start_s", "end_s"};
    static const bool is_needed[] = {true, true, true, true};
    int columns[4];
    bool has_row = false;
    assert_ok(tt_csv_open(&csv, "truth.csv", text, size, &error), error);
    assert_ok(tt_csv_read_header(&csv, names, is_needed, 4, columns, &error), error);
    while (tt_csv_next(&csv, &has_row, &error) && has_row) {
        assert_true(f.event_count < EVENTS_MOST);
        struct event *event = &f.events[f.event_count++];
        event->take = atoi(tt_csv_text(&csv, columns[0])) - 1;
        assert_in_range(event->take, 0, TAKES - 1);
        snprintf(event->kind, sizeof event->kind, "%s", tt_csv_text(&csv, columns[1]));
        event->start_s = strtod(tt_csv_text(&csv, columns[2]), NULL);
        event->end_s = strtod(tt_csv_text(&csv, columns[3]), NULL);
        assert_true(event->end_s > event->start_s);
    }
    assert_int_equal(error.kind, TT_OK);
    tt_csv_close(&csv);
    free(text);
}

static void read_report(struct take_result *take, const char *path)
{
    take->report = json_of(path);
    double rate_hz = number_at(take->report, "source", "rate_hz"),
           out_rate_hz = number_at(take->report, "output", "rate_hz");
    assert_true(rate_hz > 0 && out_rate_hz > 0);
    size_t i;
    json_t *entry;
    json_array_foreach(json_object_get(take->report, "time_map"), i, entry)
    {
        assert_true(take->stretch_count < STRETCHES_MOST);
        take->stretches[take->stretch_count++] =
            (struct stretch){number_at(entry, NULL, "source_start_frame") / rate_hz,
                             number_at(entry, NULL, "source_end_frame") / rate_hz,
                             number_at(entry, NULL, "out_start_frame") / out_rate_hz};
    }
    assert_true(take->stretch_count > 0);
}

static int clean_once(void **state)
{
    (void)state;
    f.folder = folder_make();
    copy_fixture_session(in_folder(f.folder, "hive"));
    struct tt_clean_result result = clean_well(in_folder(f.folder, "hive"), in_folder(f.folder, "out"),
                                               (struct clean_run){.assignments = {"loudness.across=take"}});
    assert_int_equal(result.failed_count, 0);
    tt_clean_result_free(&result);
    read_truth();
    read_report(&f.takes[0], in_folder(f.folder, "out/report/01.json"));
    read_report(&f.takes[1], in_folder(f.folder, "out/report/02.json"));
    return 0;
}

static int tear_down(void **state)
{
    (void)state;
    for (int i = 0; i < TAKES; i++)
        json_decref(f.takes[i].report);
    folder_remove(f.folder);
    return 0;
}

static double overlap_s(double a0, double a1, double b0, double b1)
{
    double length = fmin(a1, b1) - fmax(a0, b0);
    return length > 0 ? length : 0;
}

static double kept_s(const struct event *event)
{
    const struct take_result *take = &f.takes[event->take];
    double sum = 0;
    for (size_t i = 0; i < take->stretch_count; i++)
        sum += overlap_s(event->start_s, event->end_s, take->stretches[i].start_s, take->stretches[i].end_s);
    return sum;
}

/* How much of an event lies under rows of a kind with an action (NULL: any). */
static double covered_s(const struct event *event, const char *kind, const char *action)
{
    size_t i;
    json_t *row;
    double sum = 0;
    json_array_foreach(json_object_get(f.takes[event->take].report, "decisions"), i, row)
    {
        if (strcmp(json_string_value(json_object_get(row, "kind")), kind) != 0)
            continue;
        if (action && strcmp(json_string_value(json_object_get(row, "action")), action) != 0)
            continue;
        sum += overlap_s(event->start_s, event->end_s, number_at(row, NULL, "start_s"), number_at(row, NULL, "end_s"));
    }
    return sum;
}

static bool is_kind(const struct event *event, const char *kind) { return strcmp(event->kind, kind) == 0; }

static void every_line_is_kept_whole(void **state)
{
    (void)state;
    int lines = 0;
    for (size_t i = 0; i < f.event_count; i++) {
        const struct event *event = &f.events[i];
        if (!is_kind(event, "line"))
            continue;
        lines++;
        double length_s = event->end_s - event->start_s;
        if (kept_s(event) < length_s - 1e-4)
            fail_msg("take %d loses %.3f s of the line at %.2f s", event->take + 1, length_s - kept_s(event),
                     event->start_s);
    }
    assert_int_equal(lines, 6);
}

static void no_row_that_cuts_or_softens_touches_a_line(void **state)
{
    (void)state;
    for (size_t i = 0; i < f.event_count; i++) {
        const struct event *event = &f.events[i];
        if (!is_kind(event, "line"))
            continue;
        double hurt_s = covered_s(event, "misread", "cut") + covered_s(event, "talk", "cut") +
                        covered_s(event, "breath", NULL) + covered_s(event, "noise", "cut");
        if (hurt_s > 0.03) /* as the goals measure it: 30 ms */
            fail_msg("take %d: rows take %.3f s of the line at %.2f s", event->take + 1, hurt_s, event->start_s);
    }
}

static void abandoned_readings_are_out_or_asked_about(void **state)
{
    (void)state;
    int abandoned = 0, out = 0;
    for (size_t i = 0; i < f.event_count; i++) {
        const struct event *event = &f.events[i];
        if (!is_kind(event, "abandoned"))
            continue;
        abandoned++;
        double length_s = event->end_s - event->start_s;
        bool is_out = kept_s(event) <= 0.15 * length_s;
        bool is_asked = covered_s(event, "misread", "ask") > 0.5 * length_s;
        out += is_out;
        if (!is_out && !is_asked)
            fail_msg("take %d: the abandoned reading at %.2f s is still in, and nobody is asked", event->take + 1,
                     event->start_s);
    }
    assert_int_equal(abandoned, 4);
    assert_true(out >= 3);
}

static void talk_between_a_misread_and_its_reread_goes_with_it(void **state)
{
    (void)state;
    for (size_t i = 0; i < f.event_count; i++)
        if (is_kind(&f.events[i], "aside"))
            assert_true(kept_s(&f.events[i]) <= 0.05 * (f.events[i].end_s - f.events[i].start_s) ||
                        covered_s(&f.events[i], "talk", "ask") > 0.5);
}

/* Where a moment of a take lies in its voice. */
static double out_s(const struct take_result *take, double at_s)
{
    for (size_t i = 0; i < take->stretch_count; i++)
        if (at_s >= take->stretches[i].start_s && at_s <= take->stretches[i].end_s)
            return take->stretches[i].out_s + at_s - take->stretches[i].start_s;
    return -1;
}

static void no_pause_of_the_voice_is_longer_than_it_may_be(void **state)
{
    (void)state;
    const double most_s = 0.9 + 0.1; /* longest_ms and the 100 ms that the goals allow */
    for (int take = 0; take < TAKES; take++) {
        double last_end_s = -1;
        int pauses = 0;
        for (size_t i = 0; i < f.event_count; i++) {
            const struct event *event = &f.events[i];
            bool is_speech = is_kind(event, "line") || is_kind(event, "abandoned") || is_kind(event, "aside");
            if (event->take != take || !is_speech || kept_s(event) < 0.9 * (event->end_s - event->start_s))
                continue;
            double start_s = out_s(&f.takes[take], event->start_s), end_s = out_s(&f.takes[take], event->end_s);
            assert_true(start_s >= 0 && end_s > start_s);
            if (last_end_s >= 0 && start_s - last_end_s > most_s)
                fail_msg("take %d: %.2f s of pause in front of the line at %.2f s", take + 1, start_s - last_end_s,
                         event->start_s);
            pauses += last_end_s >= 0;
            last_end_s = end_s;
        }
        assert_true(pauses > 0);
    }
}

static void breaths_that_stay_are_found(void **state)
{
    (void)state;
    int stay = 0, found = 0;
    for (size_t i = 0; i < f.event_count; i++) {
        const struct event *event = &f.events[i];
        double length_s = event->end_s - event->start_s;
        if (!is_kind(event, "breath") || kept_s(event) < 0.5 * length_s)
            continue;
        stay++;
        found += covered_s(event, "breath", NULL) >= 0.5 * length_s;
    }
    assert_true(stay >= 3);
    if (found < 0.7 * stay) /* the bound of real voices, in test_real_speech.c */
        fail_msg("%d of %d breaths found", found, stay);
}

/* Its peaks would need more limiting than the settings allow. */
static bool says_target_missed(const struct take_result *take)
{
    size_t i;
    json_t *warning;
    json_array_foreach(json_object_get(take->report, "warnings"), i,
                       warning) if (strcmp(json_string_value(json_object_get(warning, "code")), "target-missed") ==
                                    0) return true;
    return false;
}

static void the_voices_meet_target_and_ceiling(void **state)
{
    (void)state;
    for (int take = 0; take < TAKES; take++) {
        double lufs = number_at(f.takes[take].report, "after", "integrated_lufs"),
               peak = number_at(f.takes[take].report, "after", "max_true_peak_dbtp");
        bool is_excused = lufs < -16 && says_target_missed(&f.takes[take]);
        if ((fabs(lufs + 16) > 0.1 && !is_excused) || peak > -1)
            fail_msg("take %d: %.2f LUFS, %.2f dBTP", take + 1, lufs, peak);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_line_is_kept_whole),
        cmocka_unit_test(no_row_that_cuts_or_softens_touches_a_line),
        cmocka_unit_test(abandoned_readings_are_out_or_asked_about),
        cmocka_unit_test(talk_between_a_misread_and_its_reread_goes_with_it),
        cmocka_unit_test(no_pause_of_the_voice_is_longer_than_it_may_be),
        cmocka_unit_test(breaths_that_stay_are_found),
        cmocka_unit_test(the_voices_meet_target_and_ceiling),
    };
    return cmocka_run_group_tests(tests, clean_once, tear_down);
}
