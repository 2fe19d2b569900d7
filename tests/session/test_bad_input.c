/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What is no take, where results must not go, what stops a run half-way: a clear error, nothing lost, nothing
 * half-written. */
#include "take_support.h"

#include <errno.h>
#include <fcntl.h>
#include <signal.h>
#include <sys/resource.h>
#include <sys/wait.h>

static const struct clean_run plain = {.assignments = {"misreads.action=off", "misreads.talk=off"}};

/* ---- files that are no takes ---- */

/* One line that begins with the take's name, does not say it twice, and tells more than that. */
static void assert_clear(const struct tt_clean_result *result, const char *take, const char *word)
{
    const char *error = error_of(result, take);
    if (strncmp(error, take, strlen(take)) != 0 || strncmp(error + strlen(take), ": ", 2) != 0 ||
        !strstr(error, word) || strstr(error + strlen(take), take) || strchr(error, '\n'))
        fail_msg("%s: '%s' is no clear error with '%s'", take, error, word);
}

/* The bytes of a good take with some of them changed. */
static void write_patched(const struct place *place, const char *name, size_t at, const void *bytes, size_t count,
                          size_t keep)
{
    size_t size;
    char *data = file_read(take_path(place, "good.wav"), &size);
    if (count > 0)
        memcpy(data + at, bytes, count);
    file_write(take_path(place, name), data, keep < size ? keep : size);
    free(data);
}

static void what_is_no_sound_file_is_an_error_of_that_take_alone(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "good.wav"), (struct take_shape){0});
    file_write(take_path(p, "words.wav"), "smoke first, then the lid\n", 26);
    file_write(take_path(p, "empty.wav"), "", 0);
    write_patched(p, "no-channel.wav", 22, "\0\0", 2, SIZE_MAX);
    write_patched(p, "no-rate.wav", 24, "\0\0\0\0", 4, SIZE_MAX);
    write_patched(p, "slow.wav", 24, "\x64\0\0\0", 4, SIZE_MAX);
    write_patched(p, "head.wav", 0, NULL, 0, 30);
    write_patched(p, "no-sample.wav", 0, NULL, 0, 44);
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.take_count, 8);
    assert_int_equal(result.failed_count, 7);
    assert_int_equal(result.rendered_count, 1);
    assert_false(result.may_pass); /* as long as the files are what they are */
    assert_clear(&result, "words.wav", "not a sound file");
    assert_clear(&result, "empty.wav", "empty file");
    assert_clear(&result, "no-channel.wav", "hannel");
    assert_clear(&result, "no-rate.wav", "no sample rate");
    assert_clear(&result, "slow.wav", "100 Hz");
    assert_clear(&result, "head.wav", "not a sound file");
    assert_clear(&result, "no-sample.wav", "not one sample");
    assert_string_equal(error_of(&result, "good.wav"), "");
    assert_true(file_exists(in_folder(p->out, "voice/good.wav")));
    assert_true(file_exists(in_folder(p->out, "narration.wav")));
    assert_false(file_exists(in_folder(p->out, "voice/words.wav")));
    tt_clean_result_free(&result);
}

static void a_pipe_named_like_a_sound_file_holds_nothing_up(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "good.wav"), (struct take_shape){0});
    assert_int_equal(mkfifo(take_path(p, "pipe.wav"), 0600), 0);
    assert_int_equal(mkdir(take_path(p, "folder.wav"), 0700), 0);
    assert_int_equal(symlink("nowhere", take_path(p, "broken.wav")), 0);
    struct tt_clean_result result = clean_well(p->session, p->out, plain);
    assert_int_equal(result.take_count, 3); /* sub-folders are not entered, and no takes */
    assert_int_equal(result.failed_count, 2);
    assert_clear(&result, "pipe.wav", "pipe");
    assert_clear(&result, "broken.wav", "No such file");
    assert_true(result.may_pass); /* what the link leads to may be mounted later */
    tt_clean_result_free(&result);
}

