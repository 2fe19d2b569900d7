/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <math.h>
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include "dsp/align.h"

enum { ROWS = 512, LANES = TT_ALIGN_LANES };

/* Sounds that change smoothly, different for each seed. */
static void voice(uint32_t seed, double at, float vector[LANES])
{
    for (int l = 0; l < LANES; l++) {
        double sum = 0.0;
        for (int k = 1; k <= 4; k++) {
            uint32_t h = (seed * 2654435761u) ^ (uint32_t)(l * 97 + k) * 2246822519u;
            h ^= h >> 15;
            h *= 2246822519u;
            h ^= h >> 13;
            sum += sin(at * 0.11 * k + (double)(h % 6283) / 1000.0);
        }
        vector[l] = (float)sum;
    }
}

struct sounds {
    int16_t numbers[LANES * ROWS];
};

/* Rows first .. first + count - 1 say `seed` from moment `at` on, at this speed. */
static void say(struct sounds *sounds, size_t first, size_t count, uint32_t seed, double at, double speed)
{
    float vector[LANES];
    for (size_t r = 0; r < count; r++) {
        voice(seed, at + (double)r * speed, vector);
        tt_align_row(vector, sounds->numbers + first + r, ROWS);
    }
}

static struct tt_align_task task_for(const struct sounds *sounds, size_t x, size_t x_end, size_t y, size_t y_end)
{
    return (struct tt_align_task){.rows = {sounds->numbers, ROWS},
                                  .x_start = x,
                                  .x_end = x_end,
                                  .y_start = y,
                                  .y_end = y_end,
                                  .tau = 0.5f,
                                  .beam = 40.0f,
                                  .least = -40.0f,
                                  .slack_rows = 6};
}

static struct tt_align *create(void)
{
    struct tt_error err = {0};
    struct tt_align *align = tt_align_create(&err);
    if (!align)
        fail_msg("%s", err.message);
    return align;
}

static size_t best_row(const struct tt_align_end *ends, size_t reached)
{
    size_t best = 0;
    for (size_t x = 1; x < reached; x++)
        if (ends[x].score > ends[best].score)
            best = x;
    return best;
}

static void a_row_and_itself_are_the_same(void **state)
{
    (void)state;
    float vector[LANES];
    int16_t row[LANES];
    voice(1, 3.0, vector);
    tt_align_row(vector, row, 1);
    int product = 0;
    for (int l = 0; l < LANES; l++)
        product += row[l] * row[l];
    assert_true(abs(product - TT_ALIGN_SAME) < TT_ALIGN_SAME / 100);
    memset(vector, 0, sizeof vector);
    tt_align_row(vector, row, 1);
    for (int l = 0; l < LANES; l++)
        assert_int_equal(row[l], 0);
}

/* Equal rows gain 2 * (1 - tau) each: the score of 100 equal rows at tau 0.5 is 100. */
static void equal_stretches_score_their_length(void **state)
{
    (void)state;
    static struct sounds sounds;
    say(&sounds, 0, 100, 7, 0.0, 1.0);
    say(&sounds, 200, 100, 7, 0.0, 1.0);
    struct tt_align *align = create();
    struct tt_align_task task = task_for(&sounds, 0, 100, 200, 300);
    const struct tt_align_end *ends;
    assert_int_equal(tt_align_run(align, &task, &ends), 100);
    assert_true(fabs((double)ends[99].score - 100.0) < 1.0);
    assert_int_equal(ends[99].y, 99);
    tt_align_destroy(align);
}

static void a_slower_reading_is_followed(void **state)
{
    (void)state;
    static struct sounds sounds;
    say(&sounds, 0, 120, 7, 0.0, 1.0);
    say(&sounds, 200, 150, 7, 0.0, 0.8);
    struct tt_align *align = create();
    struct tt_align_task task = task_for(&sounds, 0, 120, 200, 350);
    const struct tt_align_end *ends;
    size_t reached = tt_align_run(align, &task, &ends);
    assert_int_equal(reached, 120);
    assert_in_range(best_row(ends, reached), 117, 119);
    assert_in_range(ends[119].y, 145, 149);
    tt_align_destroy(align);
}

