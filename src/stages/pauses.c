/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Pauses: long ones come down along a curve on which longer stays longer; head and tail keep a little room tone. What
 * is cut away elsewhere counts: a pause is what a listener will hear between two kept runs of speech, be it one piece
 * of the take or several. */
#include <math.h>
#include <stdlib.h>

#include "base/units.h"
#include "sheet/word_guards.h"
#include "stages/pause_edges.h"
#include "stages/pauses.h"
#include "stages/stage.h"

/* What lies between the faint and the loud edge guards, too; so much beyond the faint edge stays in any case. */
static const double guard_least_ms = 70;
/* A longer faint edge is no edge of a word but a restless room, or a word of its own. */
static const double faint_most_ms = 400;
/* At the edge of a cut there is room tone on the other side already. */
static const double guard_cut_ms = 30;
/* A shortening that nobody would notice is no decision. */
static const double least_gain_ms = 30;
/* A breath that begins this shortly before the first word belongs to it. */
static const double head_breath_ms = 1000, head_breath_lead_ms = 40;

/* A run of speech that stays, in ms of the take. Its faint edges bound what may be cut; a pause is as long as it is
 * heard to be, between loud ones. */
struct kept_run {
    double start_ms, end_ms, over_floor_db;
    double faint_before_ms, faint_after_ms; /* between the faint and the loud edge */
};
/* A piece of pause between cuts. */
struct piece {
    double start_ms, end_ms;
    double least_ms; /* that must stay */
    double stay_ms;
};

struct take_pauses {
    struct tt_take_view *take;
    const struct tt_settings *settings;
    struct tt_span *cut;
    size_t cut_count;
    struct kept_run *runs;
    size_t run_count;
    struct piece *pieces; /* of the pause under way; room for all cuts + 1 */
    size_t piece_count;
    double from_ms, to_ms; /* the part of the take that is used */
};

double tt_pause_curve_ms(double pause_ms, double stay_ms, double longest_ms)
{
    double reach = longest_ms - stay_ms;
    if (pause_ms <= stay_ms)
        return pause_ms;
    return reach > 0 ? stay_ms + reach * (1 - exp(-(pause_ms - stay_ms) / reach)) : stay_ms;
}

static double faint_ms(int64_t samples, int rate_hz)
{
    return fmin(fmax(tt_ms_from_frames(samples, rate_hz), 0), faint_most_ms);
}

/* The runs less what is cut; rests shorter than a sound of speech are no runs, nor is the faint edge of a run whose
 * words are all cut. */
static void collect_runs(struct take_pauses *work)
{
    const struct tt_heard *heard = work->take->heard;
    const double least_run_ms = 60;
    for (size_t i = 0; i < heard->run_count; i++) {
        double start = tt_ms_from_frames(heard->runs[i].start_sample, heard->facts.rate_hz);
        double end = tt_ms_from_frames(heard->runs[i].end_sample, heard->facts.rate_hz);
        double faint_before =
            faint_ms(heard->runs[i].loud_start_sample - heard->runs[i].start_sample, heard->facts.rate_hz);
        double faint_after =
            heard->runs[i].loud_end_sample > heard->runs[i].start_sample
                ? faint_ms(heard->runs[i].end_sample - heard->runs[i].loud_end_sample, heard->facts.rate_hz)
                : 0;
        bool is_touched = false;
        for (size_t c = 0; c < work->cut_count; c++) {
            double cut_start = (double)work->cut[c].start_ms, cut_end = (double)work->cut[c].end_ms;
            if (cut_end <= start || cut_start >= end)
                continue;
            is_touched = true;
            if (cut_start - start >= least_run_ms && cut_start - start > faint_before)
                work->runs[work->run_count++] =
                    (struct kept_run){start, cut_start, heard->runs[i].over_floor_db, faint_before, 0};
            start = cut_end;
            faint_before = 0;
        }
        if (end - start >= least_run_ms || (end > start && !is_touched))
            work->runs[work->run_count++] =
                (struct kept_run){start, end, heard->runs[i].over_floor_db, faint_before, faint_after};
    }
}

static void add_piece(struct take_pauses *work, double start, double end, double guard_left, double guard_right)
{
    if (end - start > 1)
        work->pieces[work->piece_count++] =
            (struct piece){start, end, fmin(end - start, guard_left + guard_right), end - start};
}