static void a_take_that_was_cut_short_is_used_as_far_as_it_goes_and_says_so(void **state)
{
    struct place *p = *state;
    /* Each of a sound of its own: copies would be taken for the same recording. */
    size_t size;
    take_write(take_path(p, "good.wav"), (struct take_shape){.seed = 100});
    free(file_read(take_path(p, "good.wav"), &size));
    write_patched(p, "short.wav", 0, NULL, 0, size / 2);
    take_write(take_path(p, "good.wav"), (struct take_shape){.seed = 200});
    write_patched(p, "boast.wav", 40, "\xff\xff\xff\x10", 4, SIZE_MAX);
    take_write(take_path(p, "good.wav"), (struct take_shape){.seed = 300});
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 0);
    assert_warns(p->out, "short", "truncated");
    assert_warns(p->out, "boast", "truncated");
    assert_warns_not(p->out, "good", "truncated");
    json_t *report = report_of(p->out, "short");
    assert_true(fabs(number_at(report, "before", "duration_s") - 3) < 0.01);
    json_decref(report);
    tt_clean_result_free(&result);
}

static void flac_that_is_cut_warns_and_flac_that_is_damaged_fails(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "good.flac"), (struct take_shape){.format = SF_FORMAT_FLAC | SF_FORMAT_PCM_24});
    size_t size;
    char *data = file_read(take_path(p, "good.flac"), &size);
    file_write(take_path(p, "short.flac"), data, size / 2);
    memset(data + size / 2, 0x55, 64);
    file_write(take_path(p, "hurt.flac"), data, size);
    free(data);
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 1);
    assert_clear(&result, "hurt.flac", "damaged");
    assert_warns(p->out, "short", "truncated");
    tt_clean_result_free(&result);
}

static void an_unreadable_take_is_an_error_of_its_own(void **state)
{
    struct place *p = *state;
    if (geteuid() == 0) {
        printf("skipped: root may read everything\n");
        skip();
    }
    take_write(take_path(p, "good.wav"), (struct take_shape){0});
    take_write(take_path(p, "locked.wav"), (struct take_shape){0});
    assert_int_equal(chmod(take_path(p, "locked.wav"), 0), 0);
    struct tt_clean_result result = clean_well(p->session, p->out, plain);
    assert_int_equal(result.failed_count, 1);
    assert_clear(&result, "locked.wav", "Permission");
    tt_clean_result_free(&result);
}

/* ---- wrong use: nothing is touched ---- */

static void assert_usage(const char *session, const char *out, const char *word)
{
    struct tt_clean_result result;
    struct tt_error error;
    if (clean_run(session, out, plain, &result, &error))
        fail_msg("cleaning %s into %s should have been refused", session, out ? out : "its default");
    assert_int_equal(error.kind, TT_ERROR_USAGE);
    if (!strstr(error.message, word))
        fail_msg("'%s' does not say '%s'", error.message, word);
}

static void a_folder_without_takes_is_refused(void **state)
{
    struct place *p = *state;
    file_write(take_path(p, "notes.txt"), "bees", 4);
    assert_usage(p->session, p->out, "no recordings lie in this folder");
    mkdir(in_folder(p->session, "empty"), 0777);
    assert_usage(p->session, p->out, "no recordings lie in this folder");
    mkdir(in_folder(p->session, "monday"), 0777);
    file_write(in_folder(p->session, "monday/001.wav"), "", 0);
    assert_usage(p->session, p->out, "hive/monday"); /* where to look instead */
    assert_usage(in_folder(p->folder, "nowhere"), p->out, "no such folder or file");
    assert_false(file_exists(p->out));
}

static void results_never_go_where_the_recordings_lie(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 3.5});
    const char *before = folder_digest(p->session, ".");
    assert_usage(p->session, p->session, "recordings");
    assert_usage(p->session, p->folder, "recordings");
    assert_usage(p->session, "/", "recordings");
    assert_usage(p->session, take_path(p, "01.wav"), "recordings");
    assert_usage(p->session, in_folder(p->session, "../hive/."), "recordings");
    file_write(in_folder(p->folder, "file"), "x", 1);
    assert_usage(p->session, in_folder(p->folder, "file"), "is a file");
    assert_string_equal(before, folder_digest(p->session, "."));
}

