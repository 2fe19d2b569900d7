/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/same_recording.h"

#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

/* A codec pads by some tens of ms and recorders end files on blocks; two readings of one text differ by more, nearly
 * always. */
static const double duration_most_s = 0.3;
/* A codec's delay (MP3: 26 ms and 50 ms by frames and encoder), or some metres of air. */
static const double lag_most_s = 0.07;
/* The loudness steps of two readings agree by 0.84 at most, those of copies and of two microphones by 0.89 and more;
 * the shapes of their spectra, moment by moment, by 0.74 at most and by 0.83 and more (measured on takes of 2 to 30 s:
 * 120 pairs of re-readings of one length, and 200 of copies with other formats, colours, rooms and levels). In doubt
 * they are two. */
static const double steps_least = 0.86, shapes_least = 0.78;
/* With less speech than 4 s chance has more room: only what is all but the same sound counts, and under 1.2 s nothing
 * does. Copies of 1.2 to 4 s agreed by 0.971 in loudness and 0.969 in shape at least (45 pairs, with a lossy format);
 * other takes of that length by 0.943 in shape at most, be they the same words at another one and pitch (2,385 pairs).
 * Two microphones lie among those. Dropping a take would lose words. */
static const double short_steps_least = 0.96, short_shapes_least = 0.96;
/* So many moments are compared at most. */
enum { MOST_STEPS = 600, MOST_ROWS = 1500, LEAST_STEPS = 10, LONG_ROWS = 375, LEAST_ROWS = 112 };
/* What lies so far under the lines is the room's, which differs between microphones. */
static const double quiet_db = 25.0;
/* How much clearer of its room one must be to be the better one. */
static const double clearer_db = 1.0;

/* Correlation, one pair at a time. */
struct match {
    double n, a, b, aa, bb, ab;
};

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

static double loudness_agreement(const struct tt_compared *a, const struct tt_compared *b)
{
    size_t count = a->heard->step_count < b->heard->step_count ? a->heard->step_count : b->heard->step_count,
           stride = count / MOST_STEPS + 1;
    struct match match = {0};
    if (count < LEAST_STEPS)
        return 0.0;
    for (size_t i = 0; i < count; i += stride)
        match_add(&match, a->steps_db[i], b->steps_db[i]);
    return match_result(&match);
}

static double rows_a_second(const struct tt_heard *heard)
{
    return (double)heard->facts.rate_hz / heard->facts.feature_hop_samples;
}

/* Of long takes each n-th row is looked at. */
static int64_t row_stride(const struct tt_heard *heard)
{
    double speech_rows = 0.0;
    for (size_t r = 0; r < heard->run_count; r++)
        speech_rows +=
            (double)(heard->runs[r].end_sample - heard->runs[r].start_sample) / heard->facts.feature_hop_samples;
    return (int64_t)(speech_rows / MOST_ROWS) + 1;
}

/* Where the rows that may be looked at in one run begin, and end. */
static int64_t rows_of_run(const struct tt_heard *heard, size_t run, int64_t *first)
{
    const int64_t end = heard->runs[run].end_sample / heard->facts.feature_hop_samples;
    *first = heard->runs[run].start_sample / heard->facts.feature_hop_samples;
    return end < (int64_t)heard->feature_count ? end : (int64_t)heard->feature_count;
}

static double count_rows(const struct tt_compared *one)
{
    double count = 0.0;
    for (size_t r = 0; r < one->heard->run_count; r++) {
        int64_t first, end = rows_of_run(one->heard, r, &first);
        if (end > first)
            count += (double)((end - first - 1) / one->stride + 1);
    }
    return count;
}

