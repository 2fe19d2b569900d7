/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <string.h>

#include <cmocka.h>

#include "sheet_support.h"
#include "sheet/pause_trim.h"
#include "sheet/time_map.h"

enum { RATE = 48000, MS = RATE / 1000 };

/* A take of so many ms with runs given as pairs of ms. */
struct made_take {
    struct tt_heard heard;
    struct tt_run runs[64];
};

static void make_take(struct made_take *take, int64_t ms, size_t run_count, const int (*runs)[2])
{
    *take = (struct made_take){0};
    take->heard.facts.rate_hz = RATE;
    take->heard.facts.frame_count = ms * MS;
    for (size_t i = 0; i < run_count; i++)
        take->runs[i] = (struct tt_run){.start_sample = runs[i][0] * (int64_t)MS,
                                        .end_sample = runs[i][1] * (int64_t)MS,
                                        .level_db = -20,
                                        .over_floor_db = 30,
                                        .voiced_share = 0.5F};
    take->heard.runs = take->runs;
    take->heard.run_count = run_count;
}

/* Three lines with pauses of 1, 3, 3 and 2 seconds. */
static const int lines[][2] = {{1000, 5000}, {8000, 12000}, {15000, 18000}};
static void make_lines(struct made_take *take) { make_take(take, 20000, 3, lines); }

static struct tt_time_map built(struct tt_sheet *sheet, const struct made_take *take)
{
    struct tt_time_map map;
    struct tt_error err = {0};
    seal(sheet);
    if (!tt_time_map_build(sheet, &take->heard, &map, &err))
        fail_msg("%s", err.message);
    return map;
}

/* "start-end+fill/fade" of each stretch, in ms where whole. */
static void expect_map(const struct tt_time_map *map, const char *expected)
{
    struct tt_text text = {0};
    tt_text_addf(&text, "%g:", (double)map->lead_samples / MS);
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *stretch = &map->stretches[i];
        tt_text_addf(&text, " %g-%g", (double)stretch->source_start / MS, (double)stretch->source_end / MS);
        if (stretch->fill_samples)
            tt_text_addf(&text, "+%g", (double)stretch->fill_samples / MS);
        if (stretch->fade_samples)
            tt_text_addf(&text, "/%g", (double)stretch->fade_samples / MS);
    }
    assert_string_equal(text.data, expected);
    tt_text_free(&text);
}

/* One sheet of up to a few rows over the three lines. */
struct wanted_row {
    int start_ms, end_ms;
    enum tt_row_kind kind;
    enum tt_row_action action;
    double amount;
};

static void expect_of_lines(size_t count, const struct wanted_row *rows, const char *expected)
{
    struct made_take take;
    struct tt_sheet sheet = new_sheet();
    make_lines(&take);
    for (size_t i = 0; i < count; i++)
        propose(&sheet, rows[i].start_ms, rows[i].end_ms, rows[i].kind, rows[i].action, rows[i].amount);
    struct tt_time_map map = built(&sheet, &take);
    expect_map(&map, expected);
    tt_time_map_free(&map);
    tt_sheet_free(&sheet);
}
#define EXPECT(expected, ...)                                                                                          \
    expect_of_lines(sizeof((const struct wanted_row[]){__VA_ARGS__}) / sizeof(struct wanted_row),                      \
                    (const struct wanted_row[]){__VA_ARGS__}, expected)
#define CUT(start, end)                                                                                                \
    {                                                                                                                  \
        start, end, TT_ROW_TALK, TT_DO_CUT, NAN                                                                        \
    }
#define SHORTEN(start, end, stay_s)                                                                                    \
    {                                                                                                                  \
        start, end, TT_ROW_PAUSE, TT_DO_SHORTEN, stay_s                                                                \
    }
#define SOUND(start, end, kind)                                                                                        \
    {                                                                                                                  \
        start, end, TT_ROW_##kind, TT_DO_SOFTEN, 12                                                                    \
    }
