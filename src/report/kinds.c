/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "report/kinds.h"

#include <math.h>
#include <string.h>

#include "report/html.h"
#include "report/stays.h"

/* About 14 wide, around 0,0; no two alike in outline, so that they are told apart without colour. */
static const char *const shapes[TT_ROW_KINDS] = {
    [TT_ROW_MISREAD] = "M-6.5-5.5H6.5L0 6.5z",           /* triangle, point down */
    [TT_ROW_TALK] = "M0-6A6 6 0 1 1 0 6A6 6 0 1 1 0-6z", /* disc */
    [TT_ROW_PAUSE] = "M-7-2.5H7V2.5H-7z",                /* bar */
    [TT_ROW_BREATH] = "M-7 4A7 7.5 0 0 1 7 4z",          /* hill */
    [TT_ROW_CLICK] = "M-6-3.5L-3.5-6L0-2.5L3.5-6L6-3.5L2.5 0L6 3.5L3.5 6L0 2.5L-3.5 6L-6 3.5L-2.5 0z", /* cross */
    [TT_ROW_NOISE] = "M0-7.5L2-2L7.5 0L2 2L0 7.5L-2 2L-7.5 0L-2-2z", /* star of four points */
    [TT_ROW_GAP] = "M0-7L7 0L0 7L-7 0zM0-3.5L-3.5 0L0 3.5L3.5 0z",   /* hollow diamond */
    [TT_ROW_LABEL] = "M-5-7H-2.5V-6H6L3-2.5L6 1H-2.5V7H-5z",         /* flag */
    [TT_ROW_OTHER] = "M-2-6.5H2V-2H6.5V2H2V6.5H-2V2H-6.5V-2H-2z"     /* plus */
};

void tt_kind_symbols(struct tt_text *out)
{
    tt_text_add(out, "<svg class=\"symbols\" aria-hidden=\"true\" focusable=\"false\">");
    for (int kind = 0; kind < TT_ROW_KINDS; kind++)
        tt_text_addf(out,
                     "<symbol id=\"mark-%s\" viewBox=\"-8 -8 16 16\" overflow=\"visible\"><path d=\"%s\"/></symbol>",
                     tt_row_kind_name((enum tt_row_kind)kind), shapes[kind]);
    tt_text_add(out, "</svg>\n");
}

void tt_kind_mark(struct tt_text *out, enum tt_row_kind kind)
{
    const char *name = tt_row_kind_name(kind);
    tt_text_addf(out, "<svg class=\"mark %s\" aria-hidden=\"true\" focusable=\"false\"><use href=\"#mark-%s\"/></svg>",
                 name, name);
}

static void add_amount(struct tt_text *out, const struct tt_row *row, int decimals, const char *unit)
{
    tt_html_number(out, row->amount, decimals);
    tt_text_add(out, unit);
}

void tt_row_done(struct tt_text *out, const struct tt_row *row)
{
    switch (row->action) {
    case TT_DO_SHORTEN:
        tt_text_add(out, "shortened to ");
        add_amount(out, row, 2, "\xC2\xA0s");
        break;
    case TT_DO_SOFTEN:
        tt_text_add(out, "softened by ");
        add_amount(out, row, 1,
                   "\xC2\xA0"
                   "dB");
        break;
    case TT_DO_OPEN:
        tt_text_add(out, "opened for ");
        add_amount(out, row, 2, "\xC2\xA0s");
        break;
    case TT_DO_ASK:
        tt_text_add(out, "asks you");
        break;
    case TT_DO_KEEP:
        tt_text_add(out, row->kind == TT_ROW_LABEL ? "marked" : "kept");
        break;
    case TT_DO_CHOOSE:
        tt_text_add(out, "chosen");
        break;
    default:
        tt_text_add(out, "cut");
        break;
    }
}

void tt_row_sure(struct tt_text *out, const struct tt_row *row)
{
    if (isfinite(row->confidence))
        tt_text_addf(out, ", %lld\xC2\xA0%% sure", llround(floor(row->confidence * 100 + 1e-9)));
}

/* "the reading at 0:18.3 to 0:23.0", or in another take. */
static void add_reading(struct tt_text *out, const struct tt_stays *stays)
{
    tt_text_add(out, "the reading at ");
    tt_html_clock(out, (double)stays->span.start_ms / 1000);
    tt_text_add(out, "\xE2\x80\x93");
    tt_html_clock(out, (double)stays->span.end_ms / 1000);
    if (!stays->take_name)
        return;
    tt_text_add(out, " in ");
    tt_html_name(out, stays->take_name);
}

static void misread_words(struct tt_text *out, const struct tt_session_report *session,
                          const struct tt_take_report *take, const struct tt_row *row)
{
    struct tt_stays stays;
    static const struct {
        const char *in_front, *behind;
    } words[TT_DO_ACTIONS] = {[TT_DO_CUT] = {"You read this again: ", " stays instead."},
                              [TT_DO_ASK] = {"You may have read this again: it and ", " are both still in."},
                              [TT_DO_KEEP] = {"This and ", " both stay."},
                              [TT_DO_CHOOSE] = {"This reading stays; ", " is out."}};
    if (row->action == TT_DO_CUT && strncmp(row->note, "two knocks", 10) == 0) {
        tt_text_add(out, "You knocked behind this: it is out.");
        return;
    }
    if (row->action == TT_DO_CUT && strncmp(row->note, "an earlier reading", 18) == 0) {
        tt_text_add(out, "You chose an earlier reading: it stays instead of this one.");
        return;
    }
    if (!words[row->action].in_front)
        return;
    tt_text_add(out, words[row->action].in_front);
    bool is_known = tt_stays_find(session, take, row, &stays);
    if (is_known)
        add_reading(out, &stays);
    else
        tt_text_add(out, "another reading");
    tt_text_add(out, words[row->action].behind);
    if (is_known && stays.readings > 2)
        tt_text_addf(out, " It is the last of %zu.", stays.readings);
}

