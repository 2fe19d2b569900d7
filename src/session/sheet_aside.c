/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/sheet_aside.h"

#include <stdlib.h>

#include "base/file.h"

char *tt_sheet_aside_path(const struct tt_run_state *run, const char *stem, const char *content)
{
    return tt_format("%s/earlier/sheets/%s-%.6s.csv", run->out, stem, content);
}

bool tt_sheet_read_persons(const char *path, const char *name, const char *content, int64_t duration_ms,
                           struct tt_sheet *sheet)
{
    char *text = NULL;
    size_t size, count = 0;
    tt_sheet_free(sheet);
    bool ok = path && tt_file_exists(path) && tt_file_read(path, TT_SHEET_MOST_BYTES, &text, &size, NULL) &&
              tt_sheet_start(sheet, name, content, NULL) &&
              tt_sheet_read(sheet, text, size, path, duration_ms, &count, NULL) && count > 0;
    free(text);
    return ok;
}

bool tt_sheet_put_aside(const struct tt_run_state *run, const struct tt_take *take, const char *content,
                        struct tt_error *err)
{
    char *text = NULL, *path = NULL, *folder, own[65];
    size_t size;
    if (!tt_file_exists(take->sheet_path))
        return true;
    if (!(folder = tt_format("%s/earlier/sheets", run->out)))
        return tt_fail_memory(err);
    bool ok = tt_file_read(take->sheet_path, TT_SHEET_MOST_BYTES, &text, &size, err);
    if (ok && !content)
        tt_sha256(text, size, own);
    path = ok ? tt_sheet_aside_path(run, take->file->stem, content ? content : own) : NULL;
    ok = ok && (path || tt_fail_memory(err)) && tt_folder_make(folder, err) && tt_file_write(path, text, size, err);
    free(text);
    free(folder);
    free(path);
    return ok;
}

bool tt_sheet_start_with(const struct tt_take *take, struct tt_sheet *rows, struct tt_error *err)
{
    struct tt_text text = {0};
    char *name = tt_copy_string(take->file->name);
    bool ok = name != NULL;
    if (ok) {
        free(rows->take);
        rows->take = name;
    }
    ok = ok && tt_sheet_seal(rows, err) && tt_sheet_write(rows, &text);
    ok = ok ? tt_file_write(take->sheet_path, text.data, text.length, err) : tt_fail_memory(err);
    tt_text_free(&text);
    return ok;
}
