# SPDX-License-Identifier: GPL-2.0-or-later
"""How far joins stand out of a take's own pauses, on labelled sessions (edits_eval.py)."""
import numpy as np

BANDS_HZ = np.geomspace(100, 10000, 9)          # 8 bands
WINDOW_S, HOP_S, NEAR_S = 0.020, 0.005, 0.030   # of the spectra; how far around a join it is looked
PERCENTILE, DRAWS, TRIES = 99, 6, 200           # so many times natural places are held for joins


def spectra_db(x, rate):
    hop, win = int(HOP_S * rate), int(WINDOW_S * rate)
    count = max(0, (len(x) - win) // hop + 1)
    frames = np.lib.stride_tricks.as_strided(x, (count, win), (x.strides[0] * hop, x.strides[0]))
    f = np.fft.rfftfreq(win, 1 / rate)
    where = [(f >= lo) & (f < hi) for lo, hi in zip(BANDS_HZ, BANDS_HZ[1:])]
    where = [w if w.any() else np.arange(len(f)) == np.argmin(np.abs(f - np.sqrt(lo * hi))) for w, lo, hi in zip(where, BANDS_HZ, BANDS_HZ[1:])]
    out, window = np.empty((count, len(where))), np.hanning(win)
    for a in range(0, count, 4096):
        p = np.abs(np.fft.rfft(frames[a:a + 4096] * window)) ** 2
        out[a:a + 4096] = np.stack([p[:, w].sum(1) for w in where], 1)
    return 10 * np.log10(out + 1e-18)


def changes_at(x, rate):
    """Spectral flux and level step at each hop: what 20 ms before it and 20 ms behind it differ by."""
    s, apart = spectra_db(x, rate), int(round(WINDOW_S / HOP_S))
    level = 10 * np.log10((10 ** (s / 10)).sum(1))
    return np.abs(s[apart:] - s[:-apart]).mean(1), np.abs(level[apart:] - level[:-apart])


def sample_steps(x, rate, count):
    """The largest step from sample to sample in the same 40 ms."""
    hop, shift, step = int(HOP_S * rate), int(WINDOW_S * rate), np.abs(np.diff(x, prepend=x[:1]))
    return np.array([step[i * hop:i * hop + 2 * shift].max() for i in range(count)])


def highest_near(values, centre, allowed):
    reach = int(NEAR_S / HOP_S)
    near = values[max(0, centre - reach):centre + reach + 1]
    ok = allowed[max(0, centre - reach):centre + reach + 1]
    return near[ok].max() if ok.sum() > reach else None


def beside(places, count):
    reach, mask = 3 * int(NEAR_S / HOP_S), np.zeros(count, bool)
    for p in places:
        mask[max(0, p - reach):p + reach] = True
    return mask


def over_limit(values, allowed, places, left_out):
    """What the places measure over a percentile of all others that are far enough from them, both as they come; None of too few others."""
    others = allowed & ~left_out & ~beside(places, len(values))
    natural = [v for v in (highest_near(values, c, others) for c in range(0, len(values), 2)) if v is not None]
    if len(natural) < 100:
        return None
    limit = np.percentile(natural, PERCENTILE)
    return [(v, limit) for v in (highest_near(values, p, allowed) for p in places) if v is not None]


def draw_places(random, free, count):
    """Places far from each other."""
    places, apart = [], 2 * 3 * int(NEAR_S / HOP_S)
    for _ in range(TRIES):
        if len(places) < count:
            place = int(random.choice(free))
            places += [place] if all(abs(place - p) > apart for p in places) else []
    return places


def judge_natural(acc, name, values, allowed, joins, random):
    """Places without a join, as many as there are joins, judged in the same way: what a percentile of a few hundred places that overlap is stood
    out of by chance."""
    near_joins, reach = beside(joins, len(values)), int(NEAR_S / HOP_S)
    free = [c for c in range(len(values)) if highest_near(values, c, allowed) is not None and not near_joins[max(0, c - reach):c + reach + 1].any()]
    for _ in range(DRAWS if free else 0):
        judged = over_limit(values, allowed, draw_places(random, free, len(joins)), near_joins)
        acc["natural " + name] += [value > limit for value, limit in judged or []]


def judge_joins(acc, voice, rate, time_map, quiet):
    hop, shift = int(HOP_S * rate), int(WINDOW_S * rate)
    figures = dict(zip(("flux", "step"), changes_at(voice, rate)))
    count = len(figures["flux"])
    figures["sample"] = sample_steps(voice, rate, count)
    # figure i looks at samples i * hop .. i * hop + 2 windows
    loud = np.concatenate([[0], np.cumsum(~quiet)])
    at = np.minimum(np.arange(count) * hop, len(quiet) - 2 * shift)
    allowed = loud[at + 2 * shift] == loud[at]
    joins = [j for j in ((o - shift) // hop for o in time_map.joins()) if 0 <= j < count]
    random, nowhere = np.random.default_rng(1), np.zeros(count, bool)
    for name, values in figures.items():
        judged = over_limit(values, allowed, joins, nowhere)
        if judged is None:
            return
        acc["join " + name] += [value > limit for value, limit in judged]
        acc["join " + name + " over"] += [20 * np.log10(value / limit) if name == "sample" else value - limit for value, limit in judged]
        judge_natural(acc, name, values, allowed, [j for j in joins if highest_near(values, j, allowed) is not None], random)


def show_joins(acc, table, share):
    """Not all joins can lie under a percentile of other places by chance: natural places do not either, and no more joins may stand out than they."""
    print(f"Joins (against the {PERCENTILE}th percentile of that take's natural pauses)")
    for name, what in (("flux", "spectral flux"), ("step", "level step"), ("sample", "sample step")):
        joins, natural = acc["join " + name], acc["natural " + name]
        own, over = max(0.01, np.mean(natural or [0])), int(sum(joins))
        most = own * len(joins) + 2 * np.sqrt(own * (1 - own) * len(joins))
        table.line(f"{what} above it (worst {max(acc[f'join {name} over'], default=0):+.1f} dB)", share(over, len(joins)),
                   f"no more than natural places ({100 * own:.1f} %)", over <= most if joins else None)
