/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Whole files, read back by libsndfile and by a plain walk over their bytes. */
#include "audio_test.h"

#include <signal.h>
#include <sys/resource.h>
#include <sys/stat.h>

#include "audio/writer.h"

enum { RATE_HZ = 48000, FRAMES = 50001 };

static float sound[FRAMES];

static void make_sound(void)
{
    uint32_t noise = 3;
    for (int i = 0; i < FRAMES; i++)
        sound[i] = 0.3f * (float)sin(0.05 * i) + 0.01f * test_noise(&noise);
}

static void add_in_blocks(struct tt_writer *writer, size_t block, struct tt_error *err)
{
    for (size_t at = 0; at < FRAMES; at += block)
        assert_ok(tt_writer_add(writer, sound + at, FRAMES - at < block ? FRAMES - at : block, err), *err);
}

static void write_file(const char *path, struct tt_sound_format format, size_t block, const struct tt_label *labels,
                       size_t label_count, const struct tt_bext *bext)
{
    struct tt_error err = {0};
    make_sound();
    struct tt_writer *writer = tt_writer_open(path, &format, labels, label_count, bext, &err);
    assert_ok(writer != NULL, err);
    add_in_blocks(writer, block, &err);
    if (bext != NULL)
        tt_writer_set_loudness(writer, &(struct tt_bext_loudness){-16.02, 4.5, -1.05, -12.3, -14.0});
    assert_ok(tt_writer_commit(writer, &err), err);
}

static const struct form {
    struct tt_sound_format format;
    int sndfile_format;
    double tolerance;
} forms[] = {
    {{TT_CONTAINER_WAV, TT_BITS_16, TT_CHANNELS_MONO, RATE_HZ}, SF_FORMAT_WAV | SF_FORMAT_PCM_16, 1.51 / 32768.0},
    {{TT_CONTAINER_WAV, TT_BITS_24, TT_CHANNELS_MONO, RATE_HZ}, SF_FORMAT_WAV | SF_FORMAT_PCM_24, 0.51 / 8388608.0},
    {{TT_CONTAINER_WAV, TT_BITS_24, TT_CHANNELS_DUAL, 44100}, SF_FORMAT_WAV | SF_FORMAT_PCM_24, 0.51 / 8388608.0},
    {{TT_CONTAINER_WAV, TT_BITS_32F, TT_CHANNELS_DUAL, RATE_HZ}, SF_FORMAT_WAV | SF_FORMAT_FLOAT, 0.0},
    {{TT_CONTAINER_RF64, TT_BITS_16, TT_CHANNELS_DUAL, RATE_HZ}, SF_FORMAT_RF64 | SF_FORMAT_PCM_16, 1.51 / 32768.0},
    {{TT_CONTAINER_RF64, TT_BITS_24, TT_CHANNELS_MONO, 96000}, SF_FORMAT_RF64 | SF_FORMAT_PCM_24, 0.51 / 8388608.0},
    {{TT_CONTAINER_RF64, TT_BITS_32F, TT_CHANNELS_MONO, RATE_HZ}, SF_FORMAT_RF64 | SF_FORMAT_FLOAT, 0.0},
    {{TT_CONTAINER_FLAC, TT_BITS_16, TT_CHANNELS_MONO, RATE_HZ}, SF_FORMAT_FLAC | SF_FORMAT_PCM_16, 1.51 / 32768.0},
    {{TT_CONTAINER_FLAC, TT_BITS_24, TT_CHANNELS_DUAL, RATE_HZ}, SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 0.51 / 8388608.0},
    {{TT_CONTAINER_FLAC, TT_BITS_32F, TT_CHANNELS_MONO, RATE_HZ}, SF_FORMAT_FLAC | SF_FORMAT_PCM_24, 0.51 / 8388608.0},
};
enum { FORM_COUNT = sizeof forms / sizeof forms[0] };

