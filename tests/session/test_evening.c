/* SPDX-License-Identifier: GPL-2.0-or-later */
/* An evening with a folder as it really comes: recorders' and a camera's files, two rates, a recording in three files,
 * a safety track, a line read again on another day, photographs and scripts between them. From the first run over the
 * narrator's decisions to the narration; no file is renamed by hand. */
#include "take_support.h"

#include "audio/camera.h"

enum { RATE = 24000 };
/* The fixture's labels: the line at the end of 01 that was broken off and read again in 02, and a line in the middle of
 * 01 that stands alone. */
static const double broken_s = 23.2732, line_s = 17.6295, line_end_s = 21.6995;

static void write_at(const char *path, int rate_hz, const char *date, double at_s, int channels, const float *samples,
                     size_t frames)
{
    const int second = (int)at_s;
    char time[16];
    snprintf(time, sizeof time, "%02d:%02d:%02d", second / 3600 % 24, second / 60 % 60, second % 60);
    write_bext(path, rate_hz, date, time, (int64_t)(at_s * rate_hz + 0.5), channels, samples, frames);
}

static const struct clean_run evening = {
    .assignments = {"loudness.target_lufs=-20"}}; /* the fixture's voice has high peaks */
static const double two_pm_s = 14 * 3600;

/* The fixture's two takes as a recorder would have written them. */
static void write_readings(const struct place *p)
{
    size_t frames;
    copy_fixture_session(p->session);
    for (int i = 1; i <= 2; i++) {
        char from[20], to[20];
        snprintf(from, sizeof from, "%02d.flac", i);
        snprintf(to, sizeof to, "T%03d.wav", i);
        float *samples = sound_read(take_path(p, from), &frames, NULL);
        write_at(take_path(p, to), RATE, "2026-04-12", two_pm_s + 60 * i, 1, samples, frames);
        free(samples);
        unlink(take_path(p, from));
    }
}

static void write_split(const struct place *p)
{
    size_t frames;
    float *samples = take_samples((struct take_shape){.seconds = 15, .seed = 50}, &frames);
    const size_t cuts[] = {0, 4 * RATE + 1234, 9 * RATE + 77, frames};
    for (size_t i = 0; i < 3; i++) {
        char name[20];
        snprintf(name, sizeof name, "T003_%zu.wav", i + 1);
        write_at(take_path(p, name), RATE, "2026-04-12", two_pm_s + 300 + (double)cuts[i] / RATE, 1, samples + cuts[i],
                 cuts[i + 1] - cuts[i]);
    }
    free(samples);
}

static void write_safety(const struct place *p)
{
    size_t frames;
    float *mono = take_samples((struct take_shape){.seconds = 9, .voice_rms = 0.1, .noise_rms = 0.0003, .seed = 60},
                               &frames),
          *both = calloc(2 * frames, sizeof *both);
    float peak = 0;
    for (size_t i = 0; i < frames; i++)
        peak = fmaxf(peak, fabsf(mono[i]));
    for (size_t i = 0; i < frames; i++) {
        const float loud = 1.4f / peak * mono[i];
        both[2 * i] = fmaxf(-1.0f, fminf(1.0f - 1.0f / 8388608, loud));
        both[2 * i + 1] = 0.25f * loud;
    }
    write_at(take_path(p, "T004.wav"), RATE, "2026-04-12", two_pm_s + 600, 2, both, frames);
    free(mono);
    free(both);
}

/* The lone line of T001 on another day: softer, in another room. */
static void write_pickup(const struct place *p)
{
    size_t frames;
    float *take = sound_read(take_path(p, "T001.wav"), &frames, NULL);
    const size_t from = (size_t)((line_s - 0.1) * RATE), count = (size_t)((line_end_s - line_s + 0.2) * RATE),
                 all = count + 2 * RATE;
    float *again = calloc(all, sizeof *again);
    noise_add(again, all, 0.0008, 5);
    for (size_t i = 0; i < count; i++)
        again[RATE + i] += 0.5f * take[from + i] * fminf(1.0f, fminf((float)i, (float)(count - i)) / 2400.0f);
    write_at(take_path(p, "T009.wav"), RATE, "2026-04-15", 9 * 3600, 1, again, all);
    free(again);
    free(take);
}

