/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "sheet/row_cells.h"

#include <string.h>

const char *const row_column_names[ROW_COLUMNS] = {"take",   "id",     "start",      "end", "kind", "proposed",
                                                   "action", "amount", "confidence", "by",  "note"};

const char *row_cell(const struct row_reader *reader, enum row_column column)
{
    return tt_csv_text(&reader->csv, reader->columns[column]);
}
bool row_is_blank(const char *text) { return !text[strspn(text, " \t\r\n")]; }
