/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "stages/reread_doubts.h"

#include <math.h>

#include "stages/phrase_ends.h"

/* Where so many of the phrases sound like distant ones, and a distant one scores so much with this very line, lines are
 * alike by design. Of 14 lines of prompts in alphabetical order that were cut for being like the next 6 are such, of
 * 3,061 readings that were given up in other sessions 1; from a quarter of the phrases on 7, and 15. */
static const double list_share = 0.30, list_score = 50.0;
/* A room that rings hides how a line ended: there fewer such lines make a list, and no rival is asked for. */
static const double ringing_list_share = 0.2;
/* Or where, among lines that are alike as often as this, a quarter of a second of a short line is so much less alike
 * than the rest: one word is another, 'take out two frames', 'take out three frames'. Of 894 whole readings that were
 * given up in 14.5 hours of human voices none is such, of 15 lines of lists that were cut in takes of synthetic voices
 * 10. */
static const double one_word_share = 0.13, one_word_match_s = 3.0;
static const float one_word_likeness = 0.62f;
/* How a line fell off alone tells less surely that it was whole: then the word must be so much less alike. */
static const float one_word_fallen_likeness = 0.45f;
/* Whoever reads a line to its end and goes on for so long does not read it again: none of 894 did, 6 of 6 lines that
 * were cut for it were wanted. */
static const double whole_lines_s = 1.4;
/* A path with 0.7 s in it that are hardly likelier than chance, or a quarter of a second that is not, joins what does
 * not belong together. */
static const float broken_path = 1.5f, broken_path_short = 0.5f;
static const double scrap_lines_s = 0.3, scrap_match_s = 1.5;
/* Whoever breaks off pauses: a few words with others at once behind them, which stay, come again by chance, 'for the
 * lid, press ... for the frame, press ...'. Of 4,900 readings that were cut rightly in 28 hours none is such. */
static const double few_words_lines_s = 1.0, few_words_match_s = 1.0, few_words_pause_s = 0.3;
/* Shorter and weaker than this, a few sounds alike are no evidence once something was said in between, be it ever so
 * faint: the ends of sentences are faint, too. */
static const double short_match_s = 1.0, between_least_s = 0.3;
static const float short_match_score = 40.0f;

/* So little that is alike may be a word that comes again, 'slowly, very slowly', or a syllable: of 2,500 readings that
 * were cut rightly in sessions of human voices none had less than 0.37 s, of 19 shorter ones in made sessions of
 * synthetic voices 18 were no re-readings. */
static const double least_match_s = 0.35;

/* Nor is so little that is hardly alike: of 9,539 pairs that were right and sure none is such, of 101
 * that were wrong and seemed sure 6. */
static const double scrap_least_s = 0.5;
static const float scrap_score = 25.0f;

/* Lines that begin with the words of others score with distant ones, too. Where one does so by such a share of this
 * score, and this likeness is a common one, nobody rests for so long, or ends so and then rests: of 6,926 pairs that
 * were right and sure in 24 hours of human voices 2 are such, of 56 that were wrong and seemed sure 8. */
static const float waits_rival_share = 0.3f, waits_likeness = 8.5f;
static const double waits_s = 1.6;
static const float rests_rival_share = 0.5f, rests_likeness = 7.0f, rests_fall_db = 3.0f;
static const double rests_s = 0.7;

/* And so much alike that it is asked about however little the ends of both speak for it: with nothing between, the
 * first matched but for a fifth, and hardly a line like another in the session. Of such pairs 5 of 9 were re-readings
 * in 14.5 hours of human voices, 16 of 17 in 4 hours of synthetic ones: other words in the middle, or a room that goes
 * on sounding behind a reading that was broken off. */
static const float striking_score = 60.0f, striking_worst = 3.0f, striking_rest_share = 0.2f;
static const double striking_between_s = 0.1, striking_repetition = 0.2;

/* Or where somebody may have spoken into the line as loudly as the narrator, at once or behind it: a second and more
 * that is alike, though the rest or what lies between is said once. In 30 hours with such words 10 of 257 readings more
 * are asked about, and two lines that begin alike. */
