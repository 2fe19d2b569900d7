/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The bytes in front of the sound, against the grammar of RIFF (1991), EBU Tech 3285 v2 and EBU Tech 3306. */
#include "audio_test.h"

#include "audio/wav_chunks.h"
#include "audio/wav_head.h"

static const struct tt_sound_format mono_24 = {TT_CONTAINER_WAV, TT_BITS_24, TT_CHANNELS_MONO, 48000};

static const unsigned char *head_bytes(const struct tt_wav_head *head)
{
    return (const unsigned char *)head->bytes.data;
}

static struct tt_wav_head make_head(const struct tt_sound_format *format, const struct tt_bext *bext)
{
    struct tt_wav_head head = {.bext_at = 0};
    struct tt_error err = {0};
    assert_ok(tt_wav_head_make(&head, format, NULL, 0, bext, &err), err);
    return head;
}

static void a_plain_head_says_what_the_sound_is(void **state)
{
    (void)state;
    struct tt_wav_head head = make_head(&mono_24, NULL);
    tt_wav_head_set_length(&head, 1001);
    const unsigned char *bytes = head_bytes(&head);
    static const unsigned char fmt[16] = {1, 0, 1, 0, 0x80, 0xBB, 0, 0, 0x80, 0x32, 2, 0, 3, 0, 24, 0};
    uint32_t size;
    assert_memory_equal(bytes, "RIFF", 4);
    assert_memory_equal(bytes + 8, "WAVE", 4);
    assert_int_equal(le32(bytes + 4), head.bytes.length - 8 + 3003 + 1); /* with the pad byte */
    assert_memory_equal(find_chunk(bytes, head.bytes.length, "fmt ", &size), fmt, 16);
    assert_int_equal(size, 16);
    assert_null(find_chunk(bytes, head.bytes.length, "fact", &size));
    assert_memory_equal(bytes + head.bytes.length - 8, "data", 4);
    assert_int_equal(le32(bytes + head.bytes.length - 4), 3003); /* without it */
    tt_wav_head_free(&head);
}

static void float_sound_has_its_own_tag_and_a_fact_chunk(void **state)
{
    (void)state;
    struct tt_wav_head head =
        make_head(&(struct tt_sound_format){TT_CONTAINER_WAV, TT_BITS_32F, TT_CHANNELS_DUAL, 44100}, NULL);
    tt_wav_head_set_length(&head, 12345);
    uint32_t size;
    const unsigned char *fmt = find_chunk(head_bytes(&head), head.bytes.length, "fmt ", &size);
    assert_int_equal(fmt[0], 3);
    assert_int_equal(fmt[2], 2);
    assert_int_equal(le32(fmt + 8), 44100 * 8);
    assert_int_equal(le32(find_chunk(head_bytes(&head), head.bytes.length, "fact", &size)), 12345);
    tt_wav_head_free(&head);
}

/* The greatest file a RIFF header can tell of, and the next: FFFFFFFFh itself is the mark for ds64. */
static void wav_turns_into_rf64_where_32_bits_end(void **state)
{
    (void)state;
    const struct tt_sound_format words = {TT_CONTAINER_WAV, TT_BITS_16, TT_CHANNELS_MONO, 48000};
    struct tt_wav_head head = make_head(&words, NULL);
    const unsigned char *bytes = head_bytes(&head);
    const uint64_t most = (UINT64_C(0xFFFFFFFE) - (head.bytes.length - 8)) / 2;
    tt_wav_head_set_length(&head, most);
    assert_memory_equal(bytes, "RIFF", 4);
    assert_memory_equal(bytes + 12, "JUNK", 4);
    assert_int_equal(le32(bytes + 4), 0xFFFFFFFE);
    assert_int_equal(le32(bytes + head.bytes.length - 4), 2 * most);
    tt_wav_head_set_length(&head, most + 1);
    assert_memory_equal(bytes, "RF64", 4);
    assert_int_equal(le32(bytes + 4), 0xFFFFFFFF);
    assert_memory_equal(bytes + 12, "ds64", 4);
    assert_int_equal(le32(bytes + 16), 28);
    assert_int_equal(le64(bytes + 20), head.bytes.length - 8 + 2 * (most + 1)); /* riffSize */
    assert_int_equal(le64(bytes + 28), 2 * (most + 1));                         /* dataSize */
    assert_int_equal(le64(bytes + 36), most + 1);                               /* sampleCount */
    assert_int_equal(le32(bytes + 44), 0);                                      /* no table */
    assert_int_equal(le32(bytes + head.bytes.length - 4), 0xFFFFFFFF);
    tt_wav_head_free(&head);
}

