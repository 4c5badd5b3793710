"""Block by block and all at once is the same meaning; what is in force is what the words before say."""

from dataclasses import replace

import numpy as np
import pytest
from moves.programs import DEG, HEAD, MACHINE, TOOLS, meaning, offsets

from hexpost.machine.load import no_setup, no_tools
from hexpost.machine.wording import DialectWord
from hexpost.moves.model import Switches
from hexpost.moves.trace import trace
from hexpost.program.read import read

EVERY = (1, 10**9)
SETUP = offsets(G54=[0, 0, 50, 0, 0, 0], G55=[100, -50, 20, 0, 0, 90], G56=[0, 0, 80, 4, -3, 0])
PROGRAM = """\
%
O12 (OF EVERYTHING A LITTLE)
G21 G17 G90 G94 G40 G49 G80 G54
T1 M06
S5000 M03
G43 H1
G00 X10 Y0 Z30
G01 Z5 F600
(ON THE LEVEL)
X20
G91 X5 Y5 F700
X5
G90
G02 X40 Y5 I5 J0
G03 X50 Z2 R5
X60 R5
G04 P500
G93 G01 X0 F2
G94
G01 A5 F90
A5
G20 X2 F40
Y1
X1
G21
G55
X0 Y0 Z10
G49
M01
G53 G00 Z0
G56 G43 H2 X5 F100
G01 X7
M30
%
"""


def traced(text, lines=EVERY, tools=TOOLS, setup=SETUP):
    found = []
    program = read(text.encode(), "part.nc", found)
    assert not found
    return list(trace(program, MACHINE, tools, setup, lines))


def by_line(parts):
    """Return what is known of each line: (motion, feed, scale, place, frame, state)."""
    out = {}
    for p in parts:
        for k, line in enumerate(p.lines.tolist()):
            out[line] = (p.motion[k], p.feed[k], p.feed_scale[k], p.place[:, k], p.frame, p.state)
    return out


def test_the_moves_traced_are_the_moves_interpreted():
    parts, whole = traced(PROGRAM), meaning(PROGRAM, tools=TOOLS, setup=SETUP)
    assert np.array_equal(np.concatenate([p.steps.line for p in parts]), whole.moves.line)
    assert np.array_equal(np.concatenate([p.steps.end for p in parts], axis=1), whole.moves.end)
    assert np.array_equal(np.concatenate([p.steps.feed for p in parts]), whole.moves.feed)
    assert np.array_equal(np.concatenate([p.events.line for p in parts]), whole.events.line)
    assert np.array_equal(np.concatenate([p.events.pause for p in parts]), whole.events.pause)


def test_every_block_that_runs_is_traced_once_and_in_order():
    lines = [line for p in traced(PROGRAM) for line in p.lines.tolist()]
    assert lines == list(range(1, PROGRAM.count("\n")))  # all but the last one, which is behind M30


def test_subprograms_are_traced_each_time_they_run():
    text = "G21 G90 G00 X0 Y0\nG01 F100\nM98 P7 L2\nX9\nM30\nO7\nG91 X1\nY2\nG90 M99\n"
    parts = traced(text)
    assert [line for p in parts for line in p.lines.tolist()][:12] == [1, 2, 3, 6, 7, 8, 9, 6, 7, 8, 9, 4]
    places = [tuple(p.place[:2, k]) for p in parts for k, line in enumerate(p.lines.tolist()) if line in (7, 8)]
    assert places == [(1, 0), (1, 2), (2, 2), (2, 4)]
    only = traced(text, (8, 8))
    assert [p.lines.tolist() for p in only] == [[8], [8]]
    assert only[1].place[:2, 0].tolist() == [2, 4]


def test_every_move_of_a_cycle_is_traced_in_its_block():
    text = "G21 G90 G00 X0 Y0 Z20\nG99 G81 X5 Y5 Z-3 R2 F200\nX10\nX15\nG80\nG28 G91 Z0\nG90 G01 X1 F9\nY1\nM30\n"
    parts, whole = traced(text), meaning(text, tools=TOOLS, setup=SETUP)
    assert np.array_equal(np.concatenate([p.steps.line for p in parts]), whole.moves.line)
    np.testing.assert_allclose(np.concatenate([p.steps.end for p in parts], axis=1), whole.moves.end, atol=1e-9)
    found = by_line(parts)
    assert [tuple(np.round(found[k][3][:3], 9)) for k in (2, 3, 4, 5)] == [
        (5, 5, 2),
        (10, 5, 2),
        (15, 5, 2),
        (15, 5, 2),
    ]