static const float spoken_into_score = 80.0f, spoken_into_likeness = 6.0f, spoken_into_worst = 4.0f,
                   spoken_into_worst_long = 5.0f, spoken_into_rest_s = 1.2f, spoken_into_rest_share = 0.45f,
                   spoken_behind_rest_share = 0.1f;
static const double spoken_behind_s = 1.6;

/* What is as like as this from end to end, with nothing between, is the same. The weights, fitted on few long readings,
 * would have asked about 24 such in 28 hours, and all of them were re-readings. */
static const float same_score = 60.0f, same_likeness = 7.0f, same_worst = 4.0f, same_worst_long = 6.0f,
                   same_rest_share = 0.06f;
static const double same_repetition = 0.22;

static bool does_fall(const struct tt_reread *reread)
{
    return tt_phrase_end_falls(10.0 * (double)reread->seen[TT_SEEN_END_FALL]);
}

bool tt_reread_was_broken_off(const struct tt_reread *reread)
{
    return reread->seen[TT_SEEN_GOES_ON] > 0.0f && !does_fall(reread);
}

static bool was_whole(const struct tt_reread *reread)
{
    return reread->seen[TT_SEEN_BOTH_END] > 0.0f || (reread->seen[TT_SEEN_GOES_ON] > 0.0f && does_fall(reread));
}

/* A line that was read to its end among those of a list: 'Open the first hive.' 'Open the second hive.' */
static bool is_of_list(const struct tt_reread *reread)
{
    return was_whole(reread) && (double)reread->seen[TT_SEEN_REPETITION] > log(list_share) &&
           (double)reread->seen[TT_SEEN_RIVALS] > log(1.0 + list_score);
}

/* The same behind which the room rings. */
static bool is_of_list_that_rings(const struct tt_phrases *phrases, const struct tt_reread *reread)
{
    return reread->seen[TT_SEEN_BOTH_END] > 0.0f && phrases->all[reread->last].ring_s > 0.0 &&
           (double)reread->seen[TT_SEEN_REPETITION] > log(ringing_list_share);
}

/* A whole line like the next but for a word. */
static bool has_another_word(const struct tt_reread *reread)
{
    const float *seen = reread->seen;
    const float least = seen[TT_SEEN_BOTH_END] > 0.0f ? one_word_likeness : one_word_fallen_likeness;
    return was_whole(reread) && (double)seen[TT_SEEN_LENGTH] < log(one_word_match_s) &&
           (double)seen[TT_SEEN_REPETITION] > log(one_word_share) &&
           seen[TT_SEEN_WORST] < least * seen[TT_SEEN_LIKENESS];
}

/* 'One, two, three.' ... 'One, two, three.' */
static bool is_whole_with_lines(const struct tt_reread *reread)
{
    return reread->seen[TT_SEEN_BOTH_END] > 0.0f && (double)reread->seen[TT_SEEN_LINES] > log(1.0 + whole_lines_s);
}

/* A few words that come again behind others which do not: whoever reads again says those, too. */
static bool is_scrap_with_lines(const struct tt_reread *reread)
{
    return reread->seen[TT_SEEN_GOES_ON] <= 0.0f && (double)reread->seen[TT_SEEN_LINES] > log(1.0 + scrap_lines_s) &&
           (double)reread->seen[TT_SEEN_LENGTH] < log(scrap_match_s);
}

static bool is_few_words_with_lines(const struct tt_reread *reread)
{
    return (double)reread->seen[TT_SEEN_LINES] > log(1.0 + few_words_lines_s) &&
           (double)reread->seen[TT_SEEN_LENGTH] < log(few_words_match_s) &&
           (double)reread->seen[TT_SEEN_PAUSE] < log(few_words_pause_s);
}

static bool is_short_with_words(const struct tt_phrases *phrases, const struct tt_reread *reread, const bool *covered)
{
    double between_s = 0.0;
    for (size_t p = reread->last + 1; p < reread->again; p++)
        if (!covered[p] && !phrases->all[p].is_saying)
            between_s += phrases->all[p].end_s - phrases->all[p].start_s;
    return between_s > between_least_s && reread->score < short_match_score &&
           (double)reread->seen[TT_SEEN_LENGTH] < log(short_match_s);
}

