"""Begun again at a line, a job drills every hole and calls every tool that is left: counted from how it was written."""

from pathlib import Path

import numpy as np
import pytest

from hexpost.moves.model import FEED_RAPID
from hexpost.pipeline import Files, load
from hexpost.proving import Proving

SAMPLES = Path(__file__).parents[2] / "samples"
HOLES = {"G81 X0 Y0 Z-5 R2 F100": 1, "X10 Y5": 1, "G91 X7 L3": 3, "G90 X0 Y40": 1, "G83 X5 Y9 Z-6 R2 Q2 F90 L0": 0,
         "M98 P7": 4, "M98 P7 L2": 8, "G80": 0, "G82 X-20 Y-20 Z-3 R1 P50 F80": 1, "Y-30 L2": 2, "M98 P8": 9,
         "G99": 0, "G98 X1 Y1": 1, "M01": 0, "G85 X30 Y30 Z-2 R2 F60 L0": 0, "X31": 1, "S900": 0}  # fmt: skip
"""Lines of a main program, and how many holes each drills; O7 and O8 stand behind it."""
SUBPROGRAMS = "O7\nX3 Y3\nX4 Y4\nG91 X5 L2\nG90\nM99\nO8\nX8 Y8\nM98 P7 L2\nM99\n"
HEAD = ("G21 G17 G90 G94", "T1 M06", "S500 M03", "G43 H1 G00 X0 Y0 Z30")
ORDERS = 3


def main(order):
    """Return the lines of a main program: those of ``HOLES`` from one of them on, so that a cycle is in force."""
    lines = list(HOLES)
    starts = [k for k, line in enumerate(lines) if line.startswith("G8") and line != "G80"]
    at = starts[order % len(starts)]
    out = [*HEAD, *lines[at:], *lines[:at], "G80", "G53 G00 Z0", "M30"]
    cycle = False
    kept = []
    for line in out:  # without a cycle in force a line of holes would be a rapid
        cycle = (cycle or line[:2] == "G8") and line != "G80"
        if line in HOLES and HOLES[line] and not cycle:
            kept.append("G81 X0 Y0 Z-5 R2 F100")
            cycle = True
            continue
        kept.append(line)
    return kept


def begun(tmp_path, lines, at=""):
    (tmp_path / "p.nc").write_text("\n".join(lines) + "\n" + SUBPROGRAMS)
    (tmp_path / "t.toml").write_text(
        "".join(f"[[tool]]\nnumber = {n}\nlength_mm = {90 + n}\ndiameter_mm = 8\n" for n in (1, 2, 3))
    )
    return load(Files(program=tmp_path / "p.nc", tools=tmp_path / "t.toml", proving=Proving(from_line=at)))


def drilled(inputs):
    """Return where holes end, in order (x, y, z): the lowest point between two rapids of a run of feed moves down."""
    moves = inputs.meaning.moves
    down = (moves.feed_mode != FEED_RAPID) & (moves.end[2] < moves.start[2] - 1e-9) & (moves.end[2] < 0.0)
    out = []
    for k in np.flatnonzero(down):
        place = tuple(moves.end[:3, k].round(6))
        if out and out[-1][1] == int(moves.line[k]) and out[-1][0][:2] == place[:2] and place[2] < out[-1][0][2]:
            out.pop()  # the next peck of the same hole
        out.append((place, int(moves.line[k])))
    return [place for place, _ in out]


@pytest.mark.parametrize("order", range(ORDERS))
def test_every_hole_from_a_line_on_is_drilled_whatever_the_line_does(order, tmp_path):
    lines = main(order)
    whole = drilled(begun(tmp_path, lines))
    count = [HOLES.get(line, 0) for line in lines]
    assert len(whole) == sum(count)
    tried = 0
    for k, _ in enumerate(lines):
        if not sum(count[k:]):
            continue
        rest = begun(tmp_path, lines, str(k + 1))
        left = drilled(rest)
        assert len(left) == sum(count[k:]), (k + 1, lines[k])
        assert left == whole[len(whole) - len(left) :], (k + 1, lines[k])
        tried += 1
    assert tried >= 15


@pytest.mark.parametrize("line", [10, *range(5, 25)])
def test_a_flange_loses_no_hole_of_what_is_left(line):
    """Three tools' worth of fourteen holes each: centred, drilled, counterbored by three calls in lines 11, 15, 25."""
    files = {"tools": SAMPLES / "tools.toml", "setup": SAMPLES / "setup.toml"}
    rest = load(Files(program=SAMPLES / "flange.nc", proving=Proving(from_line=str(line)), **files))
    calls = [k for k, text in enumerate((SAMPLES / "flange.nc").read_text().split("\n"), 1) if "M98 P0200" in text]
    assert len(drilled(rest)) == 16 * sum(call >= line for call in calls)


CHANGES = ("T2 M06", "T2\nM06", "T2\nS700\nM06", "M05\nT2 M06", "T2 M06 (MILL)", "N7 T2 M06", "T2 G00 X1\nM06")
USES = ("G43 H2 Z40", "G43 H2 G00 X5 Z40", "G49\nG43 H2 Z40")


@pytest.mark.parametrize("change", CHANGES)
@pytest.mark.parametrize("use", USES)
def test_at_a_tool_change_the_tool_is_called_before_it_is_changed_and_no_length_is_found_wrong(change, use, tmp_path):
    from hexpost.pipeline import examine, schedule

    block = [*change.split("\n"), *use.split("\n")]
    lines = [*HEAD, "G01 X10 F500", "G00 Z50", *block, "S800 M03", "G01 X30 F400", "T3", "G53 G00 Z0", "M30"]

    def told(at):
        inputs = begun(tmp_path, lines, at)
        findings = examine(schedule(inputs)).findings
        return inputs.meaning.events, {findings.row(i).limit.name for i in range(findings.count)}

    _, whole = told("")
    assert not whole
    for k in range(len(HEAD) + 2, len(HEAD) + 2 + len(block)):
        events, found = told(str(k + 1))
        assert not found, (k + 1, lines[k], found)
        words = [
            f"{chr(x)}{v:g}" for x, v in zip(events.letter, events.value, strict=True) if chr(x) in "TM" and v != 3
        ]
        changed = words.index("M6")
        assert [w for w in words[:changed] if w[0] == "T"], (k + 1, words)
        later = words[changed:]
        assert ("M6" in later[1:]) == (words.count("M6") == 2)
        called = [w for w in words[: len(words) - later[::-1].index("M6") - 1] if w[0] == "T"]
        assert called[-1] == "T2", (k + 1, words)