static void every_form_is_read_back_by_another_library(void **state)
{
    (void)state;
    float *back = malloc(sizeof *back * 2 * (FRAMES + 1));
    for (size_t i = 0; i < FORM_COUNT; i++) {
        SF_INFO info = {0};
        write_file(test_path("form.wav"), forms[i].format, 4096, NULL, 0, NULL);
        SNDFILE *file = sf_open(test_path("form.wav"), SFM_READ, &info);
        assert_non_null(file);
        const int channels = forms[i].format.channels == TT_CHANNELS_DUAL ? 2 : 1;
        assert_int_equal(info.format, forms[i].sndfile_format);
        assert_int_equal(info.samplerate, forms[i].format.rate_hz);
        assert_int_equal(info.channels, channels);
        assert_int_equal(info.frames, FRAMES);
        assert_int_equal(sf_readf_float(file, back, FRAMES + 1), FRAMES);
        for (int k = 0; k < FRAMES * channels; k++)
            assert_near((double)back[k], (double)sound[k / channels], forms[i].tolerance);
        assert_int_equal(sf_close(file), 0);
    }
    free(back);
}

static void the_same_sound_gives_the_same_bytes_whatever_the_blocks(void **state)
{
    (void)state;
    static const size_t blocks[] = {1, 16383, FRAMES};
    const struct tt_label label = {100, "01"};
    const struct tt_bext bext = {.description = "hive"};
    for (size_t i = 0; i < FORM_COUNT; i++) {
        size_t size, other_size;
        write_file(test_path("same.wav"), forms[i].format, 4096, &label, 1, &bext);
        unsigned char *bytes = load_bytes(test_path("same.wav"), &size);
        for (size_t b = 0; b < sizeof blocks / sizeof blocks[0]; b++) {
            write_file(test_path("same.wav"), forms[i].format, blocks[b], &label, 1, &bext);
            unsigned char *other = load_bytes(test_path("same.wav"), &other_size);
            assert_int_equal(size, other_size);
            assert_memory_equal(bytes, other, size);
            free(other);
        }
        free(bytes);
    }
}

/* RIFF 1991: every chunk is in its place and the sizes add up to the size of the file. */
static void a_wav_file_is_a_chain_of_chunks_to_its_last_byte(void **state)
{
    (void)state;
    static const char *const order[] = {"JUNK", "fmt ", "bext", "cue ", "LIST", "data"};
    const struct tt_label label = {100, "01"};
    const struct tt_bext bext = {.description = "hive"};
    size_t size;
    write_file(test_path("chain.wav"), forms[1].format, 4096, &label, 1, &bext);
    unsigned char *bytes = load_bytes(test_path("chain.wav"), &size);
    assert_memory_equal(bytes, "RIFF", 4);
    assert_int_equal(le32(bytes + 4), size - 8);
    size_t at = 12;
    for (size_t i = 0; i < sizeof order / sizeof order[0]; i++) {
        assert_memory_equal(bytes + at, order[i], 4);
        uint32_t chunk_size = le32(bytes + at + 4);
        at += 8 + (size_t)chunk_size + (chunk_size & 1);
    }
    assert_int_equal(at, size);
    assert_int_equal(size % 2, 0); /* 50001 frames of 3 bytes are odd: padded */
    free(bytes);
}

static void labels_are_read_back_with_their_names(void **state)
{
    (void)state;
    static const struct tt_label labels[] = {{0, "01"}, {777, "gap"}, {40000, "Ouverture de la ruche"}};
    static const size_t which[] = {1, 4}; /* WAV; libsndfile 1.2 reads cue points in RF64, too, where there are any */
    for (size_t i = 0; i < 2; i++) {
        SF_INFO info = {0};
        SF_CUES cues;
        write_file(test_path("labels.wav"), forms[which[i]].format, 4096, labels, 3, NULL);
        SNDFILE *file = sf_open(test_path("labels.wav"), SFM_READ, &info);
        assert_non_null(file);
        memset(&cues, 0, sizeof cues);
        int has_cues = sf_command(file, SFC_GET_CUE, &cues, sizeof cues);
        assert_int_equal(sf_close(file), 0);
        if ((info.format & SF_FORMAT_TYPEMASK) == SF_FORMAT_RF64 && !has_cues)
            continue;
        assert_int_equal(has_cues, SF_TRUE);
        assert_int_equal(cues.cue_count, 3);
        for (uint32_t k = 0; k < 3; k++) {
            assert_int_equal(cues.cue_points[k].sample_offset, labels[k].frame);
            assert_string_equal(cues.cue_points[k].name, labels[k].text);
        }
    }
}

