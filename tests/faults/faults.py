#!/usr/bin/python3
# SPDX-License-Identifier: GPL-2.0-or-later
"""Runs that die or in which calls fail: OUT stays whole, the next run completes, nothing is lost.

usage: faults.py BUILD_FOLDER [--seconds S] [--kills N] [--only REGEX]
BUILD_FOLDER holds tidytake and tests/faults/tidytake (the program with calls that can be made to fail).
Without --seconds each call of each kind fails once, in each of three cases; with it a sample that takes about so long.
What is asked of every run:
  killed:  every file in OUT is as it was before or as an undisturbed run leaves it; the next run leaves the same bytes as an undisturbed one
  failing: exit status 0 (the same bytes then) or 1 with one line per complaint; no temporary file stays; the next run completes
  always:  no recording is touched, no sheet is lost, no sanitizer speaks"""
import argparse
import hashlib
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time

import soundfile

FIXTURES = os.environ.get("TIDYTAKE_FIXTURES", os.path.join(os.path.dirname(__file__), "../../fixtures"))
KINDS = {  # kind of call: what goes wrong with it
    "alloc": ["12"], "library": ["5"], "open": ["24"], "read": ["5"], "write": ["28", "5", "short"], "sync": ["5"],
    "rename": ["5"], "unlink": ["5"], "folder": ["13"], "map": ["12"], "thread": ["11"], "lock": ["5"]}
KILLED_AT = ["write", "sync", "rename", "unlink", "open", "folder"]
TIMEOUT_S = 60


class Failed(Exception):
    pass


def make_session(folder):
    """Two short takes of the fixture: real enough to hold a misread, quick enough to run thousands of times."""
    os.makedirs(folder)
    for name, start_s, end_s in (("01.flac", 0, 9), ("02.flac", 6, 15)):
        sound, rate = soundfile.read(os.path.join(FIXTURES, "session", name))
        soundfile.write(os.path.join(folder, name.replace(".flac", ".wav")), sound[int(start_s * rate):int(end_s * rate)], rate, "PCM_16")


def digest(path):
    with open(path, "rb") as file:
        return hashlib.sha256(file.read()).hexdigest()


def meaning(path, name):
    """A file's bytes, but for the words that say why this run did what it did."""
    with open(path, "rb") as file:
        data = file.read()
    if name == "session.json" or (name.startswith("report/") and name.endswith(".json")):
        data = re.sub(rb'"why": "[^"]*"', b"", data)
    elif name.endswith(".html"):
        data = re.sub(rb"<td>(new|up to date|its [a-z, ]* changed|its report could not be read)</td>", b"", data)
    return hashlib.sha256(data).hexdigest()


def tree(out, is_temporary_told=False):
    files = {}
    for folder, _, names in os.walk(out):
        for each in names:
            path = os.path.join(folder, each)
            name = os.path.relpath(path, out)
            if name.endswith(".part") and not is_temporary_told:
                continue
            files[name] = meaning(path, name)
    return files


def differing(a, b):
    return sorted(name for name in set(a) | set(b) if a.get(name) != b.get(name))


