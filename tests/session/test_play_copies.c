/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Sound that is made for the pages alone. */
#include "take_support.h"

#include <glob.h>

#include "audio/writer.h"

/* The one file below report/STEM/ whose name fits; NULL: none. More than one is a failure. Lives until the next call.
 */
static const char *copy_in(const char *out, const char *stem, const char *names)
{
    static char found[4096];
    char pattern[4096];
    glob_t all = {0};
    snprintf(pattern, sizeof pattern, "%s/report/%s/%s", out, stem, names);
    int status = glob(pattern, 0, NULL, &all);
    if (all.gl_pathc > 1)
        fail_msg("%zu files %s", all.gl_pathc, pattern);
    if (status == 0)
        snprintf(found, sizeof found, "%s", all.gl_pathv[0]);
    globfree(&all);
    return status == 0 ? found : NULL;
}

/* Greatest difference between two sounds from one time to another. */
static double difference(const char *one, const char *other, double from_s, double to_s)
{
    size_t count, other_count;
    SF_INFO info = info_of(one);
    float *a = sound_read(one, &count, NULL), *b = sound_read(other, &other_count, NULL);
    double most = 0;
    assert_int_equal(count, other_count);
    for (size_t i = (size_t)(from_s * info.samplerate); i < count && i < (size_t)(to_s * info.samplerate); i++)
        most = fmax(most, fabs((double)a[i] - (double)b[i]));
    free(a);
    free(b);
    return most;
}

/* 16 bits with 2 LSB of dither (audio/writer.h): 1 LSB of dither and half a step of rounding at most. */
static const double dithered = 1.5001 / 32768;

static void a_take_that_no_browser_plays_is_copied_for_its_page(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.w64"),
               (struct take_shape){.format = SF_FORMAT_W64 | SF_FORMAT_FLOAT, .rate_hz = 96000});
    take_write(take_path(p, "02.wav"), (struct take_shape){0});
    struct tt_clean_result result = clean_place(p, (struct clean_run){.assignments = {"misreads.action=off"}});
    const char *copy = copy_in(p->out, "01", "take-*.flac");
    assert_non_null(copy);
    assert_true(difference(copy, take_path(p, "01.w64"), 0, 1e9) <= dithered);
    char *page = file_read(in_folder(p->out, "report/01.html"), NULL), link[200];
    snprintf(link, sizeof link, "src=\"./01/%s\"", strrchr(copy, '/') + 1);
    assert_non_null(strstr(page, link));
    free(page);
    assert_null(copy_in(p->out, "02", "take-*.flac")); /* it plays where it lies */
    tt_clean_result_free(&result);
}

static void what_lies_above_full_scale_is_brought_under_it_in_a_copy(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.caf"),
               (struct take_shape){.format = SF_FORMAT_CAF | SF_FORMAT_FLOAT, .voice_rms = 0.6});
    struct tt_clean_result result = clean_place(p, (struct clean_run){.assignments = {"misreads.action=off"}});
    size_t count, take_count;
    float *copy = sound_read(copy_in(p->out, "01", "take-*.flac"), &count, NULL),
          *take = sound_read(take_path(p, "01.caf"), &take_count, NULL);
    json_t *report = report_of(p->out, "01");
    const double peak = fmax(number_at(report, "before", "max_true_peak_dbtp"), 0), gain = pow(10, -peak / 20);
    json_decref(report);
    assert_true(peak > 1);
    double most = 0;
    for (size_t i = 0; i < count; i++)
        most = fmax(most, fabs((double)copy[i] - gain * (double)take[i]));
    assert_true(most <= dithered + 1e-4); /* the report's peak has three decimals */
    free(copy);
    free(take);
    tt_clean_result_free(&result);
}

/* The first misread that is cut, of the fixtures' first take. */
static void find_misread(const char *out, double *start_s, double *end_s)
{
    json_t *report = report_of(out, "01"), *row;
    size_t i;
    *start_s = *end_s = 0;
    json_array_foreach(json_object_get(report, "decisions"), i,
                       row) if (*end_s == 0 &&
                                strcmp(json_string_value(json_object_get(row, "kind")), "misread") == 0 &&
                                strcmp(json_string_value(json_object_get(row, "action")), "cut") ==
                                    0) *start_s = number_at(row, NULL, "start_s"),
                                       *end_s = number_at(row, NULL, "end_s");
    json_decref(report);
    assert_true(*end_s > *start_s + 0.2);
}