/* RF64 by our own walk, as not every reader looks for cue points there. */
static void rf64_holds_labels_and_the_broadcast_extension(void **state)
{
    (void)state;
    const struct tt_label label = {100, "01"};
    const struct tt_bext bext = {.description = "hive"};
    size_t size;
    uint32_t chunk_size;
    write_file(test_path("chain.rf64"), forms[5].format, 4096, &label, 1, &bext);
    unsigned char *bytes = load_bytes(test_path("chain.rf64"), &size);
    assert_memory_equal(bytes, "RF64\xFF\xFF\xFF\xFFWAVEds64", 16);
    assert_int_equal(le64(bytes + 20), size - 8);
    assert_int_equal(le64(bytes + 28), 3 * FRAMES);
    assert_int_equal(le64(bytes + 36), FRAMES);
    assert_int_equal(le32(find_chunk(bytes, size, "cue ", &chunk_size) + 8), 100);
    assert_string_equal((const char *)find_chunk(bytes, size, "LIST", &chunk_size) + 16, "01");
    assert_string_equal((const char *)find_chunk(bytes, size, "bext", &chunk_size), "hive");
    free(bytes);
}

static void the_broadcast_extension_is_read_back(void **state)
{
    (void)state;
    const struct tt_bext bext = {
        .description = "Opening the hive in spring", .originator = "tidytake", .time_reference = 172800000};
    SF_INFO info = {0};
    SF_BROADCAST_INFO back;
    write_file(test_path("bext.wav"), forms[2].format, 4096, NULL, 0, &bext);
    SNDFILE *file = sf_open(test_path("bext.wav"), SFM_READ, &info);
    assert_non_null(file);
    assert_int_equal(sf_command(file, SFC_GET_BROADCAST_INFO, &back, sizeof back), SF_TRUE);
    assert_string_equal(back.description, bext.description);
    assert_string_equal(back.originator, "tidytake");
    assert_int_equal(back.time_reference_low, 172800000);
    assert_int_equal(back.version, 2);
    assert_int_equal(back.loudness_value, -1602);
    assert_int_equal(back.loudness_range, 450);
    assert_int_equal(back.max_true_peak_level, -105);
    assert_int_equal(back.max_momentary_loudness, -1230);
    assert_int_equal(back.max_shortterm_loudness, -1400);
    assert_memory_equal(back.coding_history, "A=PCM,F=44100,W=24,M=dual-mono,T=tidytake\r\n", 43);
    assert_int_equal(sf_close(file), 0);
}

static void nothing_but_the_finished_file_is_left(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct stat status;
    size_t size;
    for (size_t i = 0; i < FORM_COUNT; i++) {
        save_bytes(test_path("kept.wav"), "before", 6);
        struct tt_writer *writer = tt_writer_open(test_path("kept.wav"), &forms[i].format, NULL, 0, NULL, &err);
        assert_ok(writer != NULL, err);
        add_in_blocks(writer, 16384, &err);
        tt_writer_abandon(writer);
        unsigned char *bytes = load_bytes(test_path("kept.wav"), &size);
        assert_int_equal(size, 6);
        free(bytes);
    }
    tt_writer_abandon(NULL);
    assert_null(tt_writer_open(test_path("no/such/folder.wav"), &forms[0].format, NULL, 0, NULL, &err));
    assert_int_equal(err.kind, TT_ERROR_OUTPUT);
    assert_int_not_equal(stat(test_path("no"), &status), 0);
}

static void an_empty_file_is_a_whole_file_or_an_error(void **state)
{
    (void)state;
    for (size_t i = 0; i < FORM_COUNT; i++) {
        struct tt_error err = {0};
        SF_INFO info = {0};
        struct tt_writer *writer = tt_writer_open(test_path("empty.wav"), &forms[i].format, NULL, 0, NULL, &err);
        assert_ok(writer != NULL, err);
        if (forms[i].format.container == TT_CONTAINER_FLAC) {
            assert_false(tt_writer_commit(writer, &err)); /* libFLAC would leave a file of no bytes */
            assert_int_equal(err.kind, TT_ERROR_OUTPUT);
            continue;
        }
        assert_ok(tt_writer_commit(writer, &err), err);
        SNDFILE *file = sf_open(test_path("empty.wav"), SFM_READ, &info);
        assert_non_null(file);
        assert_int_equal(info.frames, 0);
        assert_int_equal(sf_close(file), 0);
    }
}

