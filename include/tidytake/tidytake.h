/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a program that embeds tidytake may call. No global state, no output of its own; one call works on one session,
 * several threads may make calls on different OUT folders at once. */
#ifndef TIDYTAKE_TIDYTAKE_H
#define TIDYTAKE_TIDYTAKE_H

#include <stdbool.h>
#include <stddef.h>

#include "tidytake/error.h"

#ifdef __cplusplus
extern "C" {
#endif

#if defined(__GNUC__)
#define TT_PUBLIC __attribute__((visibility("default")))
#else
#define TT_PUBLIC
#endif

/* What is to be done. Start from {0}; texts are borrowed for the call. */
struct tt_clean_options {
    const char *const *sources; /* one session folder, or sound files of one folder */
    size_t source_count;
    const char *out;                /* NULL: SESSION.tidy beside the session (TAKE.tidy for a single take) */
    const char *settings_file;      /* an INI file on top of the others; NULL: none */
    const char *target;             /* a delivery target by name; NULL: none */
    const char *const *assignments; /* "SECTION.KEY=VALUE" on top of everything */
    size_t assignment_count;
    const char *const
        *changes_files; /* rows to merge into cut sheets first; of two that are about the same the later file's count */
    size_t changes_count;
    bool may_miss_changes; /* a changes file without a row for this session is no error: other sessions get it, too */
    int jobs;              /* threads; 0 or less: as many as processors */
    bool is_plan;          /* hear and decide only */
    bool is_again;         /* work on takes that are up to date, too */
    bool without_links;    /* pass over files of the folder that are symbolic links */
    int part, part_count;  /* work on the part-th (1 .. part_count) of so many shares of the takes only, with neither
                              plan nor changes; 0, 0: on all */
};

/* How the caller hears of progress. Called from several threads, one at a time. Any of the calls may be NULL. */
struct tt_clean_watcher {
    void *context;
    /* share of the whole run that is done, 0..1, never less than before; take may be NULL, what is a word or two for a
     * person: "hearing", "rendering", "narration" ... Return false to stop: what was finished stands. */
    bool (*progress)(void *context, double share, const char *take, const char *what);
    /* A take was "heard" or "rendered" (or could not be: then note has told why). */
    void (*take_done)(void *context, const char *take, const char *what);
    /* One line for the person at the terminal: a take that failed, a file that was passed over. Not called for what the
     * summary says. */
    void (*note)(void *context, const char *line);
    /* All files are written. Behind this the run looks whether somebody saved a sheet or the order meanwhile
     * (was_edited): what is saved later differs from what is there now. */
    void (*written)(void *context);
};

/* What came of it. Its texts are the caller's: free with tt_clean_result_free. */
struct tt_clean_result {
    size_t take_count, failed_count, rendered_count, up_to_date_count;
    size_t question_count; /* rows that ask: both readings are still in */
    bool was_edited;       /* somebody saved a sheet or the order too late for this run: run again */
    bool may_pass;         /* a take failed for a reason that may go by itself (see tt_error): run again later */
    char *out_folder;      /* absolute */
    char *summary;         /* for a person, at most 80 columns */
    char *summary_verbose;
    char *json; /* for a program */
};

/* The whole job on one session. Returns false when nothing could be done at all (wrong usage, no takes, OUT not
 * writable, stopped); single takes that fail are counted in *result, and the others are done. The recordings are only
 * ever read. watcher and err may be NULL; where false is returned *result is all zeros. */
TT_PUBLIC bool tt_clean(const struct tt_clean_options *options, const struct tt_clean_watcher *watcher,
                        struct tt_clean_result *result, struct tt_error *err);
TT_PUBLIC void tt_clean_result_free(struct tt_clean_result *result); /* zeroes it */

/* "0.1.0" */
TT_PUBLIC const char *tt_version(void);

#ifdef __cplusplus
}
#endif

#endif
