#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-2.0-or-later
"""How well misreads and talk are found, on labelled sessions with seeds of their own.

    misreads_eval.py --program build/release/tidytake --work build/eval [--eval DIR] [--data DIR]
                     [--minutes 5] [--seed 1] [--only PART] [--details]

Makes sessions (make_sessions.py of the folder --eval), lets the program decide on them (clean --plan) and compares its cut sheets with the
truth. It stops making new ones when --minutes are over; what was made is kept in --work/misreads and used again. Without --eval, or where
no voice is to be had, it says so and is content. Definitions:
  found     at least 85 % of an abandoned reading of 0.8 s or more lies in cut rows
  false     a misread or talk row with action cut that takes more than 60 ms of a wanted line
  needless  a question (action ask) with more than 60 ms of a wanted line in it
"""
import argparse, collections, csv, glob, json, os, subprocess, time
from eval_sessions import add_places, make_session, voices_in

LEAST_S, FOUND, HURT_S = 0.8, 0.85, 0.06
BREATH_GAP_S = 0.2  # a breath that ends so shortly before a reading is that reading's, however long it is
BINS = (0.5, 0.6, 0.7, 0.8, 0.9, 0.95, 0.97, 0.99, 1.01)
# What a session is made with, every second one in a true room. Each group is a line of the table.
KINDS = {
    "plain": [],
    "talk": ["--asides", "@other"],
    "long talk": ["--asides", "@other", "--long-asides", "0.3"],
    "across": ["--across", "0.3"],
    "none": ["--misreads", "0", "--lines", "24"],
}


def plan(voices, seed):
    """Rounds over all voices and kinds with other SNRs, so that a short run has a little of everything."""
    snrs = (28, 20, 40, 35)
    for turn in range(100):
        for k, kind in enumerate(KINDS):
            for v, voice in enumerate(voices):
                yield voice, kind, snrs[(turn + k + v) % len(snrs)], 1000 * seed + 10 * turn + k


def overlap(a0, a1, b0, b1):
    return max(0.0, min(a1, b1) - max(a0, b0))


def seconds(text):
    hours, minutes, rest = text.split(":")
    return 3600 * int(hours) + 60 * int(minutes) + float(rest)


def rows_of(path):
    with open(path, newline="", encoding="utf-8") as file:
        rows = [dict(r, start=seconds(r["start"]), end=seconds(r["end"])) for r in csv.DictReader(file)]
    return [r for r in rows if r["kind"] in ("misread", "talk")]


class Tally:
    def __init__(self):
        self.n = collections.Counter()
        self.start_errors_ms, self.sure = [], []

    def add(self, other):
        self.n.update(other.n)
        self.start_errors_ms += other.start_errors_ms
        self.sure += other.sure


def count_events(tally, events, rows):
    cuts, asks = ([r for r in rows if r["action"] == a] for a in ("cut", "ask"))
    for e in events:
        length = e["end_s"] - e["start_s"]
        gone, asked = (sum(overlap(r["start"], r["end"], e["start_s"], e["end_s"]) for r in of) for of in (cuts, asks))
        if e["kind"] == "line":
            tally.n["lost_s"] += gone
            continue
        if e["kind"] not in ("abandoned", "aside"):
            continue
        kind = "short" if e["kind"] == "abandoned" and length < LEAST_S else e["kind"]
        tally.n[kind] += 1
        tally.n[kind + " found"] += gone >= FOUND * length
        tally.n[kind + " asked"] += gone < FOUND * length and gone + asked > 0.5 * length


def count_rows(tally, events, rows, where, details):
    lines = [e for e in events if e["kind"] == "line"]
    for r in rows:
        hurt = sum(overlap(r["start"], r["end"], e["start_s"], e["end_s"]) for e in lines)
        is_bad = hurt > HURT_S
        if r["kind"] == "misread":
            tally.sure.append((float(r["confidence"]), not is_bad))
        tally.n["cuts" if r["action"] == "cut" else "asks"] += 1
        tally.n["false" if r["action"] == "cut" else "needless"] += is_bad
        if details and is_bad and r["action"] == "cut":
            print(f"{where} {r['start']:.2f}-{r['end']:.2f} takes {hurt:.2f} s of a line ({r['note']}, {r['confidence']})")
        if r["kind"] != "misread" or r["action"] != "cut" or is_bad:
            continue
        given_up = [e for e in events if e["kind"] == "abandoned" and overlap(r["start"], r["end"], e["start_s"], e["end_s"]) > 0.1]
        if given_up:
            start = given_up[0]["start_s"]
            breaths = [e["start_s"] for e in events if e["kind"] == "breath" and start - BREATH_GAP_S < e["end_s"] <= start]
            tally.start_errors_ms.append(1000 * min(abs(r["start"] - s) for s in [start] + breaths))


def score(session, out, details):
    tally = Tally()
    for path in sorted(glob.glob(os.path.join(session, "truth", "*.json"))):
        with open(path) as file:
            truth = json.load(file)
        name = os.path.basename(path)[:-5]
        rows = rows_of(os.path.join(out, "sheets", name + ".csv"))
        tally.n["seconds"] += truth["frames"] / truth["rate_hz"]
        count_events(tally, truth["events"], rows)
        count_rows(tally, truth["events"], rows, f"{os.path.basename(session)}/{name}", details)
    return tally