/* The stretch from..to of the take without its cuts. Guards count at speech, less at cuts. */
static void collect_pieces(struct take_pauses *work, double from, double to, double guard_left, double guard_right)
{
    work->piece_count = 0;
    double at = from;
    for (size_t c = 0; c < work->cut_count; c++) {
        double cut_start = (double)work->cut[c].start_ms, cut_end = (double)work->cut[c].end_ms;
        if (cut_end <= at || cut_start >= to)
            continue;
        add_piece(work, at, fmin(cut_start, to), at == from ? guard_left : guard_cut_ms, guard_cut_ms);
        at = cut_end;
    }
    add_piece(work, at, to, at == from ? guard_left : guard_cut_ms, guard_right);
}

static double pieces_length(const struct take_pauses *work)
{
    double sum = 0;
    for (size_t i = 0; i < work->piece_count; i++)
        sum += work->pieces[i].end_ms - work->pieces[i].start_ms;
    return sum;
}

static bool propose(struct take_pauses *work, const struct piece *piece, enum tt_row_kind kind,
                    enum tt_row_action action, const char *note, struct tt_error *err)
{
    struct tt_row row = {.start_ms = llround(piece->start_ms),
                         .end_ms = llround(piece->end_ms),
                         .kind = kind,
                         .proposed = action,
                         .action = action,
                         .amount = action == TT_DO_SHORTEN ? round(piece->stay_ms) / 1000 : NAN,
                         .confidence = 1,
                         .note = (char *)note};
    return row.end_ms <= row.start_ms || tt_sheet_propose(work->take->sheet, &row, err);
}

/* Takes excess ms out of the pieces, the longest first. */
static bool shorten_pieces(struct take_pauses *work, double excess, const char *note, struct tt_error *err)
{
    while (excess > 0) {
        struct piece *longest = NULL;
        for (size_t i = 0; i < work->piece_count; i++) {
            struct piece *piece = &work->pieces[i];
            if (piece->stay_ms == piece->end_ms - piece->start_ms && piece->stay_ms > piece->least_ms &&
                (!longest || piece->stay_ms > longest->stay_ms))
                longest = piece;
        }
        if (!longest)
            return true;
        double most = longest->stay_ms - longest->least_ms, taken = excess < most ? excess : most;
        longest->stay_ms -= taken;
        excess -= taken;
        if (!propose(work, longest, TT_ROW_PAUSE, TT_DO_SHORTEN, note, err))
            return false;
    }
    return true;
}

/* How long a pause is heard to be. With nothing cut in it, what is left of words under the loud edges counts as words.
 */
static double length_between(const struct take_pauses *work, const struct kept_run *before,
                             const struct kept_run *after)
{
    const struct piece *piece = &work->pieces[0];
    const double length = pieces_length(work) + before->faint_after_ms + after->faint_before_ms;
    if (work->piece_count != 1 || piece->start_ms > before->end_ms || piece->end_ms < after->start_ms)
        return length;
    return length - tt_pause_edges_ms(work->take->heard, before->end_ms - before->faint_after_ms,
                                      after->start_ms + after->faint_before_ms);
}

static bool decide_between(struct take_pauses *work, const struct kept_run *before, const struct kept_run *after,
                           struct tt_error *err)
{
    collect_pieces(work, before->end_ms, after->start_ms,
                   fmax(guard_least_ms, word_guard_after_ms(before->over_floor_db) - before->faint_after_ms),
                   fmax(guard_least_ms, word_guard_before_ms(after->over_floor_db) - after->faint_before_ms));
    double pause = length_between(work, before, after);
    double keep_from_ms = 1000 * work->settings->pauses.keep_from_s;
    if (keep_from_ms > 0 && pause >= keep_from_ms) {
        struct piece whole = {.start_ms = before->end_ms, .end_ms = after->start_ms};
        return propose(work, &whole, TT_ROW_GAP, TT_DO_KEEP, "left open", err);
    }
    double stays = tt_pause_curve_ms(pause, work->settings->pauses.stay_ms, work->settings->pauses.longest_ms);
    return pause - stays < least_gain_ms || shorten_pieces(work, pause - stays, "", err);
}

