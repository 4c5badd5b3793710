"""A small library of programs, machines and checks that misbehave; workers import this module by its name."""

import os
from pathlib import Path

from hexpost.library.check import check
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


def stocked(folder, **programs):
    """Return the folder with programs, named as in ``write``, and the machine whose struts are slow."""
    (folder / "slow.toml").write_text(slow_struts())
    write(folder, **programs)
    return folder


def killer_check(task):
    """Check a program, or die over one called ``killer``."""
    if "killer" in task.name:
        os._exit(9)
    return check(task)


def forbidden_check(task):
    """Refuse to compute: everything must come from the cache."""
    raise AssertionError(f"computed {task.name}")


def fake_check(task):
    """Return an empty record at once."""
    return "", to_bytes(Record())
