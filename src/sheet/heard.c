/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Opening what was heard. Nothing in the file is believed before it is checked: a damaged file is heard again, it never
 * crashes. */
#include "sheet/heard.h"

#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include "sheet/heard_format.h"

/* Far above any take (2^31 bytes of cepstra are 800 hours). */
#define FILE_MOST_BYTES ((size_t)1 << 31)
enum { RATE_LEAST_HZ = 1000, RATE_MOST_HZ = 1536000 };
static const float MOST_POWER = 1e30F; /* far over any floor, far from where numbers end */

static bool map_file(const char *path, struct tt_mapped *mapped, struct tt_error *err)
{
    int fd = open(path, O_RDONLY | O_CLOEXEC | O_NONBLOCK); /* a pipe of that name must not hold us up */
    if (fd < 0)
        return tt_fail_errno(err, TT_ERROR_INPUT, errno, "%s", path);
    struct stat status;
    bool is_usable = fstat(fd, &status) == 0 && S_ISREG(status.st_mode) && status.st_size > 0 &&
                     (uintmax_t)status.st_size <= FILE_MOST_BYTES;
    const bool ok =
        is_usable ? tt_mapped_open(fd, (size_t)status.st_size, path, mapped, err)
                  : tt_fail(err, TT_ERROR_INPUT, "%s: not a file of what was heard; delete it, it is made anew", path);
    close(fd);
    return ok;
}

/* The whole of one section; NULL when its place or its bytes are not what the header says. */
static const void *section_at(const char *data, size_t size, const struct heard_header *header,
                              enum heard_section section)
{
    const struct heard_place *place = &header->place[section];
    if (place->offset % HEARD_ALIGNMENT || place->offset < sizeof *header || place->offset > size)
        return NULL;
    if (place->count > (size - place->offset) / header->item_size[section])
        return NULL;
    const char *bytes = data + place->offset;
    return heard_check(HEARD_CHECK_START, bytes, (size_t)place->count * header->item_size[section]) == place->check
               ? bytes
               : NULL;
}

static bool is_of_this_build(const struct heard_header *header)
{
    struct heard_header ours;
    heard_header_start(&ours);
    return memcmp(header, &ours, offsetof(struct heard_header, file_size)) == 0;
}

static bool is_terminated(const char *string, size_t capacity) { return memchr(string, '\0', capacity) != NULL; }

static bool facts_are_sound(const struct tt_heard_facts *facts)
{
    return is_terminated(facts->content_sha256, sizeof facts->content_sha256) &&
           is_terminated(facts->hearing_key, sizeof facts->hearing_key) &&
           is_terminated(facts->channel_why, sizeof facts->channel_why) && facts->rate_hz >= RATE_LEAST_HZ &&
           facts->rate_hz <= RATE_MOST_HZ && facts->channel_count > 0 && facts->channel >= -1 &&
           facts->channel < facts->channel_count && facts->feature_hop_samples > 0 && facts->frame_count >= 0;
}

static bool floor_is_sound(const struct tt_floor_track *floor, size_t node_count, size_t power_count)
{
    if (floor->shape.bin_count <= 0 || floor->shape.hop_samples <= 0 || floor->shape.window_samples <= 0)
        return false;
    if (floor->shape.bin_count != floor->shape.window_samples / 2 + 1 || node_count > INT32_MAX)
        return false;
    if (power_count / (size_t)floor->shape.bin_count != node_count || power_count % (size_t)floor->shape.bin_count)
        return false;
    for (size_t i = 1; i < node_count; i++)
        if (floor->node_sample[i] <= floor->node_sample[i - 1])
            return false;
    bool is_power = true;
    for (size_t i = 0; i < power_count; i++)
        is_power = is_power && floor->power[i] >= 0 && floor->power[i] <= MOST_POWER;
    return is_power;
}

static bool runs_are_sound(const struct tt_heard *heard)
{
    int64_t at = 0;
    for (size_t i = 0; i < heard->run_count; i++) {
        const struct tt_run *run = &heard->runs[i];
        if (run->start_sample < at || run->end_sample <= run->start_sample)
            return false;
        if (run->loud_start_sample < run->start_sample || run->loud_end_sample > run->end_sample)
            return false;
        at = run->end_sample;
    }
    for (size_t i = 0; i < heard->sound_count; i++) {
        const struct tt_sound *sound = &heard->sounds[i];
        if (sound->start_sample < 0 || sound->end_sample < sound->start_sample)
            return false;
        if ((int)sound->kind < TT_SOUND_BREATH || sound->kind > TT_SOUND_NOISE)
            return false;
    }
    for (size_t i = 1; i < heard->nucleus_count; i++)
        if (heard->nuclei[i] <= heard->nuclei[i - 1])
            return false;
    for (size_t i = 0; i < heard->other_count; i++)
        if (heard->others[i].start < 0 || heard->others[i].end <= heard->others[i].start)
            return false;
    for (size_t i = 0; i < heard->remark_count; i++)
        if (!is_terminated(heard->remarks[i].code, sizeof heard->remarks[i].code) ||
            !is_terminated(heard->remarks[i].message, sizeof heard->remarks[i].message))
            return false;
    return true;
}

