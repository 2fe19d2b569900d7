/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A file against its target: each figure on the right side of its limit, and what helps. */
#include "support.h"

#include <math.h>
#include <string.h>

#include "pipeline/judge.h"

/* An audiobook as its practice wants it: RMS -23 to -18, peak -3, floor -60, 44.1 kHz, 120 minutes at most (common
 * practice, no source). */
static struct tt_levels good_levels(void)
{
    return (struct tt_levels){.duration_s = 600,
                              .integrated_lufs = -19,
                              .max_true_peak_dbtp = -3.2,
                              .sample_peak_dbfs = -3.5,
                              .rms_dbfs = -20};
}

static struct tt_judgement judge(const char *target, struct tt_levels levels, double floor_dbfs, int rate_hz,
                                 const struct tt_settings *settings)
{
    struct tt_judgement judgement;
    struct tt_judged judged = {.levels = &levels, .floor_dbfs = floor_dbfs, .rate_hz = rate_hz, .settings = settings};
    tt_judge(tt_target_find(target), &judged, &judgement);
    return judgement;
}

static void assert_fails(struct tt_judgement judgement, const char *figure, const char *words)
{
    if (judgement.failed_count != 1)
        fail_msg("%zu figures fail, the first is %s", judgement.failed_count,
                 judgement.failed_count ? judgement.failed[0] : "none");
    assert_string_equal(judgement.failed[0], figure);
    if (!strstr(judgement.lines[0], words))
        fail_msg("no '%s' in: %s", words, judgement.lines[0]);
}

static void a_file_within_all_limits_passes(void **state)
{
    (void)state;
    assert_int_equal(judge("audiobook", good_levels(), -65, 44100, NULL).failed_count, 0);
    struct tt_levels levels = good_levels();
    levels.rms_dbfs = -18;
    assert_int_equal(judge("audiobook", levels, -60, 44100, NULL).failed_count, 0);
    levels.rms_dbfs = -23;
    assert_int_equal(judge("audiobook", levels, -60, 44100, NULL).failed_count, 0);
}

static void each_figure_over_its_limit_fails_by_itself(void **state)
{
    (void)state;
    struct tt_levels levels = good_levels();
    levels.rms_dbfs = -17.9;
    assert_fails(judge("audiobook", levels, -65, 44100, NULL), "rms_dbfs", "at most -18.0");
    levels.rms_dbfs = -23.1;
    assert_fails(judge("audiobook", levels, -65, 44100, NULL), "rms_dbfs", "at least -23.0");
    levels = good_levels();
    levels.sample_peak_dbfs = -2.8;
    assert_fails(judge("audiobook", levels, -65, 44100, NULL), "sample_peak_dbfs", "at most -3.0");
    assert_fails(judge("audiobook", good_levels(), -59.8, 44100, NULL), "noise_floor_dbfs", "at most -60.0");
    assert_fails(judge("audiobook", good_levels(), -65, 48000, NULL), "rate_hz", "44100");
    levels = good_levels();
    levels.duration_s = 121 * 60;
    assert_fails(judge("audiobook", levels, -65, 44100, NULL), "minutes", "pieces");
}

/* EBU R 128 (2023): -23.0 LUFS, +-0.2 LU for measuring, -1 dBTP. */
static void broadcast_is_judged_by_loudness_and_true_peak(void **state)
{
    (void)state;
    struct tt_levels levels = {.duration_s = 60,
                               .integrated_lufs = -23.2,
                               .max_true_peak_dbtp = -1.0,
                               .sample_peak_dbfs = -1.2,
                               .rms_dbfs = -26};
    assert_int_equal(judge("ebu-r128", levels, -30, 48000, NULL).failed_count, 0);
    levels.integrated_lufs = -23.4;
    assert_fails(judge("ebu-r128", levels, -30, 48000, NULL), "integrated_lufs", "at least");
    levels.integrated_lufs = -INFINITY; /* silence */
    assert_fails(judge("ebu-r128", levels, -30, 48000, NULL), "integrated_lufs",
                 "the integrated loudness cannot be measured");
    levels.integrated_lufs = -23;
    levels.max_true_peak_dbtp = -0.8;
    assert_fails(judge("ebu-r128", levels, -30, 48000, NULL), "max_true_peak_dbtp",
                 "the true peak is -0.8 dBTP, must be at most -1.0");
}

/* Meters show a tenth (EBU Tech 3341, 2.4). */
static void figures_are_judged_as_they_are_shown(void **state)
{
    (void)state;
    struct tt_levels levels = good_levels();
    levels.rms_dbfs = -17.96;
    assert_int_equal(judge("audiobook", levels, -59.96, 44100, NULL).failed_count, 0);
    levels.rms_dbfs = -17.94;
    assert_int_equal(judge("audiobook", levels, -65, 44100, NULL).failed_count, 1);
}

static void what_cannot_be_measured_is_not_judged(void **state)
{
    (void)state;
    assert_int_equal(judge("audiobook", good_levels(), NAN, 44100, NULL).failed_count, 0);
}

static void the_setting_that_helps_is_named_or_to_record_again(void **state)
{
    (void)state;
    struct tt_settings settings;
    tt_settings_default(&settings);
    settings.loudness.aim = TT_AIM_RMS;
    settings.gate.depth_db = 15;
    assert_fails(judge("audiobook", good_levels(), -57, 44100, &settings), "noise_floor_dbfs",
                 "set gate.depth_db to 19,"); /* 3 dB and one to spare */
    assert_fails(judge("audiobook", good_levels(), -40, 44100, &settings), "noise_floor_dbfs",
                 "record again in a quieter room");
    struct tt_levels levels = good_levels();
    levels.rms_dbfs = -24;
    assert_fails(judge("audiobook", levels, -65, 44100, &settings), "rms_dbfs", "loudness.limit_most_db");
    levels = good_levels();
    levels.sample_peak_dbfs = -1;
    assert_fails(judge("audiobook", levels, -65, 44100, &settings), "sample_peak_dbfs", "loudness.ceiling_dbtp");
    assert_fails(judge("audiobook", levels, -65, 44100, NULL), "sample_peak_dbfs", "clean the takes with --for");
    assert_fails(judge("audiobook", good_levels(), -65, 48000, &settings), "rate_hz", "deliver.rate_hz");
    levels.rms_dbfs = -24;
    levels.sample_peak_dbfs = -4;
    settings.loudness.aim = TT_AIM_LUFS;
    assert_fails(judge("audiobook", levels, -65, 44100, &settings), "rms_dbfs", "loudness.aim");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_file_within_all_limits_passes),
        cmocka_unit_test(each_figure_over_its_limit_fails_by_itself),
        cmocka_unit_test(broadcast_is_judged_by_loudness_and_true_peak),
        cmocka_unit_test(figures_are_judged_as_they_are_shown),
        cmocka_unit_test(what_cannot_be_measured_is_not_judged),
        cmocka_unit_test(the_setting_that_helps_is_named_or_to_record_again),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
