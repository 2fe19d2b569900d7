/* SPDX-License-Identifier: GPL-2.0-or-later */
#include "session/lengths.h"

#include <jansson.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "base/file.h"
#include "base/grow.h"
#include "report/json_values.h"
#include "session/out_folder.h"

/* ---- what a run left ---- */

static json_t *read_state(const char *out, struct tt_error *err)
{
    char *path = tt_path_join(out, "session.json"), *text = NULL;
    size_t size = 0;
    json_t *state = NULL;
    if (!path)
        tt_fail_memory(err);
    else if (tt_file_read(path, TT_JSON_MOST_BYTES, &text, &size, err)) {
        state = json_loadb(text, size, 0, NULL); /* on a line of its own: json_is_object is a macro that looks twice */
        if (!json_is_object(state)) {
            tt_fail(err, TT_ERROR_INPUT, "%s: damaged; run clean again", path);
            json_decref(state);
            state = NULL;
        }
    }
    free(text);
    free(path);
    return state;
}

static struct tt_length *grow(struct tt_length_list *list, const char *name, struct tt_error *err)
{
    struct tt_length *all = tt_grow_by_one(list->all, list->count, sizeof *all, err);
    if (!all)
        return NULL;
    list->all = all;
    all[list->count] = (struct tt_length){.name = tt_copy_string(name), .pace_syllables_per_s = NAN};
    if (!all[list->count].name) {
        tt_fail_memory(err);
        return NULL;
    }
    return &all[list->count++];
}

/* The pace of several takes is that of all they say. */
struct spoken {
    double seconds, syllables;
};

static void add_spoken(struct spoken *spoken, double seconds, double pace)
{
    if (!isfinite(pace))
        return;
    spoken->seconds += seconds;
    spoken->syllables += seconds * pace;
}

static double pace_of(const struct spoken *spoken)
{
    return spoken->seconds > 0 ? spoken->syllables / spoken->seconds : (double)NAN;
}

static const char *text_at(const json_t *object, const char *key)
{
    const char *text = json_string_value(json_object_get(object, key));
    return text ? text : "";
}

static bool read_take(const json_t *take, struct tt_lengths_side *side, struct tt_error *err)
{
    double length_s = 0, pace = NAN;
    if (!tt_json_get_number(take, "after_s", 0, &length_s) ||
        !(length_s > 0)) /* left out, failed, or nothing of it stays */
        return true;
    (void)tt_json_get_number(take, "pace_syllables_per_s", NAN, &pace);
    struct tt_length *length = grow(&side->takes, text_at(take, "take"), err);
    if (length)
        *length = (struct tt_length){length->name, length_s, pace};
    return length != NULL;
}

/* A piece with its takes; its length is that of its file, head and tail and the pauses between takes among it. */
static bool read_piece(const json_t *state, const char *name, struct tt_lengths_side *side, struct tt_error *err)
{
    const json_t *takes = json_object_get(state, "takes"),
                 *track = json_object_get(json_object_get(state, "pieces"), name);
    struct spoken spoken = {0};
    double sum_s = 0;
    int rate_hz;
    int64_t frames;
    for (size_t i = 0; i < json_array_size(takes); i++) {
        const json_t *take = json_array_get(takes, i);
        double length_s = 0, pace = NAN;
        if (strcmp(text_at(take, "piece"), name) != 0 || !tt_json_get_number(take, "after_s", 0, &length_s) ||
            !(length_s > 0))
            continue;
        (void)tt_json_get_number(take, "pace_syllables_per_s", NAN, &pace);
        sum_s += length_s;
        add_spoken(&spoken, length_s, pace);
    }
    if (tt_json_get_rate(track, &rate_hz) && tt_json_get_frames(track, "frames", &frames))
        sum_s = (double)frames / rate_hz;
    struct tt_length *length = sum_s > 0 ? grow(&side->pieces, name, err) : NULL;
    if (length)
        *length = (struct tt_length){length->name, sum_s, pace_of(&spoken)};
    return length || !(sum_s > 0);
}

static bool has_name(const struct tt_length_list *list, const char *name)
{
    for (size_t i = 0; i < list->count; i++)
        if (strcmp(list->all[i].name, name) == 0)
            return true;
    return false;
}

static bool read_side(const char *place, struct tt_lengths_side *side, struct tt_error *err)
{
    json_t *state = (side->out = tt_out_find(place, err)) ? read_state(side->out, err) : NULL;
    const json_t *takes = json_object_get(state, "takes"), *narration = json_object_get(state, "narration");
    struct spoken spoken = {0};
    double sum_s = 0;
    bool ok = state != NULL;
    if (ok &&
        (!(side->name = tt_copy_string(text_at(state, "session"))) || !(side->whole.name = tt_copy_string("all"))))
        ok = tt_fail_memory(err);
    for (size_t i = 0; ok && i < json_array_size(takes); i++) {
        const char *piece = text_at(json_array_get(takes, i), "piece");
        ok = read_take(json_array_get(takes, i), side, err) &&
             (!piece[0] || has_name(&side->pieces, piece) || read_piece(state, piece, side, err));
    }
    for (size_t i = 0; ok && i < side->takes.count; i++) {
        sum_s += side->takes.all[i].length_s;
        add_spoken(&spoken, side->takes.all[i].length_s, side->takes.all[i].pace_syllables_per_s);
    }
    if (ok && side->takes.count == 0)
        ok = tt_fail(err, TT_ERROR_INPUT, "%s: nothing of a take is left there; run clean again", side->out);
    if (ok && !tt_json_get_number(narration, "duration_s", sum_s, &side->whole.length_s))
        side->whole.length_s = sum_s;
    side->whole.pace_syllables_per_s = pace_of(&spoken);
    json_decref(state);
    return ok;
}