#define GAP(start, seconds)                                                                                            \
    {                                                                                                                  \
        start, start, TT_ROW_GAP, TT_DO_OPEN, seconds                                                                  \
    }

static void an_empty_sheet_keeps_the_whole_take(void **state)
{
    (void)state;
    struct made_take take;
    struct tt_sheet sheet = new_sheet();
    make_lines(&take);
    struct tt_time_map map = built(&sheet, &take);
    expect_map(&map, "0: 0-20000");
    assert_int_equal(map.out_samples, 20000 * MS);
    tt_time_map_free(&map);
    tt_sheet_free(&sheet);
}

static void keeping_and_asking_change_nothing(void **state)
{
    (void)state;
    EXPECT("0: 0-20000", {1000, 5000, TT_ROW_MISREAD, TT_DO_ASK, NAN}, {8000, 12000, TT_ROW_MISREAD, TT_DO_KEEP, NAN},
           {5000, 8000, TT_ROW_PAUSE, TT_DO_KEEP, NAN}, {12500, 12500, TT_ROW_GAP, TT_DO_KEEP, 4},
           {12600, 12700, TT_ROW_NOISE, TT_DO_ASK, NAN}, SHORTEN(12700, 15000, 2.3));
}

static void cuts_go_and_touching_ones_are_one(void **state)
{
    (void)state;
    EXPECT("0: 0-7500/40 12500-20000", CUT(7500, 12200), {12200, 12500, TT_ROW_PAUSE, TT_DO_CUT, NAN});
    EXPECT("0: 500-20000", CUT(0, 500));
    EXPECT("0: 0-19500", CUT(19500, 20000));
    EXPECT("0:", CUT(0, 20000));
    EXPECT("0: 0-6000/40 7000-20000", CUT(6000, 6500), CUT(6509, 7000)); /* 9 ms in between are no stretch */
}

static void fades_stay_off_speech(void **state)
{
    (void)state;
    EXPECT("0: 0-5005/10 7000-20000", CUT(5005, 7000)); /* 5 ms from the line's end */
    EXPECT("0: 0-6000/16 7992-20000", CUT(6000, 7992));
    EXPECT("0: 0-3000/3 9000-20000", CUT(3000, 9000));   /* through speech: the least that does not click */
    EXPECT("0: 0-7996/8 12500-20000", CUT(7996, 12500)); /* speech that goes is not to be heard either */
    EXPECT("0: 0-6000/10 6020-6040/10 7000-20000", CUT(6000, 6020), CUT(6040, 7000)); /* half of the 20 ms between */
}

static void pauses_lose_their_middle_and_at_the_ends_the_outside(void **state)
{
    (void)state;
    EXPECT("0: 0-5500/40 7500-20000", SHORTEN(5000, 8000, 1));
    EXPECT("0: 750-18250", SHORTEN(0, 1000, 0.25), SHORTEN(18000, 20000, 0.25));
    EXPECT("0: 0-5100/40 7900-20000", SHORTEN(5000, 8000, 0.2)); /* less than twice 120 ms: shared evenly */
    EXPECT("0: 0-5000/3 8000-20000", SHORTEN(5000, 8000, 0));
    EXPECT("0: 0-20000", SHORTEN(5000, 8000, 3), SHORTEN(12000, 15000, 4));
}