class Case:
    """What a run is asked to do: from nothing, or on what an earlier run left."""

    def __init__(self, name, work, build, options, prepare=None, jobs="1"):
        self.name, self.build = name, build
        self.session = os.path.join(work, name, "takes")
        self.out = os.path.join(work, name, "takes.tidy")
        self.template = os.path.join(work, name, "template")
        self.options = ["clean", self.session, "-o", self.out, "-q", "-j", jobs] + options
        make_session(self.session)
        os.makedirs(self.template)
        if prepare:
            self.run(options=["clean", self.session, "-o", self.out, "-q"])
            prepare(self)
            shutil.rmtree(self.template)
            shutil.copytree(self.out, self.template, symlinks=True)
        self.before = tree(self.template)
        self.restore()
        counts = os.path.join(work, name, "counts")
        start = time.monotonic()
        status, words = self.run(env={"TIDYTAKE_FAULT_COUNT": counts}, program="tests/faults/tidytake")
        self.run_s = time.monotonic() - start
        if status != 0:
            raise Failed("an undisturbed run ends with status %d: %s" % (status, words))
        self.after = tree(self.out)
        with open(counts) as file:
            self.counts = {kind: int(number) for kind, number in (line.split() for line in file)}
        self.recordings = self.digests()

    def digests(self):
        return {name: digest(os.path.join(self.session, name)) for name in sorted(os.listdir(self.session))}

    def restore(self):
        shutil.rmtree(self.out, ignore_errors=True)
        if os.listdir(self.template):
            shutil.copytree(self.template, self.out, symlinks=True)

    def run(self, env=None, program="tidytake", options=None, kill_after_s=None):
        process = subprocess.Popen([os.path.join(self.build, program)] + (options or self.options), stdout=subprocess.PIPE, stderr=subprocess.PIPE,
                                   stdin=subprocess.DEVNULL, env={**os.environ, **(env or {})})
        try:
            _, words = process.communicate(timeout=kill_after_s if kill_after_s is not None else TIMEOUT_S)
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
            _, words = process.communicate()
            if kill_after_s is None:
                raise Failed("hangs")
        return process.returncode, words.decode("utf-8", "replace")

    # ---- what is asked ----

    def check_untouched(self):
        if self.digests() != self.recordings:
            raise Failed("a recording was changed")

    def check_whole(self, found):
        """Every file is whole and old, or whole and new."""
        for name, value in found.items():
            if value not in (self.before.get(name), self.after.get(name)) and not name.startswith("earlier/"):
                raise Failed("%s is neither what it was nor what it should become" % name)
        for name in self.before:
            # A report goes before its voice is made again, and a narration moves to earlier/ before the next takes its place.
            if name not in found and name in self.after and not (name.startswith("report/") and name.endswith(".json")):
                raise Failed("%s is gone" % name)

    def check_next_run(self):
        status, words = self.run()
        if status != 0:
            raise Failed("the next run ends with status %d: %s" % (status, words))
        left = tree(self.out, is_temporary_told=True)
        if any(name.endswith(".part") for name in left):
            raise Failed("the next run leaves temporary files")
        return left

    def killed(self, **how):
        self.restore()
        status, words = self.run(**how)
        if status not in (-signal.SIGKILL, 0):
            raise Failed("status %d: %s" % (status, words))
        self.check_whole(tree(self.out))
        different = differing(self.check_next_run(), self.after)
        if different:
            raise Failed("the next run leaves other bytes: %s" % ", ".join(different))
        self.check_untouched()
        return status == -signal.SIGKILL

    def failing(self, kind, fault):
        self.restore()
        status, words = self.run(env={"TIDYTAKE_FAULT": "%s:%s" % (kind, fault)}, program="tests/faults/tidytake")
        if "Sanitizer" in words or "runtime error" in words:
            raise Failed("a sanitizer speaks:\n" + words)
        lines = words.splitlines()
        if status not in (0, 1, 2):
            raise Failed("status %d: %s" % (status, words))
        if status and not lines:
            raise Failed("status %d without a word" % status)
        if any(not line.startswith("tidytake: ") for line in lines) or len(lines) > 4:
            raise Failed("not one line a complaint: %r" % words)
        found = tree(self.out, is_temporary_told=True)
        if kind != "unlink" and any(name.endswith(".part") for name in found):
            raise Failed("a temporary file stays")
        if status == 0 and differing(found, self.after):
            raise Failed("goes wrong without a word: %s %s" % (", ".join(differing(found, self.after)), words))
        for name, value in self.before.items():
            if name.startswith("sheets/") and found.get(name) not in (value, self.after.get(name)):
                raise Failed("%s is lost" % name)
        for name in found:
            self.check_readable(name)
        left = self.check_next_run()
        if not os.path.isdir(os.path.join(self.out, "earlier")) or os.path.isdir(os.path.join(self.template, "earlier")):
            # No narration with a take missing came between.
            different = differing(left, self.after)
            if different:
                raise Failed("the next run leaves other bytes: %s (after: %s)" % (", ".join(different), words.strip()))
        elif json.load(open(os.path.join(self.out, "session.json")))["totals"]["failed"]:
            raise Failed("the next run leaves takes that failed")
        self.check_untouched()
        return status != 0

    def check_readable(self, name):
        path = os.path.join(self.out, name)
        if name.endswith(".json") or name.endswith(".otio"):
            try:
                json.load(open(path))
            except ValueError:
                raise Failed("%s is no whole JSON" % name)
        elif name.endswith((".wav", ".flac")):
            info = soundfile.info(path)
            if info.frames <= 0 or len(soundfile.read(path)[0]) != info.frames:
                raise Failed("%s is no whole sound file" % name)
        elif name.endswith(".html") and not open(path, encoding="utf-8").read().rstrip().endswith("</html>"):
            raise Failed("%s is no whole page" % name)


