/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Properties of sound over hundreds of random sheets, as a person might leave them: what the sheet and the time map say
 * is what is heard. */
#include "pass_support.h"

#include <inttypes.h>

#include "sheet/landing.h"

enum { RATE = 8000, SECONDS = 9, DURATION_MS = 1000 * SECONDS, SHEETS = 300, ROWS_MOST = 14 };

static uint64_t next_random(uint64_t *random) /* Knuth, MMIX */
{
    *random = *random * UINT64_C(6364136223846793005) + UINT64_C(1442695040888963407);
    return *random >> 33;
}
static int64_t below(uint64_t *random, int64_t limit) { return (int64_t)(next_random(random) % (uint64_t)limit); }

/* ---- sheets ---- */

struct wanted {
    int64_t start_ms, end_ms;
    const char *kind, *action;
    double amount;
    bool is_persons;
};

static const struct {
    const char *kind, *action;
    double most;
} decisions[] = {{"misread", "cut", 0},    {"misread", "keep", 0},  {"misread", "ask", 0}, {"talk", "cut", 0},
                 {"talk", "keep", 0},      {"pause", "shorten", 2}, {"pause", "keep", 0},  {"pause", "cut", 0},
                 {"breath", "soften", 30}, {"breath", "keep", 0},   {"breath", "cut", 0},  {"click", "soften", 30},
                 {"noise", "soften", 30},  {"noise", "cut", 0},     {"gap", "open", 3},    {"gap", "keep", 0},
                 {"label", "keep", 0},     {"other", "cut", 0},     {"other", "keep", 0}};
enum { DECISIONS = sizeof decisions / sizeof *decisions };

/* Long and short ones, neighbours that touch, rows upon rows, and now and then one that reaches out of the take. */
static struct wanted random_row(uint64_t *random, const struct wanted *before)
{
    static const int lengths[] = {2, 40, 700, 5000};
    const int64_t pick = below(random, DECISIONS);
    struct wanted row = {
        .kind = decisions[pick].kind, .action = decisions[pick].action, .is_persons = below(random, 3) > 0};
    row.start_ms =
        before && before->end_ms < DURATION_MS && below(random, 3) == 0 ? before->end_ms : below(random, DURATION_MS);
    row.end_ms = row.start_ms + 1 + below(random, lengths[below(random, 4)]);
    if (strcmp(row.kind, "gap") == 0 || strcmp(row.kind, "label") == 0)
        row.end_ms = row.start_ms;
    if (decisions[pick].most > 0)
        row.amount = 0.001 * (double)below(random, (int64_t)(1000 * decisions[pick].most));
    if (below(random, 40) == 0)
        row.end_ms = DURATION_MS + 2 + below(random, 3000);
    else if (row.end_ms > DURATION_MS)
        row.end_ms = DURATION_MS;
    return row;
}

static void add_line(struct tt_text *csv, const struct wanted *row)
{
    tt_text_addf(csv, "take.wav,,%.3f,%.3f,%s,,%s,", (double)row->start_ms / 1000, (double)row->end_ms / 1000,
                 row->kind, row->action);
    if (row->amount > 0 || strcmp(row->action, "shorten") == 0 || strcmp(row->action, "soften") == 0 ||
        strcmp(row->action, "open") == 0)
        tt_text_addf(csv, "%.3f", row->amount);
    tt_text_addf(csv, ",,me,\r\n");
}

/* A sheet that holds a row out of the take is refused, and says so; it is tried again without. */
static void read_sheet(struct tt_sheet *sheet, struct wanted *rows, size_t *count, const char *digest, bool is_persons)
{
    struct tt_error error = {0};
    for (bool is_refused = true; is_refused;) {
        struct tt_text csv = {0};
        size_t inside = 0, persons;
        is_refused = false;
        tt_text_addf(&csv, "take,id,start,end,kind,proposed,action,amount,confidence,by,note\r\n");
        for (size_t i = 0; i < *count; i++) {
            if (rows[i].is_persons != is_persons)
                continue;
            add_line(&csv, &rows[i]);
            is_refused = is_refused || rows[i].end_ms > DURATION_MS;
        }
        if (is_persons) {
            bool is_read = tt_sheet_read(sheet, csv.data, csv.length, "take.csv", DURATION_MS, &persons, &error);
            assert_int_equal(is_read, !is_refused);
            if (is_refused)
                assert_non_null(strstr(error.message, "behind the end of the take"));
        } else if (!is_refused) {
            struct tt_sheet programs;
            assert_ok(tt_sheet_start(&programs, "take.wav", digest, &error), error);
            assert_ok(tt_sheet_read(&programs, csv.data, csv.length, "take.csv", DURATION_MS, &persons, &error), error);
            for (size_t i = 0; i < programs.count; i++)
                assert_ok(tt_sheet_propose(sheet, &programs.rows[i], &error), error);
            tt_sheet_free(&programs);
        }
        for (size_t i = 0; is_refused && i < *count; i++)
            if (rows[i].is_persons != is_persons || rows[i].end_ms <= DURATION_MS)
                rows[inside++] = rows[i];
        if (is_refused)
            *count = inside;
        tt_text_free(&csv);
        error = (struct tt_error){0};
    }
}

