#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-2.0-or-later
"""How good the edits are: words, pauses, breaths and joins on labelled sessions of recorded voices.

    edits_eval.py --program build/release/tidytake --work build/eval [--eval DIR] [--data DIR] [--full] [--seed 1] [--only PART] [--details]

Each session is run twice: as it comes, with full-length handles; and with softening off and gaps opened, so that what softening does is the
quotient of the two, and what an opened gap is filled with can be measured. Words, pauses and breaths are judged by score.py of the folder --eval;
the rest here. None of the program's own measurements is trusted but its time map and its decisions.
"""
import argparse, collections, glob, json, os, subprocess, sys
import numpy as np
import soundfile as sf
from scipy.signal import butter, sosfiltfilt
from edits_joins import judge_joins, show_joins
from edits_tone import judge_gap_tone, judge_join_tone
from eval_sessions import add_places, make_session, voices_in

FLAT = ["loudness.across=take", "loudness.target_lufs=-32", "loudness.limit_most_db=0", "deliver.bits=32f", "deliver.whole=yes", "report.page=no"]
EVENT_GUARD_S = 0.12                            # room tone is measured so far away from anything that is known to sound
ORDER_LEAST_S = 0.10                            # pauses must differ by this much to have an order (edges are heard to some 50 ms)
SOFTEN_DB = 12.0
RUMBLE_HZ = 100.0


def cases(seed, full):
    """(voice, SNR, options of make_sessions). Every SNR of the goals, rooms with hum and fan, a real room, and re-reads in the next file."""
    room = ("--room", "@room")
    quick = [("re-read", 28, ("--fan",)), ("prompts en", 20, ()), ("prompts fr", 35, ("--hum", "60")), ("re-read", 40, ("--across", "0.3")),
             ("re-read", 30, room), ("prompts en", 28, ("--asides", "@other")), ("prompts fr", 20, ("--fan",))]
    for turn in range(6 if full else 1):
        for k, (voice, snr, options) in enumerate(quick):
            yield voice, (snr, 28, 35, 20, 40, 30)[turn] if turn else snr, options, 100 * seed + 10 * turn + k


# ---- where things are ----

class TimeMap:
    def __init__(self, report):
        self.rate = report["source"]["rate_hz"]
        self.rows = [(r["source_start_frame"], r["source_end_frame"], r["out_start_frame"]) for r in report["time_map"]]
        self.frames = report["output"]["frames"]

    def pieces(self, a, b):
        """Source frames a..b in the voice: (source start, source end, out start)."""
        return [(max(a, x), min(b, y), o + max(a, x) - x) for x, y, o in self.rows if min(b, y) > max(a, x)]

    def joins(self):
        """Out frames at which what follows did not follow in the take."""
        return [o2 for (x, y, o), (x2, y2, o2) in zip(self.rows, self.rows[1:]) if y != x2 and o2 == o + y - x]


def quiet_mask(events, frames, rate, guard_s=EVENT_GUARD_S):
    mask = np.ones(frames, bool)
    for e in events:
        mask[max(0, int((e["start_s"] - guard_s) * rate)):int((e["end_s"] + guard_s) * rate)] = False
    return mask


def in_voice(mask, time_map):
    """A mask over the take as one over its voice; what is made there counts as loud."""
    out = np.zeros(time_map.frames, bool)
    for x, y, o in time_map.rows:
        n = min(y - x, len(out) - o)
        out[o:o + n] = mask[x:x + n]
    return out


# ---- pauses ----

def judge_order(acc, events, time_map):
    rate = time_map.rate
    said = [e for e in events if e["kind"] in ("line", "abandoned", "aside")]
    pauses = []
    for a, b in zip(said, said[1:]):
        if a["kind"] != "line" or b["kind"] != "line":
            continue
        p, q = time_map.pieces(int(a["start_s"] * rate), int(a["end_s"] * rate)), time_map.pieces(int(b["start_s"] * rate), int(b["end_s"] * rate))
        if p and q:
            pauses.append((b["start_s"] - a["end_s"], (q[0][2] - (p[-1][2] + p[-1][1] - p[-1][0])) / rate))
    for i, (before, after) in enumerate(pauses):
        for before2, after2 in pauses[:i]:
            if abs(before - before2) >= ORDER_LEAST_S:
                acc["order"].append(max(0.0, (after2 - after) * np.sign(before - before2)))


