/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The program from outside: what it prints where, and its exit status. */
#include "program.h"

#include "base/settings.h"

#include <signal.h>
#include <time.h>

static size_t line_count(const char *text)
{
    size_t lines = 0;
    for (; *text; text++)
        lines += *text == '\n';
    return lines;
}

/* Wrong use: status 2, one line that says what is the matter, nothing on stdout, nothing made. */
static void assert_wrong(struct place *p, struct said said, const char *word)
{
    if (said.status != 2 || line_count(said.err) != 1 || strncmp(said.err, "tidytake: ", 10) != 0 ||
        !strstr(said.err, word) || said.out[0])
        fail_msg("status %d, looked for '%s' in: %s%s", said.status, word, said.err, said.out);
    assert_false(file_exists(in_folder(p->folder, "hive.tidy")));
    assert_false(file_exists(p->out));
    said_free(&said);
}

static void write_take(struct place *p, const char *name)
{
    take_write(take_path(p, name), (struct take_shape){.seconds = 3.5});
}

/* ---- help and wrong use ---- */

static void help_is_given_on_stdout_when_asked_for_and_on_stderr_when_not(void **state)
{
    struct place *p = *state;
    static const char *const commands[] = {"clean",   "watch",   "measure",  "locate",
                                           "compare", "lengths", "settings", "targets"};
    struct said help = RUN("--help"), nothing = run(p, (const char *const[]){NULL}), version = RUN("--version");
    assert_int_equal(help.status, 0);
    assert_string_equal(help.err, "");
    assert_int_equal(nothing.status, 2);
    assert_string_equal(nothing.out, "");
    assert_string_equal(nothing.err, help.out);
    assert_int_equal(strncmp(version.out, "tidytake ", 9), 0);
    for (size_t i = 0; i < sizeof commands / sizeof *commands; i++) {
        assert_non_null(strstr(help.out, commands[i]));
        struct said one = RUN(commands[i], "--help");
        assert_int_equal(one.status, 0);
        assert_string_equal(one.err, "");
        assert_non_null(strstr(one.out, commands[i]));
        said_free(&one);
    }
    said_free(&help);
    said_free(&nothing);
    said_free(&version);
}

static void all_help_fits_a_screen_of_24_lines_and_80_columns(void **state)
{
    struct place *p = *state;
    static const char *const commands[] = {"--help",  "clean",   "watch",    "measure", "locate",
                                           "compare", "lengths", "settings", "targets"};
    for (size_t i = 0; i < sizeof commands / sizeof *commands; i++) {
        struct said help = RUN(commands[i], "--help");
        size_t lines = 0;
        for (const char *line = help.out; *line; line += strcspn(line, "\n") + 1, lines++)
            if (strcspn(line, "\n") > 80)
                fail_msg("%s: wider than 80 columns: %.*s", commands[i], (int)strcspn(line, "\n"), line);
        if (help.status != 0 || lines < 3 || lines > 24)
            fail_msg("%s: status %d, %zu lines", commands[i], help.status, lines);
        assert_non_null(strstr(help.out, "man tidytake")); /* where the rest stands */
        said_free(&help);
    }
}

static void what_is_unknown_is_refused_with_the_nearest_name(void **state)
{
    struct place *p = *state;
    write_take(p, "01.wav");
    assert_wrong(p, RUN("cleen", "hive"), "`tidytake clean`");
    assert_wrong(p, RUN("xyzzy"), "see `tidytake --help`");
    assert_wrong(p, RUN("clean", "hive", "--otu", "x"), "did you mean --out?");
    assert_wrong(p, RUN("clean", "hive", "-x"), "-x: no such option");
    assert_wrong(p, RUN("clean", "hive", "--set", "pauses.longest=900"), "did you mean longest_ms?");
    assert_wrong(p, RUN("clean", "hive", "--set", "pause.stay_ms=900"), "did you mean [pauses]?");
    assert_wrong(p, RUN("clean", "hive", "--for", "spokn"), "did you mean spoken?");
    assert_wrong(p, RUN("measure", "hive/01.wav", "--for", "audibook"), "did you mean audiobook?");
    assert_wrong(p, RUN("settings", "--set", "gate.depht_db=3"), "did you mean depth_db?");
    assert_wrong(p, RUN("clean", "hive", "--target", "web"), "did you mean --for TARGET?");
    assert_wrong(p, RUN("clean", "hive", "--output", "x"), "did you mean --out?");
    assert_wrong(p, RUN("clean", "hive", "-vq"), "write each option by itself");
    assert_wrong(p, RUN("clean", "hive", "--for", "EBU"), "did you mean ebu-r128?");
    assert_wrong(p, RUN("clean", "hive", "--set", "loudness.lufs=-16"), "did you mean target_lufs?");
    assert_wrong(p, RUN("clean", "hive", "--set", "target_lufs=-16"), "did you mean loudness.target_lufs=-16?");
    assert_wrong(p, RUN("hive"), "tidytake clean hive");
}