static void a_link_to_what_a_run_would_replace_is_refused(void **state)
{
    struct place *p = *state;
    mkdir(p->out, 0777);
    mkdir(in_folder(p->out, "voice"), 0777);
    mkdir(in_folder(p->out, "heard"), 0777);
    take_write(in_folder(p->out, "voice/01.wav"), (struct take_shape){.seconds = 3.5});
    assert_int_equal(symlink(in_folder(p->out, "voice/01.wav"), take_path(p, "01.wav")), 0);
    const char *before = file_digest(take_path(p, "01.wav"));
    assert_usage(p->session, p->out, "recordings");
    assert_string_equal(before, file_digest(take_path(p, "01.wav")));
}

static void sound_of_others_in_the_results_folder_is_not_written_over(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 3.5});
    mkdir(p->out, 0777);
    take_write(in_folder(p->out, "narration.wav"), (struct take_shape){.seconds = 3.5, .seed = 5});
    const char *before = file_digest(in_folder(p->out, "narration.wav"));
    assert_usage(p->session, p->out, "no run of tidytake left");
    assert_string_equal(before, file_digest(in_folder(p->out, "narration.wav")));
}

static void what_a_run_left_is_no_session(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 3.5});
    struct tt_clean_result result = clean_place(p, plain);
    tt_clean_result_free(&result);
    assert_usage(p->out, in_folder(p->folder, "again"), "earlier run");
    assert_usage(in_folder(p->out, "voice"), in_folder(p->folder, "again"), "earlier run");
    assert_usage(in_folder(p->out, "narration.wav"), in_folder(p->folder, "again"), "earlier run");
    assert_usage(in_folder(p->out, "voice/01.wav"), in_folder(p->folder, "again"), "earlier run");
    assert_false(file_exists(in_folder(p->folder, "again")));
}

static void results_inside_the_session_are_not_taken_for_takes(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 3.5});
    const char *inner = in_folder(p->session, "tidy"), *before = file_digest(take_path(p, "01.wav"));
    for (int i = 0; i < 2; i++) {
        struct tt_clean_result result = clean_well(p->session, inner, plain);
        assert_int_equal(result.take_count, 1);
        tt_clean_result_free(&result);
    }
    assert_string_equal(before, file_digest(take_path(p, "01.wav")));
}

/* ---- names ---- */

static const char *const odd_names[] = {
    "it's \"quoted\".wav",
    "two\nlines.wav",
    "-rf.wav",
    "a...wav",
    "~..wav",
    "%s%n.wav",
    "back\\slash.wav",
    "a,b;c.wav",
    "=1+1.wav",
    "<b>&amp;.wav",
    "\xD7\x90\xE2\x80\xAE\xD7\x91.wav",
    "\xF0\x9F\x90\x9D\xE2\x80\x8D.wav",
    "not\xFFutf.wav",
    "not\xFEutf.wav",
    "esc\x1B[31m.wav",
    "  two spaces  .wav",
};
enum { ODD_NAMES = sizeof odd_names / sizeof *odd_names };

static void odd_names_are_names_like_any_other(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "plain.wav"), (struct take_shape){.seconds = 3.5});
    for (int i = 0; i < ODD_NAMES; i++) /* each of a sound of its own: copies would be taken for the same recording */
        take_write(take_path(p, odd_names[i]), (struct take_shape){.seconds = 3.5, .seed = 100 * (uint64_t)(i + 1)});
    struct tt_clean_result first = clean_place(p, plain);
    assert_int_equal(first.take_count, ODD_NAMES + 1);
    assert_int_equal(first.failed_count, 0);
    for (int i = 0; i < ODD_NAMES; i++) {
        char voice[300];
        snprintf(voice, sizeof voice, "voice/%s", odd_names[i]);
        if (!file_exists(in_folder(p->out, voice)))
            fail_msg("%s is missing", voice);
    }
    for (const char *c = first.summary; *c; c++)
        assert_true((unsigned char)*c >= 32 || *c == '\n'); /* nothing steers the terminal */
    struct tt_clean_result second = clean_place(p, plain);
    assert_int_equal(second.failed_count, 0);
    assert_int_equal(second.up_to_date_count, ODD_NAMES + 1);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

static void a_long_name_works_until_the_files_beside_it_would_not_fit(void **state)
{
    struct place *p = *state;
    char fits[300] = {0}, too_long[300] = {0};
    memset(fits, 'y', 250);
    strcat(fits, ".wav");
    memset(too_long, 'z', 251);
    strcat(too_long, ".wav");
    take_write(take_path(p, fits), (struct take_shape){.seconds = 3.5});
    take_write(take_path(p, too_long), (struct take_shape){.seconds = 3.5});
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 1);
    assert_int_equal(result.rendered_count, 1);
    assert_clear(&result, too_long, "at most 250 bytes");
    tt_clean_result_free(&result);
}