/* Room tone in front of the first word: edge_ms, or more where a breath belongs to that word. */
static double head_stays_ms(const struct take_pauses *work, double first_ms)
{
    double stays = work->settings->pauses.edge_ms;
    const struct tt_sheet *sheet = work->take->sheet;
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        bool is_breath = row->kind == TT_ROW_BREATH && row->action != TT_DO_CUT;
        double start = (double)row->start_ms, end = (double)row->end_ms;
        if (is_breath && end > first_ms - stays && start < first_ms && first_ms - start <= head_breath_ms)
            stays = fmax(stays, first_ms - start + head_breath_lead_ms);
    }
    return stays;
}

/* Head (towards = 1: the piece nearest to the first word is the last one) or tail (towards = -1). */
static bool decide_edge(struct take_pauses *work, int towards, double stays, const char *note, struct tt_error *err)
{
    double budget = stays;
    for (size_t n = 0; n < work->piece_count; n++) {
        struct piece *piece = &work->pieces[towards > 0 ? work->piece_count - 1 - n : n];
        double length = piece->end_ms - piece->start_ms;
        piece->stay_ms = fmin(length, budget);
        budget -= piece->stay_ms;
        if (length - piece->stay_ms < least_gain_ms)
            continue;
        bool is_gone = piece->stay_ms < 1;
        if (!propose(work, piece, TT_ROW_PAUSE, is_gone ? TT_DO_CUT : TT_DO_SHORTEN, note, err))
            return false;
    }
    return true;
}

static bool decide_pauses(struct take_pauses *work, struct tt_error *err)
{
    collect_runs(work);
    if (work->take->heard->run_count == 0)
        return true; /* nothing was said: the take stays as it is, with a remark */
    if (work->run_count == 0) {
        collect_pieces(work, work->from_ms, work->to_ms, 0, 0);
        return decide_edge(work, 1, 0, "nothing of this take is left", err);
    }
    const struct kept_run *first = &work->runs[0], *last = &work->runs[work->run_count - 1];
    double edge = work->settings->pauses.edge_ms;
    collect_pieces(work, work->from_ms, first->start_ms, guard_cut_ms, word_guard_before_ms(first->over_floor_db));
    if (!decide_edge(work, 1, fmax(head_stays_ms(work, first->start_ms), word_guard_before_ms(first->over_floor_db)),
                     "before the first word", err))
        return false;
    for (size_t i = 0; i + 1 < work->run_count; i++)
        if (!decide_between(work, &work->runs[i], &work->runs[i + 1], err))
            return false;
    collect_pieces(work, last->end_ms, work->to_ms, word_guard_after_ms(last->over_floor_db), guard_cut_ms);
    return decide_edge(work, -1, fmax(edge, word_guard_after_ms(last->over_floor_db)), "behind the last word", err);
}

static bool decide_take(struct tt_take_view *take, const struct tt_settings *settings, struct tt_error *err)
{
    const struct tt_heard *heard = take->heard;
    struct take_pauses work = {.take = take,
                               .settings = settings,
                               .from_ms = tt_ms_from_frames(heard->from_sample, heard->facts.rate_hz),
                               .to_ms = tt_ms_from_frames(tt_heard_end(heard), heard->facts.rate_hz)};
    bool ok = tt_sheet_cut_spans(take->sheet, &work.cut, &work.cut_count, err);
    if (ok) {
        work.runs = calloc(heard->run_count + work.cut_count + 1, sizeof *work.runs);
        work.pieces = calloc(work.cut_count + 2, sizeof *work.pieces);
        ok = work.runs && work.pieces ? decide_pauses(&work, err) : tt_fail_memory(err);
    }
    free(work.cut);
    free(work.runs);
    free(work.pieces);
    return ok;
}

static bool pauses_decide(const struct tt_session_view *view, struct tt_error *err)
{
    for (size_t i = 0; i < view->count; i++)
        if (!decide_take(&view->takes[i], view->settings, err))
            return false;
    return true;
}

const struct tt_stage tt_stage_pauses = {
    .name = "pauses",
    .summary = "shortens long pauses out of their own room tone",
    .decide = pauses_decide,
};