static void count_sections(struct tt_heard *heard, const struct heard_header *header)
{
    heard->feature_count = (size_t)header->place[HEARD_CEPSTRA].count;
    heard->run_count = (size_t)header->place[HEARD_RUNS].count;
    heard->sound_count = (size_t)header->place[HEARD_SOUNDS].count;
    heard->step_count = (size_t)header->place[HEARD_STEPS].count;
    heard->remark_count = (size_t)header->place[HEARD_REMARKS].count;
    heard->nucleus_count = (size_t)header->place[HEARD_NUCLEI].count;
    heard->other_count = (size_t)header->place[HEARD_OTHERS].count;
}

/* Points the members into the mapping. */
static bool take_apart(struct tt_heard *heard, char *data, size_t size, const struct heard_header *header)
{
    const void *at[HEARD_SECTIONS];
    if (header->file_size != size ||
        header->check != heard_check(HEARD_CHECK_START, header, offsetof(struct heard_header, check)))
        return false;
    for (int i = 0; i < HEARD_SECTIONS; i++)
        if (!(at[i] = section_at(data, size, header, (enum heard_section)i)))
            return false;
    if (header->place[HEARD_FACTS].count != 1 || header->place[HEARD_SHAPE].count != 1 ||
        header->place[HEARD_LEVELS].count != header->place[HEARD_CEPSTRA].count)
        return false;
    memcpy(&heard->facts, at[HEARD_FACTS], sizeof heard->facts);
    memcpy(&heard->floor.shape, at[HEARD_SHAPE], sizeof heard->floor.shape);
    /* Not through at[]: the track's pointers are not const. The mapping itself is read-only all the same. */
    heard->floor.node_sample = (int64_t *)(void *)(data + header->place[HEARD_NODES].offset);
    heard->floor.power = (float *)(void *)(data + header->place[HEARD_POWER].offset);
    heard->runs = at[HEARD_RUNS];
    heard->sounds = at[HEARD_SOUNDS];
    heard->steps = at[HEARD_STEPS];
    heard->remarks = at[HEARD_REMARKS];
    heard->nuclei = at[HEARD_NUCLEI];
    heard->others = at[HEARD_OTHERS];
    heard->cepstra = at[HEARD_CEPSTRA];
    heard->levels = at[HEARD_LEVELS];
    count_sections(heard, header);
    size_t node_count = (size_t)header->place[HEARD_NODES].count;
    if (!facts_are_sound(&heard->facts) ||
        !floor_is_sound(&heard->floor, node_count, (size_t)header->place[HEARD_POWER].count))
        return false;
    heard->floor.node_count = (int)node_count;
    return runs_are_sound(heard);
}

static bool is_wanted(const struct tt_heard *heard, const char *content_sha256, const char *hearing_key)
{
    return (!content_sha256 || strcmp(heard->facts.content_sha256, content_sha256) == 0) &&
           (!hearing_key || strcmp(heard->facts.hearing_key, hearing_key) == 0);
}

bool heard_open_mapped(struct tt_mapped *mapped, const char *path, const char *content_sha256, const char *hearing_key,
                       struct tt_heard *heard, struct tt_error *err)
{
    struct heard_header header;
    *heard = (struct tt_heard){.mapped = *mapped};
    *mapped = (struct tt_mapped){0};
    if (heard->mapped.size >= sizeof header)
        memcpy(&header, heard->mapped.data, sizeof header);
    if (heard->mapped.size < sizeof header || memcmp(header.magic, heard_magic, sizeof header.magic) != 0)
        tt_fail(err, TT_ERROR_INPUT, "%s: not a file of what was heard; delete it, it is made anew", path);
    else if (!is_of_this_build(&header))
        tt_fail(err, TT_ERROR_INPUT, "%s: written by another version of the program; the take has to be heard again",
                path);
    else if (!take_apart(heard, heard->mapped.data, heard->mapped.size, &header))
        tt_fail(err, TT_ERROR_INPUT, "%s: damaged; delete it, it is made anew", path);
    else if (!is_wanted(heard, content_sha256, hearing_key))
        tt_fail(err, TT_ERROR_INPUT, "%s: of another recording or other settings; the take has to be heard again",
                path);
    else {
        tt_mapped_let_go(&heard->mapped); /* the check has read all of it */
        return true;
    }
    tt_heard_close(heard);
    return false;
}

bool tt_heard_open(const char *path, const char *content_sha256, const char *hearing_key, struct tt_heard *heard,
                   struct tt_error *err)
{
    struct tt_mapped mapped;
    *heard = (struct tt_heard){0};
    return map_file(path, &mapped, err) && heard_open_mapped(&mapped, path, content_sha256, hearing_key, heard, err);
}

void tt_heard_close(struct tt_heard *heard)
{
    if (!heard)
        return;
    free(heard->narrowed);
    tt_mapped_close(&heard->mapped);
    *heard = (struct tt_heard){0};
}
