/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The cut sheets' files: read, written, and looked at again, since somebody may save one while a run works. */
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "session/steps.h"

/* ---- sheets in ---- */

/* A part that has no sheet yet takes over what a person decided on it in the sheet of the whole recording. */
static bool inherit_rows(const struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    char *path = tt_format("%s/sheets/%s.csv", run->out, take->recording->stem), *text = NULL;
    size_t size = 0, persons = 0;
    struct tt_sheet other = {0};
    bool ok = path || tt_fail_memory(err);
    if (ok && take->own_file && tt_file_exists(path) && tt_file_read(path, TT_SHEET_MOST_BYTES, &text, &size, NULL)) {
        ok = tt_sheet_start(&other, take->recording->name, take->content_sha256, err);
        /* A fault in it is that other take's to tell. */
        if (ok && tt_sheet_read(&other, text, size, path, tt_take_duration_ms(take), &persons, NULL))
            for (size_t i = 0; ok && i < other.count; i++)
                if (tt_take_holds(take, other.rows[i].start_ms) && tt_take_holds(take, other.rows[i].end_ms)) {
                    ok = tt_sheet_add_persons(&take->sheet, &other.rows[i], err);
                    take->persons_rows++;
                }
    }
    tt_sheet_free(&other);
    free(text);
    free(path);
    return ok;
}

bool tt_session_read_sheet(const struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    tt_sheet_free(&take->sheet);
    free(take->sheet_text);
    take->sheet_text = NULL;
    take->sheet_size = 0;
    take->persons_rows = 0;
    if (!tt_sheet_start(&take->sheet, take->file->name, take->content_sha256, err))
        return false;
    if (!tt_file_exists(take->sheet_path))
        return inherit_rows(run, take, err);
    if (!tt_file_read(take->sheet_path, TT_SHEET_MOST_BYTES, &take->sheet_text, &take->sheet_size, err))
        return false;
    char *name = tt_format("sheets/%s.csv", take->file->stem);
    bool ok = name ? tt_sheet_read(&take->sheet, take->sheet_text, take->sheet_size, name, tt_take_duration_ms(take),
                                   &take->persons_rows, err)
                   : tt_fail_memory(err);
    free(name);
    return ok;
}

/* ---- sheets out ---- */

void tt_session_keep_sheet(struct tt_take *take, struct tt_text *text)
{
    free(take->sheet_text);
    take->sheet_text = text->data;
    take->sheet_size = text->length;
    *text = (struct tt_text){0};
}

bool tt_session_sheet_moved(const struct tt_take *take)
{
    char *text = NULL;
    size_t size = 0;
    if (!tt_file_exists(take->sheet_path))
        return take->sheet_text != NULL;
    if (!tt_file_read(take->sheet_path, TT_SHEET_MOST_BYTES, &text, &size, NULL))
        return true;
    bool is_same = take->sheet_text && size == take->sheet_size && memcmp(text, take->sheet_text, size) == 0;
    free(text);
    return !is_same;
}

/* A take that failed may have done so over a slip in its sheet, which somebody has mended by now. One that cannot be
 * read says nothing. */
static bool was_mended(const struct tt_take *take)
{
    char *text = NULL;
    size_t size = 0;
    bool is_read = take->has_failed && take->is_used && take->sheet_text &&
                   tt_file_read(take->sheet_path, TT_SHEET_MOST_BYTES, &text, &size, NULL);
    bool is_same = is_read && size == take->sheet_size && memcmp(text, take->sheet_text, size) == 0;
    free(text);
    return is_read && !is_same;
}

bool tt_session_was_edited(struct tt_run_state *run)
{
    bool was_edited = tt_session_sheets_moved(run) || tt_session_order_moved(run);
    for (size_t i = 0; !was_edited && i < run->take_count; i++)
        was_edited = was_mended(&run->takes[i]);
    return was_edited;
}

bool tt_session_sheets_moved(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++)
        if (tt_take_takes_part(&run->takes[i]) && tt_session_sheet_moved(&run->takes[i]))
            return true;
    return false;
}