static void a_value_out_of_range_or_of_the_wrong_kind_names_the_range(void **state)
{
    struct place *p = *state;
    write_take(p, "01.wav");
    assert_wrong(p, RUN("clean", "hive", "--set", "pauses.stay_ms=49"), "from 50 to 10000 ms");
    assert_wrong(p, RUN("clean", "hive", "--set", "pauses.stay_ms=soon"), "from 50 to 10000 ms");
    assert_wrong(p, RUN("clean", "hive", "--set", "gate.depth_db=nan"), "from 0 to 60 dB");
    assert_wrong(p, RUN("clean", "hive", "--set", "deliver.whole=perhaps"), "yes");
    assert_wrong(p, RUN("clean", "hive", "--set", "deliver.bits=20"), "24");
    assert_wrong(p, RUN("clean", "hive", "--set", "pauses.stay_ms"), "SECTION.KEY=VALUE");
    assert_wrong(p, RUN("clean", "hive", "--set", "pauses.stay_ms=2000"), "longest_ms"); /* against each other */
    assert_wrong(p, RUN("clean", "hive", "-j", "0"), "1 to 1024");
    assert_wrong(p, RUN("clean", "hive", "-j", "two"), "1 to 1024");
    assert_wrong(p, RUN("clean", "hive", "--out"), "needs a value");
    assert_wrong(p, RUN("clean", "hive", "--plan=yes"), "takes no value");
    file_write(in_folder(p->folder, "wrong.ini"), "[pauses]\nstay_ms = 700\nlongest = 3\n", 35);
    assert_wrong(p, RUN("clean", "hive", "-s", "wrong.ini"), "wrong.ini:3");
    assert_wrong(p, RUN("clean", "hive", "-s", "missing.ini"), "missing.ini");
}

static void what_cannot_be_cleaned_is_refused(void **state)
{
    struct place *p = *state;
    assert_wrong(p, RUN("clean", "hive"), "no recordings lie in this folder");
    write_take(p, "01.wav");
    mkdir(in_folder(p->folder, "garden"), 0777);
    take_write(in_folder(p->folder, "garden/01.wav"), (struct take_shape){.seconds = 3.5});
    assert_wrong(p, RUN("clean"), "name the folder with the recordings");
    assert_wrong(p, RUN("clean", "nowhere"), "nowhere: no such folder");
    assert_wrong(p, RUN("clean", "hive", "nowhere"), "nowhere: no such folder");
    assert_wrong(p, RUN("clean", "hive", "hive/01.wav"), "not both");
    assert_wrong(p, RUN("clean", "hive/01.wav", "garden/01.wav"), "one folder");
    assert_wrong(p, RUN("clean", "hive/01.wav", "hive/01.wav"), "twice");
    assert_wrong(p, RUN("clean", "hive", "garden", "-o", "out"), "-o");
    assert_wrong(p, RUN("clean", "hive", "-o", "hive"), "recordings");
    assert_wrong(p, RUN("clean", "hive", "-o", "hive/01.wav"), "recordings");
    assert_wrong(p, RUN("measure"), "sound file");
    assert_wrong(p, RUN("locate", "hive"), "tidytake locate hive 0:52");
    assert_wrong(p, RUN("compare", "hive/01.wav"), "two recordings");
    assert_wrong(p, RUN("compare", "hive/01.wav", "hive/01.wav", "garden/01.wav"), "two recordings");
    assert_wrong(p, RUN("compare", "hive/01.wav", "hive/01.wav", "-o", "garden"), "other files");
    assert_wrong(p, RUN("settings", "nowhere"), "nowhere");
    assert_wrong(p, RUN("settings", "hive", "garden"), "one session");
    assert_wrong(p, RUN("targets", "all"), "no arguments");
}

