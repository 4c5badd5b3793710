"""Stop the process at random moments: what stands under a final name must be whole."""

import os
import signal
import tempfile
import time
from functools import cache, partial
from pathlib import Path

from attack.jobs import SAMPLES, content, end, start
from attack.jobs import partial as unfinished
from attack.model import Outcome

FILES = ("--tools", SAMPLES / "tools.toml", "--setup", SAMPLES / "setup.toml")
PROGRAM = SAMPLES / "frustum.nc"
INTERRUPTED = (130, -signal.SIGINT)


@cache
def whole():
    """Return the files of an undisturbed run, and how long it took in s."""
    with tempfile.TemporaryDirectory() as place:
        begin = time.monotonic()
        end(_start(Path(place, "job")))
        return content(Path(place, "job")), time.monotonic() - begin


def _start(folder, *more):
    return start("convert", PROGRAM, *FILES, "--out", folder, *more)


def stopped(number, rng, place):
    """Stop a run at a random moment with a signal; now and then convert into the same folder again."""
    files, last = whole()
    folder = place / "job"
    process = _start(folder)
    time.sleep(rng.uniform(0.0, 1.1 * last))
    os.kill(process.pid, number)
    code, said, wrong = end(process)
    left = content(folder)
    outcome = Outcome(lost=unfinished(folder, files))
    outcome.clean, outcome.refused = int(code == 0), int(code != 0)
    if number == signal.SIGINT and left not in ({}, files):
        outcome.lost.append(f"an interrupted run left {sorted(left)}")
    if number == signal.SIGINT and (code in INTERRUPTED or "init_import_site" in said):
        if "/hexpost/" in said:  # what interrupts the interpreter before the first line of hexpost is its own to tell
            outcome.lost.append(f"traceback: {said[-600:]}")
    elif code != -number:
        outcome.lost += wrong
    if rng.random() < 0.2:
        code, said, wrong = end(_start(folder, "--overwrite"))
        outcome.lost += wrong
        if content(folder) != files:
            outcome.wrong.append(f"the run after it made other files: {said[-300:]}")
    return outcome


def kills(count=200):
    """Return how many of ``count`` killed runs left a partial file, or a manifest without its files (a bench)."""
    import random

    rng, bad, finished = random.Random(6), 0, 0
    for _ in range(count):
        with tempfile.TemporaryDirectory() as place:
            outcome = stopped(signal.SIGKILL, rng, Path(place))
        bad += bool(outcome.lost or outcome.wrong)
        finished += outcome.clean
    return {"ratio": float(bad), "trials": count, "with_manifest": finished, "without_manifest": count - finished}


KINDS = {"SIGKILL": partial(stopped, signal.SIGKILL), "SIGINT": partial(stopped, signal.SIGINT),
         "SIGTERM": partial(stopped, signal.SIGTERM)}  # fmt: skip
