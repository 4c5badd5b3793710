"""A small library of programs, machines and workers that misbehave; workers import this module by its name."""

import os
import signal
import time
from pathlib import Path
from threading import Timer

from hexpost.library.check import check
from hexpost.library.deadline import deadline
from hexpost.library.model import Record
from hexpost.library.records import to_bytes

ROOT = Path(__file__).parent.parent.parent
DEMONSTRATION = (ROOT / "hexpost/machine/demonstration.toml").read_text()

CLEAN = "G21 M03 S900\nG90\nG00 X0 Y0 Z300\nG01 X50 F3000\nY20\nM30\n"
FAST = "G21 M03 S900\nG90 G61\nG00 X0 Y0 Z300\nN10 G01 X100 F30000\nN20 Y100 F3000\nN30 G01 X0 F30000\nM30\n"
"""Lines 4 and 6 ask for 500 mm/s of the tip: too much for SLOW_STRUTS, little for the demonstration machine."""

MISTAKEN = "G21\nG90\nG01 X1 F100\n  Q77 X2\nM30\n"


def slow_struts(speed_mm_s=250):
    """Return the text of a machine whose struts are slow."""
    text = DEMONSTRATION.replace("speed_mm_s = 1300", f"speed_mm_s = {speed_mm_s}")
    assert text.count(f"speed_mm_s = {speed_mm_s}") == 6
    return text.replace('revision = "1"', 'revision = "slow"')


def write(folder, **programs):
    """Write programs ``a__b="..."`` as ``a/b.nc``; return their paths in order."""
    out = []
    for name, text in programs.items():
        path = folder / (name.replace("__", "/") + ".nc")
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text)
        out.append(str(path))
    return sorted(out)


def die_on_5(x):
    """Kill the process on 5, return the square of anything else."""
    if x == 5:
        os._exit(9)
    return x * x


def raise_on_5(x):
    """Raise on 5, return the square of anything else."""
    if x == 5:
        raise ValueError(f"no {x}")
    return x * x


def refuse(error, _):
    """Raise what was handed on."""
    raise error


def slow_first(x):
    """Take longest for 0, so that results come out of order."""
    time.sleep(0.3 if x == 0 else 0.0)
    return x


def deaf_on_5(x):
    """Hear no alarm on 5, as deep in compiled code: only the watchdog ends it."""
    with deadline(0.1, grace=0.1):
        if x == 5:
            signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGALRM])
            time.sleep(30)
    return x


def hog_on_5(x):
    """Ask for a gigabyte on 5."""
    return len(bytearray(1 << 30)) if x == 5 else x


def killer_check(task):
    """Check a program, or die over one called ``killer``."""
    if "killer" in task.name:
        os._exit(9)
    return check(task)


def forbidden_check(task):
    """Refuse to compute: everything must come from the cache."""
    raise AssertionError(f"computed {task.name}")


def large(_):
    """Return what takes long to send."""
    return bytes(1 << 26)


def sizeable(_):
    """Return what takes many writes to send."""
    return bytes(1 << 22)


def die_while_sending_5(x):
    """Return what takes long to send; on 5 the process dies when a part of it is sent."""
    if x == 5:
        Timer(0.1, os._exit, (9,)).start()
        return bytes(1 << 28)
    return x


def fake_check(task):
    """Return an empty record at once."""
    return "", to_bytes(Record())
