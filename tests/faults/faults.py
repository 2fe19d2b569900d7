#!/usr/bin/python3
# SPDX-License-Identifier: GPL-2.0-or-later
"""Runs that die or in which calls fail: OUT stays whole, the next run completes, nothing is lost.

usage: faults.py BUILD_FOLDER [--seconds S] [--kills N] [--only REGEX] [--every]
BUILD_FOLDER holds tidytake and tests/faults/tidytake (the program with calls that can be made to fail).
In each case calls of each kind fail, one a run: by each way through the program the first, the second and the last (--every: all of them, which takes
many hours). With --seconds a sample that takes about so long.
What is asked of every run:
  killed:  every file in OUT is as it was before or as an undisturbed run leaves it; the next run leaves the same bytes as an undisturbed one
  failing: exit status 0 (the same bytes and words then) or 1 with one line per complaint; no temporary file stays; the next run completes
  reading: what only tells (lengths, locate, measure) changes nothing at all
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

import numpy
import soundfile

FIXTURES = os.environ.get("TIDYTAKE_FIXTURES", os.path.join(os.path.dirname(__file__), "../../fixtures"))
KINDS = {  # kind of call: what goes wrong with it
    "alloc": ["12"], "library": ["5"], "open": ["24"], "read": ["5"], "write": ["28", "5", "short"], "sync": ["5"],
    "rename": ["5"], "unlink": ["5"], "folder": ["13", "5"], "map": ["12"], "thread": ["11"], "lock": ["5"]}
CHANGES_FILES = ["write", "sync", "rename", "unlink", "open", "folder"]
TIMEOUT_S = 60
MOST_LINES = 8  # one for each take, and a few


class Failed(Exception):
    pass


def make_session(folder, ending="wav", channels=1):
    """Two short takes of the fixture: real enough to hold a misread, quick enough to run thousands of times. A second channel is the other take, farther off."""
    os.makedirs(folder)
    sounds = [soundfile.read(os.path.join(FIXTURES, "session", name)) for name in ("01.flac", "02.flac")]
    for i, (start_s, end_s) in enumerate(((0, 9), (6, 15))):
        sound, rate = sounds[i]
        one, other = (each[0][int(start_s * rate):int(end_s * rate)] for each in (sounds[i], sounds[1 - i]))
        mixed = one if channels == 1 else numpy.column_stack((one + 0.1 * other, 0.3 * other + 0.1 * one))
        soundfile.write(os.path.join(folder, "%02d.%s" % (i + 1, ending)), mixed, rate, "PCM_16")


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
    """Locks are no results: what is left of one binds nobody."""
    files = {}
    for folder, _, names in os.walk(out):
        for each in names:
            path = os.path.join(folder, each)
            name = os.path.relpath(path, out)
            if name.endswith(".lock") or (name.endswith(".part") and not is_temporary_told):
                continue
            files[name] = meaning(path, name)
    return files


def differing(a, b):
    return sorted(name for name in set(a) | set(b) if a.get(name) != b.get(name))


class Case:
    """What a run is asked to do: from nothing, or on what an earlier run (first_options) left and a person did to it (prepare)."""

    def __init__(self, name, work, build, options, prepare=None, jobs="1", first_options=(), **takes):
        self.name, self.build = name, build
        self.session = os.path.join(work, name, "takes")
        self.out = os.path.join(work, name, "takes.tidy")
        self.template = os.path.join(work, name, "template")
        self.options = self.command(options, jobs)
        make_session(self.session, **takes)
        os.makedirs(self.template)
        if prepare:
            status, words, _ = self.run(options=["clean", self.session, "-o", self.out, "-q"] + list(first_options))
            if status != 0:
                raise Failed("the run before ends with status %d: %s" % (status, words))
            prepare(self)
            shutil.rmtree(self.template)
            shutil.copytree(self.out, self.template, symlinks=True)
        self.before = tree(self.template)
        self.restore()
        calls = os.path.join(work, name, "calls")
        start = time.monotonic()
        status, words, self.told = self.run(env={"TIDYTAKE_FAULT_CALLS": calls}, program="tests/faults/tidytake")
        self.run_s = time.monotonic() - start
        if status != 0:
            raise Failed("an undisturbed run ends with status %d: %s" % (status, words))
        self.after = tree(self.out)
        self.ways = {kind: {} for kind in KINDS}  # kind of call: numbers of the calls by the way that led to them
        with open(calls) as file:
            for kind, number, way in (line.split() for line in file):
                self.ways[kind].setdefault(way, []).append(int(number))
        self.recordings = self.digests()

    def command(self, options, jobs):
        return ["clean", self.session, "-o", self.out, "-q", "-j", jobs] + options

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
            told, words = process.communicate(timeout=kill_after_s if kill_after_s is not None else TIMEOUT_S)
        except subprocess.TimeoutExpired:
            process.send_signal(signal.SIGKILL)
            told, words = process.communicate()
            if kill_after_s is None:
                raise Failed("hangs")
        return process.returncode, words.decode("utf-8", "replace"), told

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
        status, words, _ = self.run()
        if status != 0:
            raise Failed("the next run ends with status %d: %s" % (status, words))
        left = tree(self.out, is_temporary_told=True)
        # The share of a run cannot know what others beside it are writing; a whole run clears.
        if any(name.endswith(".part") for name in left) and "--part" not in self.options:
            raise Failed("the next run leaves temporary files")
        return {name: value for name, value in left.items() if not name.endswith(".part")}

    def killed(self, **how):
        self.restore()
        status, words, _ = self.run(**how)
        if status not in (-signal.SIGKILL, 0):
            raise Failed("status %d: %s" % (status, words))
        self.check_whole(tree(self.out))
        different = differing(self.check_next_run(), self.after)
        if different:
            raise Failed("the next run leaves other bytes: %s" % ", ".join(different))
        self.check_untouched()
        return status == -signal.SIGKILL

    def run_failing(self, kind, fault):
        """A run in which a call fails says so in its own words, or does all that it should."""
        self.restore()
        status, words, told = self.run(env={"TIDYTAKE_FAULT": "%s:%s" % (kind, fault)}, program="tests/faults/tidytake")
        if "Sanitizer" in words or "runtime error" in words:
            raise Failed("a sanitizer speaks:\n" + words)
        lines = words.splitlines()
        if status not in (0, 1, 2):
            raise Failed("status %d: %s" % (status, words))
        if status and not lines:
            raise Failed("status %d without a word" % status)
        if any(not line.startswith("tidytake: ") for line in lines) or len(lines) > MOST_LINES:
            raise Failed("not one line a complaint: %r" % words)
        if status == 0 and told != self.told:
            raise Failed("tells something else without a word: %r" % told[:200])
        return status, words

    def failing(self, kind, fault):
        status, words = self.run_failing(kind, fault)
        found = tree(self.out, is_temporary_told=True)
        if kind != "unlink" and any(name.endswith(".part") for name in found):
            raise Failed("a temporary file stays")
        if kind == "unlink":
            found = {name: value for name, value in found.items() if not name.endswith(".part")}
        if status == 0 and differing(found, self.after) and not re.search("its page (lacks|cannot play)", words):
            raise Failed("goes wrong without a word: %s %s" % (", ".join(differing(found, self.after)), words))
        for name, value in self.before.items():
            if name.startswith("sheets/") and found.get(name) not in (value, self.after.get(name)):
                raise Failed("%s is lost" % name)
        for name in found:
            self.check_readable(name)
        left = self.check_next_run()
        if not self.leaves_a_narration_between():
            # No narration with a take missing came between.
            different = differing(left, self.after)
            if different:
                raise Failed("the next run leaves other bytes: %s (after: %s)" % (", ".join(different), words.strip()))
        elif json.load(open(os.path.join(self.out, "session.json")))["totals"]["failed"]:
            raise Failed("the next run leaves takes that failed")
        self.check_untouched()
        return status != 0

    def leaves_a_narration_between(self):
        return os.path.isdir(os.path.join(self.out, "earlier")) and not os.path.isdir(os.path.join(self.template, "earlier"))

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


class Comparison(Case):
    """Two recordings beside each other: a take, and what became of it."""

    def command(self, options, jobs):
        return ["compare", os.path.join(self.session, "01.aiff"), os.path.join(self.session, "02.aiff"), "-o", self.out]


class Reading(Case):
    """What is told of the results of a run; nothing is written."""

    def command(self, options, jobs):
        return [each.format(out=self.out, session=self.session) for each in options]

    def check_untold(self):
        found = tree(self.out, is_temporary_told=True)
        if differing(found, self.before):
            raise Failed("changes %s" % ", ".join(differing(found, self.before)))
        self.check_untouched()

    def killed(self, **how):
        self.restore()
        status, _, _ = self.run(**how)
        self.check_untold()
        return status == -signal.SIGKILL

    def failing(self, kind, fault):
        status, _ = self.run_failing(kind, fault)
        self.check_untold()
        return status != 0


def leave(case):
    """A second run on what a first one left."""


def edit(case):
    """A person edited a sheet, and wants more than before."""
    path = os.path.join(case.out, "sheets/01.csv")
    with open(path, "ab") as file:
        file.write(b"01.wav,,00:00:02.000,00:00:02.000,gap,,open,1.000,,,\r\n")


def reorder(case):
    """A person uses two parts of the first take, one in a piece, and a bit of the second as a pick-up in the second part."""
    with open(os.path.join(case.out, "order.csv"), "wb") as file:
        file.write(b"take,use,piece,channel,room_tone,from,to,note,instead_of,instead_from,instead_to\r\n"
                   b"01.wav,yes,hives,,,0:00,0:04,,,,\r\n01.wav,yes,,,,0:04,,,,,\r\n02.wav,yes,,,,0:02,0:04,,01.wav,0:05,0:06\r\n")


def same_reading(case):
    """The second recording is the first, a little later and less loud."""
    sound, rate = soundfile.read(os.path.join(case.session, "01.aiff"))
    soundfile.write(os.path.join(case.session, "02.aiff"), 0.5 * sound[rate:], rate, "PCM_16")
    shutil.rmtree(case.out)
    os.makedirs(case.out)


def cases(work, build):
    yield Case("new", work, build, [])
    yield Case("edited", work, build, [], prepare=edit)
    yield Case("other", work, build, ["--set", "deliver.whole=yes", "--set", "deliver.format=flac", "--set", "deliver.rate_hz=44100",
                                      "--set", "deliver.channels=dual"], prepare=edit, jobs="2")
    yield Case("parts", work, build, [], prepare=reorder)
    yield Case("copies", work, build, ["--set", "report.media=copy", "--set", "take.channel=1"], ending="aiff", channels=2)
    yield Case("listener", work, build, [], channels=2)
    yield Case("heard", work, build, ["--part", "1/2"])
    yield Case("share", work, build, ["--part", "2/2"], prepare=leave, first_options=["--plan"])
    yield Comparison("compare", work, build, [], prepare=same_reading, ending="aiff")
    yield Reading("lengths", work, build, ["lengths", "{out}", "{session}", "--json"], prepare=leave)
    yield Reading("locate", work, build, ["locate", "{out}", "0:03"], prepare=leave)
    yield Reading("measure", work, build, ["measure", "--json", "{session}/01.wav"], prepare=leave)


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


def chosen(case, kind, met, is_every):
    """Which calls of a kind are to be disturbed: of each way that leads to one the first, the second and the last; of a way that an earlier case has met
    the last alone, and only where files change."""
    numbers = set()
    for way, of_way in case.ways[kind].items():
        if is_every:
            numbers.update(of_way)
        elif (kind, way) not in met:
            numbers.update(of_way[:2] + of_way[-1:])
        elif kind in CHANGES_FILES:
            numbers.add(of_way[-1])
    return sorted(numbers)


def plan(case, met, is_every):
    """All points at which the case is disturbed: calls that fail (N), that fail from then on (N+), at which it is killed."""
    points, kills = [], []
    for kind in KINDS:
        numbers = chosen(case, kind, met, is_every)
        count = sum(len(of_way) for of_way in case.ways[kind].values())
        for what in KINDS[kind]:
            points += [(kind, "%d:%s" % (number, what)) for number in numbers]
            if count and what != "short":
                points += [(kind, "%d+:%s" % (number, what)) for number in sorted({1, count // 2 + 1})]
        if kind in CHANGES_FILES:
            kills += [(kind, "%d:kill" % number) for number in numbers]
        met.update((kind, way) for way in case.ways[kind])
    return points, kills


def main():
    parser = argparse.ArgumentParser()
    parser.add_argument("build")
    parser.add_argument("--seconds", type=float)
    parser.add_argument("--kills", type=int, default=500)
    parser.add_argument("--only", default="")
    parser.add_argument("--every", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    dice = random.Random(asked.seed)
    work = tempfile.mkdtemp(prefix="tidytake-faults-")
    tally = Tally(asked.seconds is None)
    start = time.monotonic()
    try:
        todo, met = [], set()
        all_cases = list(cases(work, os.path.abspath(asked.build)))
        for case in all_cases:
            points, kills = plan(case, met, asked.every)
            todo += [("%s call fails: %s %s:%s" % (kind, case.name, kind, fault), lambda case=case, kind=kind, fault=fault: case.failing(kind, fault))
                     for kind, fault in points]
            todo += [("killed at a call: %s %s:%s" % (case.name, kind, fault),
                      lambda case=case, kind=kind, fault=fault: case.killed(env={"TIDYTAKE_FAULT": "%s:%s" % (kind, fault)}, program="tests/faults/tidytake"))
                     for kind, fault in kills]
            for _ in range(asked.kills // len(all_cases) + 1):
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
