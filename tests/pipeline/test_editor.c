/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "pipeline/editor.h"
#include "support.h"

struct gathered {
    float samples[20000];
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

/* What the pauses before it hold is 14 dB over the floor. */
static void a_gap_sounds_like_the_pauses_before_it_and_not_like_the_floor(void **state)
{
    (void)state;
    enum { LENGTH = 16000, GAP = 2000 };
    struct tt_stretch stretches[2] = {
        {.source_start = 0, .source_end = 12000, .out_start = 0, .fade_samples = 40, .fill_samples = GAP},
        {.source_start = 12000, .source_end = LENGTH, .out_start = 12000 + GAP}};
    struct tt_time_map map = {.rate_hz = 8000, .stretches = stretches, .count = 2, .out_samples = LENGTH + GAP};
    struct tt_span_samples all = {0, LENGTH};
    struct tt_floor_track room = quiet_room();
    struct tt_error error = {0};
    struct tt_room_tone *tone = tt_room_tone_create(&room, 1, 1, &error);
    struct tt_room_match *match = tt_room_match_create(&room, 1, &all, 1, &error);
    static struct gathered out;
    static float noise[LENGTH];
    uint32_t seed = 9;
    for (int i = 0; i < LENGTH; i++) {
        seed = seed * 1664525U + 1013904223U;
        noise[i] = 5e-3f * 1.7320508f * ((float)seed / 2147483648.0f - 1.0f);
    }
    out.count = 0;
    struct tt_editor *editor = tt_editor_create(&map, tone, match, gather, &out, &error);
    assert_ok(tt_editor_add(editor, noise, LENGTH, &error), error);
    assert_ok(tt_editor_finish(editor, &error), error);
    assert_int_equal(out.count, LENGTH + GAP);
    assert_true(fabs(20 * log10(rms_of(out.samples + 12200, GAP - 400) / 5e-3)) < 1.5);
    tt_editor_destroy(editor);
    tt_room_match_destroy(match);
    tt_room_tone_destroy(tone);
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
        cmocka_unit_test(a_gap_sounds_like_the_pauses_before_it_and_not_like_the_floor),
        cmocka_unit_test(a_take_that_became_shorter_is_an_error),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