static void rf64_is_rf64_at_any_length(void **state)
{
    (void)state;
    struct tt_wav_head head =
        make_head(&(struct tt_sound_format){TT_CONTAINER_RF64, TT_BITS_24, TT_CHANNELS_MONO, 48000}, NULL);
    tt_wav_head_set_length(&head, 7);
    assert_memory_equal(head_bytes(&head), "RF64", 4);
    assert_int_equal(le64(head_bytes(&head) + 28), 21);
    tt_wav_head_free(&head);
}

/* EBU Tech 3285 v2, places and values of the fields. */
static void the_broadcast_extension_has_its_fields_in_place(void **state)
{
    (void)state;
    struct tt_bext bext = {.description = "Ouverture de la ruche, \xC3\xA9t\xC3\xA9",
                           .originator = "tidytake",
                           .time_reference = INT64_C(4492800000),
                           .coding_history = "A=ANALOGUE,M=mono,T=room"};
    struct tt_wav_head head =
        make_head(&(struct tt_sound_format){TT_CONTAINER_WAV, TT_BITS_24, TT_CHANNELS_MONO, 96000}, &bext);
    uint32_t size;
    const unsigned char *body = find_chunk(head_bytes(&head), head.bytes.length, "bext", &size);
    const char history[] = "A=ANALOGUE,M=mono,T=room\r\nA=PCM,F=96000,W=24,M=mono,T=tidytake\r\n";
    assert_int_equal(size, 602 + strlen(history));
    assert_string_equal((const char *)body, "Ouverture de la ruche, ?t?");
    assert_string_equal((const char *)body + 256, "tidytake");
    for (int i = 288; i < 338; i++)
        assert_int_equal(body[i], 0);               /* reference, date, time */
    assert_int_equal(le32(body + 338), 0x0BCAB000); /* 13:00:00 at 96 kHz */
    assert_int_equal(le32(body + 342), 1);
    assert_int_equal(body[346] | body[347] << 8, 2);
    for (int i = 412; i < 422; i += 2)
        assert_int_equal(body[i] | body[i + 1] << 8, 0x7FFF);
    for (int i = 422; i < 602; i++)
        assert_int_equal(body[i], 0);
    assert_memory_equal(body + 602, history, strlen(history));
    tt_wav_head_free(&head);
}

static void loudness_is_in_hundredths_and_7fff_where_there_is_none(void **state)
{
    (void)state;
    const struct tt_bext bext = {.time_reference = INT64_C(1728000000)};
    const struct tt_bext_loudness loudness = {-23.04, 7.3, -1.05, -INFINITY, NAN};
    static const unsigned expected[5] = {0xF700, 0x02DA, 0xFF97, 0x7FFF, 0x7FFF};
    struct tt_wav_head head = make_head(&mono_24, &bext);
    uint32_t size;
    tt_wav_head_set_loudness(&head, &loudness);
    const unsigned char *body = find_chunk(head_bytes(&head), head.bytes.length, "bext", &size);
    assert_int_equal(le32(body + 338), 0x66FF3000); /* 10:00:00 at 48 kHz */
    for (int i = 0; i < 5; i++)
        assert_int_equal(body[412 + 2 * i] | body[413 + 2 * i] << 8, expected[i]);
    tt_wav_head_set_loudness(&head, &(struct tt_bext_loudness){-23.0, 0.0, 100.0, -100.0, -99.99});
    static const unsigned again[5] = {0xF704, 0, 0x7FFF, 0x7FFF, 0xD8F1};
    for (int i = 0; i < 5; i++)
        assert_int_equal(body[412 + 2 * i] | body[413 + 2 * i] << 8, again[i]);
    tt_wav_head_free(&head);
}

