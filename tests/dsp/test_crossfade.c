/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Crossfades: level through the fade for like, unlike and opposite material. Values: a^2 + b^2 + 2 a b rho = 1, which
 * for a = b is 1/sqrt(2 + 2 rho). */
#include "dsp/crossfade.h"

#include <math.h>
#include <string.h>

#include "support.h"

enum { COUNT = 1920 };

static void the_same_sound_passes_unchanged(void **state)
{
    (void)state;
    float sound[COUNT] = {0}, out[COUNT];
    noise_add(sound, COUNT, 0.1, 1);
    tt_crossfade(sound, sound, out, COUNT);
    for (int i = 0; i < COUNT; i++)
        assert_true(fabsf(out[i] - sound[i]) < 1e-7f);
    assert_true(tt_likeness(sound, sound, COUNT) > 1 - 1e-9);
}

static void unlike_sounds_keep_their_power_through_the_fade(void **state)
{
    (void)state;
    double power[COUNT] = {0};
    enum { TIMES = 300 };
    for (int t = 0; t < TIMES; t++) {
        float a[COUNT] = {0}, b[COUNT] = {0}, out[COUNT];
        noise_add(a, COUNT, 0.1, (uint64_t)(2 * t + 1));
        noise_add(b, COUNT, 0.1, (uint64_t)(2 * t + 2) << 20);
        tt_crossfade(a, b, out, COUNT);
        for (int i = 0; i < COUNT; i++)
            power[i] += (double)out[i] * out[i] / TIMES;
    }
    for (int part = 0; part < 10; part++) {
        double sum = 0;
        for (int i = part * COUNT / 10; i < (part + 1) * COUNT / 10; i++)
            sum += power[i] / (COUNT / 10);
        assert_true(fabs(10 * log10(sum / 0.01)) < 0.15);
    }
}

static void half_like_sounds_meet_in_the_middle_at_the_gain_for_it(void **state)
{
    (void)state;
    float a[COUNT], b[COUNT], out[COUNT];
    for (int i = 0; i < COUNT; i++) {
        double phase = 2 * 3.14159265358979323846 * i * 20 / COUNT; /* whole periods: rho is cos 60 degrees */
        a[i] = (float)sin(phase);
        b[i] = (float)sin(phase + 3.14159265358979323846 / 3);
    }
    assert_true(fabs(tt_likeness(a, b, COUNT) - 0.5) < 1e-6);
    tt_crossfade(a, b, out, COUNT);
    double wanted = (a[COUNT / 2] + b[COUNT / 2]) / sqrt(2 + 2 * 0.5);
    assert_true(fabs(out[COUNT / 2] - wanted) < 0.01);
}

static void it_begins_with_the_one_and_ends_with_the_other(void **state)
{
    (void)state;
    float a[COUNT], b[COUNT], out[COUNT];
    for (int i = 0; i < COUNT; i++) {
        a[i] = i % 2 ? 0.5f : -0.5f;
        b[i] = i % 4 < 2 ? 0.25f : -0.25f;
    }
    tt_crossfade(a, b, out, COUNT);
    assert_true(fabsf(out[0] - a[0]) < 1e-4f);
    assert_true(fabsf(out[COUNT - 1] - b[COUNT - 1]) < 1e-4f);
}

static void silence_and_opposites_give_finite_samples(void **state)
{
    (void)state;
    float a[COUNT] = {0}, b[COUNT] = {0}, out[COUNT];
    tt_crossfade(a, b, out, COUNT);
    for (int i = 0; i < COUNT; i++)
        assert_true(out[i] == 0);
    noise_add(a, COUNT, 0.1, 5);
    for (int i = 0; i < COUNT; i++)
        b[i] = -a[i];
    assert_true(tt_likeness(a, b, COUNT) == 0);
    tt_crossfade(a, b, out, COUNT);
    for (int i = 0; i < COUNT; i++)
        assert_true(isfinite(out[i]) && fabsf(out[i]) <= fabsf(a[i]) * 1.001f);
    out[0] = 7;
    tt_crossfade(a, b, out, 0);
    assert_true(out[0] == 7);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(the_same_sound_passes_unchanged),
        cmocka_unit_test(unlike_sounds_keep_their_power_through_the_fade),
        cmocka_unit_test(half_like_sounds_meet_in_the_middle_at_the_gain_for_it),
        cmocka_unit_test(it_begins_with_the_one_and_ends_with_the_other),
        cmocka_unit_test(silence_and_opposites_give_finite_samples),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