static void sounds_in_a_pause_go_whole_or_stay_whole(void **state)
{
    (void)state;
    /* A noise across the edge of what would go (5500-7500): it goes whole, as that is nearer than leaving it. */
    EXPECT("0: 0-5400/40 7400-20000", SHORTEN(5000, 8000, 1), SOUND(5400, 5700, NOISE));
    /* The breath before the next line stays, where anything else would go. */
    EXPECT("0: 0-5200/40 7200-20000", SHORTEN(5000, 8000, 1), SOUND(7200, 7700, BREATH));
    EXPECT("0: 0-5700/40 7700-20000", SHORTEN(5000, 8000, 1), SOUND(7200, 7700, NOISE));
    /* With the click of the lips that it begins with; another sound right before it is one of its own. */
    EXPECT("0: 0-5160/40 7160-20000", SHORTEN(5000, 8000, 1), SOUND(7160, 7200, CLICK), SOUND(7200, 7700, BREATH));
    EXPECT("0: 0-5200/40 7200-20000", SHORTEN(5000, 8000, 1), SOUND(7160, 7200, NOISE), SOUND(7200, 7700, BREATH));
    EXPECT("0: 0-5200/40 7200-20000", SHORTEN(5000, 8000, 1), SOUND(7160, 7199, CLICK), SOUND(7200, 7700, BREATH));
    /* A breath that leaves too little: a little more of the pause stays than was asked for, and the breath with it. */
    EXPECT("0: 0-5100/40 7100-20000", SHORTEN(5000, 8000, 1), SOUND(7100, 7950, BREATH));
    /* One that is too long, hard by the line, goes whole where what stays is then nearer to what was asked for. */
    EXPECT("0: 0-6300/20 7990-20000", SHORTEN(5000, 8000, 1.4), SOUND(6300, 7990, BREATH));
    EXPECT("0: 0-5070/40 5800-20000", SHORTEN(5000, 8000, 1.9), SOUND(5800, 7990, BREATH));
    /* Not for any price: half a second more would stay. */
    EXPECT("0: 0-5680/40 7680-20000", SHORTEN(5000, 8000, 1), SOUND(6500, 7680, BREATH));
}

static void beside_a_cut_a_pause_is_shortened_from_the_cut_on(void **state)
{
    (void)state;
    EXPECT("0: 0-5300/40 7500-20000", SHORTEN(5000, 5600, 0.3), CUT(5600, 6400), SHORTEN(6400, 8000, 0.5));
    /* What sounds there goes whole, or stays. */
    EXPECT("0: 0-4000/3 5830-20000", CUT(4000, 5000), SHORTEN(5000, 6000, 0.2), SOUND(5040, 5830, NOISE));
    EXPECT("0: 0-5200/40 6400-20000", SHORTEN(5000, 5600, 0.3), CUT(5600, 6400), SOUND(5200, 5400, BREATH));
    /* The breath of the next line stays where little is lost by it, else it goes whole. */
    EXPECT("0: 0-5600/40 7460-20000", CUT(5600, 6400), SHORTEN(6400, 8000, 0.5), SOUND(7460, 7850, BREATH));
    EXPECT("0: 0-5600/40 7850-20000", CUT(5600, 6400), SHORTEN(6400, 8000, 0.5), SOUND(7400, 7850, BREATH));
    EXPECT("0: 0-5600/40 7400-20000", CUT(5600, 6400), SHORTEN(6400, 8000, 0.5), SOUND(7400, 7890, BREATH));
}

/* A room whose levels are known: rustle around the end of a cut at 6400 ms. */
static void a_join_of_the_programs_moves_off_a_rustle_but_not_where_a_person_set_something(void **state)
{
    (void)state;
    static const int talk[][2] = {{1000, 5000}, {5800, 6100}, {8000, 12000}};
    static int8_t levels[2000], cepstra[2000][TT_CEPSTRA];
    memset(levels, -70, sizeof levels);
    memset(levels + 635, -50, 10);
    for (int is_persons = 0; is_persons < 3; is_persons++) {
        struct made_take take;
        struct tt_sheet sheet = new_sheet();
        make_take(&take, 20000, 3, talk);
        for (size_t i = 0; i < take.heard.run_count; i++)
            take.runs[i].loud_start_sample = take.runs[i].start_sample;
        take.heard.facts.feature_hop_samples = 10 * MS;
        take.heard.feature_count = 2000;
        take.heard.levels = levels;
        take.heard.cepstra = cepstra[0];
        if (is_persons == 1)
            read_rows(&sheet, HEADER "03.wav,,5.600,6.400,talk,,cut,,,,\r\n");
        else if (is_persons == 2)
            read_rows(&sheet, HEADER "03.wav,,6.450,6.500,other,,keep,,,,\r\n");
        if (is_persons != 1)
            propose(&sheet, 5600, 6400, TT_ROW_TALK, TT_DO_CUT, NAN);
        struct tt_time_map map = built(&sheet, &take);
        expect_map(&map, is_persons ? "0: 0-5600/40 6400-20000" : "0: 0-5650/40 6450-20000");
        tt_time_map_free(&map);
        tt_sheet_free(&sheet);
    }
}