/* What the program notes on a row, said to a narrator; the note itself is not shown then. A person's note is. */
static const struct {
    enum tt_row_kind kind;
    enum tt_row_action action;
    const char *note, *words;
} told[] = {
    {TT_ROW_PAUSE, TT_DO_SHORTEN, "before the first word", "The wait before the first word, made shorter."},
    {TT_ROW_PAUSE, TT_DO_SHORTEN, "behind the last word", "The wait after the last word, made shorter."},
    {TT_ROW_TALK, TT_DO_CUT, "between the misread and its re-read",
     "Said between a misread and its second reading: it goes with the misread."},
    {TT_ROW_MISREAD, TT_DO_ASK, "it stops in mid-word, and nothing replaces it",
     "It stops in mid-word, and no other reading replaces it: it is still in. Perhaps it is to be read again."},
    {TT_ROW_MISREAD, TT_DO_CUT, "it stops in mid-word, and nothing replaces it",
     "It stops in mid-word: it is out, though no other reading replaces it."},
    {TT_ROW_MISREAD, TT_DO_KEEP, "it stops in mid-word, and nothing replaces it", "It stops in mid-word, and stays."},
    {TT_ROW_TALK, TT_DO_CUT, "fainter than the lines, or apart from them",
     "Talk that is no part of the text: fainter than your lines, or apart from them."},
    {TT_ROW_TALK, TT_DO_ASK, "fainter than the lines, or apart from them",
     "Talk, perhaps: fainter than your lines, or apart from them. It is still in."},
    {TT_ROW_TALK, TT_DO_ASK, "between the misread and its re-read",
     "Said between a misread and its second reading, perhaps to yourself: it is still in."},
    {TT_ROW_NOISE, TT_DO_ASK, "a sound between the lines: keep, soften or cut?",
     "A noise between lines: it is still in, as loud as it was."},
    {TT_ROW_NOISE, TT_DO_ASK, "a cough, or a word in a whisper: keep, soften or cut?",
     "A cough, perhaps, or a word in a whisper: it is still in, as loud as it was."}};

/* What is told of a row, NULL where nothing is; has_own_note where the note is not one of the program's. */
static const char *told_words(const struct tt_row *row, bool *has_own_note)
{
    *has_own_note = row->note[0] && (row->kind != TT_ROW_MISREAD || strncmp(row->note, "read again ", 11) != 0);
    for (size_t i = 0; i < sizeof told / sizeof *told; i++) {
        if (told[i].kind != row->kind || strcmp(told[i].note, row->note) != 0)
            continue;
        *has_own_note = false;
        if (told[i].action == row->action)
            return told[i].words;
    }
    return NULL;
}

/* What needs nothing but the kind and the action. */
static const char *fixed_words(const struct tt_row *row)
{
    bool is_cut = row->action == TT_DO_CUT, is_asked = row->action == TT_DO_ASK, is_kept = row->action == TT_DO_KEEP;
    switch (row->kind) {
    case TT_ROW_TALK:
        return is_cut     ? "Talk that is no part of the text."
               : is_asked ? "Talk, perhaps: it is still in."
                          : "Talk that stays.";
    case TT_ROW_PAUSE:
        return is_cut    ? "The whole pause is out."
               : is_kept ? "The pause stays as it is."
                         : "A long pause, made shorter.";
    case TT_ROW_BREATH:
        return is_cut ? "A breath, taken out." : is_kept ? "The breath stays as it is." : "A breath, turned down.";
    case TT_ROW_CLICK:
        return is_cut ? "A click, taken out." : is_kept ? "The click stays as it is." : "A click, turned down.";
    case TT_ROW_NOISE:
        return is_cut     ? "A noise between lines, taken out."
               : is_asked ? "A noise between lines, still in."
               : is_kept  ? "The noise stays as it is."
                          : "A noise between lines, turned down.";
    case TT_ROW_GAP:
        return is_kept ? "No gap is opened here." : "Room tone was put in here.";
    case TT_ROW_LABEL:
        return "A marker of yours.";
    default:
        return is_cut ? "A part that you took out." : "A part that you keep.";
    }
}

void tt_row_words(struct tt_text *out, const struct tt_session_report *session, const struct tt_take_report *take,
                  const struct tt_row *row)
{
    bool has_own_note;
    const char *words = told_words(row, &has_own_note);
    if (words)
        tt_text_add(out, words);
    else if (row->kind == TT_ROW_MISREAD)
        misread_words(out, session, take, row);
    else
        tt_text_add(out, fixed_words(row));
    if (has_own_note) {
        tt_text_add(out, " <span class=\"note\">");
        tt_html_name(out, row->note);
        tt_text_add(out, "</span>");
    }
}

size_t tt_row_line(const struct tt_sheet *sheet, size_t index)
{
    size_t line = 2 + index;
    for (size_t i = 0; i < index; i++) {
        for (const char *c = sheet->rows[i].note; *c; c++)
            line += *c == '\n';
        for (const char *c = sheet->take; *c; c++)
            line += *c == '\n';
    }
    return line;
}
