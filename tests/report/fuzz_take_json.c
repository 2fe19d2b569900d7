/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Fuzz target: any bytes as the report/TAKE.json of an earlier run. */
#include "fuzz.h"

#include "report/report.h"

int LLVMFuzzerTestOneInput(const uint8_t *data, size_t size)
{
    struct tt_earlier_take earlier;
    struct tt_error err = {0};
    const char *path = fuzz_path("take.json");
    fuzz_write(path, data, size);
    bool ok = tt_report_take_json_read(path, &earlier, &err);
    if (ok == (err.kind != TT_OK))
        abort();
    for (size_t i = 0; ok && i < earlier.warning_count; i++)
        if (strlen(earlier.warnings[i].code) >= sizeof earlier.warnings[i].code ||
            strlen(earlier.warnings[i].message) >= sizeof earlier.warnings[i].message)
            abort();
    if (ok && (strlen(earlier.render_key) >= sizeof earlier.render_key ||
               (earlier.has_voice && (earlier.out_frames < 0 || earlier.out_rate_hz <= 0))))
        abort();
    free(earlier.warnings);
    return 0;
}
