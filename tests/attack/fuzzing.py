"""Coverage-guided fuzzing, round after round, each in a process of its own that goes on from the corpus."""

import importlib.util
import subprocess
import sys
from functools import partial
from pathlib import Path

from attack.guided import HANG_S, SLOT
from attack.model import Outcome
from attack.targets import TARGETS

ROUND_S = 60


def available():
    """Return whether the fuzzer is installed (``pip install hexpost[bench]``)."""
    return importlib.util.find_spec("atheris") is not None


def guided(target, rng, place, seconds=ROUND_S):
    """Fuzz one reader for a round."""
    folder = place / f"guided-{target}"
    folder.mkdir(exist_ok=True)
    before = _counts(folder)
    script = Path(__file__).with_name("guided.py")
    command = [sys.executable, script, target, folder, seconds, rng.randrange(1, 1 << 31)]
    done = subprocess.Popen([str(c) for c in command], stdout=subprocess.PIPE, stderr=subprocess.STDOUT)
    try:
        said = done.communicate(timeout=seconds + 4 * HANG_S)[0].decode("utf-8", "replace")
    except subprocess.TimeoutExpired:
        done.kill()
        said = done.communicate()[0].decode("utf-8", "replace") + "hang beyond the round"
    tried, clean, refused = (a - b for a, b in zip(_counts(folder), before, strict=True))
    reached = len(list((folder / "corpus").iterdir())) if (folder / "corpus").exists() else 0
    outcome = Outcome(
        tried=tried, clean=clean, refused=refused, note=f"{reached:,} inputs each reach code of their own"
    )
    outcome.slowest_s = float(_stat(said, "slowest_unit_time_sec") or 0)
    if done.returncode:
        texts = sorted((folder / "found").glob("*"), key=lambda f: f.stat().st_mtime)
        data = repr(texts[-1].read_bytes()[:2000]) if texts else "no input kept"
        told = said.split("=== Uncaught Python exception: ===")[-1].split("==")[0][-700:]
        outcome.lost.append(f"{told.strip()} from {data}")
    elif not tried:
        outcome.lost.append(f"the fuzzer did not run: {said[-500:]}")
    return outcome


def _counts(folder):
    path = folder / "counts"
    return SLOT.unpack(path.read_bytes()) if path.exists() else (0, 0, 0)


def _stat(said, name):
    lines = [x.split()[-1] for x in said.splitlines() if x.startswith(f"stat::{name}:")]
    return lines[-1] if lines else None


KINDS = {f"guided fuzzing: {name}": partial(guided, name) for name in TARGETS}
