/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Folders as the command line names them. */
#ifndef TT_SESSION_FOLDERS_H
#define TT_SESSION_FOLDERS_H

#include <stdbool.h>

#include "base/fail.h"

bool tt_folder_holds(const char *folder, const char *name);

/* True when a folder holds a session.json, or is one of those with sound beside it: a run of ours left it. */
bool tt_is_out_folder(const char *path);

/* Absolute path without symbolic links, also of a folder that is not there yet (its parent must be). NULL on error. */
char *tt_resolve_path(const char *path, struct tt_error *err);

#endif