# ---- breaths ----

def judge_softening(acc, soft, plain, rate, report, time_map):
    """The quotient of the two handles is the softening alone, sample by sample."""
    n = min(len(soft), len(plain))
    rows = [(int(r["start_s"] * rate), int(r["end_s"] * rate), r) for r in report["decisions"] if r["action"] == "soften"]
    sounding = np.abs(plain[:n]) > 1e-7
    quotient = np.ones(n)
    quotient[sounding] = soft[:n][sounding] / plain[:n][sounding]
    outside = sounding.copy()
    for a, b, _ in rows:
        outside[max(0, a - 1):b + 1] = False
    gain = np.median(quotient[outside]) if outside.any() else 1
    db = 20 * np.log10(np.maximum(np.abs(quotient / gain), 1e-6))
    acc["outside"].append(float(np.abs(db[outside & (np.abs(plain[:n]) > 1e-5)]).max()) if outside.any() else 0)
    for a, b, r in rows:
        if r["kind"] != "breath" or b > n or b - a < rate // 25:
            continue
        third = (b - a) // 3
        acc["softened"].append(float(-np.median(db[a + third:b - third])))
        part = db[a:b]
        deep = np.flatnonzero(part < -SOFTEN_DB + 1)
        acc["ramp"].append(1000 * min(deep[0], b - a - 1 - deep[-1]) / rate if len(deep) else 0)


# ---- one session ----

def run(a, session, out, settings, *options):
    line = [a.program, "clean", session, "-o", out, "-q", "-j1", *options]
    for s in settings:
        line += ["--set", s]
    subprocess.check_call(line, stdout=subprocess.DEVNULL)


def open_gaps(sheets, wanted):
    for path in glob.glob(os.path.join(sheets, "*.csv")):
        name = os.path.basename(path)[:-4]
        with open(path, "a", newline="") as file:
            for at in wanted[name]:
                file.write(f"{name}.wav,,{at:.3f},{at:.3f},gap,,open,4.0,,,\r\n")


def gap_places(truth):
    """In the middles of long pauses, four a take."""
    said = truth["events"]
    gaps = [(b["start_s"] - a["end_s"], 0.5 * (b["start_s"] + a["end_s"])) for a, b in zip(said, said[1:]) if a["kind"] == b["kind"] == "line"]
    return [at for length, at in sorted(gaps, reverse=True)[:4] if length > 0.9]


def load(path):
    return sf.read(path, dtype="float64")[0]


