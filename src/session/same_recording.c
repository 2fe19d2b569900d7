/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/same_recording.h"

#include <math.h>
#include <stdio.h>
#include <string.h>

/* A codec pads by some tens of ms and recorders end files on blocks; two readings of one text differ by more, nearly always. */
static const double duration_most_s = 0.3;
/* A codec's delay (MP3: 26 ms and 50 ms by frames and encoder), or some metres of air. */
static const double lag_most_s = 0.07;
/* The loudness steps of two readings agree by 0.84 at most, those of copies and of two microphones by 0.89 and more; the shapes of their spectra, moment
 * by moment, by 0.74 at most and by 0.83 and more (measured on takes of 2 to 30 s: 120 pairs of re-readings of one length, and 200 of copies with other
 * formats, colours, rooms and levels). In doubt they are two. */
static const double steps_least = 0.86, shapes_least = 0.78;
/* With less speech than 4 s chance has more room: only what is all but the same sound counts, and under 1.2 s nothing does. Copies of 1.2 to 4 s agreed by
 * 0.971 in loudness and 0.969 in shape at least (45 pairs, with a lossy format); other takes of that length by 0.943 in shape at most, be they the same
 * words at another pace and pitch (2,385 pairs). Two microphones lie among those. Dropping a take would lose words. */
static const double short_steps_least = 0.96, short_shapes_least = 0.96;
/* So many moments are compared at most. */
enum { MOST_STEPS = 600, MOST_ROWS = 1500, LEAST_STEPS = 10, LONG_ROWS = 375, LEAST_ROWS = 112 };
/* What lies so far under the lines is the room's, which differs between microphones. */
static const double quiet_db = 25.0;
/* How much clearer of its room one must be to be the better one. */
static const double clearer_db = 1.0;

/* Correlation, one pair at a time. */
struct match { double n, a, b, aa, bb, ab; };

static void match_add(struct match *m, double a, double b)
{
    m->n++;
    m->a += a;
    m->b += b;
    m->aa += a * a;
    m->bb += b * b;
    m->ab += a * b;
}

static double match_result(const struct match *m)
{
    double va = m->aa - m->a * m->a / m->n, vb = m->bb - m->b * m->b / m->n;
    return m->n > 0 && va > 0 && vb > 0 ? (m->ab - m->a * m->b / m->n) / sqrt(va * vb) : 0;
}

static double duration_s(const struct tt_heard *heard) { return (double)heard->facts.frame_count / heard->facts.rate_hz; }

static double step_db(const struct tt_heard *heard, size_t step)
{
    double db = 10.0 * log10((double)heard->steps[step] + 1e-12), least = heard->facts.speech_dbfs - quiet_db;
    return db > least ? db : least;
}

static double loudness_agreement(const struct tt_heard *a, const struct tt_heard *b)
{
    size_t count = a->step_count < b->step_count ? a->step_count : b->step_count, stride = count / MOST_STEPS + 1;
    struct match match = {0};
    if (count < LEAST_STEPS) return 0.0;
    for (size_t i = 0; i < count; i += stride) match_add(&match, step_db(a, i), step_db(b, i));
    return match_result(&match);
}

static double rows_a_second(const struct tt_heard *heard) { return (double)heard->facts.rate_hz / heard->facts.feature_hop_samples; }

struct agreement { double shapes, rows; };

/* How alike the shapes of the spectra are while somebody speaks in a, b's taken lag_s later, over so many moments. */
static struct agreement shapes_agree(const struct tt_heard *a, const struct tt_heard *b, double lag_s)
{
    const double per_s_a = rows_a_second(a), per_s_b = rows_a_second(b);
    double speech_rows = 0.0, sum = 0.0;
    for (size_t r = 0; r < a->run_count; r++) speech_rows += (double)(a->runs[r].end_sample - a->runs[r].start_sample) / a->facts.feature_hop_samples;
    int64_t stride = (int64_t)(speech_rows / MOST_ROWS) + 1;
    struct match matches[TT_CEPSTRA] = {{0}};
    for (size_t r = 0; r < a->run_count; r++)
        for (int64_t row = a->runs[r].start_sample / a->facts.feature_hop_samples; row < a->runs[r].end_sample / a->facts.feature_hop_samples; row += stride) {
            int64_t other = llround(((double)row / per_s_a + lag_s) * per_s_b);
            if (row >= (int64_t)a->feature_count || other < 0 || other >= (int64_t)b->feature_count) continue;
            for (int c = 0; c < TT_CEPSTRA; c++) match_add(&matches[c], a->cepstra[row * TT_CEPSTRA + c], b->cepstra[other * TT_CEPSTRA + c]);
        }
    for (int c = 0; c < TT_CEPSTRA; c++) sum += match_result(&matches[c]);
    return (struct agreement){sum / TT_CEPSTRA, matches[0].n};
}

