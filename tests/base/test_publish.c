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
#include <errno.h>
#include <ftw.h>
#include <sys/stat.h>
#include <unistd.h>

#include "base/file.h"
#include "base/raw_io.h"
#include "base/text.h"
#include "base/turns.h"

/* ---- a file system that fails on demand: these take the place of the weak functions in base/raw_io.c ---- */

static struct faults {
    bool is_disk_limited;
    int64_t room_bytes;  /* until the disk is full */
    size_t most_at_once; /* short writes and reads; 0: none */
    bool has_signals;    /* every other call is interrupted */
    bool is_interrupted;
    int sync_errno, rename_errno;
    int syncs;
    struct tt_turns *turns; /* of the thread that publishes */
    bool has_kept_turn;     /* while a sync was waited for */
} faults;

static bool interrupt(void)
{
    faults.is_interrupted = faults.has_signals && !faults.is_interrupted;
    if (faults.is_interrupted)
        errno = EINTR;
    return faults.is_interrupted;
}

static size_t shorten(size_t size)
{
    return faults.most_at_once && size > faults.most_at_once ? faults.most_at_once : size;
}

ssize_t tt_raw_pwrite(int fd, const void *data, size_t size, int64_t offset)
{
    if (interrupt())
        return -1;
    size = shorten(size);
    if (faults.is_disk_limited && faults.room_bytes == 0) {
        errno = ENOSPC;
        return -1;
    }
    if (faults.is_disk_limited && (int64_t)size > faults.room_bytes)
        size = (size_t)faults.room_bytes;
    ssize_t written = pwrite(fd, data, size, (off_t)offset);
    if (faults.is_disk_limited && written > 0)
        faults.room_bytes -= written;
    return written;
}

ssize_t tt_raw_pread(int fd, void *data, size_t size, int64_t offset)
{
    return interrupt() ? -1 : pread(fd, data, shorten(size), (off_t)offset);
}

int tt_raw_fsync(int fd)
{
    if (interrupt())
        return -1;
    faults.syncs++;
    faults.has_kept_turn = faults.has_kept_turn || (faults.turns && faults.turns->free_count == 0);
    errno = faults.sync_errno;
    return faults.sync_errno ? -1 : fsync(fd);
}

int tt_raw_rename(const char *from, const char *to)
{
    errno = faults.rename_errno;
    return faults.rename_errno ? -1 : rename(from, to);
}

/* ---- a folder for each test ---- */

static char folder[64];

static int make_folder(void **state)
{
    (void)state;
    faults = (struct faults){0};
    strcpy(folder, "/tmp/tidytake-publish-XXXXXX");
    return mkdtemp(folder) ? 0 : -1;
}

static int remove_one(const char *path, const struct stat *info, int type, struct FTW *place)
{
    (void)info, (void)type, (void)place;
    return remove(path);
}

static int remove_folder(void **state)
{
    (void)state;
    return nftw(folder, remove_one, 8, FTW_DEPTH | FTW_PHYS);
}

/* The names in the folder, sorted by nobody: enough for none or one. */
static int list(char name[256])
{
    DIR *listing = opendir(folder);
    struct dirent *entry;
    int count = 0;
    assert_non_null(listing);
    while ((entry = readdir(listing)) != NULL) {
        if (strcmp(entry->d_name, ".") == 0 || strcmp(entry->d_name, "..") == 0)
            continue;
        count++;
        if (name)
            snprintf(name, 256, "%s", entry->d_name);
    }
    closedir(listing);
    return count;
}

static void assert_holds(const char *path, const char *expected)
{
    char *data;
    size_t size;
    struct tt_error err = {0};
    if (!tt_file_read(path, 1 << 20, &data, &size, &err))
        fail_msg("%s", err.message);
    assert_int_equal(size, strlen(expected));
    assert_string_equal(data, expected);
    free(data);
}

static char *voice_path(void)
{
    char *path = tt_path_join(folder, "voice.wav");
    assert_non_null(path);
    return path;
}

/* ---- tests ---- */

static void nothing_appears_under_the_name_before_commit(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char name[256], *path = voice_path();
    struct tt_publish *file = tt_publish_open(path, &err);
    assert_non_null(file);
    assert_true(tt_publish_write(file, "hive", 4, &err));
    assert_false(tt_file_exists(path));
    assert_int_equal(list(name), 1);
    assert_true(name[0] == '.' && strcmp(name + strlen(name) - 5, ".part") == 0);
    assert_true(strncmp(name, ".voice.wav.", 11) == 0);
    assert_true(tt_publish_commit(file, &err));
    assert_int_equal(faults.syncs, 2); /* the file, then its folder */
    assert_int_equal(list(name), 1);
    assert_holds(path, "hive");
    free(path);
}