static void the_match_ends_where_the_words_differ(void **state)
{
    (void)state;
    static struct sounds sounds;
    say(&sounds, 0, 80, 7, 0.0, 1.0);
    say(&sounds, 80, 80, 21, 0.0, 1.0);
    say(&sounds, 200, 80, 7, 0.0, 1.0);
    say(&sounds, 280, 80, 35, 0.0, 1.0);
    struct tt_align *align = create();
    struct tt_align_task task = task_for(&sounds, 0, 160, 200, 360);
    const struct tt_align_end *ends;
    size_t reached = tt_align_run(align, &task, &ends);
    assert_in_range(best_row(ends, reached), 76, 90);
    tt_align_destroy(align);
}

static void different_words_are_given_up_early(void **state)
{
    (void)state;
    static struct sounds sounds;
    say(&sounds, 0, 200, 7, 0.0, 1.0);
    say(&sounds, 200, 200, 21, 0.0, 1.0);
    struct tt_align *align = create();
    struct tt_align_task task = task_for(&sounds, 0, 200, 200, 400);
    task.early_rows = 30;
    task.early_least = 20.0f;
    const struct tt_align_end *ends;
    assert_int_equal(tt_align_run(align, &task, &ends), 30);
    tt_align_destroy(align);
}

static void the_path_leads_from_the_beginning_to_the_end(void **state)
{
    (void)state;
    static struct sounds sounds;
    say(&sounds, 0, 120, 7, 0.0, 1.0);
    say(&sounds, 200, 100, 7, 0.0, 1.2);
    struct tt_align *align = create();
    struct tt_align_task task = task_for(&sounds, 0, 120, 200, 300);
    const struct tt_align_end *ends;
    size_t reached = tt_align_run(align, &task, &ends), x = best_row(ends, reached);
    float score = ends[x].score;
    int y = ends[x].y;
    const struct tt_align_cell *path;
    size_t count = tt_align_path(align, &task, x, &path);
    assert_true(count > 60);
    assert_true(path[0].x <= 6 && path[0].y <= 6);
    assert_int_equal(path[count - 1].x, x);
    assert_int_equal(path[count - 1].y, y);
    float sum = 2.0f * (path[0].likeness - task.tau);
    for (size_t k = 1; k < count; k++) {
        int dx = path[k].x - path[k - 1].x, dy = path[k].y - path[k - 1].y;
        assert_true(dx >= 1 && dy >= 1 && dx + dy <= 3);
        sum += (float)(dx + dy) * (path[k].likeness - task.tau) - (dx + dy == 3 ? 0.2f : 0.0f);
    }
    assert_true(fabsf(sum - score) < 0.01f); /* what the path gains is what the score says */
    tt_align_destroy(align);
}

static void stretches_longer_than_the_memory_end_early(void **state)
{
    (void)state;
    enum { LONG = 7000 };
    int16_t *numbers = calloc((size_t)LANES * LONG, sizeof *numbers);
    assert_non_null(numbers);
    float vector[LANES];
    for (size_t r = 0; r < LONG; r++) {
        voice(3, (double)(r % 3500), vector);
        tt_align_row(vector, numbers + r, LONG);
    }
    struct tt_align *align = create();
    struct tt_align_task task = {.rows = {numbers, LONG},
                                 .x_end = 3500,
                                 .y_start = 3500,
                                 .y_end = LONG,
                                 .tau = 0.5f,
                                 .beam = 1e6f,
                                 .least = -1e6f};
    const struct tt_align_end *ends;
    size_t reached = tt_align_run(align, &task, &ends);
    assert_in_range(reached, 800, 3500);
    assert_int_equal(tt_align_run(align, &(struct tt_align_task){.rows = {numbers, LONG}}, &ends), 0);
    tt_align_destroy(align);
    tt_align_destroy(NULL);
    free(numbers);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_row_and_itself_are_the_same),
        cmocka_unit_test(equal_stretches_score_their_length),
        cmocka_unit_test(a_slower_reading_is_followed),
        cmocka_unit_test(the_match_ends_where_the_words_differ),
        cmocka_unit_test(different_words_are_given_up_early),
        cmocka_unit_test(the_path_leads_from_the_beginning_to_the_end),
        cmocka_unit_test(stretches_longer_than_the_memory_end_early),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