/* ---- clean ---- */

static void a_good_session_ends_with_0_and_a_summary_of_80_columns(void **state)
{
    struct place *p = *state;
    write_take(p, "01.wav");
    struct said said = RUN("clean", "hive");
    assert_int_equal(said.status, 0);
    assert_true(file_exists(in_folder(p->folder, "hive.tidy/narration.wav")));
    size_t column = 0;
    for (const char *c = said.out; *c; c++) {
        column = *c == '\n' ? 0 : column + (((unsigned char)*c & 0xC0) != 0x80);
        if (column > 80 && !strstr(said.out, p->folder)) /* a long path may pass it */
            fail_msg("a line longer than 80 columns in\n%s", said.out);
    }
    assert_non_null(strstr(said.err, "rendered 01.wav")); /* a line a take where no terminal is */
    struct said quiet = RUN("clean", "hive", "-q", "--again"), verbose = RUN("clean", "hive", "-v"),
                json = RUN("clean", "hive", "--json");
    assert_int_equal(quiet.status, 0);
    assert_string_equal(quiet.out, "");
    assert_string_equal(quiet.err, "");
    assert_non_null(strstr(verbose.out, "01.wav"));
    json_t *parsed = json_loads(json.out, 0, NULL);
    assert_non_null(parsed);
    assert_int_equal(json_array_size(json_object_get(parsed, "takes")), 1);
    json_decref(parsed);
    said_free(&said);
    said_free(&quiet);
    said_free(&verbose);
    said_free(&json);
}

static void a_bad_take_ends_with_1_and_a_line_while_the_others_are_done(void **state)
{
    struct place *p = *state;
    write_take(p, "good.wav");
    file_write(take_path(p, "bad.wav"), "no sound", 8);
    file_write(take_path(p, "notes.txt"), "x", 1);
    struct said said = RUN("clean", "hive", "-q");
    assert_int_equal(said.status, 1);
    assert_int_equal(line_count(said.err), 1);
    assert_int_equal(strncmp(said.err, "tidytake: bad.wav: not a sound file", 35), 0);
    assert_true(file_exists(in_folder(p->folder, "hive.tidy/voice/good.wav")));
    struct said summary = RUN("clean", "hive");
    assert_non_null(strstr(summary.out, "1 take could not be done"));
    said_free(&said);
    said_free(&summary);
}

static void several_sessions_each_have_their_own_results(void **state)
{
    struct place *p = *state;
    write_take(p, "01.wav");
    mkdir(in_folder(p->folder, "garden"), 0777);
    take_write(in_folder(p->folder, "garden/01.wav"), (struct take_shape){.seconds = 3.5, .seed = 3});
    file_write(in_folder(p->folder, "garden/02.wav"), "", 0);
    struct said said = RUN("clean", "garden", "hive", "-q");
    assert_int_equal(said.status, 1); /* the worst of them */
    assert_true(file_exists(in_folder(p->folder, "hive.tidy/voice/01.wav")));
    assert_true(file_exists(in_folder(p->folder, "garden.tidy/voice/01.wav")));
    /* As by a shell's pattern: what the run left is no session, and the summaries are one list. */
    struct said again = RUN("clean", "garden", "garden.tidy", "hive", "hive.tidy/", "--json"),
                nothing = RUN("clean", "garden.tidy", "hive.tidy");
    assert_int_equal(again.status, 1);
    json_t *parsed = json_loads(again.out, 0, NULL);
    assert_int_equal(json_array_size(parsed), 2);
    assert_string_equal(json_string_value(json_object_get(json_array_get(parsed, 1), "session")), "hive");
    assert_int_equal(nothing.status, 2);
    json_decref(parsed);
    said_free(&said);
    said_free(&again);
    said_free(&nothing);
}

