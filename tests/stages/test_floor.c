/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a floor that is known by its nodes makes of the room's level. */
#include <math.h>

#include "stages/stage.h"
#include "support.h"

enum { RATE_HZ = 48000, SECONDS = 70, NODES = 3, BINS = 513 };

static float power[NODES * BINS];
static int64_t node_sample[NODES] = {10 * RATE_HZ, 20 * RATE_HZ, 60 * RATE_HZ};

/* Each node's noise as strong in every bin. */
static struct tt_heard room(const double *power_of_nodes)
{
    struct tt_heard heard = {.facts = {.rate_hz = RATE_HZ, .frame_count = (int64_t)SECONDS * RATE_HZ}};
    for (int n = 0; n < NODES; n++)
        for (int k = 0; k < BINS; k++)
            power[n * BINS + k] = (float)power_of_nodes[n];
    heard.floor = (struct tt_floor_track){
        .shape = {RATE_HZ, 1024, 256, BINS}, .node_count = NODES, .node_sample = node_sample, .power = power};
    return heard;
}

static double level_of(struct tt_heard *heard)
{
    struct tt_error error = {0};
    struct tt_hearing hearing = {.heard = heard};
    assert_ok(tt_stage_floor.hear_close(NULL, &hearing, &error), error);
    return heard->facts.floor_dbfs;
}

static void each_node_counts_for_the_time_from_the_one_before_to_the_one_behind(void **state)
{
    (void)state;
    static const double alone[NODES][NODES] = {{1e-6, 0, 0}, {0, 1e-6, 0}, {0, 0, 1e-6}}, all[] = {1e-6, 1e-6, 1e-6};
    static const double seconds[NODES] = {20, 50, 50}; /* 0-20, 10-60, 20-70 */
    struct tt_heard heard = room(all);
    const double whole_db = level_of(&heard);
    for (int n = 0; n < NODES; n++) {
        heard = room(alone[n]);
        const double share_db = level_of(&heard) - whole_db;
        if (fabs(share_db - 10 * log10(seconds[n] / 120)) > 1e-9)
            fail_msg("node %d: %.9f dB", n, share_db);
    }
}

static void the_weighted_level_of_white_noise_lies_under_the_plain_one(void **state)
{
    (void)state;
    static const double all[] = {1e-6, 1e-6, 1e-6};
    struct tt_heard heard = room(all);
    level_of(&heard);
    /* White noise to 24 kHz: A-weighting (IEC 61672-1) takes some 2 to 3 dB off it. */
    assert_true(heard.facts.floor_dba < heard.facts.floor_dbfs - 1.5 &&
                heard.facts.floor_dba > heard.facts.floor_dbfs - 4);
}

static void a_room_under_any_microphone_was_not_heard(void **state)
{
    (void)state;
    static const double faint[] = {1e-18, 1e-18, 1e-18};
    struct tt_heard heard = room(faint);
    assert_true(level_of(&heard) == -INFINITY && heard.facts.floor_dba == -INFINITY);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(each_node_counts_for_the_time_from_the_one_before_to_the_one_behind),
        cmocka_unit_test(the_weighted_level_of_white_noise_lies_under_the_plain_one),
        cmocka_unit_test(a_room_under_any_microphone_was_not_heard),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
