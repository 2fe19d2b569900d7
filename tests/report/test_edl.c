/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Read back by a small reader of our own, made from the grammar: title and FCM lines, event lines of eight fields in
 * the columns of CMX 3600 lists (1-3 event, 6-13 reel, 15-19 channels, 21 type, 30-40, 42-52, 54-64, 66-76 times),
 * comments behind '*'. */
#include "hive_session.h"

#include <ctype.h>

#include "report/plain.h"
#include "report/reels.h"

enum { EVENTS_MOST = 1200 };

struct event {
    int number;
    char reel[9], clip[256];
    int64_t frames[4];
    long long from, to;
    int marks;
};
struct edl {
    char title[100];
    bool is_drop;
    size_t count, comments, short_ones;
    struct event events[EVENTS_MOST];
    char marks[16][128];
    size_t mark_count;
};

static struct edl edl; /* large */

/* SMPTE ST 12-1, after the labels: numbers a second, left out at each minute but every tenth. */
static int64_t frames_of(const char *text, int per_second, int dropped)
{
    int h, m, s, f;
    char mark;
    assert_int_equal(sscanf(text, "%2d:%2d:%2d%c%2d", &h, &m, &s, &mark, &f), 5);
    assert_int_equal(mark, dropped ? ';' : ':');
    assert_true(h < 24 && m < 60 && s < 60 && f < per_second);
    int64_t minutes = 60 * h + m;
    return (60 * minutes + s) * per_second + f - dropped * (minutes - minutes / 10);
}

static void read_event(const char *line, int per_second, int dropped)
{
    assert_int_equal(strlen(line), 76);
    static const int starts[] = {0, 5, 14, 20, 29, 41, 53, 65}, ends[] = {3, 13, 19, 21, 40, 52, 64, 76};
    char fields[8][12] = {""};
    for (int i = 0, at = 0; i < 8; i++) {
        for (; at < starts[i]; at++)
            assert_int_equal(line[at], ' ');
        for (int k = 0; at < ends[i]; at++)
            fields[i][k++] = line[at];
        for (size_t k = strlen(fields[i]); k > 0 && fields[i][k - 1] == ' '; k--)
            fields[i][k - 1] = '\0';
    }
    struct event *event = &edl.events[edl.count++];
    *event = (struct event){.number = atoi(fields[0])};
    snprintf(event->reel, sizeof event->reel, "%.8s", fields[1]);
    assert_true(strspn(event->reel, "ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_") == strlen(event->reel) && event->reel[0]);
    assert_string_equal(fields[2], "A");
    assert_string_equal(fields[3], "C");
    for (int i = 0; i < 4; i++)
        event->frames[i] = frames_of(fields[4 + i], per_second, dropped);
}

static void read_comment(const char *line)
{
    struct event *event = edl.count ? &edl.events[edl.count - 1] : NULL;
    edl.comments++;
    assert_non_null(event);
    if (strncmp(line, "* FROM CLIP NAME: ", 18) == 0)
        snprintf(event->clip, sizeof event->clip, "%.200s", line + 18);
    if (strncmp(line, "* LOC: ", 7) == 0)
        event->marks++;
    if (strncmp(line, "* LOC: ", 7) == 0 && edl.mark_count < 16)
        snprintf(edl.marks[edl.mark_count++], 128, "%.100s", line + 7);
    if (strncmp(line, "* SHORTER", 9) == 0)
        edl.short_ones++;
    else if (!event->to)
        sscanf(line, "* TAKE SAMPLES %lld-%lld", &event->from, &event->to);
}

static bool read_part(const struct tt_session_report *session, int part, int per_second, int dropped)
{
    struct tt_text text = {0};
    struct tt_error err = {0};
    bool has_more = false;
    if (!tt_report_edl(session, part, &text, &has_more, &err))
        fail_msg("%s", err.message);
    memset(&edl, 0, sizeof edl);
    int number = 0;
    for (char *line = text.data, *end; *line; line = end + 1, number++) {
        end = strchr(line, '\n');
        assert_non_null(end);
        *end = '\0';
        for (char *c = line; *c; c++)
            assert_false(iscntrl((unsigned char)*c));
        if (number == 0) {
            assert_int_equal(strncmp(line, "TITLE: ", 7), 0);
            snprintf(edl.title, sizeof edl.title, "%.90s", line + 7);
        } else if (number == 1) {
            edl.is_drop = strcmp(line, "FCM: DROP FRAME") == 0;
            assert_true(edl.is_drop || strcmp(line, "FCM: NON-DROP FRAME") == 0);
            assert_int_equal(edl.is_drop, dropped > 0);
        } else if (line[0] == '*') {
            read_comment(line);
        } else if (line[0]) {
            read_event(line, per_second, dropped);
        }
    }
    tt_text_free(&text);
    return has_more;
}

