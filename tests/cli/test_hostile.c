/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A session in which every text that comes from outside (names, notes, labels, pieces, what a recorder wrote into its
 * files) tries to become something else: HTML, a script, a formula, a line of an edit list, an escape of a terminal, a
 * command. All commands are run over it, and all that they leave is looked at. */
#include "program.h"

#include "sheet/csv.h"

#define OVERRIDE "\xE2\x80\xAE" /* U+202E: what follows is written from right to left */
#define ESCAPES                                                                                                        \
    "\033[31m\xC2\x9B"                                                                                                 \
    "2J" /* red; and, after U+009B, the screen cleared */
/* What must never be found as it is in a page. */
#define TAG "<x-evil>"
#define ATTRIBUTE "\" x-evil=\""

static const char *const take_names[] = {"-01 " TAG ".wav",
                                         "02 " ATTRIBUTE "'`$(touch X)`;touch X.wav",
                                         "=03+1|cmd.wav",
                                         "@04" OVERRIDE "vaw.wav",
                                         "05\n* FROM CLIP NAME: 06\n002  BL V C " ESCAPES ".wav",
                                         "06\xFF\xFE.wav"};
enum { TAKES = sizeof take_names / sizeof *take_names };
static const char folder_name[] = "hive " TAG ATTRIBUTE OVERRIDE ESCAPES "\n=1+1";

static void write_takes(struct place *p)
{
    snprintf(p->session, sizeof p->session, "%s/%s", p->folder, folder_name);
    assert_int_equal(mkdir(p->session, 0777), 0);
    for (int i = 0; i < TAKES; i++) {
        size_t frames;
        float *samples = take_samples((struct take_shape){.seconds = 4, .seed = 40 * (uint64_t)i}, &frames);
        SF_INFO info = {.samplerate = 24000, .channels = 1, .format = WAV_24};
        SF_BROADCAST_INFO bext = {.version = 1};
        snprintf(bext.description, sizeof bext.description, "=1+1" TAG ESCAPES OVERRIDE "\n");
        snprintf(bext.originator, sizeof bext.originator, "@" TAG ESCAPES);
        memcpy(bext.origination_date, "=1+1|cmd!A", 10);
        memcpy(bext.origination_time, "\033[31m<b>", 8);
        SNDFILE *file = sf_open(take_path(p, take_names[i]), SFM_WRITE, &info);
        assert_non_null(file);
        assert_int_equal(sf_command(file, SFC_SET_BROADCAST_INFO, &bext, sizeof bext), SF_TRUE);
        assert_int_equal(sf_writef_float(file, samples, (sf_count_t)frames), frames);
        sf_close(file);
        free(samples);
    }
    file_write(take_path(p, "bad " TAG ESCAPES OVERRIDE ".wav"), "no sound", 8);
}

/* A label and a gap whose notes are hostile, in the sheet of the first take; a piece and a note in the order. */
static void write_decisions(const struct place *p)
{
    char sheet[600];
    snprintf(sheet, sizeof sheet, "sheets/%.*s.csv", (int)strlen(take_names[0]) - 4, take_names[0]);
    file_append(in_folder(p->out, sheet),
                ",,1,1,label,,keep,,,me,\"=HYPERLINK(\"\"x\"\")</script>" TAG OVERRIDE "\n* BAD\"\r\n"
                ",,2,2,gap,,open,1,,me,\"@SUM(1)\"\" x-evil=\"\"" TAG "\"\r\n");
    file_replace(in_folder(p->out, "order.csv"), "'=03+1|cmd.wav,yes,,,,,,",
                 "'=03+1|cmd.wav,yes,'=1+1" OVERRIDE "<x-evil>,,,,,\"'+cmd|x\n" TAG "\"");
}

/* ---- what is asked of all that is left ---- */

static void check_words(const char *words, const char *where)
{
    if (strstr(words, OVERRIDE) || strstr(words, "\xC2\x9B") || !tt_utf8_is_valid(words, strlen(words)))
        fail_msg("%s steers a terminal:\n%s", where, words);
    for (const char *at = words; *at; at++)
        if (((unsigned char)*at < 32 && !strchr("\r\n", *at)) || *at == 127)
            fail_msg("%s steers a terminal at '%.20s' of\n%s", where, at, words);
}

static void check_page(const char *text, const char *name)
{
    if (strstr(text, "<x-evil") || strstr(text, "</script><x") || strstr(text, ATTRIBUTE))
        fail_msg("%s: a name became a part of the page", name);
    for (const char *at = text; *at; at++)
        if ((unsigned char)*at < 32 && !strchr("\n\t", *at))
            fail_msg("%s: control character %d", name, *at);
}

static bool is_number(const char *cell) { return cell[strspn(cell, "+-0123456789.:")] == '\0'; }

