/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: any bytes as the session.json of an earlier run. */
#include "fuzz.h"

#include <jansson.h>
#include <math.h>

#include "report/layout.h"
#include "session/kept.h"
#include "session/steps.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    static const struct tt_take_file file = {.name = "01.flac", .stem = "01"};
    struct tt_take take = {.file = &file, .recording = &file};
    struct tt_run_state run = {
        .out = (char *)(uintptr_t)fuzz_folder(), .takes = &take, .take_count = 1, .earlier_common_gain_db = NAN};
    struct tt_error err = {0};
    struct tt_kept_track track;
    struct tt_layout layout;
    bool is_known;
    fuzz_write(fuzz_path("session.json"), data, size);
    if (!tt_session_remember(&run, &err))
        abort();
    if (strlen(take.identity.sha256) >= sizeof take.identity.sha256)
        abort();
    tt_kept_track_find(&run, NULL, &track);
    tt_kept_track_find(&run, "chapter", &track);
    tt_kept_gain_db(&run, &take, &is_known);
    const json_t *known = json_object_get(run.earlier_state, "layout");
    if (known && tt_layout_read(known, &layout)) {
        for (size_t i = 0; i < layout.span_count; i++)
            if (layout.spans[i].take >= layout.take_count)
                abort();
        tt_layout_free(&layout);
    }
    json_decref(run.earlier_state);
    return 0;
}
