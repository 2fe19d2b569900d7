/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: OUT/heard/TAKE.bin with bytes of it changed; the checks are set right again, so that what lies behind
 * them is met. Input: the first byte says whether checks are mended; then changes of six bytes: where (three bytes),
 * flags (one: bit 0 the header, bit 7 cut there), xor with (one), how many (one). */
#include "fuzz.h"

#include <stddef.h>

#include "base/file.h"
#include "sheet/heard.h"
#include "sheet/heard_format.h"

enum { BINS = 257, NODES = 3, RUNS = 2, STEPS = 20 };

static char *whole;
static size_t whole_size;

/* What hearing leaves of a small take. */
static void make_whole(void)
{
    struct tt_error err = {0};
    const char *path = fuzz_path("whole.bin");
    struct tt_heard heard = {.facts = {.rate_hz = 16000,
                                       .channel_count = 1,
                                       .feature_hop_samples = 171,
                                       .frame_count = 160000,
                                       .speech_dbfs = -24}};
    int64_t nodes[NODES] = {0, 50000, 100000};
    float power[NODES * BINS], steps[STEPS];
    struct tt_run runs[RUNS];
    static const struct tt_sound sounds[] = {{9100, 9500, TT_SOUND_BREATH, 0.9F, -50, 12}};
    static const struct tt_remark remarks[] = {{"clipped", "The take is clipped.", 1.5}};
    static const int64_t nuclei[] = {1500, 3000, 11500};
    int8_t row[TT_CEPSTRA] = {1, 2, 3};
    memset(runs, 0, sizeof runs);
    for (int i = 0; i < NODES * BINS; i++)
        power[i] = 1e-9F;
    for (int i = 0; i < STEPS; i++)
        steps[i] = 1e-4F;
    for (int i = 0; i < RUNS; i++) {
        runs[i].start_sample = 1000 + 10000 * i;
        runs[i].end_sample = 9000 + 10000 * i;
        runs[i].loud_start_sample = 1200 + 10000 * i;
        runs[i].loud_end_sample = 8500 + 10000 * i;
    }
    heard.floor = (struct tt_floor_track){
        .shape = tt_stft_shape_for(16000), .node_sample = nodes, .power = power, .node_count = NODES};
    heard.runs = runs, heard.run_count = RUNS;
    heard.sounds = sounds, heard.sound_count = 1;
    heard.steps = steps, heard.step_count = STEPS;
    heard.remarks = remarks, heard.remark_count = 1;
    heard.nuclei = nuclei, heard.nucleus_count = 3;
    if (heard.floor.shape.bin_count > BINS)
        abort();
    struct tt_heard_writer *writer = tt_heard_writer_open(path, &err);
    for (int i = 0; writer && i < 900; i++)
        if (!tt_heard_writer_add_row(writer, row, -60, &err))
            abort();
    if (!writer || !tt_heard_writer_commit(writer, &heard, &err) ||
        !tt_file_read(path, 1 << 24, &whole, &whole_size, &err))
        abort();
}

static void mend_checks(char *bytes, size_t size)
{
    struct heard_header header;
    memcpy(&header, bytes, sizeof header);
    for (int i = 0; i < HEARD_SECTIONS; i++) {
        struct heard_place *place = &header.place[i];
        uint64_t room = place->offset < size ? size - place->offset : 0;
        if (header.item_size[i] && place->offset <= size && place->count <= room / header.item_size[i])
            place->check =
                heard_check(HEARD_CHECK_START, bytes + place->offset, (size_t)(place->count * header.item_size[i]));
    }
    header.check = heard_check(HEARD_CHECK_START, &header, offsetof(struct heard_header, check));
    memcpy(bytes, &header, sizeof header);
}

/* Every value that a reader may touch. */
static double touch(const struct tt_heard *heard)
{
    double sum = heard->facts.speech_dbfs;
    for (size_t i = 0; i < heard->run_count; i++)
        sum += (double)(heard->runs[i].end_sample - heard->runs[i].start_sample);
    for (size_t i = 0; i < heard->sound_count; i++)
        sum += (double)heard->sounds[i].start_sample;
    for (size_t i = 0; i < heard->step_count; i++)
        sum += heard->steps[i];
    for (size_t i = 0; i < heard->remark_count; i++)
        sum += (double)(strlen(heard->remarks[i].code) + strlen(heard->remarks[i].message));
    for (size_t i = 0; i < heard->nucleus_count; i++)
        sum += (double)heard->nuclei[i];
    for (size_t i = 0; i < heard->feature_count * TT_CEPSTRA; i++)
        sum += heard->cepstra[i];
    for (size_t i = 0; i < heard->feature_count; i++)
        sum += heard->levels[i];
    float *row = malloc((size_t)heard->floor.shape.bin_count * sizeof *row);
    if (row) {
        tt_floor_at(&heard->floor, heard->facts.frame_count / 2, row);
        sum += row[heard->floor.shape.bin_count - 1];
    }
    free(row);
    return sum;
}

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tt_heard heard;
    struct tt_error err = {0};
    const char *path = fuzz_path("heard.bin");
    if (!whole)
        make_whole();
    char *bytes = malloc(whole_size);
    if (!bytes)
        abort();
    memcpy(bytes, whole, whole_size);
    size_t length = whole_size;
    for (size_t at = 1; at + 6 <= size; at += 6) {
        uint32_t where = (uint32_t)data[at] | (uint32_t)data[at + 1] << 8 | (uint32_t)data[at + 2] << 16;
        size_t count = (size_t)data[at + 5] + 1;
        /* Half of all changes go where the header lies. */
        where %= data[at + 3] & 1 ? sizeof(struct heard_header) : whole_size;
        for (size_t i = where; i < where + count && i < whole_size; i++)
            bytes[i] = (char)(bytes[i] ^ data[at + 4]);
        if (data[at + 3] & 128)
            length = where < sizeof(struct heard_header) ? length : where;
    }
    if (size > 0 && data[0] & 1)
        mend_checks(bytes, length);
    fuzz_write(path, bytes, length);
    free(bytes);
    volatile double sum = 0;
    if (tt_heard_open(path, NULL, NULL, &heard, &err))
        sum = sum + touch(&heard);
    else if (err.kind == TT_OK)
        abort();
    tt_heard_close(&heard);
    return 0;
}