static void a_cut_sound_does_not_count_as_staying(void **state)
{
    (void)state;
    EXPECT("0: 0-5500/40 7500-20000", SHORTEN(5000, 8000, 1), {6400, 6800, TT_ROW_BREATH, TT_DO_CUT, NAN});
    EXPECT("0: 0-5200/40 5500-5800/40 7500-20000", SHORTEN(5000, 8000, 1), {5200, 5500, TT_ROW_BREATH, TT_DO_CUT, NAN});
}

static void a_persons_breath_is_never_taken_with_a_pause(void **state)
{
    (void)state;
    struct made_take take;
    struct tt_sheet sheet = new_sheet();
    make_lines(&take);
    read_rows(&sheet, HEADER "03.wav,,6.000,6.400,breath,,keep,,,,\r\n");
    propose(&sheet, 5000, 8000, TT_ROW_PAUSE, TT_DO_SHORTEN, 1);
    struct tt_time_map map = built(&sheet, &take);
    expect_map(&map, "0: 0-6400/40 7880-20000");
    tt_time_map_free(&map);
    tt_sheet_free(&sheet);
}

static void a_persons_click_stays_where_the_breath_behind_it_goes(void **state)
{
    (void)state;
    struct made_take take;
    struct tt_sheet sheet = new_sheet();
    make_lines(&take);
    read_rows(&sheet, HEADER "03.wav,,6.300,6.340,click,,keep,,,,\r\n");
    propose(&sheet, 6340, 7990, TT_ROW_BREATH, TT_DO_SOFTEN, 12);
    propose(&sheet, 5000, 8000, TT_ROW_PAUSE, TT_DO_SHORTEN, 1.4);
    struct tt_time_map map = built(&sheet, &take);
    expect_map(&map, "0: 0-6340/20 7990-20000");
    tt_time_map_free(&map);
    tt_sheet_free(&sheet);
}

static void gaps_open_in_the_middle_of_the_pause(void **state)
{
    (void)state;
    EXPECT("0: 0-6500+4000/40 6500-20000", GAP(5100, 4));
    EXPECT("0: 0-6500+4000/40 6500-20000", GAP(4500, 4));                         /* within a line: the nearest pause */
    EXPECT("0: 0-5500+4000/40 7500-20000", GAP(5100, 4), SHORTEN(5000, 8000, 1)); /* where that is cut: at the join */
    EXPECT("0: 0-6500+6000/40 6500-20000", GAP(5100, 4), GAP(7000, 2));
    EXPECT("4000: 750-20000", GAP(0, 4), SHORTEN(0, 1000, 0.25));
    EXPECT("0: 0-18500+4000/40", GAP(19000, 4), CUT(18500, 20000));
    EXPECT("0: 0-6400+4000/40 6400-20000", GAP(5100, 4), SOUND(6400, 6700, BREATH)); /* beside a breath */
    EXPECT("0: 0-500+4000/40 500-6500+1/1 6500-20000", GAP(0, 4),
           GAP(6000, 0.001)); /* a fade is no longer than its fill */
    EXPECT("0:", GAP(6000, 4), CUT(0, 20000));
}