/* ---- what the rows ask for, millisecond by millisecond, written down in another way than the program's ---- */

enum mark { STAYS, GOES, SOUND_GOES, MAY_GO };

static bool is_sound(const struct wanted *row)
{
    return strcmp(row->kind, "breath") == 0 || strcmp(row->kind, "click") == 0 || strcmp(row->kind, "noise") == 0;
}

/* With a sound in a pause both stand; speech that a person keeps takes nothing from the pauses and sounds in it; of the
 * program's rows none gives way. */
static enum mark painted(enum mark under, const struct wanted *row)
{
    bool is_keep = strcmp(row->action, "keep") == 0,
         is_speech = strcmp(row->kind, "misread") == 0 || strcmp(row->kind, "talk") == 0;
    if (strcmp(row->action, "cut") == 0)
        return strcmp(row->kind, "pause") == 0 ? MAY_GO : is_sound(row) ? SOUND_GOES : GOES;
    if (strcmp(row->kind, "pause") == 0)
        return is_keep && row->is_persons          ? (under == SOUND_GOES || under == MAY_GO ? MAY_GO : STAYS)
               : under == GOES && !row->is_persons ? GOES
                                                   : MAY_GO;
    if (!row->is_persons)
        return under;
    return under == MAY_GO || (is_speech && under == SOUND_GOES) ? MAY_GO : STAYS;
}

/* A decision that a person's of the same kind covers by half is that one. */
static bool is_decided(const struct wanted *row, const struct wanted *rows, size_t count)
{
    int64_t covered_ms = 0;
    for (size_t i = 0; i < count; i++) {
        int64_t start = rows[i].start_ms > row->start_ms ? rows[i].start_ms : row->start_ms,
                end = rows[i].end_ms < row->end_ms ? rows[i].end_ms : row->end_ms;
        if (rows[i].is_persons && strcmp(rows[i].kind, row->kind) == 0 && end > start)
            covered_ms += end - start;
    }
    return covered_ms > 0 && 2 * covered_ms >= row->end_ms - row->start_ms;
}

static void fail_rows(const struct wanted *rows, size_t count, int64_t ms, bool is_heard)
{
    for (size_t i = 0; i < count; i++)
        print_error("%s %" PRId64 "-%" PRId64 " %s %s %.3f\n", rows[i].is_persons ? "person's" : "program's",
                    rows[i].start_ms, rows[i].end_ms, rows[i].kind, rows[i].action, rows[i].amount);
    fail_msg("%" PRId64 " ms is %s", ms, is_heard ? "heard and should not be" : "not heard and should be");
}

/* Rows of the program first, then a person's in the order of the file: later ones win. Short rests decide nothing, so
 * marks count only in the middle of long enough stretches, and only where the rows' own borders are far enough. */
static void check_marks(const struct tt_time_map *map, const struct wanted *rows, size_t count)
{
    static enum mark marks[DURATION_MS + 1];
    const int64_t edge_ms = 22;
    memset(marks, 0, sizeof marks);
    for (int persons = 0; persons < 2; persons++)
        for (size_t i = 0; i < count; i++)
            for (int64_t ms = rows[i].start_ms; rows[i].is_persons == (persons == 1) && ms < rows[i].end_ms &&
                                                (persons || !is_decided(&rows[i], rows, count));
                 ms++)
                marks[ms] = painted(marks[ms], &rows[i]);
    for (int64_t start = 0, end; start < DURATION_MS; start = end) {
        for (end = start; end < DURATION_MS && marks[end] == marks[start]; end++) {
        }
        for (int64_t ms = start + edge_ms; marks[start] != MAY_GO && ms < end - edge_ms; ms += 5) {
            bool is_heard = tt_time_map_to_out(map, ms * RATE / 1000) >= 0;
            if (is_heard != (marks[start] == STAYS))
                fail_rows(rows, count, ms, is_heard);
        }
    }
}

/* ---- what is heard ---- */

struct sounds {
    float *voice, *whole;
    size_t voice_frames, whole_frames;
};

