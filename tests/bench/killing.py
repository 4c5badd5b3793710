"""Kill the process at random moments while it writes a job: what stands under a final name must be whole."""

import json
import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

SAMPLES = Path(__file__).parent.parent.parent / "samples"
TRIALS = 200


def _start(folder):
    files = ("--tools", SAMPLES / "tools.toml", "--setup", SAMPLES / "setup.toml", "--out", folder)
    command = [sys.executable, "-m", "hexpost", "convert", SAMPLES / "frustum.nc", *files]
    return subprocess.Popen([str(c) for c in command], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)


def _content(folder):
    """Return the files under final names: no part and no mark of an unfinished job is one."""
    files = (f for f in folder.rglob("*") if f.is_file() and not f.name.startswith("."))
    return {f.relative_to(folder).as_posix(): f.read_bytes() for f in files}


def kills():
    """Return how many of the trials left a partial file, or a manifest without its files; the moments are random."""
    moments = random.Random(6)
    with tempfile.TemporaryDirectory() as place:
        begin = time.perf_counter()
        _start(Path(place, "whole")).wait()
        last = 1.1 * (time.perf_counter() - begin)
        whole = _content(Path(place, "whole"))
        bad, finished, unfinished = 0, 0, 0
        for i in range(TRIALS):
            folder = Path(place, f"job{i}")
            process = _start(folder)
            time.sleep(moments.uniform(0.2 * last, last))
            process.kill()
            process.wait()
            left = _content(folder) if folder.exists() else {}
            listed = json.loads(left["manifest.json"])["files"] if "manifest.json" in left else {}
            bad += any(data != whole.get(name) for name, data in left.items()) or not set(listed) <= set(left)
            finished += bool(listed)
            unfinished += bool(left) and not listed
    return {"ratio": float(bad), "trials": TRIALS, "with_manifest": finished, "without_manifest": unfinished}
