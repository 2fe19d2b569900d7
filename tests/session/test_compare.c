/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Two recordings of one reading side by side. */
#include "take_support.h"

#include <fcntl.h>
#include <sys/file.h>

#include "session/compare.h"

static bool compare(const char *before, const char *after, const char *out, struct tt_compared *compared,
                    struct tt_error *error)
{
    *error = (struct tt_error){0};
    return tt_compare(&(struct tt_compare_request){.before = before, .after = after, .out = out}, compared, error);
}

/* The data of a page's script; to be let go. */
static json_t *data_of(const char *page)
{
    char *text = file_read(page, NULL), *start = strstr(text, "id=\"data\">");
    assert_non_null(start);
    start += strlen("id=\"data\">");
    *strstr(start, "</script>") = 0;
    json_t *data = json_loads(start, 0, NULL);
    assert_non_null(data);
    free(text);
    return data;
}

static double item(const json_t *list, size_t index) { return json_number_value(json_array_get(list, index)); }

/* The labelled takes against their own voices: where the time map of the render and that of the comparison both know a
 * moment, they agree. */
static void a_take_and_its_voice_are_set_side_by_side_as_the_render_knows(void **state)
{
    struct fixture *f = *state;
    struct tt_clean_result result =
        clean_well(f->session, f->out, (struct clean_run){.assignments = {"deliver.narration=no"}});
    char before[4096], after[4200], out[4200];
    snprintf(before, sizeof before, "%s", in_folder(f->session, "01.flac"));
    snprintf(after, sizeof after, "%s", in_folder(f->out, "voice/01.wav"));
    snprintf(out, sizeof out, "%s/compared", f->folder);
    struct tt_compared compared;
    struct tt_error error;
    if (!compare(before, after, out, &compared, &error))
        fail_msg("%s", error.message);
    json_t *data = data_of(compared.page), *map = json_object_get(data, "map"), *report = report_of(f->out, "01"),
           *stretch;
    size_t i, checked = 0;
    const double rate = number_at(report, "source", "rate_hz"), out_rate = number_at(report, "output", "rate_hz");
    json_array_foreach(json_object_get(report, "time_map"), i, stretch)
    {
        double start = number_at(stretch, NULL, "source_start_frame") / rate,
               end = number_at(stretch, NULL, "source_end_frame") / rate,
               at = number_at(stretch, NULL, "out_start_frame") / out_rate;
        for (double t = start + 0.6; t < end - 0.6; t += 0.25) /* a join may fall elsewhere in its pause */
            for (size_t k = 0; k < json_array_size(map); k++) {
                const json_t *piece = json_array_get(map, k);
                if (t < item(piece, 0) || t >= item(piece, 1))
                    continue;
                double off = item(piece, 2) + t - item(piece, 0) - (at + t - start);
                if (fabs(off) > 0.002)
                    fail_msg("%.2f s lies %.4f s off", t, off);
                checked++;
            }
    }
    assert_true(checked > 30);
    json_decref(report);
    json_decref(data);
    free(compared.page);
    tt_clean_result_free(&result);
}

/* Different channels, rates and kinds of file; the names are text that runs nothing. */
static void any_two_files_of_one_reading_make_a_page(void **state)
{
    struct place *p = *state;
    static const char hostile[] = "b\"'<img src=x onerror=alert(1)>&\n\xF0\x9F\x90\x9D\xE2\x80\xAE.caf";
    size_t frames;
    float *samples = take_samples((struct take_shape){.seconds = 20, .rate_hz = 48000}, &frames);
    take_write_samples(take_path(p, "a.wav"), (struct take_shape){.rate_hz = 48000, .channels = 2, .voice_channel = 1},
                       samples, frames);
    const size_t late = frames > 24000 ? 24000 : 0;
    assert_int_equal(late, 24000);
    for (size_t i = 0; i < frames; i++)
        samples[i] *= 0.25f;
    take_write_samples(take_path(p, hostile),
                       (struct take_shape){.rate_hz = 48000, .format = SF_FORMAT_CAF | SF_FORMAT_FLOAT}, samples + late,
                       frames - late);
    free(samples);
    struct tt_compared compared;
    struct tt_error error;
    char before[4096], after[4096];
    snprintf(before, sizeof before, "%s", take_path(p, "a.wav"));
    snprintf(after, sizeof after, "%s", take_path(p, hostile));
    if (!compare(before, after, p->out, &compared, &error))
        fail_msg("%s", error.message);
    char *page = file_read(compared.page, NULL);
    assert_null(strstr(page, "<img"));
    assert_non_null(strstr(page, "&lt;img src=x"));
    assert_non_null(strstr(page, "src=\"./sound/after.flac\"")); /* no browser plays CAF */
    free(page);
    json_t *data = data_of(compared.page), *map = json_object_get(data, "map");
    assert_int_equal(json_array_size(map), 1);
    assert_true(fabs(item(json_array_get(map, 0), 0) - item(json_array_get(map, 0), 2) - 0.5) < 0.0005);
    json_decref(data);
    free(compared.page);
    /* Again into the same folder is all right. */
    assert_true(compare(before, after, p->out, &compared, &error));
    free(compared.page);
    assert_int_equal(count_unpublished(p->out), 0);
}

