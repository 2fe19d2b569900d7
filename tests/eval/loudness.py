#!/usr/bin/python3
# SPDX-License-Identifier: GPL-2.0-or-later
"""Measure every file that the program delivers by other meters than its own.

    loudness.py PROGRAM WORK SESSION...

Each session is cleaned into WORK in several ways. Integrated loudness and true peak of each voice, narration and piece are read by ffmpeg's
ebur128 filter (4 times oversampling, third decimal from its metadata) and, for peaks, from 16 times oversampled sound around the highest samples.
Bounds: 0.1 LU and 0.2 dB between the meters; where a target is aimed at, 0.05 LU from it (unless the program says that it is missed), and no
peak over the ceiling as the 16 times meter reads it. Exit status 1 where one is missed; 77 without ffmpeg.
"""
import json
import os
import re
import shutil
import subprocess
import sys

import numpy as np
import soundfile as sf
from scipy.signal import firwin, resample_poly

UP, REACH = 16, 96           # oversampling; samples to each side of a peak that are looked at
FILTER = firwin(2 * 64 * UP + 1, 1 / UP, window=("kaiser", 10.0))
# What is asked for -> which files aim at what: (name, arguments, aims: "narration" or "voice", target, ceiling)
WAYS = [
    ("session", [], "narration", -16.0, -1.0),
    ("take-ebu", ["--for", "ebu-r128", "--set", "loudness.across=take"], "voice", -23.0, -1.0),
    ("dual-16", ["--for", "spoken", "--set", "deliver.channels=dual", "--set", "deliver.bits=16"], "narration", -16.0, -1.0),
    ("flac-96", ["--for", "web", "--set", "deliver.format=flac", "--set", "deliver.rate_hz=96000"], "narration", -14.0, -1.0),
    ("audiobook", ["--for", "audiobook"], "rms", -20.0, -3.0),
    ("mix", ["--for", "mix"], "mix", -23.0, None),
]


def independent(path):
    """(integrated, true peak in dBTP) by ffmpeg."""
    text = subprocess.run(["ffmpeg", "-hide_banner", "-nostats", "-nostdin", "-i", path, "-af",
                           "ebur128=peak=true:metadata=1,ametadata=print:file=-", "-f", "null", "-"],
                          capture_output=True, text=True, check=True).stdout
    loud = re.findall(r"lavfi\.r128\.I=(\S+)", text)
    # Its own summary holds what came after the last whole 100 ms, too, but shows a tenth only: good enough for the hundredths asked for here.
    peak = re.findall(r"lavfi\.r128\.true_peak=(\S+)", text)
    return (float(loud[-1]) if loud else float("nan"), 20 * np.log10(max(float(peak[-1]), 1e-9)) if peak else float("nan"))