static void single_takes_make_a_session_of_those_and_one_has_a_folder_of_its_name(void **state)
{
    struct place *p = *state;
    write_take(p, "01.wav");
    write_take(p, "02.wav");
    write_take(p, "-03.wav");
    struct said one = RUN("clean", "hive/01.wav", "-q"),
                two = RUN("clean", "-q", "--out=two", "--", "hive/01.wav", "hive/-03.wav");
    assert_int_equal(one.status, 0);
    assert_int_equal(two.status, 0);
    assert_true(file_exists(in_folder(p->folder, "hive/01.tidy/voice/01.wav")));
    assert_true(file_exists(in_folder(p->folder, "two/voice/-03.wav")));
    assert_false(file_exists(in_folder(p->folder, "two/voice/02.wav")));
    said_free(&one);
    said_free(&two);
}

static void words_that_cannot_be_written_are_no_success(void **state)
{
    struct place *p = *state;
    if (!file_exists("/dev/full")) {
        printf("skipped: no /dev/full here\n");
        skip();
    }
    assert_int_equal(wait_for(start(p, "/dev/full", (const char *const[]){"settings", NULL})), 1);
    char *err = file_read(in_folder(p->folder, "said.err"), NULL);
    assert_non_null(strstr(err, "cannot be written"));
    free(err);
}

static void names_cannot_steer_the_terminal(void **state)
{
    struct place *p = *state;
    file_write(take_path(p, "\x1b[2J\a.wav"), "x", 1);
    write_take(p, "\x1b]0;bees\a.wav");
    struct said said = RUN("clean", "hive", "-v"),
                measure = RUN("measure", "hive/\x1b[2J\a.wav", "hive/\x1b]0;bees\a.wav");
    const char *const texts[] = {said.out, said.err, measure.out, measure.err};
    for (int t = 0; t < 4; t++)
        for (const char *c = texts[t]; *c; c++)
            assert_true((unsigned char)*c >= 32 || *c == '\n');
    assert_int_equal(measure.status, 1);
    said_free(&said);
    said_free(&measure);
}

/* ---- stopped ---- */

static double seconds_now(void)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    return (double)now.tv_sec + (double)now.tv_nsec / 1e9;
}

/* A take long enough to be interrupted: ten seconds again and again. */
static void write_long_take(const char *path, int seconds)
{
    size_t frames;
    float *samples = take_samples((struct take_shape){.rate_hz = 48000, .seconds = 10}, &frames);
    SF_INFO info = {.samplerate = 48000, .channels = 1, .format = SF_FORMAT_WAV | SF_FORMAT_PCM_16};
    SNDFILE *file = sf_open(path, SFM_WRITE, &info);
    assert_non_null(file);
    for (int i = 0; i < seconds / 10; i++)
        assert_int_equal(sf_writef_float(file, samples, (sf_count_t)frames), (sf_count_t)frames);
    sf_close(file);
    free(samples);
}