static bool is_scrap(const struct tt_reread *reread)
{
    return reread->score < scrap_score && (double)reread->seen[TT_SEEN_LENGTH] < log(scrap_least_s);
}

static bool has_rival(const struct tt_reread *reread, float share, float likeness)
{
    return (double)reread->seen[TT_SEEN_RIVALS] > log(1.0 + (double)(share * reread->score)) &&
           reread->seen[TT_SEEN_LIKENESS] < likeness;
}

/* 'Press the star.' A rest. 'Press the star to go back.' */
static bool has_rival_behind_a_rest(const struct tt_reread *reread)
{
    const float *seen = reread->seen;
    return ((double)seen[TT_SEEN_PAUSE] > log(waits_s) && has_rival(reread, waits_rival_share, waits_likeness)) ||
           ((double)seen[TT_SEEN_PAUSE] > log(rests_s) && 10.0f * seen[TT_SEEN_END_FALL] > rests_fall_db &&
            has_rival(reread, rests_rival_share, rests_likeness));
}

bool tt_reread_is_doubtful(const struct tt_phrases *phrases, const struct tt_reread *reread, const bool *covered)
{
    return (double)reread->seen[TT_SEEN_LENGTH] < log(least_match_s) || is_scrap(reread) || is_of_list(reread) ||
           has_rival_behind_a_rest(reread) || has_another_word(reread) || is_of_list_that_rings(phrases, reread) ||
           is_whole_with_lines(reread) || is_scrap_with_lines(reread) || is_few_words_with_lines(reread) ||
           is_short_with_words(phrases, reread, covered) || reread->seen[TT_SEEN_WORST_LONG] < broken_path ||
           reread->seen[TT_SEEN_WORST] < broken_path_short;
}

static bool has_nothing_between(const struct tt_reread *reread)
{
    return (double)reread->seen[TT_SEEN_LINES] < log(1.0 + striking_between_s);
}

static bool was_spoken_into(const struct tt_reread *reread)
{
    const float *seen = reread->seen;
    const bool is_at_once = seen[TT_SEEN_REST_SHARE] <= spoken_into_rest_share && has_nothing_between(reread);
    const bool is_behind = seen[TT_SEEN_GOES_ON] > 0.0f && seen[TT_SEEN_REST_SHARE] <= spoken_behind_rest_share &&
                           (double)seen[TT_SEEN_LINES] < log(1.0 + spoken_behind_s);
    return reread->score >= spoken_into_score && seen[TT_SEEN_LIKENESS] >= spoken_into_likeness &&
           seen[TT_SEEN_WORST] >= spoken_into_worst && seen[TT_SEEN_WORST_LONG] >= spoken_into_worst_long &&
           seen[TT_SEEN_REST] <= spoken_into_rest_s && (is_at_once || is_behind);
}

static bool is_well_alike(const struct tt_reread *reread)
{
    const float *seen = reread->seen;
    return reread->score >= striking_score && seen[TT_SEEN_WORST_LONG] >= striking_worst &&
           seen[TT_SEEN_REST_SHARE] <= striking_rest_share && has_nothing_between(reread);
}

bool tt_reread_is_striking(const struct tt_reread *reread)
{
    return (double)reread->seen[TT_SEEN_REPETITION] < log(striking_repetition) &&
           (is_well_alike(reread) || was_spoken_into(reread));
}

bool tt_reread_is_the_same(const struct tt_reread *reread)
{
    const float *seen = reread->seen;
    return reread->score >= same_score && seen[TT_SEEN_LIKENESS] >= same_likeness &&
           seen[TT_SEEN_WORST] >= same_worst && seen[TT_SEEN_WORST_LONG] >= same_worst_long &&
           seen[TT_SEEN_REST_SHARE] <= same_rest_share && has_nothing_between(reread) &&
           (double)seen[TT_SEEN_REPETITION] < log(same_repetition);
}