def test_blocks_that_are_skipped_are_not_shown():
    found = []
    program = read(b"G21 G90 G01 X0 F9\n/X5\nY1\n", "part.nc", found)
    parts = trace(program, MACHINE, no_tools(), no_setup(), EVERY, switches=Switches(skip=True))
    assert [line for p in parts for line in p.lines.tolist()] == [1, 3]


def test_words_of_a_dialect_are_traced_as_they_are_read():
    row = DialectWord(word="G154", action="same-as", same_as="G55")
    program = read(b"G21 G90 G00 X0\nG154\n", "part.nc", [])
    parts = list(trace(program, replace(MACHINE, dialect=(row,)), no_tools(), SETUP, EVERY))
    assert [p.frame.offset for p in parts][-1] == "G55"


@pytest.mark.parametrize("lines", [(1, 1), (5, 12), (11, 11), (20, 10**9), (34, 34), (900, 950)])
def test_a_part_of_a_program_is_traced_as_in_the_whole(lines):
    whole, part = by_line(traced(PROGRAM)), by_line(traced(PROGRAM, lines))
    assert sorted(part) == [line for line in whole if lines[0] <= line <= lines[1]]
    for line, row in part.items():
        assert row[0] == whole[line][0], line
        assert row[1:3] == pytest.approx(whole[line][1:3], nan_ok=True), line
        np.testing.assert_allclose(row[3], whole[line][3], atol=1e-12, err_msg=f"line {line}")
        assert row[4].offset == whole[line][4].offset


# line: (x, y, z) written by hand from the words above
PLACES = {
    7: (10, 0, 30), 8: (10, 0, 5), 9: (10, 0, 5), 10: (20, 0, 5), 11: (25, 5, 5), 12: (30, 5, 5), 14: (40, 5, 5),
    15: (50, 5, 2), 16: (60, 5, 2), 18: (0, 5, 2), 20: (0, 5, 2), 22: (50.8, 5, 2), 23: (50.8, 25.4, 2),
    24: (25.4, 25.4, 2), 27: (0, 0, 10), 31: (5, None, None), 32: (7, None, None),
}  # fmt: skip


def test_places_are_those_written():
    found = by_line(traced(PROGRAM))
    for line, place in PLACES.items():
        for got, want in zip(found[line][3], place, strict=False):
            assert want is None or got == pytest.approx(want, abs=1e-9), line


def test_a_change_of_offset_shows_the_same_tip_in_the_new_frame():
    found = by_line(traced(PROGRAM))
    # G54: (25.4, 25.4, 2) + (0, 0, 50) on the pallet; G55 turned by 90 degrees about (100, -50, 20), A5 still on
    assert found[26][4].offset == "G55"
    assert found[26][3][:3] == pytest.approx([25.4 + 50, -(25.4 - 100), 52 - 20], abs=1e-9)
    assert found[27][3][3] == pytest.approx(5 * DEG, abs=1e-12)


def test_a_retract_is_seen_in_the_work_frame():
    found = by_line(traced(HEAD + "G00 X0 Y0 Z0\nG53 G00 Z0\n", tools=no_tools(), setup=no_setup()))
    zero, pallet = MACHINE.machine_zero, MACHINE.pallet.pose
    assert found[3][3][2] == pytest.approx(zero[2] + MACHINE.platform.gauge_point[2] * 0 - pallet[2], abs=1e-9)


def test_feeds_in_force_are_the_last_ones_written():
    found = by_line(traced(PROGRAM))
    want = {7: np.nan, 8: 600, 9: 600, 11: 700, 16: 700, 18: np.nan, 19: np.nan, 20: 90, 22: 40, 24: 40, 32: 100}
    for line, feed in want.items():
        assert found[line][1] == pytest.approx(feed, nan_ok=True), line
    assert found[22][2] == 25.4 and found[25][2] == 25.4 and found[31][2] == 1.0


def test_motion_words_in_force():
    found = by_line(traced(PROGRAM))
    line, left, right = "straight line at feed", "arc or helix, counter-clockwise", "arc or helix, clockwise"
    motions = [None, "rapid", line, line, right, left, left, line, "rapid", line]
    assert [found[k][0] for k in (6, 7, 8, 12, 14, 15, 16, 18, 30, 32)] == motions


def test_memory_does_not_grow_with_the_blocks():
    rows = "".join(f"X{i % 50} Y{i % 7}\n" for i in range(30_000))
    found = []
    program = read(f"{HEAD}G01 F500\n{rows}M30\n".encode(), "part.nc", found)
    most = 0
    for part in trace(program, MACHINE, no_tools(), no_setup(), EVERY):
        most = max(most, len(part.lines), part.place.shape[1], len(part.steps.line))
    assert most <= 4096