bool tt_compared_open(const struct tt_heard *heard, struct tt_compared *one, struct tt_error *err)
{
    const struct tt_heard_facts *facts = &heard->facts;
    *one = (struct tt_compared){.heard = heard, .duration_s = (double)facts->frame_count / facts->rate_hz};
    if (!isfinite(facts->speech_dbfs) || facts->feature_hop_samples <= 0)
        return true;
    one->stride = row_stride(heard);
    one->shape_rows = count_rows(one);
    one->steps_db = malloc((heard->step_count + 1) * sizeof *one->steps_db);
    if (!one->steps_db)
        return tt_fail_memory(err);
    for (size_t i = 0; i < heard->step_count; i++) {
        double db = 10.0 * log10((double)heard->steps[i] + 1e-12), least = facts->speech_dbfs - quiet_db;
        one->steps_db[i] = db > least ? db : least;
    }
    return true;
}

void tt_compared_free(struct tt_compared *one)
{
    free(one->steps_db);
    *one = (struct tt_compared){0};
}

struct agreement {
    double shapes, rows;
};

/* Of one run: whole numbers, the same in any order, which the compiler may take several at a time. A run has MOST_ROWS
 * rows and one at most, each product is under 2^14: they fit. */
struct sums {
    int32_t n, a[TT_CEPSTRA], b[TT_CEPSTRA], aa[TT_CEPSTRA], bb[TT_CEPSTRA], ab[TT_CEPSTRA];
};

static void sums_add(struct sums *sums, const int8_t *a, const int8_t *b)
{
    sums->n++;
    for (int c = 0; c < TT_CEPSTRA; c++) {
        const int32_t x = a[c], y = b[c];
        sums->a[c] += x;
        sums->b[c] += y;
        sums->aa[c] += x * x;
        sums->bb[c] += y * y;
        sums->ab[c] += x * y;
    }
}

static void matches_add(struct match *matches, const struct sums *sums)
{
    for (int c = 0; c < TT_CEPSTRA; c++) {
        struct match *m = &matches[c];
        *m = (struct match){m->n + sums->n,      m->a + sums->a[c],   m->b + sums->b[c],
                            m->aa + sums->aa[c], m->bb + sums->bb[c], m->ab + sums->ab[c]};
    }
}

/* How alike the shapes of the spectra are while somebody speaks in a, b's taken so many rows later, over so many
 * moments. */
static struct agreement shapes_agree(const struct tt_compared *one, const struct tt_heard *b, int lag)
{
    const struct tt_heard *a = one->heard;
    const double per_s_a = rows_a_second(a), per_s_b = rows_a_second(b), lag_s = lag / per_s_a;
    double sum = 0.0;
    struct match matches[TT_CEPSTRA] = {{0}};
    for (size_t r = 0; r < a->run_count; r++) {
        struct sums sums = {0};
        int64_t first, end = rows_of_run(a, r, &first);
        for (int64_t row = first; row < end; row += one->stride) {
            const int64_t other = per_s_a == per_s_b ? row + lag : llround(((double)row / per_s_a + lag_s) * per_s_b);
            if (other >= 0 && other < (int64_t)b->feature_count)
                sums_add(&sums, a->cepstra + row * TT_CEPSTRA, b->cepstra + other * TT_CEPSTRA);
        }
        matches_add(matches, &sums);
    }
    for (int c = 0; c < TT_CEPSTRA; c++)
        sum += match_result(&matches[c]);
    return (struct agreement){sum / TT_CEPSTRA, matches[0].n};
}

bool tt_compared_in_step(const struct tt_compared *a, const struct tt_compared *b)
{
    const char *digest = a->heard->facts.content_sha256;
    if (fabs(a->duration_s - b->duration_s) > duration_most_s)
        return false; /* before all else: it is asked of all pairs of a session */
    if (digest[0] && strcmp(digest, b->heard->facts.content_sha256) == 0)
        return true;
    if (!a->steps_db || !b->steps_db || a->shape_rows < LEAST_ROWS)
        return false;
    const double steps = loudness_agreement(a, b);
    if (steps < (a->shape_rows < LONG_ROWS ? short_steps_least : steps_least))
        return false;
    const int most = (int)(lag_most_s * rows_a_second(a->heard));
    for (int lag = -most; lag <= most; lag++) {
        const struct agreement found = shapes_agree(a, b->heard, lag);
        const bool is_long = found.rows >= LONG_ROWS;
        if (found.rows >= LEAST_ROWS && found.shapes >= (is_long ? shapes_least : short_shapes_least) &&
            (is_long || steps >= short_steps_least))
            return true;
    }
    return false;
}