/* A limit on the size of a file stands in for a full disk: libsndfile alone reports success there. */
static void a_write_that_fails_fails_the_commit(void **state)
{
    (void)state;
    const struct rlimit small = {20000, RLIM_INFINITY};
    struct rlimit before;
    assert_int_equal(getrlimit(RLIMIT_FSIZE, &before), 0);
    void (*old_handler)(int) = signal(SIGXFSZ, SIG_IGN);
    for (size_t i = 0; i < FORM_COUNT; i++) {
        struct tt_error err = {0}, commit_err = {0};
        size_t size;
        save_bytes(test_path("full.wav"), "before", 6);
        make_sound();
        struct tt_writer *writer = tt_writer_open(test_path("full.wav"), &forms[i].format, NULL, 0, NULL, &err);
        assert_ok(writer != NULL, err);
        assert_int_equal(setrlimit(RLIMIT_FSIZE, &small), 0);
        (void)tt_writer_add(writer, sound, FRAMES, &err);
        bool is_done = tt_writer_commit(writer, &commit_err);
        assert_int_equal(setrlimit(RLIMIT_FSIZE, &before), 0);
        assert_false(is_done);
        assert_int_equal(commit_err.kind, TT_ERROR_OUTPUT);
        assert_non_null(strstr(commit_err.message, "full.wav"));
        unsigned char *bytes = load_bytes(test_path("full.wav"), &size);
        assert_int_equal(size, 6);
        free(bytes);
    }
    (void)signal(SIGXFSZ, old_handler);
}

static void a_file_past_4_gib_is_rf64(void **state)
{
    (void)state;
    if (getenv("TIDYTAKE_LONG_TESTS") == NULL)
        skip();
    struct tt_error err = {0};
    SF_INFO info = {0};
    const struct tt_sound_format format = {TT_CONTAINER_WAV, TT_BITS_32F, TT_CHANNELS_DUAL, RATE_HZ};
    const int64_t frames = INT64_C(537000000); /* 8 bytes each */
    static float block[1 << 20];
    make_sine(block, 1 << 20, 440.0, RATE_HZ, 0.5);
    struct tt_writer *writer = tt_writer_open(test_path("long.wav"), &format, NULL, 0, NULL, &err);
    assert_ok(writer != NULL, err);
    for (int64_t at = 0; at < frames; at += 1 << 20) {
        int64_t rest = frames - at;
        assert_ok(tt_writer_add(writer, block, rest < 1 << 20 ? (size_t)rest : 1 << 20, &err), err);
    }
    assert_ok(tt_writer_commit(writer, &err), err);
    SNDFILE *file = sf_open(test_path("long.wav"), SFM_READ, &info);
    assert_non_null(file);
    assert_int_equal(info.format, SF_FORMAT_RF64 | SF_FORMAT_FLOAT);
    assert_int_equal(info.frames, frames);
    float last[2];
    assert_int_equal(sf_seek(file, frames - 1, SEEK_SET), frames - 1);
    assert_int_equal(sf_readf_float(file, last, 1), 1);
    assert_true(last[0] == block[(frames - 1) % (1 << 20)]);
    assert_int_equal(sf_close(file), 0);
    assert_int_equal(unlink(test_path("long.wav")), 0);
}

static void endings_follow_the_container(void **state)
{
    (void)state;
    assert_string_equal(tt_container_ending(TT_CONTAINER_WAV), ".wav");
    assert_string_equal(tt_container_ending(TT_CONTAINER_RF64), ".wav");
    assert_string_equal(tt_container_ending(TT_CONTAINER_FLAC), ".flac");
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(every_form_is_read_back_by_another_library),
        cmocka_unit_test(the_same_sound_gives_the_same_bytes_whatever_the_blocks),
        cmocka_unit_test(a_wav_file_is_a_chain_of_chunks_to_its_last_byte),
        cmocka_unit_test(labels_are_read_back_with_their_names),
        cmocka_unit_test(rf64_holds_labels_and_the_broadcast_extension),
        cmocka_unit_test(the_broadcast_extension_is_read_back),
        cmocka_unit_test(nothing_but_the_finished_file_is_left),
        cmocka_unit_test(an_empty_file_is_a_whole_file_or_an_error),
        cmocka_unit_test(a_write_that_fails_fails_the_commit),
        cmocka_unit_test(a_file_past_4_gib_is_rf64),
        cmocka_unit_test(endings_follow_the_container),
    };
    return cmocka_run_group_tests(tests, make_test_folder, remove_test_folder);
}
