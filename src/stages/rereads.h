/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where a session says the same again, and how sure it is that the first of the two was given up. */
#ifndef TT_STAGES_REREADS_H
#define TT_STAGES_REREADS_H

#include "stages/phrases.h"

/* What certainty is judged by; the weights stand in rereads_judge.c in this order. */
enum tt_evidence {
    TT_SEEN_ALWAYS,       /* 1 */
    TT_SEEN_SCORE,        /* ln of the alignment's score */
    TT_SEEN_LENGTH,       /* ln of the matched seconds, up to 6 */
    TT_SEEN_LIKENESS,     /* mean along the path, in deviations over what chance gives */
    TT_SEEN_WORST,        /* the same of its worst quarter of a second: one other word shows here */
    TT_SEEN_WORST_LONG,   /* and of its worst 0.7 s: a whole other word, or a phrase that only joined by chance */
    TT_SEEN_OPENING,      /* of its first 0.5 s */
    TT_SEEN_REST,         /* seconds of the first reading behind the match, up to 1.5 */
    TT_SEEN_REST_SHARE,   /* their share of its last phrase and the match */
    TT_SEEN_GOES_ON,      /* 1: the re-read goes on without a pause where the first reading stopped */
    TT_SEEN_BOTH_END,     /* 1: both end with the match */
    TT_SEEN_LINES,        /* ln(1 + seconds of full-level speech between that is not read again itself) */
    TT_SEEN_PAUSE,        /* ln of the pause behind the first reading, or of 1.5 s at the end of a take */
    TT_SEEN_SKEW,         /* |ln| of the ratio of tempi */
    TT_SEEN_RIVALS,       /* ln(1 + the best score with which either resembles a line farther off) */
    TT_SEEN_REPETITION,   /* ln of the share of the session's phrases that sound like distant ones: how often likeness
                             means nothing */
    TT_SEEN_END_LIKENESS, /* likeness of the path's last quarter of a second */
    TT_SEEN_END_STRETCH,  /* ln of how much slower the first reading is in the match's last 0.4 s: whoever ends a
                             sentence draws out its end */
    TT_SEEN_END_FALL, /* dB by which the first reading falls off in its last 0.15 s, in tens: cut in mid-word it hardly
                         does */
    TT_SEEN_LAST_SYLLABLE, /* seconds from its last syllable's peak to its end, up to 0.5 */
    /* What weighs more, or less, together: how sure one is of the goings-on at the end depends on how the first reading
       ends, and so on. */
    TT_SEEN_WORST_HELD, /* the worst quarter second, up to 3: beyond that it tells no more */
    TT_SEEN_WORST_LONG_HELD,
    TT_SEEN_END_LIKENESS_HELD, /* up to 4 */
    TT_SEEN_SCORE_HIGH,        /* beyond 4 */
    TT_SEEN_LENGTH_SQUARED,
    TT_SEEN_SCORE_REPETITION,
    TT_SEEN_SCORE_RIVALS,
    TT_SEEN_BOTH_WORST,
    TT_SEEN_BOTH_WORST_LONG,
    TT_SEEN_BOTH_SCORE,
    TT_SEEN_BOTH_REPETITION,
    TT_SEEN_GOES_SCORE,
    TT_SEEN_GOES_FALL,
    TT_SEEN_GOES_SYLLABLE,
    TT_SEEN_GOES_PAUSE,
    TT_SEEN_GOES_REPETITION,
    TT_SEEN_REST_SCORE,
    TT_SEEN_REST_PAUSE,
    TT_SEEN_REST_FALL,
    TT_SEEN_NO_PAUSE,
    TT_SEEN_NO_PAUSE_SCORE, /* begun anew in the same breath */
    TT_SEEN_LINES_1,        /* 1: with more than a second of lines in between */
    TT_EVIDENCE
};

/* How sure what only a person can judge is at most. */
#define TT_DOUBTFUL_MOST 0.9

/* Phrases first .. last are read again from phrase `again` on. */
struct tt_reread {
    size_t first, last, again, again_last;
    size_t x_rows, y_rows; /* matched */
    float score;
    float seen[TT_EVIDENCE];
    double confidence;
    bool is_doubtful; /* to be asked about at most */
};
struct tt_rereads {
    struct tt_reread *all;
    size_t count, capacity;
};

/* Splits phrases in which the narrator began anew without a pause: the second beginning becomes a phrase of its own. */
bool tt_rereads_split(struct tt_phrases *phrases, struct tt_error *err);

/* Splits lines inside which a later phrase begins: the narrator went back a clause. Behind tt_rereads_split. */
bool tt_rereads_split_clauses(struct tt_phrases *phrases, struct tt_error *err);

/* Splits sayings (sayings.h) off the ends of phrases into which they were said. */
bool tt_rereads_split_sayings(struct tt_phrases *phrases, bool *has_split, struct tt_error *err);

/* All pairs that sound alike from their beginnings on, by `again`, then `first`. Grows with the session's length.
 * between: only what the first take said against what the later ones say. */
bool tt_rereads_find(struct tt_phrases *phrases, double look_back_s, bool between, struct tt_rereads *rereads,
                     struct tt_error *err);
void tt_rereads_free(struct tt_rereads *rereads);

/* Fills what depends on the others (lines between, rivals, repetition), and each confidence. */
bool tt_rereads_judge(const struct tt_phrases *phrases, struct tt_rereads *rereads, struct tt_error *err);
/* Lowers the confidence of pairs between which more stays than was thought: given_up tells of each phrase whether it
 * goes. Returns whether there were any. */
bool tt_rereads_judge_again(const struct tt_phrases *phrases, struct tt_rereads *rereads, const bool *given_up);

/* Full-level speech between the two that is not marked in covered (one flag a phrase), in seconds. */
double tt_reread_lines_between_s(const struct tt_phrases *phrases, const struct tt_reread *reread, const bool *covered);
/* Speech fainter than the lines around it by so much is somebody else, or not meant for the recording. */
bool tt_reread_is_faint(const struct tt_phrases *phrases, const struct tt_reread *reread, size_t phrase);

#endif