static void a_gap_far_from_any_pause_opens_where_it_was_asked_for(void **state)
{
    (void)state;
    static const int runs[][2] = {{1000, 9000}};
    struct made_take take;
    struct tt_sheet sheet = new_sheet();
    make_take(&take, 20000, 1, runs);
    propose(&sheet, 5000, 5000, TT_ROW_GAP, TT_DO_OPEN, 2);
    propose(&sheet, 9010, 9010, TT_ROW_GAP, TT_DO_OPEN, 2);
    propose(&sheet, 12000, 12000, TT_ROW_GAP, TT_DO_OPEN, 2);
    struct tt_time_map map = built(&sheet, &take);
    expect_map(&map, "0: 0-5000+2000/3 5000-9120+2000/40 9120-12000+2000/40 12000-20000");
    tt_time_map_free(&map);
    tt_sheet_free(&sheet);
}

static void a_time_at_the_last_millisecond_is_the_takes_end(void **state)
{
    (void)state;
    struct made_take take;
    struct tt_sheet sheet = new_sheet();
    make_lines(&take);
    take.heard.facts.frame_count += 40; /* 20000.83 ms: the sheet says 20000 or 20001 */
    propose(&sheet, 18000, 20000, TT_ROW_PAUSE, TT_DO_SHORTEN, 0.25);
    struct tt_time_map map = built(&sheet, &take);
    assert_int_equal(map.count, 1);
    assert_int_equal(map.out_samples, 18250 * MS);
    tt_time_map_free(&map);
    tt_sheet_free(&sheet);
}

static void places_are_found_both_ways(void **state)
{
    (void)state;
    struct made_take take;
    struct tt_sheet sheet = new_sheet();
    make_lines(&take);
    propose(&sheet, 0, 500, TT_ROW_TALK, TT_DO_CUT, NAN);
    propose(&sheet, 7000, 13600, TT_ROW_MISREAD, TT_DO_CUT, NAN);
    propose(&sheet, 12900, 12900, TT_ROW_GAP, TT_DO_OPEN, 1);
    propose(&sheet, 0, 0, TT_ROW_GAP, TT_DO_OPEN, 2);
    propose(&sheet, 19500, 20000, TT_ROW_OTHER, TT_DO_CUT, NAN);
    struct tt_time_map map = built(&sheet, &take);
    /* The gap at 0 opens in the middle of the head, which is where the first cut ends: 500. */
    expect_map(&map, "2000: 500-7000+1000/40 13600-19500");
    assert_int_equal(map.out_samples, (2000 + 6500 + 1000 + 5900) * MS);
    assert_int_equal(tt_time_map_to_out(&map, 500 * MS), 2000 * MS);
    assert_int_equal(tt_time_map_to_out(&map, 500 * MS - 1), -1);
    assert_int_equal(tt_time_map_to_out(&map, 7000 * MS), -1);
    assert_int_equal(tt_time_map_to_out(&map, 13600 * MS), 9500 * MS);
    assert_int_equal(tt_time_map_nearest_out(&map, 0), 2000 * MS);
    assert_int_equal(tt_time_map_nearest_out(&map, 9000 * MS), 8500 * MS);
    assert_int_equal(tt_time_map_nearest_out(&map, 19999 * MS), map.out_samples);
    tt_time_map_free(&map);
    tt_sheet_free(&sheet);
}

/* ---- properties over random sheets ---- */

static uint64_t next_random(uint64_t *random) /* Knuth, MMIX */
{
    *random = *random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return *random >> 33;
}
static int64_t below(uint64_t *random, int64_t limit) { return (int64_t)(next_random(random) % (uint64_t)limit); }