static void an_interrupt_ends_the_run_within_a_second_with_130_and_the_next_one_completes(void **state)
{
    struct place *p = *state;
    const char *const arguments[] = {
        "clean", "hive", "-q", "--set", "misreads.action=off", "--set", "report.pictures=no", NULL};
    write_long_take(take_path(p, "long.wav"), 300);
    write_take(p, "short.wav");
    char digest[65];
    snprintf(digest, sizeof digest, "%s", folder_digest(p->session, "."));
    static const long delays_ms[] = {20, 100, 250, 400};
    size_t interrupted = 0;
    for (size_t i = 0; i < sizeof delays_ms / sizeof *delays_ms; i++) {
        pid_t child = start(p, "said.out", arguments);
        struct timespec delay = {.tv_nsec = delays_ms[i] * 1000000};
        nanosleep(&delay, NULL);
        double then = seconds_now();
        kill(child, i % 2 ? SIGTERM : SIGINT);
        int status = wait_for(child);
        assert_true(seconds_now() - then < 1.0 ||
                    getenv("TIDYTAKE_SLOW")); /* the goal; sanitizers are slower than people */
        interrupted += status != 0;
        /* Before the program has begun to listen, the signal itself ends it. */
        if (status != 0 && status != 130 && status != 128 + SIGINT && status != 128 + SIGTERM)
            fail_msg("status %d after %ld ms", status, delays_ms[i]);
        assert_true(!file_exists(in_folder(p->folder, "hive.tidy")) ||
                    count_unpublished(in_folder(p->folder, "hive.tidy")) == 0);
        assert_string_equal(digest, folder_digest(p->session, "."));
    }
    assert_true(interrupted > 0);
    struct said said = run(p, arguments);
    assert_int_equal(said.status, 0);
    assert_true(file_exists(in_folder(p->folder, "hive.tidy/narration.wav")));
    said_free(&said);
}

/* ---- the other commands ---- */

static void settings_print_ini_that_reads_back_the_same(void **state)
{
    struct place *p = *state;
    struct said first = RUN("settings", "--set", "pauses.stay_ms=650.5", "--set", "deliver.start=10:00:00;00", "--set",
                            "deliver.frame_rate=29.97df");
    assert_int_equal(first.status, 0);
    file_write(in_folder(p->folder, "all.ini"), first.out, strlen(first.out));
    struct said second = RUN("settings", "-s", "all.ini");
    assert_int_equal(second.status, 0);
    assert_non_null(strstr(second.out, "stay_ms = 650.5"));
    /* The values are the same; the comments tell another origin. */
    char *a = first.out, *b = second.out, *a_line, *b_line, *a_rest = NULL, *b_rest = NULL;
    do {
        while ((a_line = strtok_r(a, "\n", &a_rest)) && (a = NULL, a_line[0] == ';'))
            ;
        while ((b_line = strtok_r(b, "\n", &b_rest)) && (b = NULL, b_line[0] == ';'))
            ;
        assert_true(!a_line == !b_line);
        if (a_line)
            assert_string_equal(a_line, b_line);
    } while (a_line);
    said_free(&first);
    said_free(&second);
}

static void each_setting_is_printed_below_what_it_does_and_what_it_may_be(void **state)
{
    struct place *p = *state;
    struct said said = RUN("settings");
    size_t comments = 0, rows = 0, known;
    tt_setting_rows(&known);
    assert_non_null(strstr(said.out, "tidytake.ini")); /* where to write what one wants otherwise */
    for (char *rest = NULL, *line = strtok_r(said.out, "\n", &rest); line; line = strtok_r(NULL, "\n", &rest)) {
        if (strlen(line) > 80)
            fail_msg("wider than 80 columns: %s", line);
        if (line[0] == ';') {
            comments++;
            continue;
        }
        if (line[0] != '[') {
            rows++;
            if (comments < 2)
                fail_msg("%s: says not what it is and what it may be", line);
        }
        comments = 0;
    }
    assert_int_equal(rows, known);
    said_free(&said);
}

static void settings_later_in_the_order_win(void **state)
{
    struct place *p = *state;
    mkdir(in_folder(p->folder, "config"), 0777);
    mkdir(in_folder(p->folder, "config/tidytake"), 0777);
    static const char users[] =
        "[pauses]\nstay_ms = 601\nlongest_ms = 2001\nedge_ms = 201\nbetween_ms = 501\n[loudness]\ntarget_lufs = -21\n";
    static const char sessions[] =
        "[pauses]\nlongest_ms = 2002\nedge_ms = 202\nbetween_ms = 502\n[loudness]\ntarget_lufs = -22\n";
    static const char files[] = "[pauses]\nedge_ms = 203\nbetween_ms = 503\n[loudness]\ntarget_lufs = -23.5\n";
    file_write(in_folder(p->folder, "config/tidytake/tidytake.ini"), users, strlen(users));
    file_write(take_path(p, "tidytake.ini"), sessions, strlen(sessions));
    file_write(in_folder(p->folder, "more.ini"), files, strlen(files));
    struct said said = RUN("settings", "hive", "-s", "more.ini", "--for", "web", "--set", "pauses.between_ms=504");
    assert_int_equal(said.status, 0);
    static const char *const wanted[] = {"stay_ms = 601", "longest_ms = 2002", "edge_ms = 203", "between_ms = 504",
                                         "target_lufs = -14"};
    for (size_t i = 0; i < sizeof wanted / sizeof *wanted; i++)
        if (!strstr(said.out, wanted[i]))
            fail_msg("no '%s' in\n%s", wanted[i], said.out);
    said_free(&said);
}

