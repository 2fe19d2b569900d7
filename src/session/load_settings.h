/* SPDX-License-Identifier: GPL-2.0-or-later */
/* The settings in force for a session: built-in, the user's, the session's, --settings, --for, --set; later wins. */
#ifndef TT_SESSION_LOAD_SETTINGS_H
#define TT_SESSION_LOAD_SETTINGS_H

#include "base/settings.h"

/* session_folder, settings_file, target and origins may be NULL. Fills *settings and checks them as a whole. */
bool tt_settings_load(const char *session_folder, const char *settings_file, const char *target,
                      const char *const *assignments, size_t assignment_count, struct tt_settings *settings,
                      struct tt_setting_origins *origins, struct tt_error *err);

#endif