static void what_was_there_stays_until_commit_and_after_abandoning(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = voice_path();
    assert_true(tt_file_write(path, "old", 3, &err));
    struct tt_publish *file = tt_publish_open(path, &err);
    assert_true(tt_publish_write(file, "new", 3, &err));
    assert_holds(path, "old");
    tt_publish_abandon(file);
    tt_publish_abandon(NULL);
    assert_holds(path, "old");
    assert_int_equal(list(NULL), 1);
    free(path);
}

static void a_header_can_be_rewritten(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char back[8] = "", *path = voice_path();
    struct tt_publish *file = tt_publish_open(path, &err);
    assert_true(tt_publish_write(file, "????body", 8, &err));
    assert_true(tt_publish_seek(file, -8, SEEK_END, &err));
    assert_true(tt_publish_write(file, "he", 2, &err));
    assert_true(tt_publish_write(file, "ad", 2, &err));
    assert_int_equal(tt_publish_tell(file), 4);
    assert_int_equal(tt_publish_size(file), 8);
    assert_true(tt_publish_seek(file, -2, SEEK_CUR, &err));
    assert_int_equal(tt_publish_read(file, back, sizeof back, &err), 6);
    assert_memory_equal(back, "adbody", 6);
    assert_int_equal(tt_publish_read(file, back, sizeof back, &err), 0);
    assert_true(tt_publish_commit(file, &err));
    assert_holds(path, "headbody");
    free(path);
}

static void impossible_seeks_are_refused(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = voice_path();
    struct tt_publish *file = tt_publish_open(path, &err);
    assert_false(tt_publish_seek(file, -1, SEEK_SET, &err));
    assert_false(tt_publish_seek(file, 0, 99, &err));
    assert_true(tt_publish_seek(file, INT64_MAX, SEEK_SET, NULL));
    assert_false(tt_publish_seek(file, 1, SEEK_CUR, NULL));
    assert_false(tt_publish_write(file, "x", 1, NULL));
    tt_publish_abandon(file);
    free(path);
}

static void a_full_disk_is_told_and_leaves_nothing_behind(void **state)
{
    (void)state;
    char *path = voice_path();
    assert_true(tt_file_write(path, "old", 3, NULL));
    for (int64_t room = 0; room < 6; room++) {
        struct tt_error err = {0};
        faults.is_disk_limited = true;
        faults.room_bytes = room;
        assert_false(tt_file_write(path, "newest", 6, &err));
        assert_int_equal(err.kind, TT_ERROR_OUTPUT);
        assert_non_null(strstr(err.message, "voice.wav: cannot be written: No space left"));
        assert_holds(path, "old");
        assert_int_equal(list(NULL), 1);
    }
    faults.room_bytes = 6;
    assert_true(tt_file_write(path, "newest", 6, NULL));
    assert_holds(path, "newest");
    free(path);
}

static void commit_refuses_after_a_write_that_nobody_checked(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = voice_path();
    struct tt_publish *file = tt_publish_open(path, NULL);
    faults.is_disk_limited = true;
    assert_false(tt_publish_write(file, "x", 1, NULL));
    faults.is_disk_limited = false;
    assert_true(tt_publish_write(file, "y", 1, NULL));
    assert_false(tt_publish_commit(file, &err));
    assert_non_null(strstr(err.message, "No space left"));
    assert_int_equal(list(NULL), 0);
    free(path);
}

static void short_and_interrupted_calls_lose_no_byte(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char back[64], *path = voice_path();
    faults.most_at_once = 3;
    faults.has_signals = true;
    struct tt_publish *file = tt_publish_open(path, &err);
    assert_true(tt_publish_write(file, "opening the hive in spring", 26, &err));
    assert_true(tt_publish_seek(file, 0, SEEK_SET, &err));
    assert_int_equal(tt_publish_read(file, back, sizeof back, &err), 26);
    assert_memory_equal(back, "opening the hive in spring", 26);
    assert_true(tt_publish_commit(file, &err));
    assert_holds(path, "opening the hive in spring");
    free(path);
}

static void a_failed_sync_or_rename_keeps_the_old_file(void **state)
{
    (void)state;
    char *path = voice_path();
    assert_true(tt_file_write(path, "old", 3, NULL));
    for (int i = 0; i < 2; i++) {
        struct tt_error err = {0};
        faults.sync_errno = i == 0 ? EIO : 0;
        faults.rename_errno = i == 1 ? EDQUOT : 0;
        assert_false(tt_file_write(path, "new", 3, &err));
        assert_non_null(strstr(err.message, strerror(i == 0 ? EIO : EDQUOT)));
        assert_holds(path, "old");
        assert_int_equal(list(NULL), 1);
    }
    faults = (struct faults){.sync_errno = EINVAL}; /* a file system that cannot sync: nothing we could do */
    assert_true(tt_file_write(path, "new", 3, NULL));
    assert_holds(path, "new");
    free(path);
}