static void fields_that_are_too_long_are_cut(void **state)
{
    (void)state;
    struct tt_bext bext = {.time_reference = -5};
    memset(bext.description, 'd', 256);
    memset(bext.originator, 'o', 32);
    struct tt_wav_head head = make_head(&mono_24, &bext);
    uint32_t size;
    const unsigned char *body = find_chunk(head_bytes(&head), head.bytes.length, "bext", &size);
    assert_int_equal(body[255], 'd');
    assert_int_equal(body[256], 'o');
    assert_int_equal(body[287], 'o');
    assert_int_equal(body[288], 0);
    assert_int_equal(le64(body + 338), 0);
    tt_wav_head_free(&head);
}

static void labels_become_cue_points_with_a_labl_each(void **state)
{
    (void)state;
    const struct tt_label labels[] = {{0, "01"},
                                      {48000, "the hive"},
                                      {INT64_C(4294967296), "past 32 bits"},
                                      {-1, "before"},
                                      {INT64_C(4294967295), "été"}};
    static const uint32_t frames[3] = {0, 48000, 4294967295u};
    static const char *const texts[3] = {"01", "the hive", "été"};
    struct tt_text bytes = {0};
    uint32_t size;
    tt_text_add_bytes(&bytes, "RIFF\0\0\0\0WAVE", 12);
    tt_chunk_labels(&bytes, labels, 5);
    assert_false(bytes.has_failed);
    const unsigned char *all = (const unsigned char *)bytes.data;
    const unsigned char *cue = find_chunk(all, bytes.length, "cue ", &size);
    assert_int_equal(size, 4 + 3 * 24);
    assert_int_equal(le32(cue), 3);
    const unsigned char *list = find_chunk(all, bytes.length, "LIST", &size);
    assert_memory_equal(list, "adtl", 4);
    const unsigned char *labl = list + 4;
    for (uint32_t i = 0; i < 3; i++) {
        const unsigned char *point = cue + 4 + 24 * i;
        assert_int_equal(le32(point), i + 1);
        assert_int_equal(le32(point + 4), frames[i]);
        assert_memory_equal(point + 8, "data\0\0\0\0\0\0\0\0", 12);
        assert_int_equal(le32(point + 20), frames[i]);
        assert_memory_equal(labl, "labl", 4);
        uint32_t labl_size = le32(labl + 4);
        assert_int_equal(labl_size, 4 + strlen(texts[i]) + 1);
        assert_int_equal(le32(labl + 8), i + 1);
        assert_string_equal((const char *)labl + 12, texts[i]);
        labl += 8 + labl_size + (labl_size & 1);
    }
    assert_ptr_equal(labl, list + size);
    assert_ptr_equal(labl, all + bytes.length);
    tt_text_free(&bytes);
}

static void no_label_means_no_chunk(void **state)
{
    (void)state;
    struct tt_text bytes = {0};
    tt_chunk_labels(&bytes, NULL, 0);
    tt_chunk_labels(&bytes, &(struct tt_label){-1, "before"}, 1);
    assert_int_equal(bytes.length, 0);
    tt_text_free(&bytes);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_plain_head_says_what_the_sound_is),
        cmocka_unit_test(float_sound_has_its_own_tag_and_a_fact_chunk),
        cmocka_unit_test(wav_turns_into_rf64_where_32_bits_end),
        cmocka_unit_test(rf64_is_rf64_at_any_length),
        cmocka_unit_test(the_broadcast_extension_has_its_fields_in_place),
        cmocka_unit_test(loudness_is_in_hundredths_and_7fff_where_there_is_none),
        cmocka_unit_test(fields_that_are_too_long_are_cut),
        cmocka_unit_test(labels_become_cue_points_with_a_labl_each),
        cmocka_unit_test(no_label_means_no_chunk),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
