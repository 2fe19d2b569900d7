/* SPDX-License-Identifier: GPL-2.0-or-later */
#define _XOPEN_SOURCE 700 /* nftw */
#include <setjmp.h>
#include <stdarg.h>
#include <stddef.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <cmocka.h>

#include <dirent.h>
#include <fcntl.h>
#include <ftw.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"

static char folder[] = "/tmp/tidytake-file-XXXXXX";

static char *in_folder(const char *name)
{
    char *path = tt_path_join(folder, name);
    assert_non_null(path);
    return path;
}

static void write_plainly(const char *path, const char *bytes, size_t size)
{
    FILE *file = fopen(path, "wb");
    assert_non_null(file);
    assert_int_equal(fwrite(bytes, 1, size, file), size);
    assert_int_equal(fclose(file), 0);
}

static void what_is_written_is_read_back(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = in_folder("miel d'été.csv"), *data;
    size_t size;
    static const char bytes[] = "a\0b\r\n\xFF";
    assert_true(tt_file_write(path, bytes, sizeof bytes - 1, &err));
    assert_true(tt_file_read(path, sizeof bytes - 1, &data, &size, &err));
    assert_int_equal(size, sizeof bytes - 1);
    assert_memory_equal(data, bytes, sizeof bytes); /* NUL-terminated behind */
    free(data);
    assert_true(tt_file_write(path, "", 0, &err));
    assert_true(tt_file_read(path, 0, &data, &size, &err));
    assert_int_equal(size, 0);
    assert_string_equal(data, "");
    free(data);
    free(path);
}

static void a_file_past_the_limit_is_refused(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = in_folder("long.txt"), *data;
    size_t size;
    write_plainly(path, "12345", 5);
    assert_false(tt_file_read(path, 4, &data, &size, &err));
    assert_int_equal(err.kind, TT_ERROR_INPUT);
    assert_non_null(strstr(err.message, "long.txt: is larger than such a file can be"));
    assert_null(data);
    free(path);
}

static void what_cannot_be_read_says_why(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = in_folder("nowhere.txt"), *data;
    size_t size;
    assert_false(tt_file_read(path, 10, &data, &size, &err));
    assert_non_null(strstr(err.message, "nowhere.txt: cannot be read: No such file"));
    err = (struct tt_error){0};
    assert_false(tt_file_read(folder, 10, &data, &size, &err));
    assert_non_null(strstr(err.message, "Is a directory"));
    free(path);
}

static void equal_bytes_leave_the_file_untouched(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct stat before, after;
    char *path = in_folder("same.txt");
    size_t size = 100000; /* several chunks */
    char *bytes = calloc(1, size);
    assert_non_null(bytes);
    write_plainly(path, bytes, size);
    assert_int_equal(stat(path, &before), 0);
    assert_true(tt_file_write(path, bytes, size, &err));
    assert_int_equal(stat(path, &after), 0);
    assert_true(before.st_ino == after.st_ino && before.st_mtim.tv_nsec == after.st_mtim.tv_nsec);
    bytes[size - 1] = 1;
    assert_true(tt_file_write(path, bytes, size, &err));
    assert_int_equal(stat(path, &after), 0);
    assert_true(before.st_ino != after.st_ino);
    assert_true(tt_file_write(path, bytes, size - 1, &err)); /* shorter, else alike */
    assert_int_equal(stat(path, &after), 0);
    assert_int_equal(after.st_size, size - 1);
    free(bytes);
    free(path);
}

static void folders_are_made_with_their_parents(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = in_folder("a//b/c/"), *file = in_folder("a/file"), *below = in_folder("a/file/d");
    assert_true(tt_folder_make(path, &err));
    assert_true(tt_file_exists(path));
    assert_true(tt_folder_make(path, &err));
    assert_true(tt_folder_make("/", &err));
    write_plainly(file, "", 0);
    assert_false(tt_folder_make(file, &err));
    assert_non_null(strstr(err.message, "a/file: cannot be made a folder: a file"));
    err = (struct tt_error){0};
    assert_false(tt_folder_make(below, &err));
    assert_int_equal(err.kind, TT_ERROR_OUTPUT);
    free(path);
    free(file);
    free(below);
}

static void a_relative_folder_is_made_where_the_program_is(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char here[4096];
    assert_non_null(getcwd(here, sizeof here));
    assert_int_equal(chdir(folder), 0);
    assert_true(tt_folder_make("x/y", &err));
    assert_true(tt_file_write("x/y/z.txt", "1", 1, &err));
    assert_true(tt_file_write("plain.txt", "1", 1, &err)); /* no folder in the path at all */
    assert_int_equal(chdir(here), 0);
    char *path = in_folder("x/y/z.txt");
    assert_true(tt_file_exists(path));
    free(path);
}

