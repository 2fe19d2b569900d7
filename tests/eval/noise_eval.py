#!/usr/bin/env python3
# SPDX-License-Identifier: GPL-2.0-or-later
"""How well the room is taken out, beside two libraries and an oracle that knows it.

    noise_eval.py --program build/release/tidytake --libraries build/release/tests/eval/noise_libraries --work build/eval
                  [--shared ../shared] [--full] [--jobs N] [--seed 1] [--voice en|fr|re] [--room NAME] [--snr DB] [--ours]

Recorded voices (Debian's prompts in English and French; true re-readings, full band, of the evaluation folder) in rooms made here, each cell
cleaned at full length with nothing cut. All is judged above 100 Hz, where the rumble filter has no part. Columns:
  down      pause noise taken out, dB (of a room that changes: before / after the change)
  gain      segmental SNR, dB more than the take's
  LSD       log-spectral distance, out / in             STOI      of the take > of the output
  level     of the voice, least squares, dB             colour    largest third-octave change of the voice, dB
  musical   mean over 1-8 kHz of ln(kurtosis of the power, out / in), in pauses
  hum       how far its highest harmonic stands over the floor beside it in pauses, dB: in > out
Then the goals, each with the worst cell where it does not hold. Exit status 1 where one does not. What the libraries and the oracle do to a cell
does not change with the program, and is kept in --work/noise. --ours shows the program's rows only.
"""
import argparse
import hashlib
import json
import multiprocessing
import os
import subprocess
import sys

import noise_goals
import noise_measures
import noise_methods
import noise_rooms

HERE = os.path.dirname(os.path.abspath(__file__))
VOICES = {"en": "English prompts", "fr": "French prompts", "re": "true re-readings"}
LINES, LINES_FULL, SEEDS_FULL = {"en": 9, "fr": 7, "re": 8}, 40, 2
SNRS, NEAR_CLEAN = (10, 20, 30, 40), (50, 60)


def cells(a):
    """(voice, room, SNR, seed) of the table."""
    for voice in VOICES:
        rooms = noise_rooms.STEADY + noise_rooms.HUM + noise_rooms.CHANGING
        for kind, snr in [(k, s) for k in rooms for s in SNRS] + [("pink", s) for s in NEAR_CLEAN]:
            if a.voice in (None, voice) and a.room in (None, kind) and a.snr in (None, snr):
                for seed in range(a.seed, a.seed + (SEEDS_FULL if a.full else 1)):
                    yield voice, kind, snr, seed


def version():
    """Of everything that a kept figure depends on."""
    digest = hashlib.sha256()
    for folder, names in ((HERE, ("noise_rooms.py", "noise_methods.py", "noise_measures.py", "noise_libraries.cc")), (TOOLS, ("sound.py", "score.py", "make_sessions.py"))):
        for name in names:
            with open(os.path.join(folder, name), "rb") as file:
                digest.update(file.read())
    return digest.hexdigest()


def start(options, tools_folder):
    """In each worker: the evaluation folder's own measures."""
    global A, TOOLS, MEASURES, VERSION, SOURCES
    A, TOOLS = options, tools_folder
    sys.path.insert(0, tools_folder)
    import score
    import sound
    MEASURES, VERSION, SOURCES = (sound, score.third_octaves), version(), {}


def lines_of(voice):
    return LINES_FULL if A.full else LINES[voice]


def source_of(voice, seed):
    if (voice, seed) not in SOURCES:
        SOURCES.clear()    # one at a time: cells come voice by voice
        phrases = os.path.join(A.shared, "data", "reread") if voice == "re" else os.path.join(A.work, "voice-" + voice)
        breaths = os.path.join(A.shared, "data", "breath") if voice == "re" else None
        out = os.path.join(A.work, "noise", f"speech-{voice}-{seed}-{lines_of(voice)}")
        SOURCES[voice, seed] = noise_rooms.speech(TOOLS, phrases, breaths, lines_of(voice), seed, out)
    return SOURCES[voice, seed]


