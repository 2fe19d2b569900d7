/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "pipeline/editor.h"
#include "support.h"

struct gathered {
    float samples[200000];
    size_t count;
};

static bool gather(void *context, const float *samples, size_t count, struct tt_error *err)
{
    (void)err;
    struct gathered *gathered = context;
    assert_true(gathered->count + count <= sizeof gathered->samples / sizeof *gathered->samples);
    memcpy(gathered->samples + gathered->count, samples, count * sizeof *samples);
    gathered->count += count;
    return true;
}

static float power[401];
static int64_t node = 0;
static struct tt_floor_track quiet_room(void)
{
    struct tt_stft_shape shape = tt_stft_shape_for(8000);
    for (int k = 0; k < shape.bin_count; k++)
        power[k] = 1e-6f;
    return (struct tt_floor_track){.shape = shape, .node_count = 1, .node_sample = &node, .power = power};
}

/* Runs a ramp (sample n has the value n) through a map, fed in parts of a size. */
static void edit_ramp(const struct tt_time_map *map, int64_t length, size_t part, struct gathered *gathered)
{
    struct tt_error error = {0};
    struct tt_floor_track room = quiet_room();
    struct tt_room_tone *tone = tt_room_tone_create(&room, 1, 1, &error);
    gathered->count = 0;
    struct tt_editor *editor = tt_editor_create(map, tone, NULL, gather, gathered, &error);
    assert_non_null(editor);
    float *ramp = malloc((size_t)length * sizeof *ramp);
    for (int64_t i = 0; i < length; i++)
        ramp[i] = (float)i;
    for (int64_t at = 0; at < length; at += (int64_t)part)
        assert_ok(tt_editor_add(editor, ramp + at, (size_t)(length - at) < part ? (size_t)(length - at) : part, &error),
                  error);
    assert_ok(tt_editor_finish(editor, &error), error);
    tt_editor_destroy(editor);
    tt_room_tone_destroy(tone);
    free(ramp);
}

static void one_whole_stretch_passes_bit_for_bit(void **state)
{
    (void)state;
    struct tt_stretch stretch = {.source_start = 0, .source_end = 5000};
    struct tt_time_map map = {.rate_hz = 8000, .stretches = &stretch, .count = 1, .out_samples = 5000};
    static struct gathered out;
    edit_ramp(&map, 5000, 333, &out);
    assert_int_equal(out.count, 5000);
    for (int i = 0; i < 5000; i++)
        assert_float_equal(out.samples[i], i, 0);
}

static void a_cut_joins_its_sides_and_touches_nothing_outside_the_fade(void **state)
{
    (void)state;
    struct tt_stretch stretches[2] = {{.source_start = 100, .source_end = 2000, .out_start = 0, .fade_samples = 80},
                                      {.source_start = 3000, .source_end = 4000, .out_start = 1900}};
    struct tt_time_map map = {.rate_hz = 8000, .stretches = stretches, .count = 2, .out_samples = 2900};
    static struct gathered out;
    edit_ramp(&map, 5000, 1000, &out);
    assert_int_equal(out.count, 2900);
    for (int i = 0; i < 1900 - 40; i++)
        assert_float_equal(out.samples[i], 100 + i, 0);
    for (int i = 1900 + 40; i < 2900; i++)
        assert_float_equal(out.samples[i], 3000 + i - 1900, 0);
    for (int i = 1900 - 40; i < 1900 + 40; i++) {
        assert_true(out.samples[i] >= 1900);
        assert_true(out.samples[i] <= 3100);
    }
}

static void the_way_the_stream_was_parted_does_not_show(void **state)
{
    (void)state;
    struct tt_stretch stretches[3] = {
        {.source_start = 50, .source_end = 1000, .out_start = 100, .fade_samples = 60, .fill_samples = 500},
        {.source_start = 1030, .source_end = 2000, .out_start = 1550, .fade_samples = 20},
        {.source_start = 2010, .source_end = 4000, .out_start = 2520}};
    struct tt_time_map map = {
        .rate_hz = 8000, .stretches = stretches, .count = 3, .lead_samples = 100, .out_samples = 4510};
    static struct gathered whole, parted;
    edit_ramp(&map, 5000, 5000, &whole);
    assert_int_equal(whole.count, 4510);
    static const size_t parts[] = {1, 7, 64, 1023, 4999};
    for (size_t p = 0; p < sizeof parts / sizeof *parts; p++) {
        edit_ramp(&map, 5000, parts[p], &parted);
        assert_int_equal(parted.count, whole.count);
        assert_memory_equal(parted.samples, whole.samples, whole.count * sizeof(float));
    }
}

