/* SPDX-License-Identifier: GPL-2.0-or-later */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

#include <cmocka.h>

#include "base/file.h"
#include "sheet/heard.h"
#include "sheet/heard_format.h"

enum { ROWS = 10000, NODES = 3, BINS = 513, RUNS = 2, SOUNDS = 2, STEPS = 7 };

static char folder[64], path[128];

/* A small take's worth. */
struct made {
    struct tt_heard heard;
    int64_t node_sample[NODES];
    float power[NODES * BINS], steps[STEPS];
    struct tt_run runs[RUNS];
    struct tt_sound sounds[SOUNDS];
    struct tt_remark remark;
};

static void make(struct made *made)
{
    memset(made, 0x5A, sizeof *made); /* what stands in gaps and behind strings must not matter */
    struct tt_heard_facts facts = {
        .rate_hz = 48000, .channel_count = 2, .channel = -1, .feature_hop_samples = 512, .frame_count = 480000};
    memset(facts.channel_why, 0x33, sizeof facts.channel_why);
    strcpy(facts.content_sha256, "3fa2c1");
    strcpy(facts.hearing_key, "key");
    strcpy(facts.channel_why, "left and right are alike");
    facts.before.integrated_lufs = -INFINITY;
    facts.floor_dbfs = -62.5;
    facts.hum.base_hz = 50.02;
    for (int i = 0; i < NODES; i++)
        made->node_sample[i] = 1000 * (int64_t)i;
    for (int i = 0; i < NODES * BINS; i++)
        made->power[i] = 1e-9F * (float)(i + 1);
    for (int i = 0; i < STEPS; i++)
        made->steps[i] = (float)i;
    for (int i = 0; i < RUNS; i++) {
        made->runs[i].start_sample = 1000 + 10000 * i;
        made->runs[i].end_sample = 9000 + 10000 * i;
        made->runs[i].loud_start_sample = 1200 + 10000 * i;
        made->runs[i].loud_end_sample = 8500 + 10000 * i;
        made->runs[i].level_db = -20.5F;
        made->runs[i].over_floor_db = 30;
        made->runs[i].voiced_share = 0.5F;
    }
    for (int i = 0; i < SOUNDS; i++)
        made->sounds[i] = (struct tt_sound){9100 + 500 * i, 9500 + 500 * i, TT_SOUND_BREATH, 0.9F, -50, 12};
    memset(&made->remark, 0x44, sizeof made->remark);
    strcpy(made->remark.code, "clipped");
    strcpy(made->remark.message, "The take is clipped.");
    made->remark.at_s = 1.5;
    static const int64_t nuclei[] = {1500, 3000, 11500};
    static const struct tt_span_frames others[] = {{2000, 3000}, {12000, 14500}};
    made->heard = (struct tt_heard){.facts = facts,
                                    .runs = made->runs,
                                    .run_count = RUNS,
                                    .sounds = made->sounds,
                                    .sound_count = SOUNDS,
                                    .steps = made->steps,
                                    .step_count = STEPS,
                                    .nuclei = nuclei,
                                    .nucleus_count = 3,
                                    .others = others,
                                    .other_count = 2,
                                    .remarks = &made->remark,
                                    .remark_count = 1};
    made->heard.floor = (struct tt_floor_track){{48000, 1024, 256, BINS}, NODES, made->node_sample, made->power};
}

static void row_of(int8_t row[TT_CEPSTRA], int number)
{
    for (int i = 0; i < TT_CEPSTRA; i++)
        row[i] = (int8_t)(number * 7 + i);
}

static int8_t level_of(int number) { return (int8_t)(number % 100 - 99); }

static void add_rows(struct tt_heard_writer *writer, int rows)
{
    struct tt_error err = {0};
    for (int r = 0; r < rows; r++) {
        int8_t row[TT_CEPSTRA];
        row_of(row, r);
        assert_true(tt_heard_writer_add_row(writer, row, level_of(r), &err));
    }
}

static void write_to(const char *to, const struct tt_heard *heard, int rows)
{
    struct tt_error err = {0};
    struct tt_heard_writer *writer = tt_heard_writer_open(to, &err);
    if (!writer)
        fail_msg("%s", err.message);
    add_rows(writer, rows);
    if (!tt_heard_writer_commit(writer, heard, &err))
        fail_msg("%s", err.message);
}