static void takes_with_one_stem_both_keep_their_full_names(void **state)
{
    struct place *p = *state;
    const char *voices[] = {"voice/001.wav.wav", "voice/001.flac.wav", "voice/001.wav.wav.wav", "voice/002.wav"};
    take_write(take_path(p, "001.wav"), (struct take_shape){.seconds = 3.5, .seed = 1});
    take_write(take_path(p, "001.flac"),
               (struct take_shape){.seconds = 4, .seed = 2, .format = SF_FORMAT_FLAC | SF_FORMAT_PCM_24});
    take_write(take_path(p, "001.wav.wav"),
               (struct take_shape){.seconds = 4.5, .seed = 3}); /* its stem would be the first one's full name */
    take_write(take_path(p, "002.wav"), (struct take_shape){.seconds = 5, .seed = 4});
    struct tt_clean_result result = clean_place(p, plain);
    assert_int_equal(result.failed_count, 0);
    assert_int_equal(result.rendered_count, 4);
    for (size_t i = 0; i < sizeof voices / sizeof *voices; i++)
        if (!file_exists(in_folder(p->out, voices[i])))
            fail_msg("%s is missing", voices[i]);
    tt_clean_result_free(&result);
}

static void a_single_take_does_not_share_its_results_with_another_of_its_stem(void **state)
{
    struct place *p = *state;
    static const char *const names[] = {"001.wav", "001.flac", "002.wav"}, *const outs[] = {"001.wav.tidy",
                                                                                            "001.flac.tidy",
                                                                                            "002.tidy"};
    static const char *const voices[] = {"voice/001.wav.wav", "voice/001.flac.wav", "voice/002.wav"};
    for (size_t i = 0; i < 3; i++)
        take_write(take_path(p, names[i]),
                   (struct take_shape){
                       .seconds = 3.5, .seed = i + 1, .format = i == 1 ? SF_FORMAT_FLAC | SF_FORMAT_PCM_24 : 0});
    for (size_t i = 0; i < 3; i++) {
        struct tt_clean_result result = clean_well(take_path(p, names[i]), NULL, plain);
        assert_string_equal(result.out_folder, in_folder(p->session, outs[i]));
        assert_true(file_exists(in_folder(result.out_folder, voices[i])));
        tt_clean_result_free(&result);
    }
}

/* ---- stopped, or out of room ---- */

struct stopping {
    int calls, stop_at;
};

static bool stop_at_call(void *context, double share, const char *take, const char *what)
{
    struct stopping *stopping = context;
    assert_true(share >= 0 && share <= 1);
    (void)take;
    (void)what;
    return stopping->calls++ < stopping->stop_at;
}

static void write_two_takes(struct place *p)
{
    take_write(take_path(p, "01.wav"), (struct take_shape){.seed = 1});
    take_write(take_path(p, "02.wav"), (struct take_shape){.seed = 2, .channels = 2});
}

static void a_stopped_run_leaves_nothing_half_and_the_next_one_completes(void **state)
{
    struct place *p = *state;
    write_two_takes(p);
    char undisturbed[2100];
    snprintf(undisturbed, sizeof undisturbed, "%s/undisturbed", p->folder);
    struct tt_clean_result whole = clean_well(p->session, undisturbed, plain);
    const char *sources[] = {p->session}, *voices = folder_digest(undisturbed, "voice"),
               *narration = file_digest(in_folder(undisturbed, "narration.wav"));
    bool was_stopped = true;
    int rounds = 0;
    for (int at = 0; was_stopped; at += 1 + at / 3, rounds++) {
        struct stopping stopping = {.stop_at = at};
        struct tt_clean_watcher watcher = {.context = &stopping, .progress = stop_at_call};
        struct tt_clean_options options = {.sources = sources,
                                           .source_count = 1,
                                           .out = p->out,
                                           .assignments = plain.assignments,
                                           .assignment_count = 2,
                                           .jobs = 2};
        struct tt_clean_result result;
        struct tt_error error = {0};
        was_stopped = !tt_clean(&options, &watcher, &result, &error);
        if (was_stopped)
            assert_int_equal(error.kind, TT_ERROR_STOPPED);
        assert_int_equal(count_unpublished(p->out), 0);
        assert_true(rounds < 200);
        tt_clean_result_free(&result);
    }
    assert_true(rounds > 5);
    assert_string_equal(voices, folder_digest(p->out, "voice"));
    assert_string_equal(narration, file_digest(in_folder(p->out, "narration.wav")));
    tt_clean_result_free(&whole);
}

