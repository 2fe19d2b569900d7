/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Writing what was heard: cepstra as they come, the rest and the header at the end. */
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/grow.h"
#include "sheet/heard.h"
#include "sheet/heard_format.h"

enum { BUFFER_ROWS = 4096 };

struct tt_heard_writer {
    struct tt_publish *file;
    struct heard_header header;
    uint64_t at; /* bytes written */
    size_t buffered;
    int8_t rows[BUFFER_ROWS][TT_CEPSTRA];
    int8_t *levels; /* of all rows */
    size_t level_count, level_capacity;
};

static bool write_bytes(struct tt_heard_writer *writer, enum heard_section section, const void *data, size_t count,
                        struct tt_error *err)
{
    struct heard_place *place = &writer->header.place[section];
    size_t size = count * writer->header.item_size[section];
    if (size == 0)
        return true;
    place->count += count;
    place->check = heard_check(place->check, data, size);
    writer->at += size;
    return tt_publish_write(writer->file, data, size, err);
}

static bool begin_section(struct tt_heard_writer *writer, enum heard_section section, struct tt_error *err)
{
    static const char zeros[HEARD_ALIGNMENT];
    size_t gap = (size_t)((HEARD_ALIGNMENT - writer->at % HEARD_ALIGNMENT) % HEARD_ALIGNMENT);
    writer->at += gap;
    writer->header.place[section] = (struct heard_place){writer->at, 0, HEARD_CHECK_START};
    return gap == 0 || tt_publish_write(writer->file, zeros, gap, err);
}

/* Takes the file over. The room of the header stays zero until everything else is there. */
static struct tt_heard_writer *start(struct tt_publish *file, struct tt_error *err)
{
    static const struct heard_header nothing;
    struct tt_heard_writer *writer = file ? calloc(1, sizeof *writer) : NULL;
    if (!writer) {
        if (file)
            tt_fail_memory(err);
        tt_publish_abandon(file);
        return NULL;
    }
    heard_header_start(&writer->header);
    writer->file = file;
    writer->at = sizeof nothing;
    if (tt_publish_write(file, &nothing, sizeof nothing, err) && begin_section(writer, HEARD_CEPSTRA, err))
        return writer;
    tt_heard_writer_abandon(writer);
    return NULL;
}

struct tt_heard_writer *tt_heard_writer_open(const char *path, struct tt_error *err)
{
    return start(tt_publish_open(path, err), err);
}

struct tt_heard_writer *tt_heard_writer_open_unnamed(const char *folder, struct tt_error *err)
{
    return start(tt_publish_open_unnamed(folder, err), err);
}

static bool flush_rows(struct tt_heard_writer *writer, struct tt_error *err)
{
    size_t count = writer->buffered;
    writer->buffered = 0;
    return write_bytes(writer, HEARD_CEPSTRA, writer->rows, count, err);
}

bool tt_heard_writer_add_row(struct tt_heard_writer *writer, const int8_t cepstra[TT_CEPSTRA], int8_t level_db,
                             struct tt_error *err)
{
    int8_t *levels = tt_grow(writer->levels, writer->level_count, &writer->level_capacity, sizeof *levels, err);
    if (!levels)
        return false;
    writer->levels = levels;
    levels[writer->level_count++] = level_db;
    memcpy(writer->rows[writer->buffered++], cepstra, TT_CEPSTRA);
    return writer->buffered < BUFFER_ROWS || flush_rows(writer, err);
}

/* What stands behind the NUL must not depend on what was in memory before. */
static void clean_string(char *string, size_t capacity)
{
    size_t length = strnlen(string, capacity - 1);
    memset(string + length, 0, capacity - length);
}

static bool write_facts(struct tt_heard_writer *writer, const struct tt_heard *heard, struct tt_error *err)
{
    struct tt_heard_facts facts = heard->facts;
    clean_string(facts.content_sha256, sizeof facts.content_sha256);
    clean_string(facts.hearing_key, sizeof facts.hearing_key);
    clean_string(facts.channel_why, sizeof facts.channel_why);
    return begin_section(writer, HEARD_FACTS, err) && write_bytes(writer, HEARD_FACTS, &facts, 1, err);
}

static bool write_floor(struct tt_heard_writer *writer, const struct tt_floor_track *floor, struct tt_error *err)
{
    size_t nodes = (size_t)floor->node_count;
    return begin_section(writer, HEARD_SHAPE, err) && write_bytes(writer, HEARD_SHAPE, &floor->shape, 1, err) &&
           begin_section(writer, HEARD_NODES, err) &&
           write_bytes(writer, HEARD_NODES, floor->node_sample, nodes, err) &&
           begin_section(writer, HEARD_POWER, err) &&
           write_bytes(writer, HEARD_POWER, floor->power, nodes * (size_t)floor->shape.bin_count, err);
}