static void targets_are_listed_each_with_its_source(void **state)
{
    struct place *p = *state;
    static const char *const names[] = {"ebu-r128", "atsc-a85",    "aes-td1008", "web",
                                        "spoken",   "spoken-mono", "audiobook",  "mix"};
    struct said said = RUN("targets");
    assert_int_equal(said.status, 0);
    for (size_t i = 0; i < sizeof names / sizeof *names; i++)
        assert_non_null(strstr(said.out, names[i]));
    assert_non_null(strstr(said.out, "common practice"));
    said_free(&said);
}

static void the_words_help_and_version_do_what_they_say(void **state)
{
    struct place *p = *state;
    struct said word = RUN("help"), option = RUN("--help"), of_one = RUN("help", "clean"),
                its_own = RUN("clean", "--help"), version = RUN("version");
    assert_int_equal(word.status, 0);
    assert_string_equal(word.out, option.out);
    assert_string_equal(of_one.out, its_own.out);
    assert_int_equal(strncmp(version.out, "tidytake ", 9), 0);
    said_free(&word);
    said_free(&option);
    said_free(&of_one);
    said_free(&its_own);
    said_free(&version);
}

static size_t widest_line(const char *text)
{
    size_t widest = 0, width = 0;
    for (; *text; text++) {
        width = *text == '\n' ? 0 : width + 1;
        widest = width > widest ? width : widest;
    }
    return widest;
}

static void measuring_judges_and_says_what_fails(void **state)
{
    struct place *p = *state;
    write_take(p, "01.wav");
    struct said plain = RUN("measure", "hive/01.wav"),
                json = RUN("measure", "--json", "hive/01.wav", "--for", "ebu-r128"),
                fails = RUN("measure", "hive/01.wav", "--for", "ebu-r128"),
                missing = RUN("measure", "nowhere.wav", "hive/01.wav");
    assert_non_null(strstr(fails.out, "fails ebu-r128"));
    assert_true(widest_line(fails.out) <= 80);
    said_free(&fails);
    assert_int_equal(plain.status, 0);
    assert_int_equal(json.status, 1); /* raw, it is not at -23 */
    json_t *parsed = json_loads(json.out, 0, NULL);
    const json_t *target = json_object_get(json_array_get(json_object_get(parsed, "files"), 0), "target");
    assert_true(json_is_false(json_object_get(target, "pass")));
    assert_string_equal(json_string_value(json_array_get(json_object_get(target, "failed"), 0)), "integrated_lufs");
    assert_non_null(strstr(json_string_value(json_array_get(json_object_get(target, "messages"), 0)),
                           "the integrated loudness is"));
    const json_t *file = json_array_get(json_object_get(parsed, "files"), 0);
    assert_int_equal(json_integer_value(json_object_get(file, "rate_hz")), 24000);
    assert_int_equal(json_integer_value(json_object_get(file, "channels")), 1);
    assert_true(json_is_array(json_object_get(file, "warnings")));
    json_decref(parsed);
    assert_int_equal(missing.status, 1);
    assert_int_equal(line_count(missing.err), 1);
    assert_non_null(strstr(missing.err, "nowhere.wav"));
    assert_null(strstr(strstr(missing.err, "nowhere.wav") + 1, "nowhere.wav"));
    assert_non_null(strstr(missing.out, "01.wav")); /* the other is measured */
    struct said folder = RUN("measure", "hive");
    assert_int_equal(folder.status, 1);
    assert_non_null(strstr(folder.err, "hive/*.wav"));
    said_free(&folder);
    said_free(&plain);
    said_free(&json);
    said_free(&missing);
    struct said cleaned = RUN("clean", "hive", "-q", "--for", "ebu-r128"),
                passes = RUN("measure", "hive.tidy/narration.wav", "--for", "ebu-r128");
    assert_int_equal(cleaned.status, 0);
    assert_int_equal(passes.status, 0);
    said_free(&cleaned);
    said_free(&passes);
}