def percentile(values, share):
    values = sorted(values)
    return values[min(len(values) - 1, int(share * len(values)))] if values else float("nan")


def ratio(part, whole):
    return f"{100 * part / whole:6.1f}" if whole else "     -"


def show(groups):
    print(f"{'':15}{'hours':>6}{'given':>6}{'found':>7}{'asked':>6}{'talk':>7}{'cuts':>6}{'right':>7}{'false':>6}{'lost':>6}{'asked':>8}")
    print(f"{'':15}{'':6}{'up':>6}{'%':>7}{'%':>6}{'gone %':>7}{'':6}{'%':>7}{'/h':>6}{'s':>6}{'for 0/h':>8}")
    for name, tally in groups:
        n, hours = tally.n, tally.n["seconds"] / 3600
        print(f"{name:15}{hours:6.2f}{n['abandoned']:6d} {ratio(n['abandoned found'], n['abandoned'])}{ratio(n['abandoned asked'], n['abandoned'])}"
              f" {ratio(n['aside found'], n['aside'])}{n['cuts']:6d} {ratio(n['cuts'] - n['false'], n['cuts'])}{n['false'] / hours:6.2f}{n['lost_s']:6.1f}"
              f"{n['needless'] / hours:8.1f}")


def show_certainty(groups):
    print("\nSure at least (share that was right, of how many misread rows):")
    print(f"{'':15}" + "".join(f"{low:8.2f}" for low in BINS[:-1]))
    for name, tally in groups:
        cells = []
        for low, high in zip(BINS, BINS[1:]):
            here = [right for sure, right in tally.sure if low <= sure < high]
            cells.append(f"{100 * sum(here) / len(here):4.0f}/{len(here):<3d}" if here else f"{'-':>8}")
        print(f"{name:15}" + "".join(cells))
    print("\nStart of the cut against the reading's or its breath's, ms:")
    for name, tally in groups:
        if tally.start_errors_ms:
            print(f"{name:15} median {percentile(tally.start_errors_ms, 0.5):4.0f}   95 % {percentile(tally.start_errors_ms, 0.95):4.0f}")


def room_of(a, seed):
    """A recorded room for every second seed, a made fan for the others."""
    rooms = sorted(glob.glob(os.path.join(a.data, "room", "*.flac")))
    return rooms[seed // 10 % len(rooms)] if rooms and seed % 2 else None


def make(a, session, voices, voice, kind, snr, seed):
    if os.path.exists(os.path.join(session, "truth", "03.json")):
        return
    other = next((phrases for name, phrases in reversed(voices.items()) if name != voice), voices[voice])  # who talks
    options = [other if o == "@other" else o for o in KINDS[kind]]
    breath = os.path.join(a.data, "breath")
    options += ["--breaths", breath] if os.path.isdir(breath) else []
    room = room_of(a, seed)
    options += ["--room", room] if room else ["--fan"]
    make_session(a, session, voices[voice], snr, seed, options)
    for path in glob.glob(os.path.join(session, "truth", "*.wav")):
        os.remove(path)


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    add_places(p)
    p.add_argument("--minutes", type=float, default=5)
    p.add_argument("--only", default="", help="only voices or kinds whose name holds this")
    p.add_argument("--details", action="store_true", help="name each false cut")
    a = p.parse_args()
    if not os.path.exists(os.path.join(a.eval, "make_sessions.py")):
        print(f"misreads: no labelled sessions can be made here ({a.eval}/make_sessions.py is missing): skipped")
        return
    voices = voices_in(a)
    if not voices:
        print("misreads: neither re-readings nor recorded prompts are to be had here: skipped")
        return
    until, by_voice, by_kind, whole = time.time() + 60 * a.minutes, {}, {}, Tally()
    for voice, kind, snr, seed in plan(list(voices), a.seed):
        if a.only not in voice + " " + kind:
            continue
        if time.time() > until:
            break
        session = os.path.join(a.work, "misreads", f"{voice}-{kind}-{seed}-{snr}-{'room' if room_of(a, seed) else 'fan'}".replace(" ", "_"))
        make(a, session, voices, voice, kind, snr, seed)
        subprocess.check_call([a.program, "clean", session, "-o", session + ".out", "--plan", "-q", "--set", "report.page=no"], stdout=subprocess.DEVNULL)
        tally = score(session, session + ".out", a.details)
        for groups, name in ((by_voice, voice), (by_kind, kind), (by_kind, "SNR 20 dB" if snr < 28 else "SNR 28-40 dB")):
            groups.setdefault(name, Tally()).add(tally)
        whole.add(tally)
    groups = list(by_voice.items()) + sorted(by_kind.items()) + [("all", whole)]
    show(groups)
    show_certainty(list(by_voice.items()) + [("all", whole)])


if __name__ == "__main__":
    main()