/* As a spreadsheet reads it: without taking our apostrophes off again. */
static void check_table(const char *text, const char *name)
{
    bool is_quoted = false, is_first = true;
    for (const char *at = text; *at; at++) {
        const bool opens = is_first && *at == '"';
        const char *cell = opens ? at + 1 : at;
        if (is_first && strchr("=+-@\t", *cell) && *cell) {
            char shown[24];
            snprintf(shown, sizeof shown, "%.*s", (int)strcspn(cell, ",\r\n\""), cell);
            if (!is_number(shown))
                fail_msg("%s: a formula: %s", name, shown);
        }
        is_quoted = is_quoted != (*at == '"');
        is_first = !is_quoted && (*at == ',' || *at == '\n');
        if (((unsigned char)*at < 32 && !strchr("\r\n\t", *at)) ||
            ((unsigned char)at[0] == 0xC2 && (unsigned char)at[1] < 0xA0))
            fail_msg("%s: steers a terminal", name);
    }
}

static void check_edit_list(char *text, const char *name)
{
    check_words(text, name);
    for (char *line = strtok(text, "\n"); line; line = strtok(NULL, "\n"))
        if (strncmp(line, "TITLE:", 6) != 0 && strncmp(line, "FCM:", 4) != 0 && strncmp(line, "* ", 2) != 0 &&
            !(strspn(line, "0123456789") == 3 && strstr(line, " A ")))
            fail_msg("%s: a line that a name made: %s", name, line);
}

static void check_json(const char *text, const char *name)
{
    json_t *json = json_loads(text, JSON_REJECT_DUPLICATES, NULL);
    if (!json)
        fail_msg("%s is no JSON", name);
    json_decref(json);
}

static bool ends_in(const char *name, const char *ending)
{
    const size_t length = strlen(name), tail = strlen(ending);
    return length >= tail && strcmp(name + length - tail, ending) == 0;
}

static void check_file(const char *path)
{
    char *text = file_read(path, NULL);
    if (ends_in(path, ".html"))
        check_page(text, path);
    else if (ends_in(path, ".csv"))
        check_table(text, path);
    else if (ends_in(path, ".edl"))
        check_edit_list(text, path);
    else if (ends_in(path, ".json") || ends_in(path, ".otio"))
        check_json(text, path);
    free(text);
}

static size_t check_all(const char *folder)
{
    size_t count = 0;
    DIR *dir = opendir(folder);
    assert_non_null(dir);
    for (struct dirent *entry; (entry = readdir(dir));) {
        struct stat status;
        char *path = tt_format("%s/%s", folder, entry->d_name);
        assert_non_null(path);
        if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0 && lstat(path, &status) == 0) {
            if (S_ISDIR(status.st_mode))
                count += check_all(path);
            else
                check_file(path), count++;
        }
        free(path);
    }
    closedir(dir);
    return count;
}

static void check_said(struct said said, int status)
{
    check_words(said.out, "standard output");
    check_words(said.err, "standard error");
    assert_null(strstr(said.out, ".wav: bad ")); /* a name that cannot be shown as it is stands in front once, too */
    if (said.status != status)
        fail_msg("status %d: %s", said.status, said.err);
    said_free(&said);
}

static void no_text_from_outside_becomes_anything_but_text(void **state)
{
    struct place *p = *state;
    write_takes(p);
    const char *digest = folder_digest(p->session, ".");
    check_said(RUN("clean", p->session, "-o", p->out, "-v"), 1); /* one take is bad */
    write_decisions(p);
    check_said(RUN("clean", p->session, "-o", p->out, "-v"), 1);
    assert_true(file_exists(in_folder(p->out, "pieces/=1+1" OVERRIDE "<x-evil>.wav"))); /* what was decided was taken */
    check_said(RUN("clean", p->session, "-o", p->out), 1);
    struct said json = RUN("clean", p->session, "-o", p->out, "--json", "-q");
    check_json(json.out, "clean --json");
    said_free(&json);
    char take[4096], voice[4096];
    snprintf(take, sizeof take, "%s", take_path(p, take_names[3]));
    snprintf(voice, sizeof voice, "%s/voice/%s", p->out, take_names[3]);
    check_said(
        RUN("measure", "--", take, take_path(p, take_names[4]), take_path(p, "bad " TAG ESCAPES OVERRIDE ".wav")), 1);
    check_said(RUN("locate", p->out, "0:02"), 0);
    check_said(RUN("locate", p->out, "0:09"), 0);
    check_said(RUN("lengths", p->out, p->out), 0);
    check_said(RUN("compare", "-o", in_folder(p->folder, "compared" OVERRIDE), "--", take, voice), 0);
    check_said(RUN("clean", "no" TAG ESCAPES OVERRIDE), 2);
    check_said(RUN("settings", p->session), 0);
    check_said(RUN("clean", "--set", "gate.\033[31m" OVERRIDE "=1", p->session), 2);
    assert_true(check_all(p->out) > 6 * TAKES);
    assert_true(check_all(in_folder(p->folder, "compared" OVERRIDE)) > 2);
    assert_false(file_exists(in_folder(p->folder, "X")));
    assert_string_equal(digest, folder_digest(p->session, "."));
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test_setup_teardown(no_text_from_outside_becomes_anything_but_text, place_set_up, place_tear_down),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