static void paths_are_joined_with_one_slash(void **state)
{
    (void)state;
    static const struct {
        const char *folder, *name, *joined;
    } cases[] = {
        {"a", "b", "a/b"},
        {"a/", "b", "a/b"},
        {"/", "b", "/b"},
        {"", "b", "b"},
    };
    for (size_t i = 0; i < sizeof cases / sizeof *cases; i++) {
        char *joined = tt_path_join(cases[i].folder, cases[i].name);
        assert_string_equal(joined, cases[i].joined);
        free(joined);
    }
    assert_string_equal(tt_path_name("a/b.wav"), "b.wav");
    assert_string_equal(tt_path_name("b.wav"), "b.wav");
    assert_string_equal(tt_path_name("a/"), "");
}

static int count_entries(const char *path)
{
    DIR *listing = opendir(path);
    assert_non_null(listing);
    int count = 0;
    while (readdir(listing))
        count++;
    closedir(listing);
    return count;
}

static void a_long_scratch_comes_back_across_what_is_kept_in_memory(void **state)
{
    (void)state;
    enum { PART = 70000, COUNT = TT_SCRATCH_IN_MEMORY + 3 * PART };
    struct tt_error err = {0};
    struct tt_scratch *scratch = tt_scratch_open(folder, &err);
    float *samples = malloc(PART * sizeof *samples);
    for (int at = 0, count; at < COUNT; at += count) {
        count = COUNT - at < PART ? COUNT - at : PART;
        for (int i = 0; i < count; i++)
            samples[i] = (float)(at + i);
        assert_true(tt_scratch_add(scratch, samples, (size_t)count, &err));
    }
    for (int round = 0; round < 2; round++) {
        tt_scratch_rewind(scratch);
        for (int at = 0, count; at < COUNT; at += count) {
            count = COUNT - at < PART - 1 ? COUNT - at : PART - 1;
            assert_int_equal(tt_scratch_read(scratch, samples, PART - 1, &err), count);
            for (int i = 0; i < count; i++)
                assert_true(samples[i] == (float)(at + i));
        }
    }
    free(samples);
    tt_scratch_close(scratch);
}

static void scratch_samples_come_back_and_no_file_is_seen(void **state)
{
    (void)state;
    struct tt_error err = {0};
    int before = count_entries(folder);
    struct tt_scratch *scratch = tt_scratch_open(folder, &err);
    assert_non_null(scratch);
    assert_int_equal(count_entries(folder), before);
    float samples[1000], back[700];
    for (int i = 0; i < 1000; i++)
        samples[i] = (float)i;
    assert_true(tt_scratch_add(scratch, samples, 1, &err));
    assert_true(tt_scratch_add(scratch, samples, 0, &err));
    assert_true(tt_scratch_add(scratch, samples + 1, 999, &err));
    for (int round = 0; round < 2; round++) {
        tt_scratch_rewind(scratch);
        assert_int_equal(tt_scratch_read(scratch, back, 700, &err), 700);
        assert_memory_equal(back, samples, sizeof back);
        assert_int_equal(tt_scratch_read(scratch, back, 700, &err), 300);
        assert_memory_equal(back, samples + 700, 300 * sizeof *back);
        assert_int_equal(tt_scratch_read(scratch, back, 700, &err), 0);
    }
    tt_scratch_close(scratch);
    tt_scratch_close(NULL);
    assert_null(tt_scratch_open("/nowhere/at/all", &err));
    assert_int_equal(err.kind, TT_ERROR_OUTPUT);
}

/* FIPS 180-4 gives the algorithm; the values are those of the examples that NIST publishes with it
 * (csrc.nist.gov, Cryptographic Standards and Guidelines, examples with intermediate values: SHA-256). */
static void hashes_agree_with_the_examples_of_the_standard(void **state)
{
    (void)state;
    char hex[65];
    tt_sha256("abc", 3, hex);
    assert_string_equal(hex, "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad");
    tt_sha256(NULL, 0, hex);
    assert_string_equal(hex, "e3b0c44298fc1c149afbf4c8996fb92427ae41e4649b934ca495991b7852b855");
    static const char two_blocks[] = "abcdbcdecdefdefgefghfghighijhijkijkljklmklmnlmnomnopnopq";
    tt_sha256(two_blocks, strlen(two_blocks), hex);
    assert_string_equal(hex, "248d6a61d20638b8e5c026930c3e6039a33ce45964ff2167f6ecedd419db06c1");
}

static void a_file_of_a_million_a_has_its_known_hash(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char hex[65], *path = in_folder("million");
    char *bytes = malloc(1000000);
    assert_non_null(bytes);
    memset(bytes, 'a', 1000000);
    write_plainly(path, bytes, 1000000);
    assert_true(tt_file_sha256(path, hex, &err));
    assert_string_equal(hex, "cdc76e5c9914fb9281a1c7e284d73e67f1809a48a497200e046d39ccc7112cd0");
    free(bytes);
    free(path);
    assert_false(tt_file_sha256(folder, hex, &err));
    assert_non_null(strstr(err.message, "Is a directory"));
}

enum { SHOWN_BYTES = 400000 };

struct shown {
    int64_t from, to;
};