static void an_opened_gap_is_filled_with_room_tone_of_its_length(void **state)
{
    (void)state;
    struct tt_stretch stretches[2] = {
        {.source_start = 0, .source_end = 1000, .out_start = 0, .fade_samples = 40, .fill_samples = 2000},
        {.source_start = 1000, .source_end = 2000, .out_start = 3000}};
    struct tt_time_map map = {.rate_hz = 8000, .stretches = stretches, .count = 2, .out_samples = 4000};
    static struct gathered out;
    edit_ramp(&map, 2000, 512, &out);
    assert_int_equal(out.count, 4000);
    double rms = rms_of(out.samples + 1020, 1960);
    assert_true(rms > 0);                            /* never digital silence */
    assert_true(fabs(20 * log10(rms / 1e-3)) < 1.0); /* power 1e-6 a bin: mean square 1e-6 */
    assert_float_equal(out.samples[3020], 1020, 0);
}

/* Noise of a level. */
static void make_noise(float *samples, int count, double level, uint32_t seed)
{
    for (int i = 0; i < count; i++) {
        seed = seed * 1664525U + 1013904223U;
        samples[i] = (float)level * 1.7320508f * ((float)seed / 2147483648.0f - 1.0f);
    }
}

/* All of the take is room, 14 dB and more over its floor. */
static void edit_room(const struct tt_time_map *map, const float *room, int length, int part, struct gathered *out)
{
    struct tt_span_samples all = {0, length};
    struct tt_floor_track floor = quiet_room();
    struct tt_error error = {0};
    struct tt_room_tone *tone = tt_room_tone_create(&floor, 1, 1, &error);
    struct tt_room_match *match = tt_room_match_create(&floor, 1, &all, 1, &error);
    out->count = 0;
    struct tt_editor *editor = tt_editor_create(map, tone, match, gather, out, &error);
    assert_non_null(editor);
    for (int at = 0; at < length; at += part)
        assert_ok(tt_editor_add(editor, room + at, (size_t)(length - at < part ? length - at : part), &error), error);
    assert_ok(tt_editor_finish(editor, &error), error);
    assert_int_equal(out->count, map->out_samples);
    tt_editor_destroy(editor);
    tt_room_match_destroy(match);
    tt_room_tone_destroy(tone);
}

static double level_db(const struct gathered *out, int from, int count)
{
    return 20 * log10(rms_of(out->samples + from, (size_t)count));
}

/* -46 dB before it, -36 behind it; half of either power is -38.6. */
static void a_gap_passes_from_the_room_before_it_to_the_room_behind_it(void **state)
{
    (void)state;
    enum { HALF = 24000, GAP = 16000 };
    struct tt_stretch stretches[2] = {
        {.source_start = 0, .source_end = HALF, .out_start = 0, .fade_samples = 40, .fill_samples = GAP},
        {.source_start = HALF, .source_end = 2 * HALF, .out_start = HALF + GAP}};
    struct tt_time_map map = {.rate_hz = 8000, .stretches = stretches, .count = 2, .out_samples = 2 * HALF + GAP};
    static struct gathered out;
    static float room[2 * HALF];
    make_noise(room, HALF, 5e-3, 9);
    make_noise(room + HALF, HALF, 1.581e-2, 10);
    edit_room(&map, room, 2 * HALF, 1000, &out);
    assert_true(fabs(level_db(&out, HALF + 50, 800) + 46) < 1.5);
    assert_true(fabs(level_db(&out, HALF + GAP / 2 - 1600, 3200) + 38.6) < 1.0);
    assert_true(fabs(level_db(&out, HALF + GAP - 850, 800) + 36) < 1.5);
}