static void check_lengths(const struct tt_time_map *map, const struct sounds *sounds, size_t frames)
{
    assert_int_equal(sounds->voice_frames, map->out_samples);
    assert_int_equal(sounds->whole_frames, frames);
    int64_t out = map->lead_samples, source = 0;
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *s = &map->stretches[i];
        assert_true(s->source_start >= source && s->source_end > s->source_start && s->out_start == out);
        source = s->source_end;
        out += s->source_end - s->source_start + s->fill_samples;
    }
    assert_true(source <= (int64_t)frames && out == map->out_samples);
}

/* Bit for bit what the same take, treated but not cut, holds there. */
static void check_kept(const struct tt_time_map *map, const struct sounds *sounds)
{
    for (size_t i = 0; i < map->count; i++) {
        const struct tt_stretch *s = &map->stretches[i];
        int64_t before = i > 0 ? s[-1].fade_samples / 2 : map->lead_fade_samples / 2, behind = s->fade_samples / 2;
        int64_t count = s->source_end - s->source_start - before - behind;
        assert_true(count >= 0);
        assert_memory_equal(sounds->voice + s->out_start + before, sounds->whole + s->source_start + before,
                            (size_t)count * sizeof(float));
    }
}

/* The place in the voice that a row gets in the report is where the first of it that is left is heard. */
static void check_landings(const struct tt_time_map *map, const struct tt_sheet *sheet, const struct sounds *sounds)
{
    for (size_t i = 0; i < sheet->count; i++) {
        const struct tt_row *row = &sheet->rows[i];
        struct tt_landing landing = tt_landing_of_row(row, map);
        assert_true(landing.start >= 0 && landing.end <= map->out_samples && landing.start <= landing.end);
        int64_t sample = row->start_ms * RATE / 1000, end = row->end_ms * RATE / 1000;
        while (sample < end && tt_time_map_to_out(map, sample) < 0)
            sample++;
        if (row->kind == TT_ROW_GAP || sample == end)
            continue;
        if (landing.is_in)
            assert_true(tt_time_map_to_out(map, sample) == landing.start);
        const struct tt_stretch *s = map->stretches;
        while (s->source_end <= sample)
            s++;
        bool is_faded = sample - s->source_start < 20 * RATE / 1000 || s->source_end - sample <= 20 * RATE / 1000;
        if (landing.is_in && !is_faded)
            assert_true(sounds->voice[landing.start] == sounds->whole[sample]);
    }
}

static void every_random_sheet_sounds_as_it_says(void **state)
{
    struct place *p = *state;
    struct tt_error error = {0};
    struct tt_settings settings;
    tt_settings_default(&settings);
    settings.deliver.bits = TT_BITS_32F;
    take_write(take_path(p, "take.wav"), (struct take_shape){.rate_hz = RATE, .seconds = SECONDS});
    struct pass *pass = pass_begin(p, "take.wav", settings);
    assert_ok(pass_hear(pass, 0, &error), error);
    const size_t frames = (size_t)pass->heard.facts.frame_count;
    char digest[72];
    snprintf(digest, sizeof digest, "%s", pass->heard.facts.content_sha256);
    uint64_t random = 20;
    int rendered_count = 0;
    for (int n = 0; n < SHEETS; n++) {
        struct wanted rows[ROWS_MOST];
        size_t count = (size_t)below(&random, ROWS_MOST + 1);
        for (size_t i = 0; i < count; i++)
            rows[i] = random_row(&random, i > 0 ? &rows[i - 1] : NULL);
        tt_sheet_free(&pass->sheet);
        assert_ok(tt_sheet_start(&pass->sheet, "take.wav", digest, &error), error);
        read_sheet(&pass->sheet, rows, &count, digest, true);
        read_sheet(&pass->sheet, rows, &count, digest, false);
        struct tt_render_request request = pass_request(pass, 0);
        if (pass->map.count == 0)
            continue;
        struct tt_rendered rendered;
        assert_ok(tt_render(&request, &rendered, &error), error);
        struct sounds sounds;
        sounds.voice = sound_read(pass->voice, &sounds.voice_frames, NULL);
        sounds.whole = sound_read(pass->whole, &sounds.whole_frames, NULL);
        check_lengths(&pass->map, &sounds, frames);
        check_kept(&pass->map, &sounds);
        check_landings(&pass->map, &pass->sheet, &sounds);
        check_marks(&pass->map, rows, count);
        free(sounds.voice);
        free(sounds.whole);
        rendered_count++;
    }
    assert_true(rendered_count > SHEETS / 2);
    pass_end(pass);
}

#define IN_PLACE(test) cmocka_unit_test_setup_teardown(test, place_set_up, place_tear_down)

int main(void)
{
    const struct CMUnitTest tests[] = {
        IN_PLACE(every_random_sheet_sounds_as_it_says),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