def judge(a, acc, session, score):
    truths = {os.path.basename(p)[:-5]: json.load(open(p)) for p in sorted(glob.glob(os.path.join(session, "truth", "*.json")))}
    one, two = session + ".out", session + ".plain"
    subprocess.check_call(["rm", "-rf", one, two])
    run(a, session, one, FLAT)
    run(a, session, two, FLAT + ["breaths.soften_db=0"], "--plan")
    open_gaps(os.path.join(two, "sheets"), {name: gap_places(t) for name, t in truths.items()})
    run(a, session, two, FLAT + ["breaths.soften_db=0"])
    own = collections.defaultdict(list)
    for name, truth in truths.items():
        score.score_take(session, one, name, 1.0, own)
        if not os.path.exists(os.path.join(one, "voice", name + ".wav")):
            continue
        report = json.load(open(os.path.join(one, "report", name + ".json")))
        time_map, rate = TimeMap(report), truth["rate_hz"]
        voice, whole, plain = (load(os.path.join(f, name + ".wav")) for f in (one + "/voice", one + "/whole", two + "/whole"))
        if len(voice) != time_map.frames or len(whole) != truth["frames"]:
            acc["wrong length"].append(name)
        events = truth["events"]
        quiet = quiet_mask(events, truth["frames"], rate)
        # By the map alone each kept sample is in its place: compare with the handle.
        for x, y, o in time_map.rows:
            m = int(0.06 * rate)
            if y - x > 2 * m:
                acc["moved"].append(float(np.abs(voice[o + m:o + y - x - m] - whole[x + m:y - m]).max() * 2 ** 23))
        judge_order(acc, events, time_map)
        judge_joins(acc, voice, rate, time_map, in_voice(quiet_mask(events, truth["frames"], rate, 0.03), time_map))
        judge_join_tone(acc, voice, whole, rate, time_map, quiet, in_voice(quiet, time_map), a.details)
        judge_softening(acc, whole, plain, rate, report, time_map)
        report2, made = json.load(open(os.path.join(two, "report", name + ".json"))), load(os.path.join(two, "voice", name + ".wav"))
        judge_gap_tone(acc, made, plain, rate, TimeMap(report2), quiet, a.details)
    for key, values in own.items():
        acc["score " + key] += values
    if a.details:
        for note in own["notes"]:
            print(f"{os.path.basename(session)}/{note}")
        print(f"{os.path.basename(session):44} edges {sum(own['edges'])}/{len(own['edges'])} lost {sum(own['lost_s']):.2f} pauses>1 {sum(x > 1 for x in own['pause_s'])}"
              f" breaths {sum(own['breath'])}/{len(own['breath'])} on lines {sum(own['breath_rows'])} idle {sum(own['breath_idle'])}/{len(own['breath_rows'])}", flush=True)


# ---- the table ----

class Table:
    def __init__(self):
        self.passed = self.failed = 0

    def line(self, what, value, goal, holds):
        word = "-" if holds is None else "holds" if holds else "does not hold"
        self.passed += word == "holds"
        self.failed += word == "does not hold"
        print(f"{what:58}{value:>26}   {goal:38}{word}")


def share(part, whole):
    return f"{part} of {whole} ({100 * part / whole:.2f} %)" if whole else "none"


def tone_lines(acc, name, table):
    """The goal holds where each take is within it, or within what its room does to itself. What is printed is the take that is farthest out."""
    for key, what, goal in (("level", "level off its surroundings", 1), ("colour", "third-octaves off", 2)):
        figures = [(abs(ours), abs(own)) for ours, own in acc[f"{name} {key}"]]
        out = sum(ours > max(goal, own) for ours, own in figures)
        ours, own = max(figures, key=lambda f: f[0] - max(goal, f[1]), default=(0, 0))
        middle = np.median([f[0] for f in figures] or [0])
        table.line(f"{name}: {what}, dB (median {middle:.2f})", f"{ours:.2f} (room {own:.2f})", f"<= {goal} or the room's own", bool(figures) and out == 0)


