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
#include <png.h>
#include <unistd.h>

#include "base/file.h"
#include "base/text.h"
#include "pipeline/picture.h"
#include "pipeline/portrait.h"
#include "sheet/voice_heard.h"

static char folder[] = "/tmp/tidytake-portrait-XXXXXX";

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) ? 0 : -1;
}

static int remove_folder(void **state)
{
    (void)state;
    char *command = tt_format("rm -r '%s'", folder);
    int status = command ? system(command) : -1;
    free(command);
    return status;
}

static void assert_ok(bool ok, const struct tt_error *err)
{
    if (!ok)
        fail_msg("%s", err->message);
}

/* Of samples that come in blocks of `block`; what was made lies under `name`. */
static void portray(const char *name, const float *samples, size_t count, size_t block)
{
    struct tt_error err = {0};
    char *heard = tt_format("%s/%s.voice", folder, name), *prefix = tt_format("%s/%s/after", folder, name);
    struct tt_portrait *portrait = tt_portrait_create(48000, heard, prefix, &err);
    struct tt_meter *meter = tt_meter_create(48000, 1, &err);
    assert_ok(portrait && meter, &err);
    for (size_t at = 0; at < count; at += block) {
        size_t part = count - at < block ? count - at : block;
        assert_ok(tt_portrait_add(portrait, samples + at, part, &err) && tt_meter_add(meter, samples + at, part, &err),
                  &err);
    }
    assert_ok(tt_portrait_finish(portrait, meter, NULL, &err), &err);
    tt_portrait_destroy(portrait);
    tt_meter_destroy(meter);
    free(heard);
    free(prefix);
}

static char *path_of(const char *name, const char *file) { return tt_format("%s/%s%s", folder, name, file); }

/* Decoded by libpng's own simple reader. */
static png_bytep pixels_of(const char *name, const char *file, png_image *image)
{
    char *path = path_of(name, file);
    *image = (png_image){.version = PNG_IMAGE_VERSION};
    if (!png_image_begin_read_from_file(image, path))
        fail_msg("%s: %s", path, image->message);
    image->format = PNG_FORMAT_GRAY;
    png_bytep pixels = malloc(PNG_IMAGE_SIZE(*image));
    assert_true(png_image_finish_read(image, NULL, pixels, 0, NULL));
    free(path);
    return pixels;
}

static void assert_same_file(const char *one, const char *other, const char *file)
{
    char *a = path_of(one, file), *b = path_of(other, file), *data_a = NULL, *data_b = NULL;
    size_t size_a = 0, size_b = 0;
    struct tt_error err = {0};
    assert_ok(tt_file_read(a, 1 << 24, &data_a, &size_a, &err) && tt_file_read(b, 1 << 24, &data_b, &size_b, &err),
              &err);
    assert_int_equal(size_a, size_b);
    assert_memory_equal(data_a, data_b, size_a);
    free(a), free(b), free(data_a), free(data_b);
}

static float *tone(size_t count, double hz, double amplitude)
{
    float *samples = malloc(count * sizeof *samples);
    assert_non_null(samples);
    for (size_t i = 0; i < count; i++)
        samples[i] = (float)(amplitude * sin(6.283185307179586 * hz * (double)i / 48000));
    return samples;
}

static void cutting_the_stream_changes_nothing(void **state)
{
    (void)state;
    float *samples = tone(200000, 440, 0.2);
    portray("one", samples, 200000, 200000);
    portray("many", samples, 200000, 777);
    assert_same_file("one", "many", "/after-0-0.png");
    assert_same_file("one", "many", ".voice");
    free(samples);
}

static void a_full_tone_is_black_in_its_band_and_white_far_from_it(void **state)
{
    (void)state; /* amplitude 1 is 28 dB over black; digital silence is white */
    float *samples = tone(96000, 1000, 1.0);
    png_image image;
    portray("tone", samples, 96000, 4096);
    png_bytep pixels = pixels_of("tone", "/after-0-0.png", &image);
    assert_int_equal(image.width, TT_STRIP_COLUMNS);
    assert_int_equal(image.height, TT_PICTURE_BANDS);
    int darkest = 0;
    for (int row = 1; row < TT_PICTURE_BANDS; row++)
        if (pixels[row * TT_STRIP_COLUMNS + 20] < pixels[darkest * TT_STRIP_COLUMNS + 20])
            darkest = row;
    assert_int_equal(pixels[darkest * TT_STRIP_COLUMNS + 20], 0);
    assert_in_range(
        darkest, 50,
        65); /* even in frequency to 800 Hz, then in octaves: 1 kHz is a little under a third of the way up */
    assert_int_equal(pixels[20], 255);
    assert_int_equal(pixels[darkest * TT_STRIP_COLUMNS + 60], 255); /* 2 s are 47 columns */
    free(pixels);
    free(samples);
}