def references(take, path):
    """Doing nothing, the oracle and the libraries: as kept, or measured and kept."""
    try:
        with open(path, encoding="utf-8") as file:
            kept = json.load(file)
        if kept["version"] == VERSION:
            return kept["figures"]
    except (OSError, ValueError, KeyError):
        pass
    figures = {"nothing": noise_measures.measure(MEASURES, take, take.take), "oracle": noise_measures.measure(MEASURES, take, noise_methods.oracle(take))}
    for name, words in noise_methods.LIBRARIES.items():
        figures[name] = noise_measures.measure(MEASURES, take, noise_methods.library(take, A.libraries, words))
    with open(path + ".part", "w", encoding="utf-8") as file:
        json.dump({"version": VERSION, "figures": figures}, file)
    os.rename(path + ".part", path)
    return figures


def cell(place):
    voice, kind, snr, seed = place
    name = f"{voice}-{kind.replace(' ', '')}-{snr}-{seed}-{lines_of(voice)}"
    take = noise_rooms.Take(source_of(voice, seed), kind, snr, seed)
    figures = references(take, os.path.join(A.work, "noise", name + ".json"))
    ours = noise_methods.tidytake(take, A.program, os.path.join(A.work, "noise", name + ".run"))
    figures = {"tidytake": noise_measures.measure(MEASURES, take, ours), **figures}
    return place, {method: noise_measures.compare(f, figures["nothing"]) for method, f in figures.items()}


def row(place, method, f):
    voice, kind, snr, _ = place
    down = "/".join("%.1f" % d for d in f["down"])
    hum = "%6.1f > %4.1f" % (f["hum_in"], f["hum"]) if f["hum"] is not None else ""
    return ("%-2s %-8s %2d  %-15s %11s %+6.2f %6.3f  %.4f > %.4f %+6.2f %6.2f %+8.2f %s" % (
        voice, kind, snr, method, down, f["gain"], f["distance"], f["stoi_in"], f["stoi"], f["level"], f["colour"], f["musical"], hum)).rstrip()


def what_is_missing(a):
    """Makes what can be made; a line that says what cannot."""
    tools = os.path.join(a.shared, "eval")
    if not os.path.exists(os.path.join(tools, "make_sessions.py")):
        return f"no evaluation folder at {a.shared} (make_sessions.py, sound.py, score.py): name it in TIDYTAKE_SHARED"
    for path in (a.program, a.libraries):
        if not os.access(path, os.X_OK):
            return f"{path} is not there: run `make eval-noise`"
    os.makedirs(os.path.join(a.work, "noise"), exist_ok=True)
    for voice in [v for v in ("en", "fr") if a.voice in (None, v)]:
        if subprocess.run([os.path.join(HERE, "decode_prompts"), voice, os.path.join(a.work, "voice-" + voice)]).returncode:
            return f"no recorded prompts: install asterisk-core-sounds-{voice}-g722 and ffmpeg"
    if a.voice in (None, "re") and not os.path.isdir(os.path.join(a.shared, "data", "reread")):
        return f"no true re-readings at {a.shared}/data/reread"
    return None


def main():
    p = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    p.add_argument("--program", required=True)
    p.add_argument("--libraries", required=True)
    p.add_argument("--work", required=True)
    p.add_argument("--shared", default=os.environ.get("TIDYTAKE_SHARED", os.path.join(HERE, "..", "..", "..", "shared")))
    p.add_argument("--full", action="store_true")
    p.add_argument("--ours", action="store_true")
    p.add_argument("--jobs", type=int, default=os.cpu_count())
    p.add_argument("--seed", type=int, default=1)
    p.add_argument("--voice", choices=VOICES)
    p.add_argument("--room", choices=noise_rooms.STEADY + noise_rooms.HUM + noise_rooms.CHANGING)
    p.add_argument("--snr", type=int)
    a = p.parse_args()
    missing = what_is_missing(a)
    if missing:
        print("skipped: " + missing)
        return 0
    tools = os.path.join(a.shared, "eval")
    start(a, tools)
    table = list(cells(a))
    for voice, seed in sorted({(c[0], c[3]) for c in table}):
        source_of(voice, seed)     # built once, before the workers ask for it
    print("voice, room, SNR method             down, dB   gain    LSD   STOI            level colour  musical hum", flush=True)
    done = {}
    with multiprocessing.Pool(a.jobs, start, (a, tools)) as pool:
        for place, figures in pool.imap(cell, table):
            done[place] = figures
            print("\n".join(row(place, m, f) for m, f in figures.items() if m == "tidytake" or not a.ours), flush=True)
    return noise_goals.judge(done)


if __name__ == "__main__":
    sys.exit(main())