static void assert_event(size_t i, const char *reel, int64_t source_in, int64_t record_in, int64_t record_out)
{
    assert_string_equal(edl.events[i].reel, reel);
    assert_int_equal(edl.events[i].frames[0], source_in);
    assert_int_equal(edl.events[i].frames[2], record_in);
    assert_int_equal(edl.events[i].frames[3], record_out);
}

/* Sample n of the narration is at 90000 + n / 1920 frames, halves up; of the first take at 900000 + n / 1920. */
static void events_lie_where_the_narration_has_them(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    assert_false(read_part(&hive.session, 0, 25, 0));
    assert_string_equal(edl.title, "Opening the hive in spring");
    assert_int_equal(edl.count, 9);
    assert_event(0, "BL", 0, 90000, 90013);
    assert_event(1, "01", 900000, 90013, 90063);
    assert_event(2, "01", 900138, 90063, 90160);
    assert_event(3, "01", 900265, 90160, 90220);
    assert_event(4, "BL", 0, 90220, 90320); /* the opened gap */
    assert_event(5, "01", 900325, 90320, 90495);
    assert_event(6, "BL", 0, 90495, 90513);
    assert_event(7, "02_RUCHE", 0, 90513, 90763);
    assert_event(8, "BL", 0, 90763, 90775);
    assert_string_equal(edl.events[1].clip, "01.wav");
    assert_string_equal(edl.events[7].clip, "02 - ruche.wav");
    assert_int_equal(edl.events[2].from, 264000);
    assert_int_equal(edl.events[2].to, 451200);
}

static void labels_gaps_and_questions_are_marked(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    read_part(&hive.session, 0, 25, 0);
    assert_int_equal(edl.mark_count, 3);
    assert_string_equal(edl.marks[0], "01:00:07:20 GREEN   the queen"); /* 24000 + 350400 samples: 195 frames */
    assert_string_equal(edl.marks[1], "01:00:08:20 BLUE    gap smoke");
    assert_string_equal(edl.marks[2], "01:00:13:20 RED     misread? read again 00:00:15.200-00:00:17.000");
    assert_int_equal(edl.events[3].marks, 1);
    assert_int_equal(edl.events[4].marks, 1);
    assert_int_equal(edl.events[5].marks, 1);
}

static void assert_gapless(int64_t start, int64_t end)
{
    for (size_t i = 0; i < edl.count; i++) {
        const int64_t *frames = edl.events[i].frames;
        assert_int_equal(edl.events[i].number, (int)i + 1);
        assert_int_equal(frames[2], i ? edl.events[i - 1].frames[3] : start);
        assert_true(frames[3] > frames[2]);
        assert_int_equal(frames[1] - frames[0], frames[3] - frames[2]);
    }
    assert_int_equal(edl.events[edl.count - 1].frames[3], end);
}

static void no_rate_leaves_holes_or_drifts(void **state)
{
    (void)state;
    static const struct {
        enum tt_frame_rate rate;
        const char *start;
        int per_second, dropped;
        double fps;
    } cases[] = {
        {TT_FPS_23976, "01:00:00:00", 24, 0, 24000 / 1001.0},
        {TT_FPS_24, "00:00:00:00", 24, 0, 24},
        {TT_FPS_25, "10:00:00:00", 25, 0, 25},
        {TT_FPS_2997, "01:00:00:00", 30, 0, 30000 / 1001.0},
        {TT_FPS_2997DF, "00:59:30;00", 30, 2, 30000 / 1001.0},
        {TT_FPS_30, "01:00:00:00", 30, 0, 30},
        {TT_FPS_50, "01:00:00:00", 50, 0, 50},
        {TT_FPS_5994, "01:00:00:00", 60, 0, 60000 / 1001.0},
        {TT_FPS_5994DF, "00:59:30;00", 60, 4, 60000 / 1001.0},
        {TT_FPS_60, "01:00:00:00", 60, 0, 60},
    };
    struct hive hive;
    hive_start(&hive);
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        hive.settings.deliver.frame_rate = cases[i].rate;
        snprintf(hive.settings.deliver.start, sizeof hive.settings.deliver.start, "%s", cases[i].start);
        assert_false(read_part(&hive.session, 0, cases[i].per_second, cases[i].dropped));
        int64_t start = frames_of(cases[i].start, cases[i].per_second, cases[i].dropped);
        assert_int_equal(edl.count, 9);
        assert_gapless(start, start + llround(31 * cases[i].fps));
        for (size_t k = 0; k < edl.count; k++)
            if (strcmp(edl.events[k].reel, "01") == 0) /* within half a frame of the true place */
                assert_float_equal((double)edl.events[k].frames[0],
                                   (36000 + (double)edl.events[k].from / 48000) * cases[i].fps, 0.5 + 1e-6);
    }
}

