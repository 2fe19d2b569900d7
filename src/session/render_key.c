/* SPDX-License-Identifier: GPL-2.0-or-later */
/* What a voice file depends on, as one digest: where it is that of the last run, the voice stands. */
#include <math.h>

#include "pipeline/render.h"
#include "session/steps.h"

bool tt_session_render_key(struct tt_run_state *run, struct tt_take *take, struct tt_error *err)
{
    const struct tt_settings *s = &run->settings;
    struct tt_text text = {0};
    tt_text_addf(&text, "%s render 3\n%s\n%s\n", TIDYTAKE_VERSION, take->content_sha256, take->hearing_key);
    if (take->heard.narrowed)
        tt_text_addf(&text, "part %lld %lld\n", (long long)take->heard.from_sample, (long long)take->heard.to_sample);
    tt_text_addf(&text, "gain %.9g\n", take->gain_db);
    if (isnan(take->gain_db))
        tt_text_addf(&text, "exact %s\n", run->gain_aim);
    tt_text_addf(&text, "gate %.17g %.17g breaths %.17g even %.17g limit %.17g %.17g\n", s->gate.depth_db,
                 s->gate.keep_faint_db, s->breaths.soften_db, s->loudness.even_db, s->loudness.ceiling_dbtp,
                 s->loudness.limit_most_db);
    tt_text_addf(&text, "deliver %d %d %d %d whole %d\n", (int)s->deliver.channels, (int)s->deliver.format,
                 (int)s->deliver.bits, tt_delivery_rate_hz(s, take->heard.facts.rate_hz), (int)s->deliver.whole);
    tt_sheet_render_text(&take->sheet, &text);
    bool ok = !text.has_failed || tt_fail_memory(err);
    if (ok)
        tt_sha256(text.data, text.length, take->render_key);
    tt_text_free(&text);
    return ok;
}