/* False where this build or machine has no camera files. */
static bool write_camera(const struct place *p)
{
    char command[3000];
    const char *wav = in_folder(p->folder, "camera.wav");
    take_write(wav, (struct take_shape){.rate_hz = 48000, .seconds = 8, .seed = 70});
    snprintf(command, sizeof command,
             "ffmpeg -loglevel error -y -f lavfi -i testsrc=d=8:s=64x64:r=25 -i '%s' -map 0:v -map 1:a -c:a pcm_s24le "
             "'%s' </dev/null 2>/dev/null",
             wav, take_path(p, "DSC_0417.MOV"));
    return tt_camera_is_built_in() && system(command) == 0;
}

static void write_folder(const struct place *p)
{
    static const char *const others[] = {"script.docx", "IMG_0031.jpg", "._T001.wav", "session.xml", "notes.txt"};
    write_readings(p);
    write_split(p);
    write_safety(p);
    write_pickup(p);
    take_write(take_path(p, "memo 2.wav"), (struct take_shape){.rate_hz = 44100, .seconds = 8, .seed = 80});
    for (size_t i = 0; i < sizeof others / sizeof *others; i++)
        file_write(take_path(p, others[i]), "bees", 4);
}

/* The cell of a proposal: the word behind "NAME ". To be freed. */
static char *proposed(const char *message, const char *name)
{
    const char *at = strstr(message, name);
    if (!at)
        fail_msg("no %s in: %s", name, message);
    at += strlen(name) + 1;
    char *value = tt_format("%.*s", (int)strcspn(at, ", "), at);
    assert_non_null(value);
    return value;
}

/* What the page and the summary say of the pick-up, as cells of its row. */
static char *pickup_row(const struct place *p)
{
    json_t *report = report_of(p->out, "T009"), *warning;
    size_t i;
    char *row = NULL;
    json_array_foreach(json_object_get(report, "warnings"), i, warning)
    {
        const char *message = json_string_value(json_object_get(warning, "message"));
        if (strcmp(json_string_value(json_object_get(warning, "code")), "pick-up?") != 0)
            continue;
        const char *cells = strstr(message, "order.csv:");
        assert_non_null(cells);
        char *from = proposed(cells, " from"), *to = proposed(cells, " to"), *of = proposed(cells, "instead_of"),
             *of_from = proposed(cells, "instead_from"), *of_to = proposed(cells, "instead_to");
        row = tt_format("T009.wav;yes;;;;%s;%s;read on Wednesday;%s;%s;%s\r\n", from, to, of, of_from, of_to);
        free(from);
        free(to);
        free(of);
        free(of_from);
        free(of_to);
    }
    json_decref(report);
    if (!row)
        fail_msg("no pick-up was proposed");
    return row;
}

/* As a spreadsheet of a German or French desk saves it. */
static void edit_order(const struct place *p, bool has_camera)
{
    char *pickup = pickup_row(p);
    char *text =
        tt_format("\xef\xbb\xbftake;use;piece;channel;room_tone;from;to;note;instead_of;instead_from;instead_to\r\n"
                  "T001.wav;yes;smoke;;;;;;;;\r\nT002.wav;yes;smoke;;;;;;;;\r\nmemo 2.wav;no;;;;;;only a trial;;;\r\n"
                  "T004.wav;yes;brood;;;;;;;;\r\n%sT003_1.wav;yes;brood;;;;;;;;\r\nT003_2.wav;yes;brood;;;;;;;;"
                  "\r\nT003_3.wav;yes;brood;;;;;;;;\r\n%s",
                  pickup, has_camera ? "DSC_0417.MOV;yes;honey;;;;;;;;\r\n" : "");
    assert_non_null(text);
    file_write(in_folder(p->out, "order.csv"), text, strlen(text));
    free(text);
    free(pickup);
}

static int64_t start_of(const struct place *p, const char *name)
{
    json_t *state = json_of(in_folder(p->out, "session.json")), *take;
    size_t i;
    int64_t start = -2;
    json_array_foreach(json_object_get(state, "takes"), i,
                       take) if (strcmp(json_string_value(json_object_get(take, "take")), name) == 0) start =
        json_is_integer(json_object_get(take, "narration_start_frame"))
            ? (int64_t)json_integer_value(json_object_get(take, "narration_start_frame"))
            : -1;
    json_decref(state);
    if (start == -2)
        fail_msg("session.json knows no %s", name);
    return start;
}

/* How many misreads of a take are cut at some time of it. */
static bool is_cut_at(const struct place *p, const char *stem, double at_s)
{
    json_t *report = report_of(p->out, stem), *row;
    size_t i;
    bool is_cut = false;
    json_array_foreach(json_object_get(report, "decisions"), i, row) is_cut |=
        strcmp(json_string_value(json_object_get(row, "kind")), "misread") == 0 &&
        strcmp(json_string_value(json_object_get(row, "action")), "cut") == 0 &&
        number_at(row, NULL, "start_s") <= at_s && number_at(row, NULL, "end_s") >= at_s;
    json_decref(report);
    return is_cut;
}