static void make_random_take(struct made_take *take, uint64_t *random)
{
    static const int rates[] = {8000, 11025, 44100, 48000, 96000};
    *take = (struct made_take){0};
    take->heard.facts.rate_hz = rates[below(random, 5)];
    take->heard.facts.frame_count =
        below(random, 20) ? below(random, 30 * take->heard.facts.rate_hz) : below(random, 20);
    take->heard.runs = take->runs;
    int64_t at = 0;
    for (size_t i = 0; i < 20; i++) {
        int64_t start = at + below(random, 2 * take->heard.facts.rate_hz),
                end = start + 1 + below(random, 2 * take->heard.facts.rate_hz);
        if (end > take->heard.facts.frame_count)
            break;
        take->runs[take->heard.run_count++] = (struct tt_run){
            .start_sample = start, .end_sample = end, .level_db = -20, .over_floor_db = 30, .voiced_share = 0.5F};
        at = end + below(random, 2);
    }
}

static void make_random_sheet(struct tt_sheet *sheet, int64_t duration_ms, uint64_t *random)
{
    static const int longest[] = {2, 30, 600, 5000};
    int count = (int)below(random, 25);
    for (int i = 0; i < count; i++) {
        enum tt_row_kind kind = (enum tt_row_kind)below(random, TT_ROW_KINDS);
        enum tt_row_action action = (enum tt_row_action)below(random, TT_DO_ACTIONS);
        if (!tt_row_allows(kind, action))
            continue;
        int64_t start = below(random, duration_ms + 1), end = start + below(random, longest[below(random, 4)]);
        propose(sheet, start, end < duration_ms ? end : duration_ms, kind, action, 0.001 * (double)below(random, 3000));
        if (below(random, 4) == 0 && sheet->count)
            sheet->rows[sheet->count - 1].is_persons = true;
    }
}

static void check_fades(const struct tt_time_map *map, int64_t frames)
{
    int64_t last_half = map->lead_fade_samples / 2;
    assert_true(map->lead_fade_samples >= 0 && map->lead_fade_samples % 2 == 0 &&
                map->lead_fade_samples <= map->lead_samples);
    if (map->count)
        assert_true(map->stretches[0].source_start - last_half >= 0);
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *stretch = &map->stretches[i], *next = i + 1 < map->count ? stretch + 1 : NULL;
        int64_t half = stretch->fade_samples / 2;
        assert_true(stretch->fade_samples >= 0 && stretch->fade_samples % 2 == 0 &&
                    stretch->fade_samples <= map->rate_hz / 25);
        assert_true(stretch->source_end + half <= frames);
        assert_true(last_half + half <= stretch->source_end - stretch->source_start);
        if (stretch->fill_samples)
            assert_true(2 * half <= stretch->fill_samples);
        if (next)
            assert_true(next->source_start - half >= 0);
        if (next && (!stretch->fill_samples || stretch->fill_samples > map->rate_hz / 100))
            assert_true(stretch->fade_samples >= map->rate_hz * 3 / 1000 / 2 * 2 - 2);
        if (!next && !stretch->fill_samples)
            assert_int_equal(half, 0);
        last_half = half;
    }
}

static void check_map(const struct tt_time_map *map, int64_t frames)
{
    int64_t out = map->lead_samples, source = 0;
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *stretch = &map->stretches[i];
        int64_t length = stretch->source_end - stretch->source_start, samples[] = {0, length / 3, length - 1};
        assert_true(stretch->source_start >= source && length > 0 && stretch->source_end <= frames &&
                    stretch->fill_samples >= 0);
        assert_true(stretch->out_start == out);
        for (int s = 0; s < 3; s++) {
            assert_true(tt_time_map_to_out(map, stretch->source_start + samples[s]) == out + samples[s]);
            assert_true(tt_time_map_nearest_out(map, stretch->source_start + samples[s]) == out + samples[s]);
        }
        if (stretch->source_start > source)
            assert_true(tt_time_map_to_out(map, stretch->source_start - 1) == -1);
        out += length + stretch->fill_samples;
        source = stretch->source_end;
    }
    assert_true(out == map->out_samples);
    assert_true(tt_time_map_to_out(map, source) == -1);
    for (int64_t at = 0; at <= frames; at += 1 + frames / 50)
        assert_true(tt_time_map_nearest_out(map, at) >= 0 && tt_time_map_nearest_out(map, at) <= map->out_samples);
}