static void names_as_long_as_the_file_system_takes_can_be_published(void **state)
{
    (void)state;
    char name[257] = "x";
    for (size_t i = 1; i < 255; i += 2)
        memcpy(name + i, "é", 2); /* 255 bytes; a cut may fall into a character */
    for (int shift = 0; shift < 2; shift++) {
        struct tt_error err = {0};
        char part[256], *path = tt_path_join(folder, name + shift);
        struct tt_publish *file = tt_publish_open(path, &err);
        if (!file)
            fail_msg("%s", err.message);
        assert_int_equal(list(part), 1);
        assert_true(tt_utf8_is_valid(part, strlen(part)));
        assert_string_equal(part + strlen(part) - 5, ".part");
        assert_true(tt_publish_commit(file, &err));
        assert_true(tt_file_exists(path));
        assert_int_equal(unlink(path), 0);
        free(path);
    }
    strcpy(name + 255, "y");
    struct tt_error err = {0};
    char *path = tt_path_join(folder, name);
    assert_null(tt_publish_open(path, &err)); /* told now, not after the work is done */
    assert_non_null(strstr(err.message, "name too long"));
    free(path);
}

static void what_cannot_become_a_file_is_refused_at_once(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = tt_path_join(folder, "sub"), *slash = tt_path_join(folder, "sub/");
    assert_true(tt_folder_make(path, &err));
    assert_null(tt_publish_open(path, &err));
    assert_non_null(strstr(err.message, "a folder of that name is in the way"));
    assert_null(tt_publish_open(slash, NULL));
    assert_null(tt_publish_open("", NULL));
    err = (struct tt_error){0};
    assert_null(tt_publish_open("/nowhere/at/all.wav", &err));
    assert_non_null(strstr(err.message, "No such file"));
    free(path);
    free(slash);
}

static void two_writers_of_one_name_do_not_meet(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = voice_path();
    struct tt_publish *one = tt_publish_open(path, &err), *other = tt_publish_open(path, &err);
    assert_non_null(one);
    assert_non_null(other);
    assert_int_equal(list(NULL), 2);
    assert_true(tt_publish_write(one, "one", 3, &err));
    assert_true(tt_publish_write(other, "other", 5, &err));
    assert_true(tt_publish_commit(one, &err));
    assert_holds(path, "one");
    assert_true(tt_publish_commit(other, &err));
    assert_holds(path, "other");
    assert_int_equal(list(NULL), 1);
    free(path);
}

static void a_scratch_file_on_a_full_disk_says_so(void **state)
{
    (void)state;
    struct tt_error err = {0};
    float samples[4] = {1, 2, 3, 4};
    struct tt_scratch *scratch = tt_scratch_open(folder, &err);
    float *in_memory = calloc(TT_SCRATCH_IN_MEMORY, sizeof *in_memory);
    assert_true(tt_scratch_add(scratch, in_memory, TT_SCRATCH_IN_MEMORY, &err));
    faults.is_disk_limited = true;
    faults.room_bytes = 10;
    assert_false(tt_scratch_add(scratch, samples, 4, &err));
    assert_int_equal(err.kind, TT_ERROR_OUTPUT);
    assert_non_null(strstr(err.message, "No space left"));
    assert_int_equal(tt_scratch_read(scratch, in_memory, TT_SCRATCH_IN_MEMORY, &err), TT_SCRATCH_IN_MEMORY);
    assert_int_equal(tt_scratch_read(scratch, samples, 4, &err), 0);
    free(in_memory);
    tt_scratch_close(scratch);
}

static void a_file_without_a_name_is_had_as_memory_or_says_why_not(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct tt_mapped mapped;
    struct tt_publish *file = tt_publish_open_unnamed(folder, &err);
    assert_true(tt_publish_write(file, "bees", 4, &err));
    assert_int_equal(list(NULL), 0);
    assert_true(tt_publish_map(file, &mapped, &err));
    assert_int_equal(mapped.size, 4);
    assert_memory_equal(mapped.data, "bees", 4);
    tt_mapped_close(&mapped);
    file = tt_publish_open_unnamed(folder, &err);
    assert_true(tt_publish_map(file, &mapped, &err) && mapped.size == 0);
    tt_mapped_close(&mapped);
    file = tt_publish_open_unnamed(folder, &err);
    faults.is_disk_limited = true;
    faults.room_bytes = 3;
    assert_false(tt_publish_write(file, "bees", 4, NULL)); /* the caller did not look */
    assert_false(tt_publish_map(file, &mapped, &err));
    assert_null(mapped.data);
    assert_non_null(strstr(err.message, "No space left"));
}

