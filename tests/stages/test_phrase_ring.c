/* SPDX-License-Identifier: GPL-2.0-or-later */
/* Where a word ends, and the room alone goes on. */
#include "made_session.h"

#include "stages/phrase_ring.h"

/* A second at one level, then a fall. */
struct falling {
    int8_t levels[200];
    struct tt_heard heard;
    int64_t word_end, end;
};

static void fall(struct falling *falling, double db_per_s, double seconds)
{
    *falling = (struct falling){.word_end = RATE, .end = RATE + (int64_t)(seconds * RATE)};
    falling->heard = (struct tt_heard){.levels = falling->levels, .feature_count = 200};
    falling->heard.facts.rate_hz = RATE;
    falling->heard.facts.feature_hop_samples = HOP;
    falling->heard.facts.decay_db_per_s = 80.0;
    falling->heard.facts.speech_dbfs = -24.0;
    falling->heard.facts.floor_dbfs = -59.0;
    for (int r = 0; r < 200; r++) {
        const double behind_s = (double)((int64_t)r * HOP - falling->word_end) / RATE;
        falling->levels[r] = (int8_t)lrint(-24.0 - (behind_s > 0.0 ? db_per_s * behind_s : 0.0));
    }
}

static double ring_s(const struct falling *falling) { return tt_phrase_ring_s(&falling->heard, 0, falling->end); }

static void what_falls_as_the_room_decays_is_the_room(void **state)
{
    (void)state;
    struct falling falling;
    fall(&falling, 78.0, 0.3);
    assert_true(fabs(ring_s(&falling) - 0.3) < 0.03);
}

static void what_falls_more_slowly_is_the_voice(void **state)
{
    (void)state;
    struct falling falling;
    fall(&falling, 40.0, 0.3);
    assert_true(ring_s(&falling) < 0.03);
}

static void a_dry_room_does_not_ring_and_a_noisy_one_is_not_known_to(void **state)
{
    (void)state;
    struct falling falling;
    fall(&falling, 78.0, 0.3);
    falling.heard.facts.decay_db_per_s = 180.0;
    assert_true(ring_s(&falling) <= 0.0);
    falling.heard.facts.decay_db_per_s = (double)NAN;
    assert_true(ring_s(&falling) <= 0.0);
    falling.heard.facts.decay_db_per_s = 80.0;
    falling.heard.facts.floor_dbfs = -45.0;
    assert_true(ring_s(&falling) <= 0.0);
}

/* Six readings that break off, each read again behind the room's last half second and a pause. */
static struct made_session *read_broken_off(struct reading broken[6], double behind_s)
{
    struct made_session *session = begin();
    take_of(session)->heard.facts.decay_db_per_s = 80.0;
    for (uint32_t k = 0; k < 6; k++) {
        read_lines(session, 10 + 10 * k, 3);
        broken[k] = read_part(session, 15 + 10 * k, 0.0, 0.6, 0.0);
        let_ring(session, 0.4);
        if (behind_s > 0.0)
            pause_s(session, behind_s);
        read_line(session, 15 + 10 * k);
    }
    decide(session);
    return session;
}

static void readings_that_are_broken_off_in_a_room_that_rings_are_cut(void **state)
{
    (void)state;
    struct reading broken[6];
    struct made_session *session = read_broken_off(broken, 0.16);
    for (size_t k = 0; k < 6; k++)
        assert_gone(session, 0, broken[k]);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_CUT), 6);
    assert_int_equal(rows_with(session, TT_ROW_MISREAD, TT_DO_ASK), 0);
    end(session);
}

static void where_the_room_fills_the_pause_behind_them_too(void **state)
{
    (void)state;
    struct reading broken[6];
    struct made_session *session = read_broken_off(broken, 0.0);
    for (size_t k = 0; k < 6; k++)
        assert_gone(session, 0, broken[k]);
    end(session);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_falls_as_the_room_decays_is_the_room),
        cmocka_unit_test(what_falls_more_slowly_is_the_voice),
        cmocka_unit_test(a_dry_room_does_not_ring_and_a_noisy_one_is_not_known_to),
        cmocka_unit_test(readings_that_are_broken_off_in_a_room_that_rings_are_cut),
        cmocka_unit_test(where_the_room_fills_the_pause_behind_them_too),
    };
    return cmocka_run_group_tests(tests, NULL, NULL);
}
