/* SPDX-License-Identifier: GPL-2.0-or-later */
/* One row of the settings table: finding it, reading and writing its value, saying what is allowed. */
#ifndef TT_BASE_SETTING_ROW_H
#define TT_BASE_SETTING_ROW_H

#include "base/settings.h"

/* NULL when there is no such key; *index (may be NULL) is its place in the table. */
const struct tt_setting_row *tt_setting_find(const char *section, const char *key, size_t *index);
bool tt_setting_section_exists(const char *section);
/* The section that has such a key; NULL: none. */
const char *tt_setting_section_of(const char *key);

/* Reads the value; false when it is not allowed (settings are then as before). */
bool tt_setting_parse(const struct tt_setting_row *row, const char *value, struct tt_settings *settings);

/* "from 0 to 60 dB", "cut, ask or off", ... */
void tt_setting_add_range(const struct tt_setting_row *row, struct tt_text *out);

/* Numbers as short as they can be and still be read back the same, in any locale. */
void tt_setting_add_number(double value, struct tt_text *out);

/* What the errors about names say, each opened by origin and closed by the nearest or the known names. */
bool tt_setting_fail_section(const char *origin, const char *section, struct tt_error *err);
bool tt_setting_fail_key(const char *origin, const char *section, const char *key, struct tt_error *err);
bool tt_setting_fail_value(const char *origin, const struct tt_setting_row *row, const char *value,
                           struct tt_error *err);

/* The same kind of timecode as the frame rate counts? Also false for a number that drop-frame counting leaves out. */
bool tt_timecode_fits(const char *timecode, enum tt_frame_rate rate);

#endif
