/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "pipeline/limit_record.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "base/file.h"
#include "base/raw_io.h"
#include "base/text.h"
#include "dsp/gain_rider.h"
#include "dsp/interpolator.h"

enum { BUFFERED = 512 };

/* As the machine holds it: the file is made anew wherever it does not fit. */
struct record_header {
    char magic[8];
    uint32_t byte_order;
    int32_t rate_hz;
};
static const char magic[8] = "ttlimit1";
static const uint32_t byte_order = 0x01020304;

/* ---- writing ---- */

struct tt_limit_writer {
    struct tt_publish *file;
    char *path;
    struct tt_limiter_demand demands[BUFFERED];
    size_t buffered;
    bool has_any, has_failed;
    struct tt_error error;
};

struct tt_limit_writer *tt_limit_writer_open(const char *path, int rate_hz, struct tt_error *err)
{
    struct tt_limit_writer *writer = calloc(1, sizeof *writer);
    struct record_header header = {.byte_order = byte_order, .rate_hz = rate_hz};
    memcpy(header.magic, magic, sizeof magic);
    if (!writer || !(writer->path = tt_copy_string(path))) {
        tt_limit_writer_abandon(writer);
        tt_fail_memory(err);
        return NULL;
    }
    if ((writer->file = tt_publish_open(path, err)) && tt_publish_write(writer->file, &header, sizeof header, err))
        return writer;
    tt_limit_writer_abandon(writer);
    return NULL;
}

static void flush(struct tt_limit_writer *writer)
{
    writer->has_failed =
        writer->has_failed ||
        !tt_publish_write(writer->file, writer->demands, writer->buffered * sizeof *writer->demands, &writer->error);
    writer->buffered = 0;
}

void tt_limit_writer_add(void *opaque, const struct tt_limiter_demand *demand)
{
    struct tt_limit_writer *writer = opaque;
    writer->demands[writer->buffered++] = *demand;
    writer->has_any = true;
    if (writer->buffered == BUFFERED)
        flush(writer);
}

bool tt_limit_writer_commit(struct tt_limit_writer *writer, struct tt_error *err)
{
    bool ok;
    if (writer->buffered)
        flush(writer);
    if (writer->has_failed) {
        ok = tt_error_pass_on(&writer->error, err);
    } else if (!writer->has_any) {
        ok = tt_file_remove(writer->path, err);
    } else {
        ok = tt_publish_commit(writer->file, err);
        writer->file = NULL;
    }
    tt_limit_writer_abandon(writer);
    return ok;
}

void tt_limit_writer_abandon(struct tt_limit_writer *writer)
{
    if (!writer)
        return;
    tt_publish_abandon(writer->file);
    free(writer->path);
    free(writer);
}

/* ---- reading ---- */

/* Each pass of the limiter reads the file for itself, and passes over the other's demands. */
struct cursor {
    struct tt_limiter_demand demands[BUFFERED];
    size_t count, used;
    int64_t offset, last_place;
};

struct tt_limit_reader {
    int fd;
    char *path;
    bool has_failed;
    struct cursor cursors[TT_LIMITER_PASSES];
    struct tt_limiter_undo *undo;
};

/* What a limiter can have told: a file that is damaged must not bend the voice. */
static bool is_possible(const struct tt_limiter_demand *demand, const struct cursor *cursor, int pass)
{
    return demand->pass >= 0 && demand->pass < TT_LIMITER_PASSES && demand->reduction > 0 &&
           demand->reduction < 1 << TT_REDUCTION_BITS && demand->place >= -TT_INTERPOLATOR_TAPS &&
           (demand->pass != pass || demand->place > cursor->last_place);
}

static bool next_demand(void *context, int pass, struct tt_limiter_demand *demand)
{
    struct tt_limit_reader *reader = context;
    struct cursor *cursor = &reader->cursors[pass];
    for (;;) {
        if (cursor->used == cursor->count) {
            int64_t got = tt_read_all(reader->fd, cursor->demands, sizeof cursor->demands, cursor->offset);
            if (got < 0 || got % (int64_t)sizeof *cursor->demands != 0)
                reader->has_failed = true;
            if (got <= 0 || reader->has_failed)
                return false;
            cursor->offset += got;
            cursor->count = (size_t)got / sizeof *cursor->demands;
            cursor->used = 0;
        }
        *demand = cursor->demands[cursor->used++];
        if (!is_possible(demand, cursor, pass)) {
            reader->has_failed = true;
            return false;
        }
        if (demand->pass == pass) {
            cursor->last_place = demand->place;
            return true;
        }
    }
}

static bool check_header(const struct tt_limit_reader *reader, int rate_hz, struct tt_error *err)
{
    struct record_header header;
    if (tt_read_all(reader->fd, &header, sizeof header, 0) == (int64_t)sizeof header &&
        memcmp(header.magic, magic, sizeof magic) == 0 && header.byte_order == byte_order && header.rate_hz == rate_hz)
        return true;
    return tt_fail(err, TT_ERROR_INPUT, "%s: not what belongs to the voice; run again with --again", reader->path);
}

struct tt_limit_reader *tt_limit_reader_open(const char *path, int rate_hz, struct tt_error *err)
{
    struct tt_limit_reader *reader = calloc(1, sizeof *reader);
    if (!reader) {
        tt_fail_memory(err);
        return NULL;
    }
    reader->fd = open(path, O_RDONLY | O_CLOEXEC);
    bool ok = reader->fd >= 0 || tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s", path);
    ok = ok && ((reader->path = tt_copy_string(path)) || tt_fail_memory(err)) && check_header(reader, rate_hz, err);
    for (int i = 0; i < TT_LIMITER_PASSES; i++) {
        reader->cursors[i].offset = (int64_t)sizeof(struct record_header);
        reader->cursors[i].last_place = INT64_MIN;
    }
    if (ok && (reader->undo = tt_limiter_undo_create(rate_hz, next_demand, reader, err)))
        return reader;
    tt_limit_reader_close(reader);
    return NULL;
}

void tt_limit_reader_restore(struct tt_limit_reader *reader, float *samples, size_t count)
{
    tt_limiter_undo_run(reader->undo, samples, count);
}

bool tt_limit_reader_is_whole(const struct tt_limit_reader *reader, struct tt_error *err)
{
    return !reader->has_failed || tt_fail(err, TT_ERROR_INPUT, "%s: damaged; run again with --again", reader->path);
}

void tt_limit_reader_close(struct tt_limit_reader *reader)
{
    if (!reader)
        return;
    if (reader->fd >= 0)
        close(reader->fd);
    tt_limiter_undo_destroy(reader->undo);
    free(reader->path);
    free(reader);
}