static void room_tone_in_front_of_all_sounds_like_what_follows_and_behind_all_like_what_was(void **state)
{
    (void)state;
    enum { LENGTH = 24000, TONE = 8000, TAKE = LENGTH + 100 }; /* fades read past a stretch */
    struct tt_stretch stretch = {
        .source_start = 50, .source_end = LENGTH + 50, .out_start = TONE, .fade_samples = 40, .fill_samples = TONE};
    struct tt_time_map map = {.rate_hz = 8000,
                              .stretches = &stretch,
                              .count = 1,
                              .lead_samples = TONE,
                              .lead_fade_samples = 40,
                              .out_samples = LENGTH + 2 * TONE};
    static struct gathered out;
    static float room[TAKE];
    make_noise(room, TAKE, 5e-3, 9);
    edit_room(&map, room, TAKE, TAKE, &out);
    assert_true(fabs(level_db(&out, 50, TONE - 100) + 46) < 1.5);
    assert_true(fabs(level_db(&out, LENGTH + TONE + 50, TONE - 100) + 46) < 1.5);
}

/* Three gaps within the ten seconds that are looked ahead; the room rises all along. */
static void neither_parts_of_the_stream_nor_what_comes_later_show_in_a_gap(void **state)
{
    (void)state;
    enum { LENGTH = 128000, GAP = 4000, KNOWN = 24000 + 80000 };
    struct tt_stretch stretches[4];
    for (int i = 0; i < 4; i++)
        stretches[i] = (struct tt_stretch){.source_start = 8000 * i,
                                           .source_end = i < 3 ? 8000 * (i + 1) : LENGTH,
                                           .out_start = (8000 + GAP) * i,
                                           .fade_samples = i < 3 ? 40 : 0,
                                           .fill_samples = i < 3 ? GAP : 0};
    struct tt_time_map map = {.rate_hz = 8000, .stretches = stretches, .count = 4, .out_samples = LENGTH + 3 * GAP};
    static struct gathered whole, parted;
    static float room[LENGTH];
    for (int i = 0; i < LENGTH / 1000; i++)
        make_noise(room + (ptrdiff_t)1000 * i, 1000, 5e-3 * exp(0.01 * i), (uint32_t)i);
    edit_room(&map, room, LENGTH, LENGTH, &whole);
    static const int parts[] = {77, 1023, 30000};
    for (size_t p = 0; p < sizeof parts / sizeof *parts; p++) {
        edit_room(&map, room, LENGTH, parts[p], &parted);
        assert_memory_equal(parted.samples, whole.samples, whole.count * sizeof(float));
    }
    make_noise(room + KNOWN, LENGTH - KNOWN, 0.1, 5);
    edit_room(&map, room, LENGTH, 1000, &parted);
    assert_memory_equal(parted.samples, whole.samples, (KNOWN + 3 * GAP) * sizeof(float));
}

static void a_take_that_became_shorter_is_an_error(void **state)
{
    (void)state;
    struct tt_stretch stretch = {.source_start = 0, .source_end = 5000};
    struct tt_time_map map = {.rate_hz = 8000, .stretches = &stretch, .count = 1, .out_samples = 5000};
    static struct gathered out;
    struct tt_error error = {0};
    float few[100] = {0};
    struct tt_editor *editor = tt_editor_create(&map, NULL, NULL, gather, &out, &error);
    out.count = 0;
    assert_true(tt_editor_add(editor, few, 100, &error));
    assert_false(tt_editor_finish(editor, &error));
    assert_int_equal(error.kind, TT_ERROR_INPUT);
    tt_editor_destroy(editor);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(one_whole_stretch_passes_bit_for_bit),
        cmocka_unit_test(a_cut_joins_its_sides_and_touches_nothing_outside_the_fade),
        cmocka_unit_test(the_way_the_stream_was_parted_does_not_show),
        cmocka_unit_test(an_opened_gap_is_filled_with_room_tone_of_its_length),
        cmocka_unit_test(a_gap_passes_from_the_room_before_it_to_the_room_behind_it),
        cmocka_unit_test(room_tone_in_front_of_all_sounds_like_what_follows_and_behind_all_like_what_was),
        cmocka_unit_test(neither_parts_of_the_stream_nor_what_comes_later_show_in_a_gap),
        cmocka_unit_test(a_take_that_became_shorter_is_an_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