static bool stop_deciding(void *context, double share, const char *take, const char *what)
{
    bool *was_asked = context;
    (void)share;
    (void)take;
    *was_asked = *was_asked || strcmp(what, "deciding") == 0;
    return strcmp(what, "deciding") != 0;
}

static void a_run_can_be_stopped_while_it_decides(void **state)
{
    struct place *p = *state;
    const char *sources[] = {p->session};
    bool was_asked = false;
    struct tt_clean_watcher watcher = {.context = &was_asked, .progress = stop_deciding};
    struct tt_clean_options options = {.sources = sources, .source_count = 1, .out = p->out, .jobs = 2};
    struct tt_clean_result result;
    struct tt_error error = {0};
    copy_fixture_session(p->session);
    assert_false(tt_clean(&options, &watcher, &result, &error));
    assert_true(was_asked);
    assert_int_equal(error.kind, TT_ERROR_STOPPED);
    assert_false(file_exists(in_folder(p->out, "voice/01.wav")));
    tt_clean_result_free(&result);
    result = clean_well(p->session, p->out, (struct clean_run){0});
    assert_true(file_exists(in_folder(p->out, "voice/01.wav")));
    tt_clean_result_free(&result);
}

/* Runs clean with a limit on the size of any file, as a full disk would have it; 0: all went well, 1: takes failed, 2:
 * the run failed. */
static int clean_with_room(const struct place *p, rlim_t bytes)
{
    pid_t child = fork();
    assert_true(child >= 0);
    if (child == 0) {
        signal(SIGXFSZ, SIG_IGN);
        struct rlimit limit = {bytes, bytes};
        struct tt_clean_result result;
        struct tt_error error;
        if (setrlimit(RLIMIT_FSIZE, &limit) != 0)
            _exit(9);
        bool ok = clean_run(p->session, p->out, plain, &result, &error);
        if (!ok)
            fprintf(stderr, "with room for %lu bytes: %s\n", (unsigned long)bytes, error.message);
        if (!ok)
            _exit(error.kind == TT_ERROR_OUTPUT && error.message[0] && !strchr(error.message, '\n') ? 2 : 8);
        _exit(result.failed_count ? 1 : 0);
    }
    int status;
    assert_int_equal(waitpid(child, &status, 0), child);
    assert_true(WIFEXITED(status));
    return WEXITSTATUS(status);
}

/* Digests that outlive the support's few buffers. */
struct left {
    char takes[65], voices[65], sheets[65], narration[65];
};

static struct left what_is_left(const struct place *p)
{
    struct left left;
    snprintf(left.takes, sizeof left.takes, "%s", folder_digest(p->session, "."));
    snprintf(left.voices, sizeof left.voices, "%s", folder_digest(p->out, "voice"));
    snprintf(left.sheets, sizeof left.sheets, "%s", folder_digest(p->out, "sheets"));
    snprintf(left.narration, sizeof left.narration, "%s", file_digest(in_folder(p->out, "narration.wav")));
    return left;
}

static void assert_same_left(struct left a, struct left b)
{
    assert_string_equal(a.takes, b.takes);
    assert_string_equal(a.voices, b.voices);
    assert_string_equal(a.sheets, b.sheets);
    assert_string_equal(a.narration, b.narration);
}