static void other_readings_are_refused_in_clear_words(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "a.wav"), (struct take_shape){.seconds = 20, .seed = 1});
    take_write(take_path(p, "b.wav"), (struct take_shape){.seconds = 20, .seed = 400});
    take_write(take_path(p, "c.wav"), (struct take_shape){.voice_rms = -1});
    struct tt_compared compared;
    struct tt_error error;
    char before[4096];
    snprintf(before, sizeof before, "%s", take_path(p, "a.wav"));
    assert_false(compare(before, take_path(p, "b.wav"), p->out, &compared, &error));
    assert_non_null(strstr(error.message, "do not belong together"));
    assert_false(compare(before, take_path(p, "c.wav"), p->out, &compared, &error));
    assert_non_null(strstr(error.message, "no speech"));
    assert_false(file_exists(in_folder(p->out, "index.html")));
}

static void a_folder_with_other_files_is_left_alone(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "a.wav"), (struct take_shape){.seconds = 12});
    file_write(take_path(p, "index.html"), "mine", 4);
    struct tt_compared compared;
    struct tt_error error;
    char path[4096];
    snprintf(path, sizeof path, "%s", take_path(p, "a.wav"));
    assert_false(compare(path, path, p->session, &compared, &error));
    assert_non_null(strstr(error.message, "holds other files"));
    assert_int_equal(error.kind, TT_ERROR_USAGE);
}

static void what_a_killed_comparison_left_goes_and_what_is_another_s_stays(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "a.wav"), (struct take_shape){.voice_rms = -1}); /* refused: no speech */
    struct tt_compared compared;
    struct tt_error error;
    char take[4096];
    snprintf(take, sizeof take, "%s", take_path(p, "a.wav"));
    mkdir(p->out, 0777);
    file_write(in_folder(p->out, ".download.part"), "mine", 4);
    assert_false(compare(take, take, p->out, &compared, &error));
    assert_true(file_exists(in_folder(p->out, ".download.part")));
    assert_non_null(strstr(error.message, "no speech"));
    mkdir(in_folder(p->out, "sound"), 0777);
    file_write(in_folder(p->out, ".heard-1.part"), "", 0);
    file_write(in_folder(p->out, "sound/.after.flac.1-0.part"), "", 0);
    assert_false(compare(take, take, p->out, &compared, &error));
    assert_int_equal(count_unpublished(p->out), 0);
}

static void two_comparisons_do_not_work_in_one_folder(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "a.wav"), (struct take_shape){.voice_rms = -1});
    struct tt_compared compared;
    struct tt_error error;
    char take[4096];
    snprintf(take, sizeof take, "%s", take_path(p, "a.wav"));
    assert_false(compare(take, take, p->out, &compared, &error));
    const int other = open(in_folder(p->out, ".comparison"), O_RDWR);
    assert_true(other >= 0 && flock(other, LOCK_EX | LOCK_NB) == 0);
    assert_false(compare(take, take, p->out, &compared, &error));
    assert_non_null(strstr(error.message, "another comparison"));
    close(other);
    assert_false(compare(take, take, p->out, &compared, &error));
    assert_non_null(strstr(error.message, "no speech"));
}

#define WITH(name, kind) cmocka_unit_test_setup_teardown(name, kind##_set_up, kind##_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        WITH(a_take_and_its_voice_are_set_side_by_side_as_the_render_knows, fixture),
        WITH(any_two_files_of_one_reading_make_a_page, place),
        WITH(other_readings_are_refused_in_clear_words, place),
        WITH(a_folder_with_other_files_is_left_alone, place),
        WITH(what_a_killed_comparison_left_goes_and_what_is_another_s_stays, place),
        WITH(two_comparisons_do_not_work_in_one_folder, place),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