def edit(case):
    """A second run on what a first one left: a person edited a sheet, and wants more than before."""
    path = os.path.join(case.out, "sheets/01.csv")
    with open(path, "ab") as file:
        file.write(b"01.wav,,00:00:02.000,00:00:02.000,gap,,open,1.000,,,\r\n")


def cases(work, build):
    yield Case("new", work, build, [])
    yield Case("edited", work, build, [], prepare=edit)
    yield Case("other", work, build, ["--set", "deliver.whole=yes", "--set", "deliver.format=flac", "--set", "deliver.rate_hz=44100",
                                      "--set", "deliver.channels=dual"], prepare=edit, jobs="2")


class Tally:
    def __init__(self, is_talkative):
        self.done, self.complaints, self.is_talkative = {}, 0, is_talkative

    def one(self, what, attempt):
        try:
            took_effect = attempt()
        except Failed as problem:
            self.complaints += 1
            print("--- %s: %s" % (what, problem), flush=True)
            return
        if self.is_talkative and sum(done for done, _ in self.done.values()) % 100 == 99:
            print("... %s" % what, flush=True)
        kind = what.split(":")[0]
        done, effects = self.done.get(kind, (0, 0))
        self.done[kind] = (done + 1, effects + bool(took_effect))


def plan(case):
    """All points at which the case can be disturbed."""
    points = []
    for kind in KINDS:
        for what in KINDS[kind]:
            for number in range(1, case.counts[kind] + 1):
                points.append((kind, "%d:%s" % (number, what)))
            if case.counts[kind] and what != "short":
                points += [(kind, "%d+:%s" % (number, what)) for number in sorted({1, case.counts[kind] // 2 + 1})]
    kills = [(kind, "%d:kill" % number) for kind in KILLED_AT for number in range(1, case.counts[kind] + 1)]
    return points, kills


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("build")
    parser.add_argument("--seconds", type=float)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--only", default="")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    dice = random.Random(asked.seed)
    work = tempfile.mkdtemp(prefix="tidytake-faults-")
    tally = Tally(asked.seconds is None)
    start = time.monotonic()
    try:
        todo = []
        for case in cases(work, os.path.abspath(asked.build)):
            points, kills = plan(case)
            todo += [("%s call fails: %s %s:%s" % (kind, case.name, kind, fault), lambda case=case, kind=kind, fault=fault: case.failing(kind, fault))
                     for kind, fault in points]
            todo += [("killed at a call: %s %s:%s" % (case.name, kind, fault),
                      lambda case=case, kind=kind, fault=fault: case.killed(env={"TIDYTAKE_FAULT": "%s:%s" % (kind, fault)}, program="tests/faults/tidytake"))
                     for kind, fault in kills]
            for _ in range(asked.kills // 3 + 1):
                after_s = dice.uniform(0, case.run_s)
                todo.append(("killed at a random moment: %s after %.4f s" % (case.name, after_s), lambda case=case, after_s=after_s: case.killed(kill_after_s=after_s)))
        todo = [each for each in todo if re.search(asked.only, each[0])]
        if asked.seconds is not None:
            dice.shuffle(todo)
        sampling_since = time.monotonic()  # a busy machine may have spent the seconds already on the undisturbed runs
        for what, attempt in todo:
            if asked.seconds is not None and time.monotonic() - sampling_since > asked.seconds:
                break
            tally.one(what, attempt)
    finally:
        shutil.rmtree(work, ignore_errors=True)
    for kind, (done, effects) in sorted(tally.done.items()):
        print("%s: %d runs, %d of them ended by it" % (kind, done, effects))
    print("faults: %d runs, %d wrong, %.0f s" % (sum(done for done, _ in tally.done.values()) + tally.complaints, tally.complaints, time.monotonic() - start))
    return 1 if tally.complaints or not tally.done else 0


sys.exit(main())