static void a_full_disk_is_an_error_and_costs_nothing_that_was_there(void **state)
{
    struct place *p = *state;
    write_two_takes(p);
    struct tt_clean_result first = clean_place(p, plain);
    struct left before = what_is_left(p);
    tt_clean_result_free(&first);
    static const rlim_t rooms[] = {200, 4000, 30000, 200000, 400000, 600000, 800000};
    bool has_failed = false;
    for (size_t i = 0; i < sizeof rooms / sizeof *rooms; i++) {
        folder_remove(strdup(in_folder(p->out, "report"))); /* all is rendered again */
        folder_remove(strdup(in_folder(p->out, "heard")));
        int status = clean_with_room(p, rooms[i]);
        if (status > 2)
            fail_msg("with room for %lu bytes: status %d", (unsigned long)rooms[i], status);
        has_failed = has_failed || status > 0;
        assert_int_equal(count_unpublished(p->out), 0);
        assert_same_left(before, what_is_left(p)); /* what stands is what stood, or the same anew */
    }
    assert_true(has_failed);
    struct tt_clean_result last = clean_place(p, plain);
    assert_int_equal(last.failed_count, 0);
    assert_same_left(before, what_is_left(p));
    tt_clean_result_free(&last);
}

static void takes_that_are_gone_for_once_do_not_cost_the_narration(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 3.5});
    struct tt_clean_result first = clean_place(p, plain);
    const char *narration = file_digest(in_folder(p->out, "narration.wav"));
    file_write(take_path(p, "01.wav"), "gone", 4);
    struct tt_clean_result second = clean_place(p, plain);
    assert_int_equal(second.failed_count, 1);
    assert_string_equal(narration, file_digest(in_folder(p->out, "narration.wav")));
    assert_true(file_exists(in_folder(p->out, "edit/narration.edl")));
    assert_true(file_exists(in_folder(p->out, "voice/01.wav")));
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

static void without_a_narration_nothing_else_goes(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 3.5});
    struct tt_clean_result first = clean_place(p, plain);
    static const char *const names[] = {"narration.wav", "edit/narration.edl", "edit/narration.otio",
                                        "voice/01.wav",  "sheets/01.csv",      "report/01.json"};
    struct tt_clean_result second = clean_place(
        p, (struct clean_run){.assignments = {"misreads.action=off", "misreads.talk=off", "deliver.narration=no"}});
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        if (!file_exists(in_folder(p->out, names[i])))
            fail_msg("%s is gone", names[i]);
    assert_int_equal(second.rendered_count, 0);
    tt_clean_result_free(&first);
    tt_clean_result_free(&second);
}

static void changes_that_cannot_be_read_are_refused_before_anything_is_touched(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 3.5});
    struct tt_clean_result result;
    struct tt_error error;
    assert_false(clean_run(p->session, p->out, (struct clean_run){.changes = in_folder(p->folder, "none.csv")}, &result,
                           &error));
    assert_int_equal(error.kind, TT_ERROR_USAGE);
    assert_false(file_exists(p->out));
}

#define IN_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_PLACE(what_is_no_sound_file_is_an_error_of_that_take_alone),
        IN_PLACE(a_pipe_named_like_a_sound_file_holds_nothing_up),
        IN_PLACE(a_take_that_was_cut_short_is_used_as_far_as_it_goes_and_says_so),
        IN_PLACE(flac_that_is_cut_warns_and_flac_that_is_damaged_fails),
        IN_PLACE(an_unreadable_take_is_an_error_of_its_own),
        IN_PLACE(a_folder_without_takes_is_refused),
        IN_PLACE(results_never_go_where_the_recordings_lie),
        IN_PLACE(a_link_to_what_a_run_would_replace_is_refused),
        IN_PLACE(sound_of_others_in_the_results_folder_is_not_written_over),
        IN_PLACE(what_a_run_left_is_no_session),
        IN_PLACE(results_inside_the_session_are_not_taken_for_takes),
        IN_PLACE(odd_names_are_names_like_any_other),
        IN_PLACE(a_long_name_works_until_the_files_beside_it_would_not_fit),
        IN_PLACE(takes_with_one_stem_both_keep_their_full_names),
        IN_PLACE(a_single_take_does_not_share_its_results_with_another_of_its_stem),
        IN_PLACE(a_stopped_run_leaves_nothing_half_and_the_next_one_completes),
        IN_PLACE(a_run_can_be_stopped_while_it_decides),
        IN_PLACE(a_full_disk_is_an_error_and_costs_nothing_that_was_there),
        IN_PLACE(takes_that_are_gone_for_once_do_not_cost_the_narration),
        IN_PLACE(without_a_narration_nothing_else_goes),
        IN_PLACE(changes_that_cannot_be_read_are_refused_before_anything_is_touched),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
