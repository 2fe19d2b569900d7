/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/clean_names.h"

#include <stdlib.h>
#include <string.h>

#include "sheet/csv.h"

static int compare(const void *left, const void *right)
{
    const struct tt_clean_name *a = left, *b = right;
    const int order = strcmp(a->clean, b->clean);
    return order ? order : (a->file > b->file) - (a->file < b->file);
}

bool tt_clean_names_open(const struct tt_take_list *list, struct tt_clean_names *names, struct tt_error *err)
{
    *names = (struct tt_clean_names){.all = calloc(list->count + 1, sizeof *names->all)};
    bool ok = names->all != NULL;
    for (size_t i = 0; ok && i < list->count; i++) {
        names->all[i] = (struct tt_clean_name){tt_csv_clean(list->files[i].name), i};
        ok = names->all[i].clean != NULL;
        names->count = i + 1;
    }
    if (!ok) {
        tt_clean_names_free(names);
        return tt_fail_memory(err);
    }
    qsort(names->all, names->count, sizeof *names->all, compare);
    return true;
}

size_t tt_clean_names_find(const struct tt_clean_names *names, const char *name)
{
    size_t from = 0, to = names->count;
    while (from < to) {
        const size_t middle = from + (to - from) / 2;
        if (strcmp(names->all[middle].clean, name) < 0)
            from = middle + 1;
        else
            to = middle;
    }
    return from;
}

void tt_clean_names_free(struct tt_clean_names *names)
{
    for (size_t i = 0; i < names->count; i++)
        free(names->all[i].clean);
    free(names->all);
    *names = (struct tt_clean_names){0};
}