static void clips_of_whole_takes_point_to_them(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.settings.deliver.whole = true;
    read_part(&hive.session, 0, 25, 0);
    assert_string_equal(edl.events[1].clip, "whole/01.wav");
    assert_event(2, "01", 900138, 90063, 90160); /* such a file has the recording's time of day in its bext */
    hive.settings.deliver.format = TT_CONTAINER_FLAC;
    read_part(&hive.session, 0, 25, 0);
    assert_event(2, "01", 138, 90063, 90160); /* FLAC has none: it counts from 0 */
    assert_string_equal(edl.events[7].clip, "whole/02 - ruche.flac");
}

/* 1200 stretches of 0.9 s with 0.1 s cut between them. */
static void long_lists_are_split(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    struct tt_stretch *stretches = calloc(1200, sizeof *stretches);
    for (int i = 0; i < 1200; i++)
        stretches[i] = (struct tt_stretch){48000 * i, 48000 * i + 43200, 43200 * i, 0, 0};
    hive.maps[0] =
        (struct tt_time_map){.rate_hz = 48000, .stretches = stretches, .count = 1200, .out_samples = 1200 * 43200};
    hive.takes[0].narration_start_frame = 0;
    hive.takes[0].time_reference_frames = -1;
    hive.session.take_count = 1;
    hive.session.narration_frames = hive.maps[0].out_samples;
    hive.rows[6].start_ms = 1100000, hive.rows[6].end_ms = 1101000; /* the question: in the second part */
    assert_true(read_part(&hive.session, 0, 25, 0));
    assert_int_equal(edl.count, 999);
    assert_string_equal(edl.title, "Opening the hive in spring PART 1");
    int64_t middle = 90000 + (999 * 43200 + 960) / 1920;
    assert_gapless(90000, middle);
    size_t marks = edl.mark_count;
    assert_false(read_part(&hive.session, 1, 25, 0));
    assert_int_equal(edl.count, 201);
    assert_string_equal(edl.title, "Opening the hive in spring PART 2");
    assert_gapless(middle, 90000 + 1200 * 43200 / 1920);
    assert_int_equal(edl.events[0].frames[0], 999 * 25);
    assert_int_equal(marks, 2);
    assert_int_equal(edl.mark_count, 1);
    hive.maps[0].count = 999;
    hive.session.narration_frames = 999 * 43200;
    assert_false(read_part(&hive.session, 0, 25, 0));
    assert_string_equal(edl.title, "Opening the hive in spring");
    free(stretches);
}

static void what_is_shorter_than_a_frame_is_named_and_left_out(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    struct tt_stretch *piece = &hive.stretches[1];
    piece->source_start = piece->source_end - 400; /* 8 ms */
    for (size_t i = 2; i < HIVE_STRETCHES; i++)
        hive.stretches[i].out_start -= 187200 - 400;
    assert_false(read_part(&hive.session, 0, 25, 0));
    assert_int_equal(edl.short_ones, 1);
    assert_gapless(90000, 90775);
}

static void hostile_names_stay_in_their_line(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.takes[0].name = "a\n999  EVIL     V     C        00:00:00:00\r\x1b[2J\xc2\x9b\xff\xe2\x80\xae.wav";
    hive.takes[0].stem = "\n\n";
    hive.session.name = "Opening\nFCM: DROP FRAME";
    snprintf(hive.notes[4], sizeof hive.notes[4], "the\nqueen");
    assert_false(read_part(&hive.session, 0, 25, 0));
    assert_int_equal(edl.count, 9);
    assert_string_equal(edl.title, "Opening?FCM: DROP FRAME");
    assert_string_equal(edl.events[1].clip, "a?999  EVIL     V     C        00:00:00:00??[2J???.wav");
    assert_string_equal(edl.events[1].reel, "TAKE");
    assert_string_equal(edl.marks[0], "01:00:07:20 GREEN   the?queen");
}