static void measuring_works_in_tmpdir_and_leaves_nothing_there(void **state)
{
    struct place *p = *state;
    char folder[4096], *before = getenv("TMPDIR") ? tt_copy_string(getenv("TMPDIR")) : NULL;
    write_take(p, "01.wav");
    snprintf(folder, sizeof folder, "%s", in_folder(p->folder, "tmp"));
    assert_int_equal(mkdir(folder, 0777), 0);
    setenv("TMPDIR", folder, 1);
    struct said well = RUN("measure", "hive/01.wav");
    assert_int_equal(rmdir(folder), 0); /* it is empty */
    struct said without = RUN("measure", "hive/01.wav");
    if (before)
        setenv("TMPDIR", before, 1);
    else
        unsetenv("TMPDIR");
    assert_int_equal(well.status, 0);
    assert_int_equal(without.status, 1);
    assert_non_null(strstr(without.err, "tmp: cannot make a temporary file here"));
    said_free(&well);
    said_free(&without);
    free(before);
}

static void two_sessions_are_set_side_by_side_for_people_spreadsheets_and_programs(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 6, .seed = 1});
    struct said cleaned = RUN("clean", "hive", "-q", "--set", "misreads.action=off"),
                again = RUN("clean", "hive", "-q", "-o", "other.tidy");
    struct said table = RUN("lengths", "hive", "other.tidy"), csv = RUN("lengths", "hive", "other.tidy", "--csv"),
                json = RUN("lengths", "--json", "hive.tidy", "other.tidy");
    assert_int_equal(cleaned.status + again.status + table.status + csv.status + json.status, 0);
    assert_non_null(strstr(table.out, "  01.wav "));
    assert_int_equal(line_count(csv.out), 3); /* head, the take, all */
    json_t *all = json_loads(json.out, 0, NULL);
    assert_non_null(all);
    assert_int_equal(json_array_size(json_object_get(all, "rows")), 1);
    assert_true(fabs(number_at(all, "all", "difference_s")) < 1e-6);
    json_decref(all);
    struct said same = RUN("lengths", "hive", "hive");
    assert_non_null(strstr(same.out, "as long as its counterpart"));
    assert_null(strstr(same.out, "0.0 s longer"));
    said_free(&same);
    struct said both = RUN("lengths", "hive", "hive", "--csv", "--json"), one = RUN("lengths", "hive"),
                none = RUN("lengths", "hive", "nowhere");
    assert_true(both.status == 2 && one.status == 2 && none.status == 2);
    assert_non_null(strstr(none.err, "clean it first"));
    said_free(&cleaned);
    said_free(&again);
    said_free(&table);
    said_free(&csv);
    said_free(&json);
    said_free(&both);
    said_free(&one);
    said_free(&none);
}

static void two_recordings_of_one_reading_are_compared_and_others_refused(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 12, .seed = 1});
    take_write(take_path(p, "02.wav"), (struct take_shape){.seconds = 12, .seed = 700});
    struct said same = RUN("compare", "hive/01.wav", "hive/01.wav"),
                other = RUN("compare", "hive/01.wav", "hive/02.wav", "-o", "other"),
                none = RUN("compare", "hive/01.wav", "hive/03.wav");
    assert_int_equal(same.status, 0);
    assert_non_null(strstr(same.out, "in 1 piece"));
    assert_true(file_exists(take_path(p, "01.wav.compare/index.html"))); /* named on the second line */
    assert_non_null(strstr(same.out, "01.wav.compare/index.html\n"));
    assert_int_equal(other.status, 1);
    assert_non_null(strstr(other.err, "do not belong together"));
    assert_int_equal(none.status, 1);
    assert_non_null(strstr(none.err, "03.wav"));
    assert_false(file_exists(take_path(p, "03.wav.compare"))); /* nor is anything left of it */
    said_free(&same);
    said_free(&other);
    said_free(&none);
}