/* Bytes of the file, with those in the places that count as shown another than they are in it. */
static void assert_shown(const struct shown *shown, size_t count, const struct shown *counts, size_t counts_count)
{
    struct tt_error err = {0};
    char hex[65], expected[65], *path = in_folder("shown");
    unsigned char *bytes = malloc(SHOWN_BYTES);
    assert_non_null(bytes);
    for (int i = 0; i < SHOWN_BYTES; i++)
        bytes[i] = (unsigned char)(i * 7 + i / 251);
    write_plainly(path, (const char *)bytes, SHOWN_BYTES);
    struct tt_file_digest *digest = tt_file_digest_open(path, &err);
    assert_non_null(digest);
    unsigned char *other = malloc(SHOWN_BYTES);
    assert_non_null(other);
    for (int i = 0; i < SHOWN_BYTES; i++)
        other[i] = bytes[i] ^ 1;
    for (size_t i = 0; i < count; i++)
        tt_file_digest_show(digest, shown[i].from, other + shown[i].from, (size_t)(shown[i].to - shown[i].from));
    assert_true(tt_file_digest_finish(digest, NULL, NULL, hex, &err));
    for (size_t i = 0; i < counts_count; i++)
        memcpy(bytes + counts[i].from, other + counts[i].from, (size_t)(counts[i].to - counts[i].from));
    tt_sha256(bytes, SHOWN_BYTES, expected);
    assert_string_equal(hex, expected);
    tt_file_digest_close(digest);
    free(bytes);
    free(other);
    free(path);
}

static void a_digest_reads_what_it_was_not_shown_and_nothing_else(void **state)
{
    (void)state;
    static const struct shown all = {0, SHOWN_BYTES}, blocks[] = {{44, 50000}, {50000, 100000}, {100000, 399000}},
                              twice[] = {{0, 4000}, {1000, 9000}, {9000, 9000}, {5000, 8000}}, once = {0, 9000},
                              far[] = {{300000, 310000}, {10, 20}, {390000, SHOWN_BYTES}}, near = {10, 20};
    assert_shown(NULL, 0, NULL, 0);
    assert_shown(&all, 1, &all, 1);
    assert_shown(blocks, 3, blocks, 3); /* a header in front, chunks behind */
    assert_shown(twice, 4, &once, 1);
    assert_shown(far, 3, &near, 1); /* too far ahead to be waited for */
}

static bool stop_at_once(void *context)
{
    (void)context;
    return false;
}

static void a_digest_ends_when_it_is_told_to(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char hex[65], *path = in_folder("stopped");
    write_plainly(path, "abc", 3);
    assert_false(tt_file_sha256_while(path, stop_at_once, NULL, hex, &err));
    assert_int_equal(err.kind, TT_ERROR_STOPPED);
    free(path);
}

static int remove_one(const char *path, const struct stat *info, int type, struct FTW *place)
{
    (void)info, (void)type, (void)place;
    return remove(path);
}

static int make_folder(void **state)
{
    (void)state;
    return mkdtemp(folder) ? 0 : -1;
}

static void what_cannot_be_mapped_is_read_in(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct tt_mapped mapped;
    char told[256] = "";
    const int fd = open("/proc/version", O_RDONLY); /* as the kernel's own files cannot */
    const ssize_t size = read(fd, told, sizeof told);
    assert_true(size > 0);
    assert_true(tt_mapped_open(fd, (size_t)size, "version", &mapped, &err));
    assert_true(mapped.is_copy && mapped.size == (size_t)size);
    assert_memory_equal(mapped.data, told, (size_t)size);
    tt_mapped_let_go(&mapped); /* which leaves a copy alone */
    assert_memory_equal(mapped.data, told, (size_t)size);
    tt_mapped_close(&mapped);
    assert_null(mapped.data);
    assert_false(tt_mapped_open(fd, (size_t)size + 1000, "version", &mapped, &err));
    assert_non_null(strstr(err.message, "version: cannot be read"));
    close(fd);
}

static int remove_folder(void **state)
{
    (void)state;
    return nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_is_written_is_read_back),
        cmocka_unit_test(a_file_past_the_limit_is_refused),
        cmocka_unit_test(what_cannot_be_read_says_why),
        cmocka_unit_test(equal_bytes_leave_the_file_untouched),
        cmocka_unit_test(folders_are_made_with_their_parents),
        cmocka_unit_test(a_relative_folder_is_made_where_the_program_is),
        cmocka_unit_test(paths_are_joined_with_one_slash),
        cmocka_unit_test(scratch_samples_come_back_and_no_file_is_seen),
        cmocka_unit_test(a_long_scratch_comes_back_across_what_is_kept_in_memory),
        cmocka_unit_test(what_cannot_be_mapped_is_read_in),
        cmocka_unit_test(hashes_agree_with_the_examples_of_the_standard),
        cmocka_unit_test(a_file_of_a_million_a_has_its_known_hash),
        cmocka_unit_test(a_digest_reads_what_it_was_not_shown_and_nothing_else),
        cmocka_unit_test(a_digest_ends_when_it_is_told_to),
    };
    return cmocka_run_group_tests(tests, make_folder, remove_folder);
}