static void reels_are_short_and_never_twice(void **state)
{
    (void)state;
    enum { MANY = 300 };
    static const char *const stems[] = {"take 2",
                                        "Take_2",
                                        "TAKE-2",
                                        "bl",
                                        "AX",
                                        "r\xc3\xa9sum\xc3\xa9",
                                        "",
                                        "___",
                                        "hive-in-spring-012",
                                        "hive-in-spring-013",
                                        "XIN-SPRING-013"};
    static struct tt_take_report takes[MANY];
    for (size_t i = 0; i < MANY; i++)
        takes[i] = (struct tt_take_report){.stem = i < sizeof stems / sizeof *stems ? stems[i] : "the same again"};
    struct tt_session_report session = {.takes = takes, .take_count = MANY};
    char(*reels)[TT_REEL_CHARS];
    struct tt_error err = {0};
    assert_true(tt_reels_make(&session, &reels, &err));
    static const char *const expected[] = {"TAKE_2", "TAKE_2_2", "TAKE_2_3", "BL_4",     "AX_5",
                                           "R_SUM_", "TAKE",     "TAKE_8",   "RING_012", "RING_013"};
    for (size_t i = 0; i < 10; i++)
        assert_string_equal(reels[i], expected[i]);
    for (size_t i = 0; i < MANY; i++) {
        assert_true(strlen(reels[i]) > 0 && strlen(reels[i]) <= 8);
        for (size_t k = 0; k < i; k++)
            assert_string_not_equal(reels[i], reels[k]);
    }
    free(reels);
}

static void a_session_without_a_narration_has_no_events(void **state)
{
    (void)state;
    struct hive hive;
    hive_start(&hive);
    hive.session.has_narration = false;
    assert_false(read_part(&hive.session, 0, 25, 0));
    assert_int_equal(edl.count, 0);
    struct tt_text text = {0};
    struct tt_error err = {0};
    bool has_more;
    snprintf(hive.settings.deliver.start, sizeof hive.settings.deliver.start, "01:00:00:25");
    assert_false(tt_report_edl(&hive.session, 0, &text, &has_more, &err));
    assert_int_equal(err.kind, TT_ERROR_USAGE);
    tt_text_free(&text);
}

static void plain_text_keeps_whole_characters(void **state)
{
    (void)state;
    struct tt_text text = {0};
    tt_plain_add(&text,
                 "\xc3\xa9t\xc3\xa9 \xf0\x9f\x90\x9d\x7f\xc2\x80\xc2\xa0\xe2\x80\x99\xe2\x80\xa8\xe2\x81\xa6\xc3");
    assert_string_equal(text.data, "\xc3\xa9t\xc3\xa9 \xf0\x9f\x90\x9d??\xc2\xa0\xe2\x80\x99???");
    tt_text_free(&text);
    tt_plain_add_fit(&text, "\xc3\xa9t\xc3\xa9", 5, true);
    tt_plain_add_fit(&text, "|\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9\xc3\xa9", 5, true);
    tt_plain_add_fit(&text, "|12345|", 7, true);
    assert_string_equal(text.data, "\xc3\xa9t\xc3\xa9  |\xc3\xa9...|12345|");
    tt_text_free(&text);
    tt_utf8_add(&text, "\xc3\xa9\x1b\xff");
    assert_string_equal(text.data, "\xc3\xa9\x1b\xef\xbf\xbd");
    tt_text_free(&text);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(events_lie_where_the_narration_has_them),
        cmocka_unit_test(labels_gaps_and_questions_are_marked),
        cmocka_unit_test(no_rate_leaves_holes_or_drifts),
        cmocka_unit_test(clips_of_whole_takes_point_to_them),
        cmocka_unit_test(long_lists_are_split),
        cmocka_unit_test(what_is_shorter_than_a_frame_is_named_and_left_out),
        cmocka_unit_test(hostile_names_stay_in_their_line),
        cmocka_unit_test(reels_are_short_and_never_twice),
        cmocka_unit_test(a_session_without_a_narration_has_no_events),
        cmocka_unit_test(plain_text_keeps_whole_characters),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
