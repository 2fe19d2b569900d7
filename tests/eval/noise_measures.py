# SPDX-License-Identifier: GPL-2.0-or-later
"""The figures of eval-noise. STOI, log-spectral distance and third-octaves are those of the evaluation folder (sound.py, score.py)."""
import numpy as np

from noise_rooms import RATE, judged, active_rms, hum_hz

SPECTRUM = 1024                                    # of the kurtosis figure: 21 ms
BINS = slice(int(1000 * SPECTRUM / RATE) + 1, int(8000 * SPECTRUM / RATE) + 1)
HARMONICS = range(2, 7)                            # of the hum: the first lies below what is judged


def segmental_snr(clean, y):
    """20 ms frames whose clean level lies within 25 dB of the 95th percentile; clamped to -10..35 dB; after one least-squares gain."""
    error = clean - y * (clean @ y) / (y @ y)
    size, count = RATE // 50, len(clean) // (RATE // 50)
    level, wrong = (10 * np.log10((x[:count * size].reshape(count, size) ** 2).mean(1) + 1e-15) for x in (clean, error))
    on = level > np.percentile(level, 95) - 25
    return np.clip(level - wrong, -10, 35)[on].mean()


def kurtosis(x, pauses):
    """Of the power in each bin of 1-8 kHz, over the pauses."""
    power = np.array([np.abs(np.fft.rfft(x[i:i + SPECTRUM] * np.hanning(SPECTRUM)))[BINS] ** 2
                      for a, b in pauses for i in range(a, b - SPECTRUM, SPECTRUM // 2)])
    off = power - power.mean(0)
    return (off ** 4).mean(0) / (off ** 2).mean(0) ** 2


def over_neighbours(y, pauses, base_hz):
    """How far the harmonics of the hum stand over the floor beside them, in the pauses, in dB; the highest of them."""
    size = RATE // 2
    power = sum(np.abs(np.fft.rfft(y[i:i + size] * np.hanning(size))) ** 2 for a, b in pauses for i in range(a, b - size + 1, size // 2))
    if np.isscalar(power):
        return float("nan")
    step = RATE // size
    heights = []
    for k in HARMONICS:
        at = base_hz * k // step
        beside = np.r_[power[at - 20 // step:at - 6 // step], power[at + 8 // step:at + 22 // step]]
        heights.append(10 * np.log10(power[at - 1:at + 2].mean() / beside.mean()))
    return float(max(heights))


def measure(tools, take, y):
    """The raw figures of one output, or of the take as it came, as plain numbers."""
    sound, third_octaves = tools
    y = judged(y)
    clean, lines = take.cut(take.clean), take.cut(y)
    octaves, true = third_octaves(lines), third_octaves(clean)
    use = true > true.max() - 35
    change = (octaves - true)[use]
    return {
        "pause": [float(10 * np.log10((np.concatenate([y[a:b] for a, b in part]) ** 2).mean() + 1e-15)) for part in take.parts],
        "kurtosis": [kurtosis(y, part).tolist() for part in take.parts],
        "snr": float(segmental_snr(clean, lines)),
        "distance": sound.log_spectral_distance(clean, lines * active_rms(clean) / active_rms(lines)),
        "stoi": sound.stoi(clean, lines),
        "level": float(20 * np.log10((clean @ lines) / (clean @ clean))),
        "colour": float(np.abs(change - np.median(change)).max()),
        "hum": over_neighbours(y, take.parts[0], hum_hz(take.kind)) if hum_hz(take.kind) else None,
    }


def compare(after, before):
    """The figures of the table: what came out against what went in. Each part of a take whose room changes counts by itself."""
    return {
        "down": [b - a for a, b in zip(after["pause"], before["pause"])],
        "gain": after["snr"] - before["snr"],
        "distance": after["distance"] / before["distance"],
        "stoi_in": before["stoi"], "stoi": after["stoi"], "level": after["level"], "colour": after["colour"],
        "musical": max(float(np.mean(np.log(np.divide(a, b)))) for a, b in zip(after["kurtosis"], before["kurtosis"])),
        "hum_in": before["hum"], "hum": after["hum"],
    }