def peak_16(path):
    """True peak in dBTP: the neighbourhoods of all samples within 3 dB of the highest, 16 times oversampled."""
    x, _ = sf.read(path, dtype="float64", always_2d=True)
    most = 0.0
    for channel in x.T:
        high = np.flatnonzero(np.abs(channel) >= np.abs(channel).max() * 0.7079)
        last = -1
        for at in high:
            if at < last:
                continue
            start, end = max(0, at - REACH), min(len(channel), at + 4 * REACH)
            y = resample_poly(channel[start:end], UP, 1, window=FILTER)
            inner = y[(REACH // 2 if start else 0) * UP: len(y) - (REACH // 2 if end < len(channel) else 0) * UP]
            most = max(most, np.abs(inner).max())
            last = end - REACH
    return 20 * np.log10(max(most, 1e-9)), 20 * np.log10(np.sqrt((x[:, 0] ** 2).mean()) + 1e-12)


def ours(out):
    """{file: (figures, says that the target is missed)} of what a run delivered."""
    state = json.load(open(os.path.join(out, "session.json"), encoding="utf-8"))
    missed = " ".join(w["message"] for w in state["warnings"] if w["code"] == "target-missed")
    files = {}
    for folder, tracks in ((".", {"narration": state.get("track")}), ("pieces", state.get("pieces") or {})):
        for name, track in tracks.items():
            for ending in (".wav", ".flac"):
                path = os.path.normpath(os.path.join(out, folder, name + ending))
                if track and os.path.exists(path):
                    files[path] = (track["after"], name + ending in missed)
    for take in state["takes"]:
        report = json.load(open(os.path.join(out, "report", take["stem"] + ".json"), encoding="utf-8"))
        for ending in (".wav", ".flac"):
            path = os.path.join(out, "voice", take["stem"] + ending)
            if os.path.exists(path):
                files[path] = (report["after"], any(w["code"] == "target-missed" for w in report["warnings"]))
    return files


def judge(way, path, figures, is_missed):
    """A line of the table, and what is wrong in it."""
    name, _, aim, target, ceiling = way
    loud, peak = independent(path)
    peak16, rms = peak_16(path)
    wrong = []
    if not abs(loud - figures["integrated_lufs"]) <= 0.1:
        wrong.append("loudness")
    if not abs(peak - figures["max_true_peak_dbtp"]) <= 0.2:
        wrong.append("peak")
    is_track = os.sep + "voice" + os.sep not in path
    aims = aim == "voice" if not is_track else aim in ("narration", "rms")
    is_now = figures["rms_dbfs"] if aim == "rms" else figures["integrated_lufs"]
    if aims and not is_missed and not abs(is_now - target) <= 0.05:
        wrong.append("target")
    if aim == "rms" and aims and not abs(rms - figures["rms_dbfs"]) <= 0.02:
        wrong.append("rms")
    if ceiling is not None and not peak16 <= ceiling + 0.001:
        wrong.append("ceiling")
    line = "%-11s %-24s %8.3f %8.3f %+7.3f  %7.3f %7.3f %+6.3f %8.3f  %s" % (
        name, os.path.relpath(path, os.path.dirname(os.path.dirname(path)))[-24:], figures["integrated_lufs"], loud,
        loud - figures["integrated_lufs"], figures["max_true_peak_dbtp"], peak, peak - figures["max_true_peak_dbtp"], peak16,
        ", ".join(wrong) or ("target missed, and said" if is_missed else "ok"))
    return line, wrong


def main():
    program, work, sessions = sys.argv[1], sys.argv[2], sys.argv[3:]
    if not shutil.which("ffmpeg"):
        print("skipped: ffmpeg is not installed")
        return 77
    os.makedirs(work, exist_ok=True)
    bad = count = 0
    for session in sessions:
        label = os.path.basename(session.rstrip("/")) if os.path.basename(session.rstrip("/")) not in ("en", "session") else session
        print("\n%s\n%-11s %-24s %8s %8s %7s  %7s %7s %6s %8s" % (label, "way", "file", "ours", "other", "differ", "ours", "other", "differ", "16 times"))
        takes = sorted(n for n in os.listdir(session) if n.endswith((".wav", ".flac")))
        for way in WAYS:
            out = os.path.join(work, os.path.basename(session.rstrip("/")) + "-" + way[0])
            shutil.rmtree(out, ignore_errors=True)
            os.makedirs(out)
            with open(os.path.join(out, "order.csv"), "w", encoding="utf-8") as order:
                order.write("take,use,piece\n" + "".join("%s,yes,%s\n" % (t, "opening" if i == 0 else "") for i, t in enumerate(takes)))
            subprocess.run([program, "clean", session, "--out", out, "--quiet", "--set", "report.page=no"] + way[1], check=True, stderr=subprocess.DEVNULL)
            for path, (figures, is_missed) in sorted(ours(out).items()):
                line, wrong = judge(way, path, figures, is_missed)
                print(line)
                count += 1
                bad += bool(wrong)
            shutil.rmtree(out, ignore_errors=True)
    print("\n%d files, %d out of bounds" % (count, bad))
    return 1 if bad else 0


if __name__ == "__main__":
    sys.exit(main())
