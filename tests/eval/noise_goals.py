# SPDX-License-Identifier: GPL-2.0-or-later
"""What the figures of eval-noise should be, and whether they are. Goals of the project; no standard sets any of them."""
from noise_methods import DEPTH_DB, LIBRARIES
from noise_rooms import CHANGING, HUM, STEADY

ROOMS = (("steady rooms", STEADY), ("hum", HUM), ("changing rooms", CHANGING))


def best(figures, name):
    return max(figures[library][name] for library in LIBRARIES)


def ours(name):
    return lambda f: f["tidytake"][name]


# What is asked in every kind of room: (goal, SNRs, figure, how far it is inside: negative is outside).
EVERYWHERE = [
    ("segmental SNR gain at %d dB >= the better library's + 0.8 dB", (10, 20, 30), lambda f: f["tidytake"]["gain"] - best(f, "gain"), lambda x: x - 0.8),
    ("segmental SNR gain at %d dB >= the oracle's - 0.4 dB", (10, 20, 30), lambda f: f["tidytake"]["gain"] - f["oracle"]["gain"], lambda x: x + 0.4),
    ("log-spectral distance at %d dB, out / in <= 0.72", (20,), ours("distance"), lambda x: 0.72 - x),
    ("log-spectral distance at %d dB, out / in <= 0.86", (30,), ours("distance"), lambda x: 0.86 - x),
    ("log-spectral distance at %d dB under the oracle's", (20, 30), lambda f: f["tidytake"]["distance"] - f["oracle"]["distance"], lambda x: -x),
    ("STOI at %d dB above the take's", (10, 20, 30), lambda f: f["tidytake"]["stoi"] - f["tidytake"]["stoi_in"], lambda x: x),
    ("STOI at %d dB above the better library's", (10, 20, 30), lambda f: f["tidytake"]["stoi"] - best(f, "stoi"), lambda x: x),
    ("voice level at %d dB within 0.1 dB", (10, 20, 30, 40), ours("level"), lambda x: 0.1 - abs(x)),
    ("largest third-octave change at %d dB <= 0.5 dB", (30, 40), ours("colour"), lambda x: 0.5 - x),
    ("musical figure at %d dB <= 0.25", (10, 20, 30, 40, 50), ours("musical"), lambda x: 0.25 - x),
]
# Noise out of pauses: hum goes by itself, and further down.
NO_HUM = [(f"noise in pauses at %d dB down by {DEPTH_DB} +- 1.5 dB", (10, 20, 30, 40, 50),
           lambda f: max(f["tidytake"]["down"], key=lambda x: abs(x - DEPTH_DB)), lambda x: 1.5 - abs(x - DEPTH_DB))]
ONLY_HUM = [("harmonics at %d dB within 3 dB of the floor beside them", (10, 20, 30, 40), ours("hum"), lambda x: 3 - x)]
NEAR_CLEAN = [
    ("near-clean take, %d dB: segmental SNR change >= -0.1 dB", (50, 60), ours("gain"), lambda x: x + 0.1),
    ("near-clean take, %d dB: STOI >= 0.9995", (50, 60), ours("stoi"), lambda x: x - 0.9995),
    ("near-clean take, %d dB: largest third-octave change <= 0.3 dB", (60,), ours("colour"), lambda x: 0.3 - x),
]


def one(label, kinds, goal, snr, done):
    """Whether a goal holds in all of its cells; None where there are none."""
    text, _, figure, inside = goal
    values = {place: figure(f) for place, f in done.items() if place[1] in kinds and place[2] == snr}
    if not values:
        return None
    # By which much a figure of the table's digits may miss: none.
    bad = sum(not inside(x) >= 0 for x in values.values())
    worst = min(values, key=lambda place: inside(values[place]))
    where = "%s %s" % (worst[0], worst[1])
    verdict = "holds (worst %.4g: %s)" if not bad else f"does not hold in {bad} of {len(values)} cells (worst %.4g: %s)"
    print(("%-16s %-64s " + verdict) % (label, text % snr, values[worst], where))
    return not bad


def judge(done):
    """Prints the goals; the exit status."""
    print()
    verdicts = []
    for label, kinds in ROOMS:
        goals = EVERYWHERE + (ONLY_HUM if kinds is HUM else NO_HUM) + (NEAR_CLEAN if kinds is STEADY else [])
        verdicts += [one(label, kinds, goal, snr, done) for goal in goals for snr in goal[1]]
    passed, failed = verdicts.count(True), verdicts.count(False)
    print(f"\n{passed} passed, {failed} failed")
    return 1 if failed or not passed else 0