static bool is_clipped(const struct tt_take *take)
{
    for (size_t i = 0; i < take->heard.remark_count; i++)
        if (strcmp(take->heard.remarks[i].code, "clipped") == 0)
            return true;
    return false;
}

static bool is_better(const struct tt_take *a, const struct tt_take *b)
{
    if (is_clipped(a) != is_clipped(b))
        return !is_clipped(a);
    bool is_exact = a->info.bits > 0 || a->info.is_float, other_is = b->info.bits > 0 || b->info.is_float;
    if (is_exact != other_is)
        return is_exact;
    double clear_a = a->heard.facts.speech_dbfs - a->heard.facts.floor_dbfs,
           clear_b = b->heard.facts.speech_dbfs - b->heard.facts.floor_dbfs;
    return isfinite(clear_a) && isfinite(clear_b) && clear_a > clear_b + clearer_db;
}

static void drop(struct tt_run_state *run, struct tt_take *take, const struct tt_take *better)
{
    take->is_used = false;
    snprintf(take->why, sizeof take->why, "same recording as %s", better->file->name);
    tt_run_warn(run, "same-recording",
                "%s is the same recording as %s, which is used; to use the other, write 'no' beside %s in order.csv",
                take->file->name, better->file->name, better->file->name);
}

/* Parts of a recording were named by a person, who knows. */
static bool can_be_compared(const struct tt_take *take)
{
    return tt_take_takes_part(take) && !take->heard.narrowed && !take->first_of_file && !take->is_pickup;
}

/* The best of the takes that run in step with this one, which are marked. compared[].heard is NULL where nothing is
 * compared. */
static struct tt_take *find_best(struct tt_run_state *run, size_t index, const struct tt_compared *compared,
                                 bool *in_step)
{
    struct tt_take *best = &run->takes[index];
    for (size_t j = index + 1; j < run->take_count; j++) {
        in_step[j] = compared[j].heard && tt_compared_in_step(&compared[index], &compared[j]);
        if (in_step[j] && is_better(&run->takes[j], best))
            best = &run->takes[j];
    }
    return best;
}

static bool open_compared(const struct tt_run_state *run, struct tt_compared *compared, struct tt_error *err)
{
    for (size_t i = 0; i < run->take_count; i++)
        if (can_be_compared(&run->takes[i]) && !tt_compared_open(&run->takes[i].heard, &compared[i], err))
            return false;
    return true;
}

bool tt_session_drop_copies(struct tt_run_state *run, struct tt_error *err)
{
    struct tt_compared *compared = calloc(run->take_count + 1, sizeof *compared);
    bool *in_step = calloc(run->take_count + 1, sizeof *in_step);
    const bool ok = (compared && in_step) ? open_compared(run, compared, err) : tt_fail_memory(err);
    for (size_t i = 0; ok && i < run->take_count; i++) {
        if (!compared[i].heard)
            continue;
        struct tt_take *take = &run->takes[i];
        const struct tt_take *best = find_best(run, i, compared, in_step);
        for (size_t j = i + 1; j < run->take_count; j++)
            if (in_step[j] && &run->takes[j] != best) {
                drop(run, &run->takes[j], best);
                tt_compared_free(&compared[j]);
            }
        if (take != best)
            drop(run, take, best);
    }
    for (size_t i = 0; compared && i < run->take_count; i++)
        tt_compared_free(&compared[i]);
    free(compared);
    free(in_step);
    return ok;
}