static void what_was_written_is_read_back(void **state)
{
    (void)state;
    static struct made made;
    struct tt_heard heard;
    struct tt_error err = {0};
    make(&made);
    write_to(path, &made.heard, ROWS);
    if (!tt_heard_open(path, "3fa2c1", "key", &heard, &err))
        fail_msg("%s", err.message);
    assert_string_equal(heard.facts.channel_why, "left and right are alike");
    assert_true(heard.facts.frame_count == 480000 && isinf(heard.facts.before.integrated_lufs) &&
                heard.facts.hum.base_hz == 50.02);
    assert_int_equal(heard.floor.node_count, NODES);
    assert_memory_equal(heard.floor.node_sample, made.node_sample, sizeof made.node_sample);
    assert_memory_equal(heard.floor.power, made.power, sizeof made.power);
    assert_int_equal(heard.run_count, RUNS);
    assert_true(heard.runs[1].start_sample == 11000 && heard.runs[1].loud_start_sample == 11200 &&
                heard.runs[1].loud_end_sample == 18500 && heard.runs[1].voiced_share == 0.5F);
    assert_int_equal(heard.sound_count, SOUNDS);
    assert_memory_equal(heard.sounds, made.sounds, sizeof made.sounds);
    assert_int_equal(heard.step_count, STEPS);
    assert_memory_equal(heard.steps, made.steps, sizeof made.steps);
    assert_int_equal(heard.remark_count, 1);
    assert_int_equal(heard.nucleus_count, 3);
    assert_true(heard.nuclei[1] == 3000 && heard.nuclei[2] == 11500);
    assert_int_equal(heard.other_count, 2);
    assert_true(heard.others[1].start == 12000 && heard.others[1].end == 14500);
    assert_string_equal(heard.remarks[0].message, "The take is clipped.");
    assert_int_equal(heard.feature_count, ROWS);
    for (int r = 0; r < ROWS; r++) {
        int8_t row[TT_CEPSTRA];
        row_of(row, r);
        assert_memory_equal(heard.cepstra + (size_t)r * TT_CEPSTRA, row, TT_CEPSTRA);
        assert_int_equal(heard.levels[r], level_of(r));
    }
    assert_int_equal((uintptr_t)heard.floor.node_sample % _Alignof(int64_t), 0);
    assert_int_equal((uintptr_t)heard.remarks % _Alignof(struct tt_remark), 0);
    tt_heard_close(&heard);
    assert_null(heard.mapped.data);
}

static void a_take_without_speech_is_kept_too(void **state)
{
    (void)state;
    static struct made made;
    struct tt_heard heard;
    struct tt_error err = {0};
    make(&made);
    made.heard.run_count = made.heard.sound_count = made.heard.step_count = made.heard.remark_count = 0;
    made.heard.runs = NULL;
    made.heard.sounds = NULL;
    made.heard.steps = NULL;
    made.heard.remarks = NULL;
    write_to(path, &made.heard, 0);
    if (!tt_heard_open(path, NULL, NULL, &heard, &err))
        fail_msg("%s", err.message);
    assert_int_equal(heard.run_count + heard.feature_count + heard.remark_count, 0);
    tt_heard_close(&heard);
}

static void the_same_take_gives_the_same_bytes(void **state)
{
    (void)state;
    static struct made made;
    char other[160], *first = NULL, *second = NULL;
    size_t first_size = 0, second_size = 0;
    struct tt_error err = {0};
    make(&made);
    write_to(path, &made.heard, 100);
    /* Other garbage in the gaps. */
    memset(made.heard.facts.channel_why + 30, 0x77, 100);
    memset(made.remark.message + 40, 0x77, 100);
    memset((char *)&made.runs[0] + offsetof(struct tt_run, voiced_share) + sizeof(float), 0x77,
           sizeof(struct tt_run) - offsetof(struct tt_run, voiced_share) - sizeof(float));
    snprintf(other, sizeof other, "%s.other", path);
    write_to(other, &made.heard, 100);
    assert_true(tt_file_read(path, 1 << 20, &first, &first_size, &err) &&
                tt_file_read(other, 1 << 20, &second, &second_size, &err));
    assert_int_equal(first_size, second_size);
    assert_memory_equal(first, second, first_size);
    unlink(other);
    free(first);
    free(second);
}

static void another_recording_or_other_settings_are_refused(void **state)
{
    (void)state;
    static struct made made;
    make(&made);
    write_to(path, &made.heard, 1);
    static const char *const wanted[][2] = {{"3fa2c2", "key"}, {"3fa2c1", "other"}};
    for (int i = 0; i < 2; i++) {
        struct tt_heard heard;
        struct tt_error err = {0};
        assert_false(tt_heard_open(path, wanted[i][0], wanted[i][1], &heard, &err));
        assert_int_equal(err.kind, TT_ERROR_INPUT);
        assert_null(heard.mapped.data);
    }
}

