/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Hearing: one streaming pass over a take that leaves OUT/heard/TAKE.bin. */
#ifndef TT_PIPELINE_HEAR_H
#define TT_PIPELINE_HEAR_H

#include <stdbool.h>

#include "audio/reader.h"
#include "base/settings.h"
#include "base/text.h"
#include "sheet/heard.h"

/* Called now and then with the share that is done (0..1); false stops the work with TT_ERROR_STOPPED. */
typedef bool (*tt_tick)(void *context, double share);

struct tt_hear_request {
    const char *path;              /* the take */
    const char *const *more_paths; /* files that go on where it ends */
    size_t more_count;
    const char *heard_path; /* where the result goes; or, for one look: */
    struct {
        const char *folder;
        struct tt_heard *opened;
    } unnamed; /* a file there without a name, that goes with the process, opened by tt_hear */
    const char *content_sha256;
    const char *(*find_content)(
        void *context,
        struct tt_error *err);  /* where it is known only at the end, and asked for then; NULL from it: failed */
    tt_bytes_seen show_content; /* may be NULL; else gets what is read of the file, so that it need not be read for that
                                   once more */
    void *content_context;      /* of both */
    const char *hearing_key;    /* tt_hearing_key */
    struct tt_channel_choice channel;
    const struct tt_settings *settings;
    bool has_second_thread;     /* parts of the work may go into other threads: the same bits */
    const char *picture_prefix; /* of the take (pipeline/picture.h); NULL: not wanted */
    tt_tick tick;               /* may be NULL */
    void *tick_context;
};

/* Publishes heard_path, whole or not at all, or fills in what unnamed.opened points to. */
bool tt_hear(const struct tt_hear_request *request, struct tt_error *err);

/* The recording as it was heard: the same channel, mended from the same safety track. Borrows the paths. */
struct tt_recording tt_recording_as_heard(const struct tt_heard_facts *facts, const char *path,
                                          const char *const *more_paths, size_t more_count);

/* Digest (64 hex digits) of everything besides the content that hearing depends on. */
bool tt_hearing_key(const struct tt_settings *settings, const struct tt_channel_choice *channel, char key[65],
                    struct tt_error *err);

#endif