static void publish(const char *below, const char *name)
{
    struct tt_error err = {0};
    char *inner = tt_path_join(folder, below), *path = tt_path_join(inner, name);
    assert_true(tt_folder_make(inner, &err));
    struct tt_publish *file = tt_publish_open(path, &err);
    assert_non_null(file);
    assert_true(tt_publish_commit(file, &err));
    assert_true(tt_file_exists(path));
    free(inner);
    free(path);
}

static void folders_of_many_files_are_synced_once_each(void **state)
{
    (void)state;
    struct tt_error err = {0};
    tt_publish_gather();
    publish("voice", "1.wav");
    publish("heard", "1.bin");
    publish("voice", "2.wav");
    publish("heard", "2.bin");
    assert_int_equal(faults.syncs, 4); /* the files */
    assert_true(tt_publish_settle(&err));
    assert_int_equal(faults.syncs, 6);
    assert_true(tt_publish_settle(&err)); /* nothing left */
    publish("voice", "3.wav");
    assert_int_equal(faults.syncs, 8);
}

static void more_folders_than_are_gathered_are_synced_at_once(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char name[] = "a";
    tt_publish_gather();
    for (; name[0] < 'a' + 12; name[0]++)
        publish(name, "x");
    assert_true(faults.syncs > 12 && faults.syncs < 24);
    assert_true(tt_publish_settle(&err));
    assert_int_equal(faults.syncs, 24);
}

/* ---- files among many ---- */

struct owned {
    bool is_unwanted; /* by the time it could take its name */
    int ended;
    struct tt_error error;
};

static bool may_appear(void *context) { return !((struct owned *)context)->is_unwanted; }

static void ended(void *context, const struct tt_error *error)
{
    struct owned *owned = context;
    owned->ended++;
    if (error)
        owned->error = *error;
}

static char *write_among(const char *name, const char *text, struct owned *owned)
{
    char *path = tt_path_join(folder, name);
    assert_non_null(path);
    tt_file_write_among(path, text, strlen(text), (struct tt_publish_owner){may_appear, ended, owned});
    return path;
}

static void files_among_many_take_their_names_together_once_all_are_synced(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct owned one = {0}, two = {0};
    tt_publish_gather();
    char *first = write_among("1.csv", "one", &one), *second = write_among("2.csv", "two", &two);
    assert_int_equal(one.ended + two.ended + faults.syncs, 0);
    assert_false(tt_file_exists(first));
    assert_true(tt_publish_settle(&err));
    assert_int_equal(faults.syncs, 3); /* the files, then their folder */
    assert_true(one.ended == 1 && one.error.kind == TT_OK && two.ended == 1 && two.error.kind == TT_OK);
    assert_holds(first, "one");
    assert_holds(second, "two");
    free(first);
    free(second);
}

static void some_files_are_enough_for_them_to_go(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct owned owned[100] = {{0}};
    tt_publish_gather();
    char name[16], *first = NULL;
    for (size_t i = 0; i < 100; i++) {
        snprintf(name, sizeof name, "%zu", i);
        char *path = write_among(name, "x", &owned[i]);
        if (i == 0)
            first = path;
        else
            free(path);
    }
    assert_holds(first, "x");
    assert_int_equal(owned[0].ended, 1);
    assert_true(tt_publish_settle(&err));
    for (size_t i = 0; i < 100; i++)
        assert_int_equal(owned[i].ended, 1);
    free(first);
}

static void a_file_among_many_that_is_not_wanted_any_more_leaves_what_is_there(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct owned before = {0}, owned = {0};
    free(write_among("1.csv", "saved by a person", &before)); /* nothing is gathered: at once */
    assert_int_equal(before.ended, 1);
    tt_publish_gather();
    char *path = write_among("1.csv", "made by the program", &owned);
    owned.is_unwanted = true;
    assert_true(tt_publish_settle(&err));
    assert_int_equal(owned.ended, 1);
    assert_int_equal(owned.error.kind, TT_OK);
    assert_holds(path, "saved by a person");
    assert_int_equal(list(NULL), 1);
    free(path);
}

