/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target for the INI reader: whatever is taken must print as INI that is taken again and means the same.
 * clang -fsanitize=fuzzer,address,undefined -Isrc -Iinclude tests/base/fuzz_ini.c src/base/[a-z]*.c -lnettle -lm */
#include <stdint.h>
#include <stdlib.h>
#include <string.h>

#include "base/settings.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tt_settings settings, again;
    struct tt_error err = {0};
    tt_settings_default(&settings);
    if (!tt_settings_read_ini_text(&settings, (const char *)data, size, "fuzz.ini", NULL, &err))
        return 0;
    struct tt_text text = {0};
    tt_settings_print(&settings, NULL, &text);
    tt_settings_default(&again);
    if (!tt_settings_read_ini_text(&again, text.data, text.length, "again.ini", NULL, &err))
        abort();
    if (memcmp(&settings, &again, sizeof settings) != 0)
        abort();
    tt_text_free(&text);
    return 0;
}