/* Opens bytes as a file; whatever they are, it is an error or sound. */
static bool opens(const char *data, size_t size)
{
    struct tt_heard heard;
    struct tt_error err = {0};
    FILE *file = fopen(path, "wb"); /* no fsync: thousands of files are tried */
    assert_non_null(file);
    assert_int_equal(fwrite(data, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
    bool is_open = tt_heard_open(path, NULL, NULL, &heard, &err);
    assert_true(is_open == (err.kind == TT_OK));
    tt_heard_close(&heard);
    return is_open;
}

static void any_damaged_byte_is_noticed(void **state)
{
    (void)state;
    static struct made made;
    char *data = NULL;
    size_t size = 0, gaps = 0;
    struct tt_error err = {0};
    make(&made);
    write_to(path, &made.heard, 3);
    assert_true(tt_file_read(path, 1 << 20, &data, &size, &err));
    struct heard_header header;
    memcpy(&header, data, sizeof header);
    for (size_t at = 0; at < size; at += at < sizeof header + 200 ? 1 : 37) {
        bool is_in_section = at < sizeof header;
        for (int s = 0; s < HEARD_SECTIONS; s++)
            is_in_section |= at >= header.place[s].offset &&
                             at < header.place[s].offset + header.place[s].count * header.item_size[s];
        data[at] ^= 0x10;
        if (opens(data, size)) {
            assert_false(is_in_section); /* only what fills up to the next section may change */
            gaps++;
        }
        data[at] ^= 0x10;
    }
    assert_true(gaps < 200);
    for (size_t cut = 0; cut < size; cut += cut < 400 ? 1 : 61)
        assert_false(opens(data, cut));
    assert_true(opens(data, size));
    free(data);
}

/* A writer with a bug, or a clever hand, could make checks that fit: offsets and counts are looked at all the same. */
static void places_outside_the_file_are_refused(void **state)
{
    (void)state;
    static struct made made;
    char *data = NULL;
    size_t size = 0;
    struct tt_error err = {0};
    static const uint64_t wild[] = {
        0, 1, 64, 1 << 20, UINT64_C(1) << 40, UINT64_MAX, UINT64_MAX - 63, UINT64_MAX / 8 + 1};
    make(&made);
    write_to(path, &made.heard, 3);
    assert_true(tt_file_read(path, 1 << 20, &data, &size, &err));
    struct heard_header sound;
    memcpy(&sound, data, sizeof sound);
    for (int s = 0; s < HEARD_SECTIONS; s++)
        for (size_t w = 0; w < 2 * sizeof wild / sizeof *wild; w++) {
            struct heard_header header = sound;
            uint64_t *member = w % 2 ? &header.place[s].offset : &header.place[s].count;
            if (*member == wild[w / 2])
                continue;
            *member = wild[w / 2];
            header.check = heard_check(HEARD_CHECK_START, &header, offsetof(struct heard_header, check));
            memcpy(data, &header, sizeof header);
            assert_false(opens(data, size));
        }
    free(data);
}

static void another_build_is_told_from_damage(void **state)
{
    (void)state;
    static struct made made;
    char *data = NULL;
    size_t size = 0;
    struct tt_error err = {0};
    struct tt_heard heard;
    make(&made);
    write_to(path, &made.heard, 3);
    assert_true(tt_file_read(path, 1 << 20, &data, &size, &err));
    struct heard_header header;
    memcpy(&header, data, sizeof header);
    header.item_size[HEARD_RUNS] += 8;
    header.check = heard_check(HEARD_CHECK_START, &header, offsetof(struct heard_header, check));
    memcpy(data, &header, sizeof header);
    assert_true(tt_file_write(path, data, size, &err));
    assert_false(tt_heard_open(path, NULL, NULL, &heard, &err));
    assert_non_null(strstr(err.message, "another version"));
    free(data);
}

static void a_missing_file_and_a_folder_are_errors(void **state)
{
    (void)state;
    struct tt_heard heard;
    struct tt_error err = {0};
    assert_false(tt_heard_open("/nonexistent/heard.bin", NULL, NULL, &heard, &err));
    assert_int_equal(err.kind, TT_ERROR_INPUT);
    err = (struct tt_error){0};
    assert_false(tt_heard_open(folder, NULL, NULL, &heard, &err));
}

static void nothing_appears_before_commit(void **state)
{
    (void)state;
    struct tt_error err = {0};
    int8_t row[TT_CEPSTRA] = {0};
    unlink(path);
    struct tt_heard_writer *writer = tt_heard_writer_open(path, &err);
    assert_non_null(writer);
    assert_true(tt_heard_writer_add_row(writer, row, -70, &err));
    assert_false(tt_file_exists(path));
    tt_heard_writer_abandon(writer);
    assert_false(tt_file_exists(path));
    tt_heard_writer_abandon(NULL);
    tt_heard_close(NULL);
}

/* draft-eastlake-fnv, test vectors for FNV-1a 64. */
/* Pages of files that this process has in memory, in KiB (proc(5), statm: the third number). */
static long mapped_kib(void)
{
    long all = 0, resident = 0, shared = 0;
    FILE *file = fopen("/proc/self/statm", "r");
    assert_non_null(file);
    assert_int_equal(fscanf(file, "%ld %ld %ld", &all, &resident, &shared), 3);
    fclose(file);
    return shared * (sysconf(_SC_PAGESIZE) / 1024);
}

static long sum_of_cepstra(const struct tt_heard *heard)
{
    long sum = 0;
    for (size_t i = 0; i < heard->feature_count * TT_CEPSTRA; i++)
        sum += heard->cepstra[i];
    return sum;
}

static void a_long_take_s_file_takes_memory_only_while_it_is_read(void **state)
{
    (void)state;
    enum { LONG_ROWS = 1 << 20, FILE_KIB = LONG_ROWS * TT_CEPSTRA / 1024 };
    struct made made;
    make(&made);
    write_to(path, &made.heard, LONG_ROWS);
    struct tt_heard heard;
    const long before_kib = mapped_kib();
    assert_true(tt_heard_open(path, NULL, NULL, &heard, NULL));
    assert_true(mapped_kib() < before_kib + FILE_KIB / 4);
    const long sum = sum_of_cepstra(&heard);
    assert_true(mapped_kib() > before_kib + FILE_KIB / 2);
    tt_mapped_let_go(&heard.mapped);
    assert_true(mapped_kib() < before_kib + FILE_KIB / 4);
    assert_int_equal(sum_of_cepstra(&heard), sum);
    tt_heard_close(&heard);
}

/* Each would pass every check of bytes: they are written as they are. */
static void what_cannot_have_been_heard_is_refused(void **state)
{
    (void)state;
    static struct made made;
    static const int64_t twice[] = {1500, 1500};
    static const struct tt_span_frames backwards[] = {{3000, 2000}};
    for (int fault = 0;; fault++) {
        struct tt_heard heard;
        struct tt_error err = {0};
        make(&made);
        switch (fault) {
        case 0:
            made.heard.facts.rate_hz = 0;
            break;
        case 1:
            made.heard.facts.channel = 2;
            break;
        case 2:
            made.heard.floor.shape.hop_samples = 0;
            break;
        case 3:
            made.heard.floor.shape.window_samples += 2;
            break;
        case 4:
            made.node_sample[2] = made.node_sample[1];
            break;
        case 5:
            made.power[7] = -1e-9F;
            break;
        case 6:
            made.runs[1].start_sample = made.runs[0].end_sample - 1;
            break;
        case 7:
            made.runs[1].end_sample = made.runs[1].start_sample;
            break;
        case 8:
            made.runs[1].loud_end_sample = made.runs[1].end_sample + 1;
            break;
        case 9:
            made.sounds[0].end_sample = made.sounds[0].start_sample - 1;
            break;
        case 10:
            made.heard.nuclei = twice;
            made.heard.nucleus_count = 2;
            break;
        case 11:
            made.heard.others = backwards;
            made.heard.other_count = 1;
            break;
        default:
            assert_int_equal(fault, 12);
            return;
        }
        write_to(path, &made.heard, 1);
        if (tt_heard_open(path, NULL, NULL, &heard, &err))
            fail_msg("fault %d was believed", fault);
        assert_non_null(strstr(err.message, "damaged"));
    }
}

static void of_a_part_only_what_was_heard_in_it_is_left(void **state)
{
    (void)state;
    static struct made made;
    struct tt_heard heard;
    struct tt_error err = {0};
    make(&made);
    write_to(path, &made.heard, ROWS);
    assert_true(tt_heard_open(path, NULL, NULL, &heard, &err));
    assert_true(tt_heard_narrow(&heard, 3000, 11500, &err));
    assert_int_equal(tt_heard_end(&heard), 11500);
    assert_int_equal(heard.run_count, 2); /* what goes on beyond an edge ends there, its loud part, too */
    assert_true(heard.runs[0].start_sample == 3000 && heard.runs[0].loud_start_sample == 3000 &&
                heard.runs[0].end_sample == 9000 && heard.runs[1].start_sample == 11000 &&
                heard.runs[1].end_sample == 11500 && heard.runs[1].loud_end_sample == 11500);
    assert_int_equal(heard.sound_count, 2);
    assert_int_equal(heard.nucleus_count, 1); /* 3000: the part begins with it, and 11500 is behind it */
    assert_true(heard.nuclei[0] == 3000);
    assert_int_equal(heard.feature_count, ROWS);
    tt_heard_close(&heard);
    assert_true(tt_heard_open(path, NULL, NULL, &heard, &err));
    assert_true(tt_heard_narrow(&heard, 9200, 9900, &err)); /* both sounds reach over an edge */
    assert_int_equal(heard.run_count + heard.sound_count + heard.nucleus_count, 0);
    tt_heard_close(&heard);
    assert_true(tt_heard_open(path, NULL, NULL, &heard, &err));
    assert_true(tt_heard_narrow(&heard, 9000, INT64_MAX, &err)); /* to the end */
    assert_int_equal(tt_heard_end(&heard), 480000);
    assert_int_equal(heard.run_count, 1); /* none is left of the one that ends where the part begins */
    tt_heard_close(&heard);
    assert_true(tt_heard_open(path, NULL, NULL, &heard, &err));
    assert_false(tt_heard_narrow(&heard, 480000, 480001, &err));
    tt_heard_close(&heard);
}

static void what_is_heard_for_one_look_is_open_and_never_has_a_name(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct tt_heard heard;
    struct made made;
    make(&made);
    struct tt_heard_writer *writer = tt_heard_writer_open_unnamed(folder, &err);
    assert_non_null(writer);
    unlink(path); /* of the test before */
    add_rows(writer, ROWS);
    assert_int_equal(rmdir(folder), 0); /* nothing is in it, now and when it would be killed */
    assert_true(tt_heard_writer_keep(writer, &made.heard, &heard, &err));
    assert_string_equal(heard.facts.channel_why, "left and right are alike");
    assert_int_equal(heard.feature_count, ROWS);
    tt_heard_close(&heard);
    assert_null(tt_heard_writer_open_unnamed(folder, &err));
    assert_int_equal(err.kind, TT_ERROR_OUTPUT);
    assert_int_equal(mkdir(folder, 0777), 0);
}

static void the_check_is_fnv_1a(void **state)
{
    (void)state;
    assert_true(heard_check(HEARD_CHECK_START, "", 0) == UINT64_C(0xcbf29ce484222325));
    assert_true(heard_check(HEARD_CHECK_START, "a", 1) == UINT64_C(0xaf63dc4c8601ec8c));
    assert_true(heard_check(HEARD_CHECK_START, "foobar", 6) == UINT64_C(0x85944171f73967e8));
}

static int make_folder(void **state)
{
    (void)state;
    snprintf(folder, sizeof folder, "/tmp/tt-heard-XXXXXX");
    if (!mkdtemp(folder))
        return -1;
    snprintf(path, sizeof path, "%s/03.bin", folder);
    return 0;
}

static int remove_folder(void **state)
{
    (void)state;
    unlink(path);
    return rmdir(folder);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_was_written_is_read_back),
        cmocka_unit_test(a_take_without_speech_is_kept_too),
        cmocka_unit_test(the_same_take_gives_the_same_bytes),
        cmocka_unit_test(another_recording_or_other_settings_are_refused),
        cmocka_unit_test(any_damaged_byte_is_noticed),
        cmocka_unit_test(places_outside_the_file_are_refused),
        cmocka_unit_test(what_cannot_have_been_heard_is_refused),
        cmocka_unit_test(of_a_part_only_what_was_heard_in_it_is_left),
        cmocka_unit_test(another_build_is_told_from_damage),
        cmocka_unit_test(a_missing_file_and_a_folder_are_errors),
        cmocka_unit_test(nothing_appears_before_commit),
        cmocka_unit_test(the_check_is_fnv_1a),
        cmocka_unit_test(what_is_heard_for_one_look_is_open_and_never_has_a_name),
        cmocka_unit_test(a_long_take_s_file_takes_memory_only_while_it_is_read),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