/* Member by member: the gap at the struct's end is zero in every file. */
static bool write_runs(struct tt_heard_writer *writer, const struct tt_heard *heard, struct tt_error *err)
{
    if (!begin_section(writer, HEARD_RUNS, err))
        return false;
    for (size_t i = 0; i < heard->run_count; i++) {
        const struct tt_run *from = &heard->runs[i];
        struct tt_run run;
        memset(&run, 0, sizeof run);
        run.start_sample = from->start_sample;
        run.end_sample = from->end_sample;
        run.loud_start_sample = from->loud_start_sample;
        run.loud_end_sample = from->loud_end_sample;
        run.level_db = from->level_db;
        run.over_floor_db = from->over_floor_db;
        run.voiced_share = from->voiced_share;
        if (!write_bytes(writer, HEARD_RUNS, &run, 1, err))
            return false;
    }
    return true;
}

static bool write_remarks(struct tt_heard_writer *writer, const struct tt_heard *heard, struct tt_error *err)
{
    if (!begin_section(writer, HEARD_REMARKS, err))
        return false;
    for (size_t i = 0; i < heard->remark_count; i++) {
        struct tt_remark remark = heard->remarks[i];
        clean_string(remark.code, sizeof remark.code);
        clean_string(remark.message, sizeof remark.message);
        if (!write_bytes(writer, HEARD_REMARKS, &remark, 1, err))
            return false;
    }
    return true;
}

static bool write_header(struct tt_heard_writer *writer, struct tt_error *err)
{
    struct heard_header *header = &writer->header;
    header->file_size = writer->at;
    header->check = heard_check(HEARD_CHECK_START, header, offsetof(struct heard_header, check));
    return tt_publish_seek(writer->file, 0, SEEK_SET, err) &&
           tt_publish_write(writer->file, header, sizeof *header, err);
}

/* Its file, all written; NULL on failure. Destroys the writer. */
static struct tt_publish *finish(struct tt_heard_writer *writer, const struct tt_heard *heard, struct tt_error *err)
{
    bool is_written =
        flush_rows(writer, err) && write_facts(writer, heard, err) && write_floor(writer, &heard->floor, err) &&
        write_runs(writer, heard, err) && begin_section(writer, HEARD_SOUNDS, err) &&
        write_bytes(writer, HEARD_SOUNDS, heard->sounds, heard->sound_count, err) &&
        begin_section(writer, HEARD_STEPS, err) &&
        write_bytes(writer, HEARD_STEPS, heard->steps, heard->step_count, err) && write_remarks(writer, heard, err) &&
        begin_section(writer, HEARD_NUCLEI, err) &&
        write_bytes(writer, HEARD_NUCLEI, heard->nuclei, heard->nucleus_count, err) &&
        begin_section(writer, HEARD_OTHERS, err) &&
        write_bytes(writer, HEARD_OTHERS, heard->others, heard->other_count, err) &&
        begin_section(writer, HEARD_LEVELS, err) &&
        write_bytes(writer, HEARD_LEVELS, writer->levels, writer->level_count, err) && write_header(writer, err);
    if (!is_written) {
        tt_heard_writer_abandon(writer);
        return NULL;
    }
    struct tt_publish *file = writer->file;
    free(writer->levels);
    free(writer);
    return file;
}

bool tt_heard_writer_commit(struct tt_heard_writer *writer, const struct tt_heard *heard, struct tt_error *err)
{
    struct tt_publish *file = finish(writer, heard, err);
    return file && tt_publish_commit_unsynced(file, err); /* every byte is checked when it is opened */
}

bool tt_heard_writer_keep(struct tt_heard_writer *writer, const struct tt_heard *heard, struct tt_heard *opened,
                          struct tt_error *err)
{
    struct tt_mapped mapped;
    struct tt_publish *file = finish(writer, heard, err);
    return file && tt_publish_map(file, &mapped, err) &&
           heard_open_mapped(&mapped, "what was heard", NULL, NULL, opened, err);
}

void tt_heard_writer_abandon(struct tt_heard_writer *writer)
{
    if (!writer)
        return;
    tt_publish_abandon(writer->file);
    free(writer->levels);
    free(writer);
}
