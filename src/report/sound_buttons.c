/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/sound_buttons.h"

#include <math.h>

#include "base/units.h"
#include "report/html.h"
#include "report/stays.h"

void tt_sound_button(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                     const struct tt_sound_part *part, const char *style, const char *label)
{
    tt_text_addf(out, "<button type=\"button\"%s aria-pressed=\"false\" data-src=\"", style);
    tt_html_relative_url(out, session->out_folder, part->is_voice ? take->play_after : take->play_before);
    tt_text_add(out, "\" data-from=\"");
    tt_html_exact(out, fmax(part->from_s, 0), 3);
    tt_text_add(out, "\" data-to=\"");
    tt_html_exact(out, fmax(part->to_s, 0), 3);
    if (part->has_hole) {
        tt_text_add(out, "\" data-hole=\"");
        tt_html_exact(out, part->from_s + TT_AROUND_S, 3);
        tt_text_add(out, " ");
        tt_html_exact(out, part->to_s - TT_AROUND_S, 3);
    }
    tt_text_add(out, "\" data-name=\"");
    tt_html_text(out, take->name);
    tt_text_addf(out, ", %s\">%s</button> ", label, label);
}

bool tt_sound_part_find(const struct tt_take_report *take, struct tt_span span, double around_s,
                        struct tt_sound_part *part)
{
    *part = (struct tt_sound_part){false, (double)span.start_ms / 1000 - around_s,
                                   (double)span.end_ms / 1000 + around_s, false};
    if (take->play_before)
        return true;
    if (!take->play_after)
        return false;
    const struct tt_time_map *map = take->map;
    int64_t start = tt_time_map_nearest_out(map, tt_frames_from_ms((double)span.start_ms, map->rate_hz));
    int64_t end = tt_time_map_nearest_out(map, tt_frames_from_ms((double)span.end_ms, map->rate_hz));
    *part = (struct tt_sound_part){true, (double)start / map->rate_hz - around_s, (double)end / map->rate_hz + around_s,
                                   false};
    return true;
}

void tt_sound_span_button(struct tt_text *out, const struct tt_session_report *session,
                          const struct tt_take_report *take, struct tt_span span, double around_s, const char *style,
                          const char *label)
{
    struct tt_sound_part part;
    if (tt_sound_part_find(take, span, around_s, &part))
        tt_sound_button(out, session, take, &part, style, label);
}

void tt_sound_other_button(struct tt_text *out, const struct tt_session_report *session,
                           const struct tt_take_report *take, const struct tt_row *misread, const char *label)
{
    struct tt_stays stays;
    if (tt_stays_find(session, take, misread, &stays) && stays.take && stays.take->is_heard)
        tt_sound_span_button(out, session, stays.take, stays.span, 0, "", label);
}