def show(acc):
    t, hours = Table(), sum(acc["score seconds"]) / 3600
    print(f"{hours:.2f} hours, {len(acc['score line_s'])} lines\n\nWords")
    lost, edges = sum(acc["score lost_s"]), acc["score edges"]
    # A line's clock is its recording's: what was trimmed of it in the making is not known to 5 ms.
    t.line("wanted speech lost, s", f"{lost:.3f}", "0.00", lost < 0.005)
    t.line("line edges that lost over 15 ms", share(sum(edges), len(edges)), "none", sum(edges) == 0)
    lag = max(map(abs, acc["score lag_ms"]), default=0)
    t.line("lag of a line, ms", f"{lag:.3f}", "within a sample (0.021)", lag < 0.0215)
    t.line("voice off the handle by the map, 24-bit steps", f"{max(acc['moved'], default=0):.1f}", "<= 1", max(acc["moved"], default=0) <= 1)
    t.line("takes of another length than the map's", f"{len(acc['wrong length'])}", "none", not acc["wrong length"])
    print("Pauses")
    long = sum(x > 1.0 for x in acc["score pause_s"])
    t.line("longer than longest_ms + 100 ms", share(long, len(acc["score pause_s"])), "none", long == 0)
    worst = max(acc["order"], default=0)
    bad = sum(x > 0.05 for x in acc["order"])
    t.line("pairs whose order turned round by over 50 ms", share(bad, len(acc["order"])), f"none (worst {1000 * worst:.0f} ms)", bad == 0)
    for name in ("tone at joins", "tone of gaps"):
        tone_lines(acc, name, t)
    print("Breaths")
    found, rows = acc["score breath"], acc["score breath_rows"]
    right = len(rows) - sum(rows) - sum(acc["score breath_idle"])
    t.line("found, of those kept and >= 5 dB over the floor", share(sum(found), len(found)), ">= 95 %", sum(found) >= 0.95 * len(found))
    t.line("right among breath rows", share(right, len(rows)), ">= 97 %", right >= 0.97 * len(rows))
    t.line("rows over 30 ms on a wanted line", share(sum(rows), len(acc["score line_s"])), "none", sum(rows) == 0)
    soft = acc["softened"]
    t.line("softening in the middle, dB", f"{min(soft, default=0):.2f} .. {max(soft, default=0):.2f}", "12 +- 1", all(abs(x - SOFTEN_DB) <= 1 for x in soft) and bool(soft))
    t.line("shortest ramp, ms", f"{min(acc['ramp'], default=0):.1f}", ">= 10", min(acc["ramp"], default=0) >= 10)
    t.line("changed outside softened parts, dB", f"{max(acc['outside'], default=0):.4f}", "nothing (0.01)", max(acc["outside"], default=0) <= 0.01)
    show_joins(acc, t, share)
    print(f"\n{t.passed} passed, {t.failed} failed")
    return t.failed == 0


# ---- sessions ----

def make(a, session, voices, voice, snr, options, seed):
    if os.path.exists(os.path.join(session, "truth", "02.json")):
        return True
    other = next((v for k, v in voices.items() if k != voice), voices[voice])
    room = sorted(glob.glob(os.path.join(a.data, "room", "*.flac")))
    if "@room" in options and not room:
        return False
    options = [other if o == "@other" else room[0] if o == "@room" else o for o in options]
    breath = os.path.join(a.data, "breath")
    if os.path.isdir(breath) and voice == "re-read":
        options += ["--breaths", breath]
    make_session(a, session, voices[voice], snr, seed, ["--takes", "2", "--lines", "16", *options])
    return True


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    add_places(p)
    p.add_argument("--full", action="store_true", help="six times as many sessions")
    p.add_argument("--only", default="", help="only sessions whose name holds this")
    p.add_argument("--details", action="store_true")
    a = p.parse_args()
    a.work = os.path.abspath(a.work)
    if not os.path.exists(os.path.join(a.eval, "make_sessions.py")):
        print(f"edits: no labelled sessions can be made here ({a.eval}/make_sessions.py is missing): skipped")
        return 0
    sys.path.insert(0, a.eval)
    import score
    plainly = score.s.load
    # Rumble that the program takes out on purpose is no part of a word: some prompts hold it 14 dB under their peaks.
    score.s.load = lambda path: sosfiltfilt(butter(2, RUMBLE_HZ, "high", fs=score.s.RATE, output="sos"), plainly(path))
    score.s.stoi = score.s.log_spectral_distance = lambda clean, test: float("nan")   # slow, and judged elsewhere
    voices = voices_in(a)
    if not voices:
        print("edits: neither re-readings nor recorded prompts are to be had here: skipped")
        return 0
    acc = collections.defaultdict(list)
    for voice, snr, options, seed in cases(a.seed, a.full):
        name = f"{voice}-{seed}-{snr}" + "".join(o.lstrip("-@") for o in options if o.startswith("--"))
        session = os.path.join(a.work, "edits", name.replace(" ", "_"))
        if voice in voices and a.only in name and make(a, session, voices, voice, snr, options, seed):
            judge(a, acc, session, score)
    return 0 if show(acc) else 1


if __name__ == "__main__":
    sys.exit(main())
