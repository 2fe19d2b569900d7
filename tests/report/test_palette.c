/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>
#include <math.h>

#include "page_test.h"
#include "report/palette.h"

/* L* of an sRGB colour, worked out the other way round: IEC 61966-2-1 and CIE 15 (relative luminance, then CIE 1976
 * lightness). */
static double lightness_of(const double rgb[3])
{
    static const double weights[3] = {0.2126729, 0.7151522, 0.0721750};
    double y = 0;
    for (int c = 0; c < 3; c++)
        y += weights[c] * (rgb[c] <= 0.04045 ? rgb[c] / 12.92 : pow((rgb[c] + 0.055) / 1.055, 2.4));
    return y > 216.0 / 24389 ? 116 * cbrt(y) - 16 : y * 24389 / 27;
}

static void lightness_goes_in_even_steps(void **state)
{
    (void)state;
    for (int is_dark = 0; is_dark < 2; is_dark++) {
        double first[3], last[3];
        tt_palette_stop(is_dark, 0, first);
        tt_palette_stop(is_dark, TT_PALETTE_STOPS - 1, last);
        double step = (lightness_of(last) - lightness_of(first)) / (TT_PALETTE_STOPS - 1);
        assert_true(fabs(step) > 4 && (step > 0) == !is_dark);
        for (int stop = 1; stop < TT_PALETTE_STOPS; stop++) {
            double one[3], other[3];
            tt_palette_stop(is_dark, stop - 1, one);
            tt_palette_stop(is_dark, stop, other);
            assert_true(fabs(lightness_of(other) - lightness_of(one) - step) < 0.15);
        }
    }
}

static void no_colour_is_cut_off(void **state)
{
    (void)state; /* one that lay outside sRGB would sit at 0 or 1 and break the evenness */
    for (int is_dark = 0; is_dark < 2; is_dark++)
        for (int stop = 0; stop < TT_PALETTE_STOPS; stop++) {
            double rgb[3];
            tt_palette_stop(is_dark, stop, rgb);
            for (int c = 0; c < 3; c++)
                assert_true(rgb[c] > 0 && rgb[c] < 1);
        }
}

static void both_filters_have_all_stops(void **state)
{
    (void)state;
    struct tt_text out = {0};
    tt_palette_filters(&out);
    char *table = between(out.data, "id=\"tint-dark\"", "/>");
    assert_int_equal(count_of(table, "0."), TT_PALETTE_STOPS);
    assert_has(out.data, "id=\"tint\"");
    free(table);
    tt_text_free(&out);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(lightness_goes_in_even_steps),
        cmocka_unit_test(no_colour_is_cut_off),
        cmocka_unit_test(both_filters_have_all_stops),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
