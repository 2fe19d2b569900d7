# SPDX-License-Identifier: GPL-2.0-or-later
"""Labelled sessions for the evaluations: which recorded voices are there, and a session made of one."""
import os
import subprocess
import sys

HERE = os.path.dirname(os.path.abspath(__file__))


def add_places(parser):
    parser.add_argument("--program", required=True)
    parser.add_argument("--work", required=True)
    shared = os.environ.get("TIDYTAKE_SHARED", "../shared")
    parser.add_argument("--eval", default=os.path.join(shared, "eval"))
    parser.add_argument("--data", default=os.path.join(shared, "data"))
    parser.add_argument("--seed", type=int, default=1)


def voices_in(a):
    """{voice: its phrases}; true re-readings first, then what prompts can be decoded."""
    found = {}
    if os.path.isdir(os.path.join(a.data, "reread")):
        found["re-read"] = os.path.join(a.data, "reread")
    for language in ("en", "fr"):
        folder = os.path.join(a.work, "voice-" + language)
        if subprocess.call([os.path.join(HERE, "decode_prompts"), language, folder]) == 0:
            found["prompts " + language] = folder
    return found


def make_session(a, session, phrases, snr, seed, options):
    subprocess.check_call([sys.executable, os.path.join(a.eval, "make_sessions.py"), "--phrases", phrases, "--out", session, "--seed", str(seed),
                           "--snr", str(snr), *options], stdout=subprocess.DEVNULL)