bool tt_heard_in_step(const struct tt_heard *a, const struct tt_heard *b)
{
    if (a->facts.content_sha256[0] && strcmp(a->facts.content_sha256, b->facts.content_sha256) == 0) return true;
    if (fabs(duration_s(a) - duration_s(b)) > duration_most_s || !isfinite(a->facts.speech_dbfs) || !isfinite(b->facts.speech_dbfs)) return false;
    if (a->facts.feature_hop_samples <= 0 || b->facts.feature_hop_samples <= 0) return false;
    const double steps = loudness_agreement(a, b);
    if (steps < steps_least) return false;
    const int most = (int)(lag_most_s * rows_a_second(a));
    for (int lag = -most; lag <= most; lag++) {
        const struct agreement found = shapes_agree(a, b, lag / rows_a_second(a));
        const bool is_long = found.rows >= LONG_ROWS;
        if (found.rows >= LEAST_ROWS && found.shapes >= (is_long ? shapes_least : short_shapes_least) && (is_long || steps >= short_steps_least)) return true;
    }
    return false;
}

static bool is_clipped(const struct tt_take *take)
{
    for (size_t i = 0; i < take->heard.remark_count; i++)
        if (strcmp(take->heard.remarks[i].code, "clipped") == 0) return true;
    return false;
}

static bool is_better(const struct tt_take *a, const struct tt_take *b)
{
    if (is_clipped(a) != is_clipped(b)) return !is_clipped(a);
    bool is_exact = a->info.bits > 0 || a->info.is_float, other_is = b->info.bits > 0 || b->info.is_float;
    if (is_exact != other_is) return is_exact;
    double clear_a = a->heard.facts.speech_dbfs - a->heard.facts.floor_dbfs, clear_b = b->heard.facts.speech_dbfs - b->heard.facts.floor_dbfs;
    return isfinite(clear_a) && isfinite(clear_b) && clear_a > clear_b + clearer_db;
}

static void drop(struct tt_run_state *run, struct tt_take *take, const struct tt_take *better)
{
    take->is_used = false;
    snprintf(take->why, sizeof take->why, "same recording as %s", better->file->name);
    tt_run_warn(run, "same-recording", "%s is the same recording as %s, which is used; to use the other, write 'no' beside %s in order.csv", take->file->name,
                better->file->name, better->file->name);
}

/* Parts of a recording were named by a person, who knows. */
static bool can_be_compared(const struct tt_take *take)
{
    return take->is_heard && !take->has_failed && take->is_used && !take->heard.narrowed && !take->first_of_file && !take->is_pickup;
}

/* The best of the takes that run in step with this one. */
static struct tt_take *find_best(struct tt_run_state *run, size_t index, bool *has_copies)
{
    struct tt_take *take = &run->takes[index], *best = take;
    *has_copies = false;
    for (size_t j = index + 1; j < run->take_count; j++) {
        struct tt_take *other = &run->takes[j];
        if (!can_be_compared(other) || !tt_heard_in_step(&take->heard, &other->heard)) continue;
        *has_copies = true;
        if (is_better(other, best)) best = other;
    }
    return best;
}

void tt_session_drop_copies(struct tt_run_state *run)
{
    for (size_t i = 0; i < run->take_count; i++) {
        struct tt_take *take = &run->takes[i];
        bool has_copies = false;
        const struct tt_take *best = can_be_compared(take) ? find_best(run, i, &has_copies) : take;
        for (size_t j = i + 1; has_copies && j < run->take_count; j++) {
            struct tt_take *other = &run->takes[j];
            if (other != best && can_be_compared(other) && tt_heard_in_step(&take->heard, &other->heard)) drop(run, other, best);
        }
        if (take != best) drop(run, take, best);
    }
}