/* What was decided is what happens: cuts are out, opened gaps are in, and softened sounds are whole or gone. */
static void check_decisions(const struct tt_time_map *map, const struct tt_sheet *sheet, int64_t frames)
{
    struct tt_span *spans;
    size_t count;
    int64_t fills = map->lead_samples, wanted_fills = 0;
    struct tt_error err = {0};
    assert_true(tt_sheet_cut_spans(sheet, &spans, &count, &err));
    for (size_t i = 0; i < count; i++) {
        int64_t start = spans[i].start_ms * map->rate_hz / 1000 + 1, end = spans[i].end_ms * map->rate_hz / 1000 - 1;
        if (end > start && end < frames)
            assert_true(tt_time_map_to_out(map, start) == -1 && tt_time_map_to_out(map, (start + end) / 2) == -1);
    }
    free(spans);
    for (size_t i = 0; i < sheet->count; i++)
        if (sheet->rows[i].action == TT_DO_OPEN)
            wanted_fills += (int64_t)llround(sheet->rows[i].amount * map->rate_hz);
    for (size_t i = 0; i < map->count; i++)
        fills += map->stretches[i].fill_samples;
    assert_true(fills == (map->count ? wanted_fills : 0));
}

/* Member by member: what a compiler fills the gaps between them with is its own affair. */
static void assert_same_map(const struct tt_time_map *map, const struct tt_time_map *other)
{
    assert_int_equal(map->count, other->count);
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *a = &map->stretches[i], *b = &other->stretches[i];
        assert_true(a->source_start == b->source_start && a->source_end == b->source_end &&
                    a->out_start == b->out_start && a->fill_samples == b->fill_samples &&
                    a->fade_samples == b->fade_samples);
    }
}

static void every_map_adds_up(void **state)
{
    (void)state;
    uint64_t random = 7;
    for (int round = 0; round < 20000; round++) {
        struct made_take take;
        struct tt_sheet sheet = new_sheet();
        make_random_take(&take, &random);
        int64_t frames = take.heard.facts.frame_count;
        make_random_sheet(&sheet, frames * 1000 / take.heard.facts.rate_hz, &random);
        struct tt_time_map map = built(&sheet, &take), again = built(&sheet, &take);
        check_map(&map, frames);
        check_fades(&map, frames);
        check_decisions(&map, &sheet, frames);
        assert_same_map(&map, &again);
        tt_time_map_free(&map);
        tt_time_map_free(&again);
        tt_sheet_free(&sheet);
    }
}

/* What goes ends with a breath that is the program's and the last sound of the pause. */
static bool ends_with_breath(const struct pause *pause, const struct part *gone)
{
    bool ends = false;
    for (size_t i = 0; i < pause->sound_count; i++) {
        const struct part *sound = &pause->sounds[i].part;
        int64_t end = sound->end < pause->part.end ? sound->end : pause->part.end;
        if (sound->start >= pause->part.end || end < gone->end)
            continue;
        ends = pause->sounds[i].is_breath && !pause->sounds[i].is_firm && end == gone->end && sound->start < gone->end;
    }
    return ends;
}

/* Small numbers, so that everything touches everything. */
static void make_pause(uint64_t *random, struct pause *pause, struct pause_sound sounds[4])
{
    *pause = (struct pause){.part = {10, 10 + 1 + below(random, 40)},
                            .sounds = sounds,
                            .margin_before_samples = below(random, 5),
                            .margin_after_samples = below(random, 5),
                            .margin_least_samples = below(random, 5),
                            .breath_worth_samples = 3};
    int64_t at = 5;
    pause->stay_samples = below(random, 45);
    for (; pause->sound_count < (size_t)below(random, 5); pause->sound_count++) {
        int64_t start = at + below(random, 12), end = start + 1 + below(random, 8);
        sounds[pause->sound_count] = (struct pause_sound){{start, end}, below(random, 2), below(random, 6) == 0};
        at = end;
    }
    pause->is_head = below(random, 6) == 0;
    pause->is_tail = below(random, 6) == 0;
}

