#!/usr/bin/python3
# SPDX-License-Identifier: GPL-2.0-or-later
"""The same takes by programs whose loops are as wide as the processor, half as wide, and not wide at all: the same decisions, and voices that differ by rounding at most.

usage: paths.py MAKE_TAKE BUILD_FOLDER...
MAKE_TAKE is tests/bench/bench, which makes takes; the first BUILD_FOLDER's program is what the others are held against. The last one also runs with a C library that
is told of an old processor. FFTW cannot be told: it chooses its codelets by the processor that is there."""
import json
import os
import subprocess
import sys
import tempfile

import numpy
import soundfile

FIXTURES = os.path.join(os.path.dirname(__file__), "../../fixtures")
MOST_DIFFERENCE_DB = -110.0  # some 25 steps of 24 bits; the loops themselves give the same bits
OLD_PROCESSOR = {"GLIBC_TUNABLES": "glibc.cpu.hwcaps=-AVX2,-AVX512F,-AVX512VL,-FMA,-ERMS"}
MADE_TAKES = [(60, 48000, 1), (40, 44100, 2), (40, 16000, 1)]  # seconds, rate, channels


def run(program, session, out, environment):
    subprocess.run([program, "clean", session, "-o", out, "-q", "--set", "report.pictures=no"], check=True, stdout=subprocess.DEVNULL,
                   env={**os.environ, "XDG_CONFIG_HOME": out, **environment})


def names(out, folder, ending):
    return sorted(name for name in os.listdir(os.path.join(out, folder)) if name.endswith(ending))


def decisions(out):
    """All that says what is cut and where: sheets, and by take what is reported of it but for its levels."""
    found = {}
    for name in names(out, "sheets", ".csv"):
        with open(os.path.join(out, "sheets", name), "rb") as file:
            found[name] = file.read()
    for name in names(out, "report", ".json"):
        with open(os.path.join(out, "report", name), encoding="utf-8") as file:
            report = json.load(file)
        found[name] = json.dumps([report["time_map"], report["removed"], [w["code"] for w in report["warnings"]]])
    return found


def difference_db(out, other):
    most = 0.0
    for name in names(out, "voice", ".wav"):
        here, there = (soundfile.read(os.path.join(folder, "voice", name))[0] for folder in (out, other))
        if here.shape != there.shape:
            return numpy.inf
        most = max(most, float(numpy.abs(here - there).max()))
    return 20 * numpy.log10(most) if most > 0 else -numpy.inf


def compare(wanted, got, name):
    """Complaints; says what was found."""
    known, found = decisions(wanted), decisions(got)
    complaints = [f"{name}: {key} is another" for key in sorted(known.keys() | found.keys()) if known.get(key) != found.get(key)]
    difference = difference_db(wanted, got)
    print(f"  {name:42} {len(found)} sheets and reports {'alike' if not complaints else 'NOT alike'}, voices",
          "the same" if difference == -numpy.inf else f"within {difference:.0f} dB")
    if difference > MOST_DIFFERENCE_DB:
        complaints.append(f"{name}: voices differ by up to {difference:.1f} dB re full scale")
    return complaints


def main(make_take, builds):
    complaints = []
    with tempfile.TemporaryDirectory(prefix="tidytake-paths-") as work:
        made = os.path.join(work, "made")
        os.mkdir(made)
        for i, (seconds, rate_hz, channels) in enumerate(MADE_TAKES):
            subprocess.run([make_take, "make", os.path.join(made, f"{i + 1:02}.wav"), str(seconds), str(rate_hz), str(channels), str(i + 3)], check=True)
        for session in (os.path.join(FIXTURES, "session"), made):
            outs = {}
            for build, environment in [(build, {}) for build in builds] + [(builds[-1], OLD_PROCESSOR)]:
                key = os.path.basename(build) + (", an old processor's C library" if environment else "")
                outs[key] = os.path.join(work, f"{os.path.basename(session)}-{len(outs)}")
                run(os.path.join(build, "tidytake"), session, outs[key], environment)
            first = next(iter(outs))
            print(f"{os.path.basename(session)}, against {first}:")
            for key in list(outs)[1:]:
                complaints += compare(outs[first], outs[key], key)
    for complaint in complaints:
        print(complaint, file=sys.stderr)
    return 1 if complaints else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1], sys.argv[2:]))
