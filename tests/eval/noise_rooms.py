# SPDX-License-Identifier: GPL-2.0-or-later
"""The takes of eval-noise: speech of make_sessions.py without a room, and rooms made here, so that the noise is known to the sample."""
import json
import os
import subprocess
import sys
import zlib

import numpy as np
import soundfile as sf
from scipy import fft
from scipy.signal import butter, sosfilt, sosfiltfilt

RATE = 48000
GUARD_S = 0.12            # beside whatever is said, which is no pause yet (as score.py has it)
SETTLED_S = 2.0           # a room that changed is judged from here on (goal)
STEP_DB = 8.0             # by which the room changes in mid-take
DRIFT_DB, DRIFT_EVERY_S = 1.5, 4.0   # the slow drift that make_sessions.py gives its rooms
RUMBLE_HZ = 60            # below it made noise rises no further: microphones do not either
BAND = butter(4, 100, "high", fs=RATE, output="sos")   # what is judged: the program's rumble filter has no part in it
LEVEL_DB = -26            # of speech, as make_sessions.py has it
STEADY, HUM, CHANGING = ("pink", "brown", "fan"), ("hum 50", "hum 60"), ("louder", "quieter")


def judged(x):
    """What is compared: the sound above 100 Hz, without a shift in time."""
    return sosfiltfilt(BAND, x)


def speech(tools, phrases, breaths, lines, seed, out):
    """The take as make_sessions.py builds it with a room that is not there; made once. (speech, lines alone, events)"""
    if not os.path.isdir(out):
        command = [sys.executable, os.path.join(tools, "make_sessions.py"), "--phrases", phrases, "--out", out + ".part", "--takes", "1", "--lines",
                   str(lines), "--seed", str(seed), "--snr", "200", "--hum", "0", "--misreads", "0", "--level", str(LEVEL_DB)]
        subprocess.run(command + (["--breaths", breaths] if breaths else []), check=True)
        os.rename(out + ".part", out)
    take, _ = sf.read(os.path.join(out, "01.wav"), dtype="float64")
    clean, _ = sf.read(os.path.join(out, "truth", "01.clean.wav"), dtype="float64")
    with open(os.path.join(out, "truth", "01.json"), encoding="utf-8") as file:
        return take, clean, json.load(file)["events"]


def shaped(count, rng, slope):
    """Noise of RMS 1 whose power falls with the frequency to the power of slope."""
    size = fft.next_fast_len(count, real=True)
    shape = np.maximum(fft.rfftfreq(size, 1 / RATE), RUMBLE_HZ) ** (-slope / 2)
    x = fft.irfft(fft.rfft(rng.standard_normal(size)) * shape, size)[:count]
    return x / np.sqrt((x ** 2).mean())


def drifting(x, rng):
    knots = max(2, len(x) // int(RATE * DRIFT_EVERY_S))
    return x * 10 ** (np.interp(np.arange(len(x)), np.linspace(0, len(x), knots), rng.uniform(-DRIFT_DB, DRIFT_DB, knots)) / 20)


def room(kind, count, rng):
    """Room noise of one of the kinds, of any level."""
    if kind == "brown":
        return drifting(shaped(count, rng, 2.0), rng)
    x = shaped(count, rng, 1.0)
    if kind in CHANGING:
        gain = 10 ** (STEP_DB / 20)
        ramp = np.clip((np.arange(count) - count // 2) / (0.1 * RATE), 0, 1)   # a fan comes on within a tenth of a second
        return x * (gain ** ramp if kind == "louder" else gain ** (1 - ramp))
    x = drifting(x, rng)
    if kind == "fan":      # the broad hump of make_sessions.py, as loud as the rest of the room
        hump = sosfilt(butter(2, [180, 900], "band", fs=RATE, output="sos"), rng.standard_normal(count))
        return x + hump / np.sqrt((hump ** 2).mean())
    if kind in HUM:        # make_sessions.py --hum-db 12: six harmonics, each 4 dB under the one before, together 12 dB over the room
        t = 2 * np.pi * hum_hz(kind) * np.arange(count) / RATE
        hum = sum(10 ** (-4.0 * k / 20) * np.sin((k + 1) * t + rng.uniform(0, 6.28)) for k in range(6))
        return x + hum / np.sqrt((hum ** 2).mean()) * 10 ** (12 / 20)
    return x


def hum_hz(kind):
    return int(kind.split()[1]) if kind in HUM else 0


class Take:
    """One cell of the table: speech in a room, and where what is."""

    def __init__(self, source, kind, snr_db, seed):
        spoken, clean, events = source
        rng = np.random.default_rng([seed, zlib.crc32(kind.encode())])
        self.kind, self.snr_db, self.count = kind, snr_db, len(spoken)
        noise = room(kind, self.count, rng)
        self.lines = [self.samples(e) for e in events if e["kind"] == "line"]
        # A room that changes has its SNR where it is louder.
        half = self.count // 2
        loud = {"louder": slice(half, None), "quieter": slice(0, half)}.get(kind, slice(None))
        is_pause = np.ones(self.count, bool)
        for e in events:
            a, b = self.samples(e, GUARD_S)
            is_pause[a:b] = False
        level = np.sqrt((judged(noise)[loud] ** 2).mean())
        self.clean = judged(clean)
        self.noise = noise * active_rms(self.cut(self.clean)) / level * 10 ** (-snr_db / 20)
        self.take = spoken + self.noise
        peak = np.abs(self.take).max()
        if peak > 0.9:     # never clipped
            self.take, self.noise, self.clean = (x * 0.9 / peak for x in (self.take, self.noise, self.clean))
        if kind in CHANGING:   # what lies within two seconds after the change is not judged
            end = half + int(SETTLED_S * RATE)
            self.lines = [(a, b) for a, b in self.lines if b <= half or a >= end]
            is_pause[half:end] = False
        edges = np.flatnonzero(np.diff(np.r_[0, is_pause.astype(np.int8), 0]))
        pauses = [(a, b) for a, b in zip(edges[::2], edges[1::2]) if b - a > RATE // 50]
        # Parts in which the room is one: pause noise is judged in each.
        self.parts = [p for p in ([s for s in pauses if s[1] <= half], [s for s in pauses if s[0] >= half]) if p] if kind in CHANGING else [pauses]

    def samples(self, event, guard_s=0.0):
        return max(0, int((event["start_s"] - guard_s) * RATE)), min(self.count, int((event["end_s"] + guard_s) * RATE))

    def cut(self, x):
        """The lines of it, one after the other."""
        return np.concatenate([x[a:b] for a, b in self.lines])


def active_rms(x):
    """RMS over the 10 ms frames within 25 dB of the loudest (sound.py: active_rms)."""
    p = (x[:len(x) // 480 * 480].reshape(-1, 480) ** 2).mean(1)
    return np.sqrt(p[p > p.max() * 10 ** -2.5].mean())