/* No more goes than was asked for, but for a breath that goes whole, and the margins stay. */
static void check_length_of_trim(const struct pause *pause, const struct part *gone)
{
    const int64_t asked = pause->part.end - pause->part.start - pause->stay_samples, half = pause->stay_samples / 2;
    const bool is_edge = pause->is_head || pause->is_tail, is_breath = !is_edge && ends_with_breath(pause, gone);
    int64_t before = pause->margin_before_samples, after = pause->margin_after_samples;
    if (pause->sound_count && before > pause->margin_least_samples)
        before = pause->margin_least_samples;
    before = before < half ? before : half;
    after = after < half ? after : half;
    assert_true(gone->start >= pause->part.start && gone->end <= pause->part.end && gone->end > gone->start);
    assert_true(is_edge || gone->end - gone->start <= (is_breath ? 2 * asked : asked));
    if (!is_edge)
        assert_true(gone->start - pause->part.start >= before && (is_breath || pause->part.end - gone->end >= after));
    if (pause->sound_count == 0)
        assert_int_equal(gone->end - gone->start, asked);
}

/* Sounds go whole or stay whole; firm ones stay. */
static void check_sounds_of_trim(const struct pause *pause, const struct part *gone)
{
    for (size_t i = 0; i < pause->sound_count; i++) {
        const struct part *sound = &pause->sounds[i].part;
        int64_t start = sound->start > pause->part.start ? sound->start : pause->part.start,
                end = sound->end < pause->part.end ? sound->end : pause->part.end;
        if (sound->start < gone->end && sound->end > gone->start)
            assert_true(start >= gone->start && end <= gone->end && !pause->sounds[i].is_firm);
    }
}

static void every_trim_keeps_its_word(void **state)
{
    (void)state;
    uint64_t random = 11;
    size_t trimmed = 0;
    for (int round = 0; round < 200000; round++) {
        struct pause_sound sounds[4];
        struct pause pause;
        struct part gone;
        make_pause(&random, &pause, sounds);
        if (!pause_trim(&pause, &gone))
            continue;
        trimmed++;
        check_length_of_trim(&pause, &gone);
        check_sounds_of_trim(&pause, &gone);
    }
    assert_true(trimmed > 50000);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(an_empty_sheet_keeps_the_whole_take),
        cmocka_unit_test(keeping_and_asking_change_nothing),
        cmocka_unit_test(cuts_go_and_touching_ones_are_one),
        cmocka_unit_test(fades_stay_off_speech),
        cmocka_unit_test(pauses_lose_their_middle_and_at_the_ends_the_outside),
        cmocka_unit_test(sounds_in_a_pause_go_whole_or_stay_whole),
        cmocka_unit_test(beside_a_cut_a_pause_is_shortened_from_the_cut_on),
        cmocka_unit_test(a_join_of_the_programs_moves_off_a_rustle_but_not_where_a_person_set_something),
        cmocka_unit_test(a_cut_sound_does_not_count_as_staying),
        cmocka_unit_test(a_persons_breath_is_never_taken_with_a_pause),
        cmocka_unit_test(a_persons_click_stays_where_the_breath_behind_it_goes),
        cmocka_unit_test(gaps_open_in_the_middle_of_the_pause),
        cmocka_unit_test(a_gap_far_from_any_pause_opens_where_it_was_asked_for),
        cmocka_unit_test(a_time_at_the_last_millisecond_is_the_takes_end),
        cmocka_unit_test(places_are_found_both_ways),
        cmocka_unit_test(every_map_adds_up),
        cmocka_unit_test(every_trim_keeps_its_word),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
