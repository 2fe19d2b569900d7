/* SPDX-License-Identifier: GPL-2.0-or-later */
/* A sheet of another recording is refused, since its times are those of other words. Where nothing in it is a person's,
 * or what is has gone along with its own recording, it makes way by itself. Decisions on a recording that comes back
 * under its name come back with it. */
#include "session/recorded_over.h"

#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "session/sheet_aside.h"

/* A sheet that lies where another recording's has to go. */
struct old_sheet {
    char content6[TT_CONTENT_DIGITS + 1]; /* of its recording */
    size_t persons_rows;
};

/* False when the sheet is the take's own, there is none, or it cannot be read: that is told where it is read for good.
 */
static bool find_old_sheet(const struct tt_take *take, struct old_sheet *old)
{
    char *text = NULL;
    size_t size;
    struct tt_sheet sheet = {0};
    bool is_old = tt_file_exists(take->sheet_path) &&
                  tt_file_read(take->sheet_path, TT_SHEET_MOST_BYTES, &text, &size, NULL) &&
                  tt_sheet_find_content(text, size, old->content6) &&
                  strncmp(old->content6, take->content_sha256, TT_CONTENT_DIGITS) != 0 &&
                  tt_sheet_start(&sheet, take->file->name, old->content6, NULL) &&
                  tt_sheet_read(&sheet, text, size, take->sheet_path, INT64_MAX, &old->persons_rows, NULL);
    tt_sheet_free(&sheet);
    free(text);
    return is_old;
}

/* The take that the recording of an old sheet is now, with decisions of a person's in its own sheet; NULL: none. */
static const struct tt_take *find_heir(const struct tt_run_state *run, const struct old_sheet *old)
{
    const struct tt_take *heir = NULL;
    for (size_t i = 0; i < run->take_count && !heir; i++) {
        const struct tt_take *take = &run->takes[i];
        struct tt_sheet rows = {0};
        if (tt_take_takes_part(take) && strncmp(old->content6, take->content_sha256, TT_CONTENT_DIGITS) == 0 &&
            tt_sheet_read_persons(take->sheet_path, take->file->name, take->content_sha256, tt_take_duration_ms(take),
                                  &rows))
            heir = take;
        tt_sheet_free(&rows);
    }
    return heir;
}

/* The decisions of an earlier time when this recording had this name, or none. */
static bool find_own_rows(const struct tt_run_state *run, const struct tt_take *take, struct tt_sheet *rows,
                          struct tt_error *err)
{
    char *path = tt_sheet_aside_path(run, take->file->stem, take->content_sha256);
    bool ok = path || tt_fail_memory(err);
    if (ok && !tt_sheet_read_persons(path, take->file->name, take->content_sha256, tt_take_duration_ms(take), rows)) {
        tt_sheet_free(rows);
        ok = tt_sheet_start(rows, take->file->name, take->content_sha256, err);
    }
    free(path);
    return ok;
}

static bool clear_old_sheet(struct tt_run_state *run, const struct tt_take *take, struct tt_error *err)
{
    struct old_sheet old;
    struct tt_sheet rows = {0};
    const struct tt_take *heir = NULL;
    if (!find_old_sheet(take, &old) || (old.persons_rows > 0 && !(heir = find_heir(run, &old))))
        return true;
    bool ok = find_own_rows(run, take, &rows, err) && tt_sheet_put_aside(run, take, old.content6, err) &&
              tt_sheet_start_with(take, &rows, err);
    if (ok)
        tt_run_note(run,
                    "%s is another recording now: the cut sheet of the one before is put aside into earlier/sheets, "
                    "%s%s",
                    take->file->name, heir ? "what you decided in it went with " : "nothing in it was yours",
                    heir ? heir->file->name : "");
    tt_sheet_free(&rows);
    return ok;
}

bool tt_session_clear_old_sheets(struct tt_run_state *run, struct tt_error *err)
{
    for (size_t i = 0; !run->is_held && i < run->take_count; i++)
        if (tt_take_takes_part(&run->takes[i]) && !clear_old_sheet(run, &run->takes[i], err))
            return false;
    return true;
}