static void a_quieter_tone_is_lighter_by_its_decibels(void **state)
{
    (void)state; /* 72 dB are 255 shades: 20 dB are 70.8, to the nearest shade of four on either side */
    png_image image;
    float *loud = tone(96000, 3000, 0.01), *quiet = tone(96000, 3000, 0.001);
    portray("loud", loud, 96000, 4096);
    portray("quiet", quiet, 96000, 4096);
    png_bytep one = pixels_of("loud", "/after-0-0.png", &image), other = pixels_of("quiet", "/after-0-0.png", &image);
    int darkest = 0;
    for (int row = 1; row < TT_PICTURE_BANDS; row++)
        if (one[row * TT_STRIP_COLUMNS + 20] < one[darkest * TT_STRIP_COLUMNS + 20])
            darkest = row;
    assert_true(fabs(other[darkest * TT_STRIP_COLUMNS + 20] - one[darkest * TT_STRIP_COLUMNS + 20] - 70.8) < 4.1);
    free(one), free(other), free(loud), free(quiet);
}

/* Without sound, by frames alone: what is long is cheap to make so. */
static void make_long(const char *name, int columns)
{
    struct tt_error err = {0};
    struct tt_stft_shape shape = tt_stft_shape_for(8000);
    float *power = calloc((size_t)shape.bin_count, sizeof *power);
    char *prefix = tt_format("%s/%s/before", folder, name);
    struct tt_picture *picture = tt_picture_create(shape, prefix, &err);
    assert_ok(picture && power, &err);
    for (int i = 0; i < columns * TT_PICTURE_FRAMES; i++)
        assert_ok(tt_picture_add(picture, power, &err), &err);
    assert_ok(tt_picture_finish(picture, &err), &err);
    assert_true(tt_picture_exists(prefix));
    tt_picture_destroy(picture);
    free(power);
    free(prefix);
}

static bool is_there(const char *name, const char *file)
{
    char *path = path_of(name, file);
    bool is = tt_file_exists(path);
    free(path);
    return is;
}

static void long_sounds_are_cut_into_files_and_what_is_left_over_goes(void **state)
{
    (void)state;
    make_long("long", TT_STRIP_COLUMNS * TT_STRIPS_MOST + 1);
    assert_true(is_there("long", "/before-0-1.png") && is_there("long", "/before-1-0.png") &&
                !is_there("long", "/before-0-2.png"));
    png_image image;
    free(pixels_of("long", "/before-0-0.png", &image));
    assert_int_equal(image.height, TT_STRIPS_MOST * TT_PICTURE_BANDS);
    free(pixels_of("long", "/before-1-0.png", &image));
    assert_int_equal(image.height, 2 * TT_PICTURE_BANDS); /* 12289 columns by eights are 1537 */
    make_long("long", 10);
    assert_true(is_there("long", "/before-0-0.png") && !is_there("long", "/before-0-1.png") &&
                !is_there("long", "/before-1-0.png"));
}

static void what_was_measured_comes_back_and_damage_is_noticed(void **state)
{
    (void)state;
    float steps[3] = {0.25f, 0.5f, 1};
    struct tt_voice_heard heard = {.steps = steps, .step_count = 3}, again;
    struct tt_error err = {0};
    char *path = path_of("kept", ".voice"), *data = NULL;
    size_t size = 0;
    for (int band = 0; band < TT_THIRDS; band++)
        heard.thirds[band] = band;
    assert_ok(tt_voice_heard_write(path, &heard, &err) && tt_voice_heard_read(path, &again, &err), &err);
    assert_int_equal(again.step_count, 3);
    assert_memory_equal(again.steps, steps, sizeof steps);
    assert_memory_equal(again.thirds, heard.thirds, sizeof heard.thirds);
    tt_voice_heard_free(&again);
    assert_true(tt_file_read(path, 1 << 20, &data, &size, &err));
    for (size_t cut = 0; cut < size; cut += 7) {
        assert_true(tt_file_write(path, data, cut, &err));
        assert_false(tt_voice_heard_read(path, &again, NULL));
    }
    free(data);
    free(path);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(cutting_the_stream_changes_nothing),
        cmocka_unit_test(a_full_tone_is_black_in_its_band_and_white_far_from_it),
        cmocka_unit_test(a_quieter_tone_is_lighter_by_its_decibels),
        cmocka_unit_test(long_sounds_are_cut_into_files_and_what_is_left_over_goes),
        cmocka_unit_test(what_was_measured_comes_back_and_damage_is_noticed),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
