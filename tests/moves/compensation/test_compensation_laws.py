"""What holds for any compensated program: it is refused or continuous, in any windows, and can be converted."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st
from moves.compensation.test_compensation import START, TOOLS
from moves.programs import MACHINE, offsets

from hexpost.feed.plan import plan
from hexpost.moves import interpret as interpreter
from hexpost.moves.interpret import interpret
from hexpost.moves.model import ARC
from hexpost.path.build import build
from hexpost.program.read import read
from hexpost.setpoints.sample import sample

NUMBER = st.integers(-60, 60)
SIZE = st.integers(1, 40)
BLOCK = st.one_of(
    st.builds("G01 X{} Y{}".format, NUMBER, NUMBER),
    st.builds("G91 G01 X{} Y{}\nG90".format, NUMBER, NUMBER),
    st.builds("G91 G02 X{0} Y{0} I{0}\nG90 G01".format, SIZE),
    st.builds("G91 G03 X{0} Y{0} I{0}\nG90 G01".format, SIZE),
    st.builds("G03 I{}\nG01".format, SIZE),
    st.builds("G00 Z{}\nG01".format, NUMBER),
    st.sampled_from(
        ["G41 D1", "G42 D1", "G41 D2", "G40", "G40", "M08", "G04 P10", "G55", "G54", "G53 G00 Z0\nG01", "C20", "C0",
         "G18", "G17", "F300", "G61", "G64", "G93 X0 F2\nG94 F100", "S100", "G41 D0", "T2 M06", "A1", "A0", "D2"]
    ),
)  # fmt: skip


def understood(text, **more):
    found = []
    program = read(text.encode(), "part.nc", found)
    setup = offsets(G54=[0, 0, 60, 0, 0, 0], G55=[7, 3, 60, 0, 0, 30])
    return interpret(program, MACHINE, TOOLS, setup, found), found


@settings(deadline=None, max_examples=70)
@given(blocks=st.lists(BLOCK, min_size=1, max_size=14))
def test_any_program_is_refused_or_continuous(blocks):
    text = START + "G41 D1\n" + "\n".join(blocks) + "\n"
    found, told = understood(text)
    if told:
        assert all(fault.line and fault.code for fault in told)
        return
    moves = found.moves
    arc = moves.kind == ARC
    assert (np.abs(moves.end - moves.start).max(axis=0) > 1e-9)[~arc].all()
    same = moves.frame[1:] == moves.frame[:-1]
    assert np.abs(moves.start[:, 1:] - moves.end[:, :-1])[:, same].max(initial=0.0) < 1e-8
    assert np.isfinite(moves.end).all() and np.isfinite(moves.arcs.turn).all()
    start, end = (x[:3, moves.arcs.move] - moves.arcs.centre for x in (moves.start, moves.end))
    for spoke in (start, end):
        spoke[moves.arcs.axis, np.arange(len(moves.arcs.move))] = 0.0
    sizes = np.linalg.norm(start, axis=0), np.linalg.norm(end, axis=0)
    assert np.abs(sizes[0] - sizes[1]).max(initial=0.0) < 0.021
    assert (np.diff(found.events.move) >= 0).all()
    assert found.events.move.max(initial=-1) < moves.count


@settings(deadline=None, max_examples=40)
@given(blocks=st.lists(BLOCK, min_size=1, max_size=12), window=st.integers(1, 4))
def test_windows_do_not_change_what_is_cut(blocks, window):
    text = START + "G42 D1\n" + "\n".join(blocks) + "\n"
    whole, told = understood(text)
    size = interpreter.WINDOW
    try:
        interpreter.WINDOW = window
        parts, told_again = understood(text)
    finally:
        interpreter.WINDOW = size
    assert [str(f) for f in told] == [str(f) for f in told_again]
    if not told:
        assert np.array_equal(whole.moves.end, parts.moves.end)
        assert np.array_equal(whole.moves.arcs.move, parts.moves.arcs.move)
        assert np.array_equal(whole.events.move, parts.events.move)


def test_a_called_contour_is_its_spelled_out_twin():
    contour = "G41 D1 X0\nY50\nX50\nY0\nX-20\nG40 X-20 Y-20\n"
    called, told = understood(START + "M98 P7 L2\nM30\nO7\n" + contour + "M99\n")
    assert not told
    twin, told = understood(START + contour * 2 + "M30\n")
    assert not told
    assert np.array_equal(called.moves.end, twin.moves.end)


def test_a_compensated_contour_becomes_a_path_and_its_samples():
    text = START + "G41 D1 X0\nY50\nG02 X10 Y60 I10\nG01 X50\nG03 X60 Y70 J10\nG01 Y90\nX20 Y95\nG40 X0 Y120\nM30\n"
    found, told = understood(text)
    assert not told
    path = build(found.moves, MACHINE)
    timing = plan(path, found.moves, found.events, MACHINE)
    tip = np.concatenate([poses.pose[:3] for poses in sample(timing, path, found.moves)], axis=1)
    assert np.abs(np.diff(tip, axis=1)).max() < 2.0
    assert np.allclose(tip[:, -1], [0, 120, 0])