static void each_owner_is_told_why_its_file_is_not_there(void **state)
{
    (void)state;
    struct tt_error err = {0};
    struct owned full = {0}, unsynced = {0}, unnamed = {0};
    tt_publish_gather();
    faults.is_disk_limited = true;
    free(write_among("full.csv", "more than there is room for", &full));
    assert_non_null(strstr(full.error.message, "No space left"));
    faults.is_disk_limited = false;
    free(write_among("unsynced.csv", "x", &unsynced));
    faults.sync_errno = EIO;
    assert_true(tt_publish_settle(&err));
    faults.sync_errno = 0;
    tt_publish_gather();
    free(write_among("unnamed.csv", "x", &unnamed));
    faults.rename_errno = EACCES;
    assert_true(tt_publish_settle(&err));
    assert_true(full.ended == 1 && unsynced.ended == 1 && unnamed.ended == 1);
    assert_non_null(strstr(unsynced.error.message, "unsynced.csv: cannot be written: Input/output error"));
    assert_non_null(strstr(unnamed.error.message, "unnamed.csv: cannot be written: Permission denied"));
    assert_int_equal(list(NULL), 0);
}

static void a_file_whose_reader_knows_damage_does_not_wait_for_its_medium(void **state)
{
    (void)state;
    struct tt_error err = {0};
    char *path = voice_path();
    struct tt_publish *file = tt_publish_open(path, &err);
    assert_true(tt_publish_write(file, "hive", 4, &err));
    assert_true(tt_publish_commit_unsynced(file, &err));
    assert_int_equal(faults.syncs, 0);
    assert_holds(path, "hive");
    file = tt_publish_open(path, &err);
    faults.is_disk_limited = true;
    assert_false(tt_publish_write(file, "bees", 4, NULL));
    assert_false(tt_publish_commit_unsynced(file, &err));
    assert_non_null(strstr(err.message, "No space left"));
    assert_holds(path, "hive");
    free(path);
}

static void a_gathered_folder_that_cannot_be_synced_is_an_error_that_names_it(void **state)
{
    (void)state;
    struct tt_error err = {0};
    tt_publish_gather();
    publish("voice", "1.wav");
    faults.sync_errno = EIO;
    assert_false(tt_publish_settle(&err));
    assert_int_equal(err.kind, TT_ERROR_OUTPUT);
    assert_non_null(strstr(err.message, "/voice: "));
    faults.sync_errno = 0;
    assert_true(tt_publish_settle(&err));
}

static void while_a_file_or_its_folder_is_synced_another_thread_may_work(void **state)
{
    (void)state;
    struct tt_turns turns;
    tt_turns_open(&turns, 1);
    tt_turns_enter(&turns);
    faults.turns = &turns;
    publish("voice", "1.wav");
    faults.turns = NULL;
    assert_int_equal(faults.syncs, 2);
    assert_false(faults.has_kept_turn);
    assert_int_equal(turns.free_count, 0); /* and behind it this one goes on */
    tt_turns_leave();
    tt_turns_close(&turns);
}

#define TEST(function) cmocka_unit_test_setup_teardown(function, make_folder, remove_folder)

int main(void)
{
    const struct CMUnitTest tests[] = {
        TEST(nothing_appears_under_the_name_before_commit),
        TEST(what_was_there_stays_until_commit_and_after_abandoning),
        TEST(a_header_can_be_rewritten),
        TEST(impossible_seeks_are_refused),
        TEST(a_full_disk_is_told_and_leaves_nothing_behind),
        TEST(commit_refuses_after_a_write_that_nobody_checked),
        TEST(short_and_interrupted_calls_lose_no_byte),
        TEST(a_failed_sync_or_rename_keeps_the_old_file),
        TEST(names_as_long_as_the_file_system_takes_can_be_published),
        TEST(what_cannot_become_a_file_is_refused_at_once),
        TEST(two_writers_of_one_name_do_not_meet),
        TEST(a_scratch_file_on_a_full_disk_says_so),
        TEST(a_file_without_a_name_is_had_as_memory_or_says_why_not),
        TEST(folders_of_many_files_are_synced_once_each),
        TEST(more_folders_than_are_gathered_are_synced_at_once),
        TEST(files_among_many_take_their_names_together_once_all_are_synced),
        TEST(some_files_are_enough_for_them_to_go),
        TEST(a_file_among_many_that_is_not_wanted_any_more_leaves_what_is_there),
        TEST(each_owner_is_told_why_its_file_is_not_there),
        TEST(a_file_whose_reader_knows_damage_does_not_wait_for_its_medium),
        TEST(a_gathered_folder_that_cannot_be_synced_is_an_error_that_names_it),
        TEST(while_a_file_or_its_folder_is_synced_another_thread_may_work),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