static void a_time_in_the_narration_leads_to_its_take(void **state)
{
    struct place *p = *state;
    take_write(take_path(p, "01.wav"), (struct take_shape){.seconds = 6, .seed = 1});
    take_write(take_path(p, "02.wav"), (struct take_shape){.seconds = 6, .seed = 2});
    struct said cleaned = RUN("clean", "hive", "-q", "--set", "misreads.action=off"),
                first = RUN("locate", "hive.tidy", "0:01"), second = RUN("locate", "hive.tidy", "7,5");
    assert_int_equal(cleaned.status, 0);
    assert_int_equal(first.status, 0);
    assert_int_equal(strncmp(first.out, "01.wav  00:00:0", 15), 0);
    assert_int_equal(strncmp(second.out, "02.wav  00:00:0", 15), 0);
    assert_non_null(strstr(second.out, "/hive.tidy/sheets/02.csv:\n")); /* where its rows can be changed */
    struct said beyond = RUN("locate", "hive.tidy", "1:00:00"), no_time = RUN("locate", "hive.tidy", "soon"),
                no_out = RUN("locate", "nowhere", "1"), session = RUN("locate", "hive", "0:01");
    assert_int_equal(beyond.status, 2);
    assert_non_null(strstr(beyond.err, "the narration ends at"));
    assert_int_equal(no_time.status, 2);
    assert_int_equal(no_out.status, 2);
    assert_int_equal(session.status, 0); /* the session is as good as its results */
    assert_string_equal(session.out, first.out);
    said_free(&session);
    said_free(&cleaned);
    said_free(&first);
    said_free(&second);
    said_free(&beyond);
    said_free(&no_time);
    said_free(&no_out);
}

#define IN_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)

int main(void)
{
    if (!getenv("TIDYTAKE")) {
        printf("skipped: TIDYTAKE does not name the program\n");
        return 0;
    }
    const struct CMUnitTest tests[] = {
        IN_PLACE(help_is_given_on_stdout_when_asked_for_and_on_stderr_when_not),
        IN_PLACE(all_help_fits_a_screen_of_24_lines_and_80_columns),
        IN_PLACE(what_is_unknown_is_refused_with_the_nearest_name),
        IN_PLACE(a_value_out_of_range_or_of_the_wrong_kind_names_the_range),
        IN_PLACE(what_cannot_be_cleaned_is_refused),
        IN_PLACE(a_good_session_ends_with_0_and_a_summary_of_80_columns),
        IN_PLACE(a_bad_take_ends_with_1_and_a_line_while_the_others_are_done),
        IN_PLACE(several_sessions_each_have_their_own_results),
        IN_PLACE(single_takes_make_a_session_of_those_and_one_has_a_folder_of_its_name),
        IN_PLACE(words_that_cannot_be_written_are_no_success),
        IN_PLACE(names_cannot_steer_the_terminal),
        IN_PLACE(an_interrupt_ends_the_run_within_a_second_with_130_and_the_next_one_completes),
        IN_PLACE(settings_print_ini_that_reads_back_the_same),
        IN_PLACE(each_setting_is_printed_below_what_it_does_and_what_it_may_be),
        IN_PLACE(settings_later_in_the_order_win),
        IN_PLACE(targets_are_listed_each_with_its_source),
        IN_PLACE(measuring_judges_and_says_what_fails),
        IN_PLACE(measuring_works_in_tmpdir_and_leaves_nothing_there),
        IN_PLACE(the_words_help_and_version_do_what_they_say),
        IN_PLACE(two_sessions_are_set_side_by_side_for_people_spreadsheets_and_programs),
        IN_PLACE(two_recordings_of_one_reading_are_compared_and_others_refused),
        IN_PLACE(a_time_in_the_narration_leads_to_its_take),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
