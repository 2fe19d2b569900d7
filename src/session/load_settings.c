/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/load_settings.h"

#include <stdlib.h>

#include "base/file.h"
#include "base/targets.h"

/* $XDG_CONFIG_HOME/tidytake/tidytake.ini, by the XDG base directory specification ($HOME/.config where it is not set);
 * NULL without either. */
static char *users_file(void)
{
    const char *config = getenv("XDG_CONFIG_HOME"), *home = getenv("HOME");
    if (config && config[0] == '/')
        return tt_format("%s/tidytake/tidytake.ini", config);
    return home && home[0] ? tt_format("%s/.config/tidytake/tidytake.ini", home) : NULL;
}

static bool read_where_there(struct tt_settings *settings, char *path, struct tt_setting_origins *origins,
                             struct tt_error *err)
{
    bool ok = !path || !tt_file_exists(path) || tt_settings_read_ini(settings, path, origins, err);
    free(path);
    return ok;
}

bool tt_settings_load(const char *session_folder, const char *settings_file, const char *target,
                      const char *const *assignments, size_t assignment_count, struct tt_settings *settings,
                      struct tt_setting_origins *origins, struct tt_error *err)
{
    tt_settings_default(settings);
    if (!read_where_there(settings, users_file(), origins, err))
        return false;
    if (session_folder && !read_where_there(settings, tt_path_join(session_folder, "tidytake.ini"), origins, err))
        return false;
    if (settings_file && !tt_settings_read_ini(settings, settings_file, origins, err))
        return false;
    if (target && !tt_target_apply(target, settings, origins, err))
        return false;
    for (size_t i = 0; i < assignment_count; i++)
        if (!tt_settings_set_assignment(settings, assignments[i], origins, err))
            return false;
    return tt_settings_check(settings, err);
}
