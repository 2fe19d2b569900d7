# SPDX-License-Identifier: GPL-2.0-or-later
"""What eval-noise compares: the program as a user runs it, two libraries, an oracle that knows the noise, and doing nothing."""
import json
import os
import shutil
import subprocess

import numpy as np
import soundfile as sf
from scipy import fft
from scipy.ndimage import uniform_filter1d
from scipy.signal import oaconvolve
from scipy.special import exp1

from noise_rooms import RATE, HUM

DEPTH_DB = 15
LIBRARIES = {"speexdsp -15": ("speex", "-15"), "speexdsp -25": ("speex", "-25"),
             "webrtc moderate": ("webrtc", "moderate"), "webrtc high": ("webrtc", "high")}
SIZE, HOP = 1024, 256
WINDOW = np.sin(np.pi * (np.arange(SIZE) + 0.5) / SIZE).astype(np.float32)


def tidytake(take, program, folder):
    """The take cleaned at its full length with nothing cut, its loudness gain taken back."""
    shutil.rmtree(folder, ignore_errors=True)
    os.makedirs(os.path.join(folder, "take"))
    sf.write(os.path.join(folder, "take", "01.wav"), take.take, RATE, subtype="PCM_24")
    settings = ["deliver.whole=yes", "deliver.bits=32f", "misreads.action=off", "misreads.talk=off", "breaths.soften_db=0", "report.page=no",
                "loudness.across=take", f"gate.depth_db={DEPTH_DB}", "gate.hum=" + ("auto" if take.kind in HUM else "off")]
    command = [program, "clean", os.path.join(folder, "take"), "--out", os.path.join(folder, "out"), "--for", "mix", "--jobs", "1", "--quiet"]
    subprocess.run(command + [w for s in settings for w in ("--set", s)], check=True, stderr=subprocess.DEVNULL)
    with open(os.path.join(folder, "out", "report", "01.json"), encoding="utf-8") as file:
        report = json.load(file)
    y, _ = sf.read(os.path.join(folder, "out", "whole", "01.wav"), dtype="float64")
    shutil.rmtree(folder, ignore_errors=True)
    if len(y) != take.count or report["limited_db"]:
        raise RuntimeError(f"the whole take has {len(y)} samples in place of {take.count}, or was limited")
    return y * 10 ** (-report["gain_db"] / 20)


def library(take, helper, words):
    x = take.take.astype(np.float32)
    out = subprocess.run([helper, *words], input=x.tobytes(), stdout=subprocess.PIPE, check=True).stdout
    y = np.frombuffer(out, np.float32).astype(float)
    return advanced(y, delay(take.take, y), take.count)


def delay(x, y, most=4800, look=1 << 18):
    """By how many samples y lies behind x, to a fraction: the top of the cross-correlation, a parabola through its neighbours."""
    size = fft.next_fast_len(look + most, real=True)
    x, y = (z[:look].astype(np.float32) for z in (x, y))
    c = fft.irfft(fft.rfft(y, size) * np.conj(fft.rfft(x, size)), size)[:most].astype(float)
    at = int(np.clip(np.argmax(c), 1, most - 2))
    before, top, after = c[at - 1:at + 2]
    return at + 0.5 * (before - after) / (before - 2 * top + after)


def advanced(y, by, count, reach=64):
    """y earlier by so many samples: whole ones by moving it, the rest by a windowed sinc."""
    whole = int(round(by))
    if abs(by - whole) < 0.01:
        return np.pad(y[whole:], (0, count))[:count]
    taps = np.arange(-reach, reach + 1)
    sinc = np.sinc(taps + by - whole) * np.kaiser(2 * reach + 1, 9)
    return oaconvolve(np.pad(y[whole:], (0, count)), sinc, "full")[reach:reach + count]


def stft(x):
    padded = np.concatenate([np.zeros(SIZE), x, np.zeros(SIZE)]).astype(np.float32)
    frames = np.lib.stride_tricks.sliding_window_view(padded, SIZE)[::HOP]
    return fft.rfft(frames * WINDOW)


def inverse(spectra, count):
    frames = fft.irfft(spectra) * WINDOW / 2      # a squared sine at a quarter's hop adds up to 2
    out = np.zeros((len(frames) + 3) * HOP)
    for j in range(4):
        part = frames[:, j * HOP:(j + 1) * HOP].ravel()
        out[j * HOP:j * HOP + len(part)] += part
    return out[SIZE:SIZE + count]


def oracle(take, alpha=0.98, least=10 ** -2.5):
    """Log-spectral amplitude gain with decision-directed SNR (Ephraim and Malah 1984, 1985: alpha 0.98; SNR down to -25 dB, common practice),
    under the power of the true noise in each bin, a tenth of a second of it at a time; the gain is floored at the same depth."""
    spectra = stft(take.take)
    noise = np.abs(stft(take.noise)) ** 2
    for _ in range(2):
        noise = uniform_filter1d(noise, 11, axis=0)
    posterior = np.clip(np.abs(spectra) ** 2 / (noise + 1e-20), 1e-6, 1e8)
    floor, before = 10 ** (-DEPTH_DB / 20), np.zeros(posterior.shape[1], np.float32)
    for t, g in enumerate(posterior):
        prior = np.maximum(alpha * before + (1 - alpha) * np.maximum(g - 1, 0), least)
        share = prior / (1 + prior)
        gain = np.minimum(share * np.exp(0.5 * exp1(np.maximum(share * g, 1e-9))), 1)
        before = gain ** 2 * g
        spectra[t] *= np.maximum(gain, floor)
    return inverse(spectra, take.count)
