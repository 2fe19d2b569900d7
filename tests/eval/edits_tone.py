# SPDX-License-Identifier: GPL-2.0-or-later
"""Room tone at joins and in opened gaps, against what surrounds it, on labelled sessions (edits_eval.py)."""
import itertools
import numpy as np

# Room tone is what lies between the creaks and clicks of a room: medians over frames, so that these do not count on either side.

def third_octaves_db(parts, rate):
    """Of the samples of all parts of 4096 and more; None of fewer than 20 frames."""
    n, frames = 4096, []
    for p in parts:
        frames += [np.abs(np.fft.rfft(p[i:i + n] * np.hanning(n))) ** 2 for i in range(0, len(p) - n + 1, n // 2)]
    if len(frames) < 20:
        return None
    f, frames = np.fft.rfftfreq(n, 1 / rate), np.array(frames)
    centres = 1000 * 2.0 ** (np.arange(-9, 10) / 3)
    return np.array([10 * np.log10(np.median(frames[:, (f >= c * 2 ** (-1 / 6)) & (f < c * 2 ** (1 / 6))].sum(1)) + 1e-20) for c in centres])


def level_db(parts, rate):
    n = rate // 50
    return 10 * np.log10(np.median([(p[i:i + n] ** 2).mean() for p in parts for i in range(0, len(p) - n + 1, n)]) + 1e-20)


def runs_of(mask, least=1):
    edges = np.flatnonzero(np.diff(np.concatenate([[0], mask.view(np.int8), [0]])))
    return [(a, b) for a, b in zip(edges[::2], edges[1::2]) if b - a >= least]


def differ(a, b, rate):
    """Level and worst third-octave of one room tone against another; None where there is too little to say."""
    x, y = third_octaves_db(a, rate), third_octaves_db(b, rate)
    return level_db(a, rate) - level_db(b, rate), None if x is None or y is None else x - y


def compare_tone(acc, name, inside, around, natural, rate, details=False):
    """Room tone against what surrounds it, pooled over a take; and against the same, as much of the room itself from elsewhere in its place, which
    is no nearer where the room rustles, or where there is little of it: a second of noise in the third-octave at 125 Hz, 29 Hz wide, has a level
    that spreads by 4.34 / sqrt(29) = 0.8 dB (chi-square, 2 B T degrees of freedom; bands as in IEC 61260-1), and the worst of 19 bands lies 2 to 3
    times as far out. The room's own is what 95 % of such choices stay under."""
    inside, around = ([p for p in parts if len(p)] for parts in (inside, around))
    if sum(map(len, inside)) < rate or sum(map(len, around)) < rate or not natural:
        return
    level, thirds = differ(inside, around, rate)
    own = [differ(parts, around, rate) for parts in natural]
    own_level = float(np.percentile([abs(o) for o, _ in own], 95))
    acc[name + " level"].append((level, own_level))
    own_thirds = [np.abs(o).max() for _, o in own if o is not None]
    if thirds is not None and own_thirds:
        acc[name + " colour"].append((float(np.abs(thirds).max()), float(np.percentile(own_thirds, 95))))
    if details:
        print(f"{name}: level {level:+.2f} dB (room {own_level:.2f}), third-octaves from 125 Hz on {np.round(thirds, 1) if thirds is not None else '-'}"
              f" (room's worst {np.percentile(own_thirds, 95) if own_thirds else np.nan:.1f})")


JOIN_REACH_S, JOIN_BESIDE_S, JOIN_DRAWS = 0.1, 0.4, 40   # judged so far around a join, against so much around it; so many sets of other places


def around_places(places, reach_s, frames, rate):
    mask = np.zeros(frames, bool)
    for p in places:
        mask[max(0, p - int(reach_s * rate)):p + int(reach_s * rate)] = True
    return mask


def judge_join_tone(acc, voice, whole, rate, time_map, quiet, quiet_voice, details):
    inside = around_places(time_map.joins(), JOIN_REACH_S, len(voice), rate) & quiet_voice
    ends = [p for (x, y, o), (x2, y2, o2) in zip(time_map.rows, time_map.rows[1:]) if y != x2 for p in (y, x2)]
    around = around_places(ends, JOIN_BESIDE_S, len(whole), rate) & quiet
    # As much of the same pauses, cut anywhere in them.
    long, draws = int(2 * JOIN_REACH_S * rate), np.random.default_rng(1)
    pieces = [whole[i:i + long] for a, b in runs_of(around, long) for i in range(a, b - long + 1, long // 4)]
    count = min(len(pieces), round(inside.sum() / long))
    natural = [[pieces[k] for k in draws.choice(len(pieces), count, replace=False)] for _ in range(JOIN_DRAWS)] if count else []
    compare_tone(acc, "tone at joins", [voice[a:b] for a, b in runs_of(inside)], [whole[a:b] for a, b in runs_of(around)], natural, rate, details)


GAP_BESIDE_S = 3.0   # an opened gap is held against so much of the take before it and behind it


def nearest_quiet(runs, at, frames, step):
    """The quiet parts before `at` (step -1) or behind it (step 1), the nearest first, until they come to so many frames."""
    parts = []
    for a, b in runs[::step]:
        a, b = (max(a, at), b) if step > 0 else (a, min(b, at))
        if b > a and frames > 0:
            a, b = (a, min(b, a + frames)) if step > 0 else (max(a, b - frames), b)
            parts.append((a, b))
            frames -= b - a
    return parts if frames <= 0 else None


def judge_gap_tone(acc, made, plain, rate, time_map, quiet, details):
    tone, around, elsewhere = [], np.zeros(len(plain), bool), []
    guard, beside, runs = int(0.1 * rate), int(GAP_BESIDE_S * rate), runs_of(quiet, 4096)
    for (x, y, o), (x2, y2, o2) in zip(time_map.rows, time_map.rows[1:]):
        if o2 - (o + y - x) <= rate:
            continue
        tone.append(made[o + y - x + guard:o2 - guard])
        around[max(0, y - beside):y] = around[x2:x2 + beside] = True
        # What the room was just before that, or was to be just behind it.
        both = [nearest_quiet(runs, at, len(tone[-1]), step) for at, step in ((y - beside, -1), (x2 + beside, 1))]
        elsewhere.append([[plain[a:b] for a, b in parts] for parts in both if parts])
    natural = [sum(choice, []) for choice in itertools.product(*elsewhere)] if all(elsewhere) else []
    compare_tone(acc, "tone of gaps", tone, [plain[a:b] for a, b in runs_of(around & quiet)], natural, rate, details)
