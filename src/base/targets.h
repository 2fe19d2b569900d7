/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Delivery targets: named sets of settings and of limits to judge by, each with its source. */
#ifndef TT_BASE_TARGETS_H
#define TT_BASE_TARGETS_H

#include "base/settings.h"

/* Limits are NAN where a target sets none. */
struct tt_target {
    const char *name;
    const char *source;             /* the document, or 'common practice, no source' */
    const char *use;                /* one line: what it is for */
    const char *const *assignments; /* "SECTION.KEY=VALUE", NULL-terminated */
    double least_lufs, most_lufs;
    double least_rms_dbfs, most_rms_dbfs;
    double most_dbtp, most_sample_peak_dbfs;
    double most_floor_dbfs;
    double most_minutes; /* of one delivered file */
    int rate_hz;         /* 0: any */
};
const struct tt_target *tt_targets(size_t *count);
const struct tt_target *tt_target_find(const char *name); /* NULL when unknown */
/* Applies a target's settings; an unknown name is an error that names the nearest. */
bool tt_target_apply(const char *name, struct tt_settings *settings, struct tt_setting_origins *origins,
                     struct tt_error *err);
/* At most 80 columns; each block is valid INI, to be copied into a settings file. */
void tt_targets_print(struct tt_text *out);

#endif
