/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "base/png.h"

#include <png.h>
#include <stdlib.h>

#include "base/file.h"

struct tt_png {
    png_structp writer;
    png_infop info;
    struct tt_publish *file;
    struct tt_error *err; /* of the call that is under way */
};

/* libpng wants neither call to return; setjmp brings us back to the call that was made. */
static void on_error(png_structp writer, png_const_charp message)
{
    struct tt_png *png = png_get_error_ptr(writer);
    tt_fail(png->err, TT_ERROR_OUTPUT, "picture: %s",
            message); /* the first error wins: that of writing, if there is one */
    png_longjmp(writer, 1);
}

static void on_warning(png_structp writer, png_const_charp message) { (void)writer, (void)message; }

static void write_bytes(png_structp writer, png_bytep bytes, size_t count)
{
    struct tt_png *png = png_get_io_ptr(writer);
    if (!tt_publish_write(png->file, bytes, count, png->err))
        png_error(writer, "could not be written");
}

static void flush_bytes(png_structp writer) { (void)writer; }

static bool write_head(struct tt_png *png, uint32_t width, uint32_t height)
{
    if (setjmp(png_jmpbuf(png->writer)))
        return false;
    png_set_write_fn(png->writer, png, write_bytes, flush_bytes);
    /* Neighbouring rows are neighbouring bands: level 1 with the 'up' filter gives up a tenth of the size for a third
     * of the time. */
    png_set_compression_level(png->writer, 1);
    png_set_filter(png->writer, PNG_FILTER_TYPE_BASE, PNG_FILTER_UP);
    png_set_IHDR(png->writer, png->info, width, height, 8, PNG_COLOR_TYPE_GRAY, PNG_INTERLACE_NONE,
                 PNG_COMPRESSION_TYPE_DEFAULT, PNG_FILTER_TYPE_DEFAULT);
    png_write_info(png->writer, png->info);
    return true;
}

struct tt_png *tt_png_open(const char *path, uint32_t width, uint32_t height, struct tt_error *err)
{
    struct tt_png *png = calloc(1, sizeof *png);
    if (!png) {
        tt_fail_memory(err);
        return NULL;
    }
    png->err = err;
    png->writer = png_create_write_struct(PNG_LIBPNG_VER_STRING, png, on_error, on_warning);
    png->info = png->writer ? png_create_info_struct(png->writer) : NULL;
    if (!png->info)
        tt_fail_memory(err);
    else
        png->file = tt_publish_open(path, err);
    if (png->file && write_head(png, width, height))
        return png;
    tt_png_abandon(png);
    return NULL;
}

bool tt_png_add_row(struct tt_png *png, const uint8_t *row, struct tt_error *err)
{
    png->err = err;
    if (setjmp(png_jmpbuf(png->writer)))
        return false;
    png_write_row(png->writer, row);
    return true;
}

static bool write_end(struct tt_png *png)
{
    if (setjmp(png_jmpbuf(png->writer)))
        return false;
    png_write_end(png->writer, NULL);
    return true;
}

bool tt_png_commit(struct tt_png *png, struct tt_error *err)
{
    png->err = err;
    bool ok = write_end(png);
    if (ok) {
        ok = tt_publish_commit(png->file, err);
        png->file = NULL;
    }
    tt_png_abandon(png);
    return ok;
}

void tt_png_abandon(struct tt_png *png)
{
    if (!png)
        return;
    if (png->writer)
        png_destroy_write_struct(&png->writer, &png->info);
    tt_publish_abandon(png->file);
    free(png);
}