static double loudest(const char *path, double from_s, double to_s)
{
    size_t count;
    SF_INFO info = info_of(path);
    float *samples = sound_read(path, &count, NULL);
    double most = 0;
    for (size_t i = (size_t)(from_s * info.samplerate); i < (size_t)(to_s * info.samplerate); i++)
        most = fmax(most, fabs((double)samples[i]));
    free(samples);
    return most;
}

static void a_copy_that_is_handed_on_lacks_what_was_taken_out(void **state)
{
    struct fixture *f = *state;
    double start_s = 0, end_s = 0;
    struct tt_clean_result result = clean_well(
        f->session, f->out, (struct clean_run){.assignments = {"report.media=copy", "deliver.narration=no"}});
    find_misread(f->out, &start_s, &end_s);
    const char *copy = copy_in(f->out, "01", "take-*.flac");
    assert_non_null(copy);
    assert_true(loudest(copy, start_s + 0.006, end_s - 0.006) <= dithered);
    assert_true(difference(copy, in_folder(f->session, "01.flac"), 0, start_s - 0.001) <= dithered);
    tt_clean_result_free(&result);
    /* Taken back, it is in the copy again, and the old copy is gone. */
    file_replace(in_folder(f->out, "sheets/01.csv"), "misread,cut,cut", "misread,cut,keep");
    result = clean_well(f->session, f->out,
                        (struct clean_run){.assignments = {"report.media=copy", "deliver.narration=no"}});
    assert_true(loudest(copy_in(f->out, "01", "take-*.flac"), start_s + 0.006, end_s - 0.006) > 0.01);
    tt_clean_result_free(&result);
}

static void of_a_part_nothing_is_handed_on_but_the_part(void **state)
{
    struct fixture *f = *state;
    mkdir(f->out, 0777);
    static const char order[] =
        "take,use,piece,channel,room_tone,from,to,note\n01.flac,yes,,,,10,20,\n02.flac,no,,,,,,\n";
    file_write(in_folder(f->out, "order.csv"), order, sizeof order - 1);
    struct tt_clean_result result = clean_well(
        f->session, f->out, (struct clean_run){.assignments = {"report.media=copy", "deliver.narration=no"}});
    const char *copy = copy_in(f->out, "01", "take-*.flac");
    assert_non_null(copy);
    assert_true(loudest(copy, 0.006, 9.994) <= dithered);
    assert_true(loudest(copy, 10, 20) > 0.05);
    assert_true(loudest(copy, 20.006, info_of(copy).frames / (double)info_of(copy).samplerate) <= dithered);
    tt_clean_result_free(&result);
    /* Left out, nothing of it stays to be handed on. */
    file_replace(in_folder(f->out, "order.csv"), "01.flac,yes,,,,10,20", "01.flac,no,,,,10,20");
    result = clean_well(f->session, f->out,
                        (struct clean_run){.assignments = {"report.media=copy", "deliver.narration=no"}});
    assert_null(copy_in(f->out, "01", "*.flac"));
    tt_clean_result_free(&result);
}

static void a_copy_of_everything_is_the_take_and_goes_when_it_is_not_wanted(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result result = clean_well(
        f->session, f->out, (struct clean_run){.assignments = {"report.media=copy-all", "deliver.narration=no"}});
    const char *copy = copy_in(f->out, "01", "take-*.flac");
    assert_non_null(copy);
    assert_true(difference(copy, in_folder(f->session, "01.flac"), 0, 1e9) <= dithered);
    tt_clean_result_free(&result);
    result = clean_well(f->session, f->out, (struct clean_run){.assignments = {"deliver.narration=no"}});
    assert_null(copy_in(f->out, "01", "*.flac"));
    tt_clean_result_free(&result);
}

static void a_voice_that_no_browser_plays_is_copied_too(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){0});
    struct tt_clean_result result =
        clean_place(p, (struct clean_run){.assignments = {"deliver.format=rf64", "deliver.narration=no"}});
    const char *copy = copy_in(p->out, "01", "voice-*.flac");
    assert_non_null(copy);
    assert_true(difference(copy, in_folder(p->out, "voice/01.wav"), 0, 1e9) <= dithered);
    tt_clean_result_free(&result);
}

#define WITH(name, kind) cmocka_unit_test_setup_teardown(name, kind##_set_up, kind##_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(a_take_that_no_browser_plays_is_copied_for_its_page, place),
        WITH(what_lies_above_full_scale_is_brought_under_it_in_a_copy, place),
        WITH(a_copy_that_is_handed_on_lacks_what_was_taken_out, fixture),
        WITH(of_a_part_nothing_is_handed_on_but_the_part, fixture),
        WITH(a_copy_of_everything_is_the_take_and_goes_when_it_is_not_wanted, fixture),
        WITH(a_voice_that_no_browser_plays_is_copied_too, place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
