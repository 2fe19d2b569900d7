/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Within the lists of the session's page: buttons that play part of a take or a voice. */
#ifndef TT_REPORT_SOUND_BUTTONS_H
#define TT_REPORT_SOUND_BUTTONS_H

#include "report/report.h"

#define TT_AROUND_S 2.0 /* heard before and after a part in its context */

/* Part of a file: url, from and to are all that the script needs. */
struct tt_sound_part {
    bool is_voice;
    double from_s, to_s;
    bool has_hole; /* all but what lies TT_AROUND_S from the ends is jumped over */
};

void tt_sound_button(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                     const struct tt_sound_part *part, const char *style, const char *label);
/* Out of the take where browsers can play it, else out of the voice: what is asked about is still in there. False when
 * neither plays. */
bool tt_sound_part_find(const struct tt_take_report *take, struct tt_span span, double around_s,
                        struct tt_sound_part *part);
/* The button of a span; none when neither plays. */
void tt_sound_span_button(struct tt_text *out, const struct tt_session_report *session,
                          const struct tt_take_report *take, struct tt_span span, double around_s, const char *style,
                          const char *label);
/* The button of the reading that replaces a misread's; none where its note names none, or its take was not heard. */
void tt_sound_other_button(struct tt_text *out, const struct tt_session_report *session,
                           const struct tt_take_report *take, const struct tt_row *misread, const char *label);

#endif