/* One command over all of it. */
static void clean_all(struct place *p, size_t others)
{
    struct tt_clean_result result = clean_place(p, evening);
    assert_int_equal(result.failed_count, 0);
    json_t *session = json_loads(result.json, 0, NULL);
    assert_int_equal((int)number_at(session, "totals", "passed_over"), (int)others);
    json_decref(session);
    assert_true(file_exists(in_folder(p->out, "voice/T003_1.wav")));
    assert_false(file_exists(in_folder(p->out, "voice/T003_2.wav"))); /* heard as one with T003_1 */
    assert_warns(p->out, "T004", "safety");
    assert_warns_not(p->out, "T004", "clipped");
    assert_true(is_cut_at(p, "T001", broken_s + 1));
    assert_true(file_exists(in_folder(p->out, "voice/memo 2.wav")));
    assert_int_equal(info_of(in_folder(p->out, "voice/memo 2.wav")).samplerate, 44100);
    assert_int_equal(info_of(in_folder(p->out, "narration.wav")).samplerate, 48000);
    assert_true(start_of(p, "T009.wav") > 0); /* nothing was done about the pick-up: it stands where its name sorts */
    tt_clean_result_free(&result);
}

/* The order with the pick-up in its place, and a reading that comes back. */
static void decide(struct place *p, bool has_camera)
{
    edit_order(p, has_camera);
    char *sheet = file_read(in_folder(p->out, "sheets/T001.csv"), NULL), *row = strstr(sheet, ",misread,cut,cut,");
    assert_non_null(row);
    free(sheet);
    file_replace(in_folder(p->out, "sheets/T001.csv"), ",misread,cut,cut,", ",misread,cut,keep,");
}

static void clean_what_was_decided(struct place *p, bool has_camera)
{
    struct tt_clean_result result = clean_place(p, evening);
    assert_int_equal(result.failed_count, 0);
    assert_int_equal(start_of(p, "memo 2.wav"), -1);
    assert_false(is_cut_at(p, "T001", broken_s + 1));
    const int64_t first = start_of(p, "T001.wav"), pickup = start_of(p, "T009.wav"), second = start_of(p, "T002.wav"),
                  safety = start_of(p, "T004.wav"), split = start_of(p, "T003_1.wav");
    assert_true(first == 0 && first < pickup && pickup < second && second < safety && safety < split);
    assert_warns(p->out, "T009", "pick-up");
    assert_true(file_exists(in_folder(p->out, "pieces/smoke.wav")) &&
                file_exists(in_folder(p->out, "pieces/brood.wav")));
    assert_true(!has_camera ||
                (file_exists(in_folder(p->out, "pieces/honey.wav")) && start_of(p, "DSC_0417.MOV") > split));
    const double pieces[] = {lufs_of(in_folder(p->out, "pieces/smoke.wav")),
                             lufs_of(in_folder(p->out, "pieces/brood.wav")),
                             lufs_of(in_folder(p->out, "narration.wav"))};
    for (size_t i = 0; i < 3; i++)
        if (fabs(pieces[i] + 20) > 0.1)
            fail_msg("piece %zu: %.2f LUFS", i, pieces[i]);
    assert_true(file_exists(in_folder(p->out, "edit/changes.csv")) &&
                file_exists(in_folder(p->out, "earlier/narration-0001.wav")));
    tt_clean_result_free(&result);
}

static void clean_again_without_work(struct place *p)
{
    char before[80];
    snprintf(before, sizeof before, "%s", file_digest(in_folder(p->out, "narration.wav")));
    struct tt_clean_result result = clean_place(p, evening);
    assert_int_equal(result.rendered_count, 0);
    assert_string_equal(before, file_digest(in_folder(p->out, "narration.wav")));
    tt_clean_result_free(&result);
}

static void an_evening_with_a_folder_as_it_comes_ends_in_a_narration(void **state)
{
    struct place *p = *state;
    write_folder(p);
    const bool has_camera = write_camera(p);
    clean_all(p, 5 + (has_camera || !file_exists(take_path(p, "DSC_0417.MOV")) ? 0 : 1));
    decide(p, has_camera);
    clean_what_was_decided(p, has_camera);
    clean_again_without_work(p);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(an_evening_with_a_folder_as_it_comes_ends_in_a_narration, place_set_up,
                                        place_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