/* ---- what belongs together ---- */

static const struct tt_length_list *list_of(const struct tt_lengths *lengths, int side)
{
    return lengths->is_by_piece ? &lengths->sides[side].pieces : &lengths->sides[side].takes;
}

const struct tt_length *tt_lengths_at(const struct tt_lengths *lengths, size_t row, int side)
{
    const long at = lengths->rows[row].at[side];
    return at < 0 ? NULL : &list_of(lengths, side)->all[at];
}

/* The name without its ending: 001.wav and 001.flac are the same place of the script. */
static size_t stem_length(const struct tt_lengths *lengths, const char *name)
{
    const char *dot = lengths->is_by_piece ? NULL : strrchr(name, '.');
    return dot && dot > name && !strchr(dot, ' ') ? (size_t)(dot - name) : strlen(name);
}

static bool is_same_name(const struct tt_lengths *lengths, const char *a, const char *b, bool is_exact)
{
    const size_t length = stem_length(lengths, a);
    return is_exact ? strcmp(a, b) == 0 : stem_length(lengths, b) == length && strncmp(a, b, length) == 0;
}

/* Who belongs to whom by name, -1: nobody. Nobody twice: a session may hold 001.wav and 001.flac. */
struct partners {
    long *of[2];
};

static size_t find_partners(const struct tt_lengths *lengths, struct partners *partners)
{
    const struct tt_length_list *lists[] = {list_of(lengths, 0), list_of(lengths, 1)};
    size_t common = 0;
    for (int side = 0; side < 2; side++)
        for (size_t i = 0; i < lists[side]->count; i++)
            partners->of[side][i] = -1;
    for (int is_exact = 1; is_exact >= 0; is_exact--)
        for (size_t i = 0; i < lists[0]->count; i++)
            for (size_t j = 0; partners->of[0][i] < 0 && j < lists[1]->count; j++)
                if (partners->of[1][j] < 0 &&
                    is_same_name(lengths, lists[0]->all[i].name, lists[1]->all[j].name, is_exact)) {
                    partners->of[0][i] = (long)j;
                    partners->of[1][j] = (long)i;
                    common++;
                }
    return common;
}

static void add_row(struct tt_lengths *lengths, long first, long second)
{
    lengths->rows[lengths->row_count++] = (struct tt_lengths_row){{first, second}};
}

/* In the order of the first; what only the second has stands where it stands there. */
static void pair_by_name(struct tt_lengths *lengths, const struct partners *partners)
{
    const long first = (long)list_of(lengths, 0)->count, second = (long)list_of(lengths, 1)->count;
    for (long i = 0; i < second && partners->of[1][i] < 0; i++)
        add_row(lengths, -1, i);
    for (long i = 0; i < first; i++) {
        const long with = partners->of[0][i];
        add_row(lengths, i, with);
        for (long next = with + 1; with >= 0 && next < second && partners->of[1][next] < 0; next++)
            add_row(lengths, -1, next);
    }
}

static void pair_by_place(struct tt_lengths *lengths)
{
    const long first = (long)list_of(lengths, 0)->count, second = (long)list_of(lengths, 1)->count;
    for (long i = 0; i < first || i < second; i++)
        add_row(lengths, i < first ? i : -1, i < second ? i : -1);
}

static bool pair(struct tt_lengths *lengths, struct tt_error *err)
{
    lengths->is_by_piece = lengths->sides[0].pieces.count > 0 && lengths->sides[1].pieces.count > 0;
    const size_t first = list_of(lengths, 0)->count, second = list_of(lengths, 1)->count;
    struct partners partners = {{malloc((first + 1) * sizeof(long)), malloc((second + 1) * sizeof(long))}};
    lengths->rows = calloc(first + second + 1, sizeof *lengths->rows);
    bool ok = partners.of[0] && partners.of[1] && lengths->rows;
    if (ok) {
        const size_t common = find_partners(lengths, &partners);
        lengths->is_by_name = 2 * common >= (first < second ? first : second);
        if (lengths->is_by_name)
            pair_by_name(lengths, &partners);
        else
            pair_by_place(lengths);
    }
    free(partners.of[0]);
    free(partners.of[1]);
    return ok || tt_fail_memory(err);
}

/* Two folders of one name: en/hive and fr/hive. */
static bool tell_apart(struct tt_lengths *lengths, struct tt_error *err)
{
    if (strcmp(lengths->sides[0].name, lengths->sides[1].name) != 0)
        return true;
    for (int s = 0; s < 2; s++) {
        char *name = tt_format("%d: %s", s + 1, lengths->sides[s].name);
        if (!name)
            return tt_fail_memory(err);
        free(lengths->sides[s].name);
        lengths->sides[s].name = name;
    }
    return true;
}

bool tt_lengths_read(const char *const places[2], struct tt_lengths *lengths, struct tt_error *err)
{
    *lengths = (struct tt_lengths){0};
    return read_side(places[0], &lengths->sides[0], err) && read_side(places[1], &lengths->sides[1], err) &&
           tell_apart(lengths, err) && pair(lengths, err);
}

static void free_list(struct tt_length_list *list)
{
    for (size_t i = 0; i < list->count; i++)
        free(list->all[i].name);
    free(list->all);
}

void tt_lengths_free(struct tt_lengths *lengths)
{
    for (int s = 0; s < 2; s++) {
        free(lengths->sides[s].out);
        free(lengths->sides[s].name);
        free(lengths->sides[s].whole.name);
        free_list(&lengths->sides[s].pieces);
        free_list(&lengths->sides[s].takes);
    }
    free(lengths->rows);
    *lengths = (struct tt_lengths){0};
}
