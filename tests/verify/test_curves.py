"""Jobs whose dense chains are run as smooth curves are proven; what leaves such a curve by more is not."""

import json
from math import cos, pi, sin

import numpy as np
import pytest
from verify.folders import convert, copied, proof
from verify.test_forged import read, write

CHORDS, RADIUS = 2_000, 20.0


def program():
    """Return a circle in short chords of three decimals, coolant on half-way, and a long line behind it."""
    angles = [2 * pi * k / CHORDS for k in range(CHORDS + 1)]
    points = [f"X{RADIUS * cos(a):.3f} Y{RADIUS * sin(a):.3f}" for a in angles]
    rows = [f"G01 {p}" for p in points[1:]]
    rows[CHORDS // 2] += " M08"
    head = [
        "%",
        "O8 (SHORT CHORDS)",
        "G21 G17 G90 G94 G64",
        "T1 M06",
        "G43 H1",
        f"G00 {points[0]} Z60.",
        "G01 Z20. F9000.",
    ]
    return "\n".join([*head, f"G01 {points[0]} Z20. F15000.", *rows, "X60. Y-30.", "G53 G00 Z0.", "M30", "%", ""])


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    return convert(tmp_path_factory.mktemp("curves"), program())


@pytest.fixture
def job(sound, tmp_path):
    return copied(sound, tmp_path)


def test_a_smoothed_job_is_proven_and_says_what_became_of_it(sound):
    assert proof(sound) == (0, {})
    told = json.loads((sound / "report.json").read_text())["smoothed"]
    assert told["curves"] == 1
    assert CHORDS - 2 <= told["moves"] <= CHORDS
    assert 0.0 < told["off_mm"] < 0.01
    assert "joined to 1 smooth curve" in (sound / "report.txt").read_text()


def _bumped(job, size, lines):
    """Push all struts by a smooth bump over the rows of some lines, speeds and accelerations to match."""
    head, table = read(job)
    at = np.flatnonzero(np.isin(table[:, -1], lines))
    t = np.linspace(-1.0, 1.0, len(at))
    q, run = np.clip(1.0 - t * t, 0.0, None), 0.5 * (len(at) - 1) * 1e-3
    values = q**4, -8.0 * t * q**3 / run, (-8.0 * q**3 + 48.0 * t * t * q**2) / run**2
    for k, value in enumerate(values):
        table[at, 1 + 6 * k : 7 + 6 * k] += size * value[:, None]
    write(job, head, table)


def test_a_bump_inside_a_chain_is_found(job):
    _bumped(job, 0.02, range(300, 1_700))
    code, faults = proof(job)
    assert code == 2
    assert "path" in faults


def test_rows_that_run_ahead_on_a_chain_are_found(job):
    """The lines of the rows are those of later moves: each row is near the curve, and not on its move."""
    head, table = read(job)
    line = table[:, -1]
    inside = (line > 300) & (line < 1_700)
    table[inside, -1] += 20
    write(job, head, table)
    code, faults = proof(job)
    assert code == 2
    assert "path" in faults
