"""Programs posted for machines with rotary axes, and orientation along great circles, against scipy's rotations."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from moves.programs import DEG, HEAD, MACHINE, TOOLS, faults, meaning, offsets, reading, same
from scipy.spatial.transform import Rotation, Slerp

from hexpost.errors import InputError
from hexpost.kinematics.frames import rotation
from hexpost.machine.load import DEMONSTRATION, machine_from
from hexpost.machine.wording import ProgrammedAxes, RotaryAxis
from hexpost.moves.frames.chain import AxisChain
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID

UNIT = {"A": (1.0, 0, 0), "B": (0, 1.0, 0), "C": (0, 0, 1.0)}
START = HEAD + "G00 X10 Y0 Z50\nG01 F600\n"


def axis(word, carries, centre=(0, 0, 0), sense=1, direction=None):
    d = np.array(direction or UNIT[word], dtype=float)
    return RotaryAxis(
        word=word, carries=carries, direction=d / np.linalg.norm(d), sense=sense, centre=np.array(centre, dtype=float)
    )


def posted(*axes, tip=True):
    return replace(MACHINE, programmed_axes=ProgrammedAxes(axes=axes, tip=tip))


TRUNNION = (axis("A", "table", (0, 0, -40)), axis("C", "table", (5, 0, 0)))
FORK = (axis("C", "head"), axis("B", "head"))


def tool(moves, i):
    return rotation(*moves.end[3:, i], MACHINE.tilt_order)[:, 2]


@given(a=st.floats(-90, 90), c=st.floats(-720, 720))
def test_tool_axis_of_two_table_axes(a, c):
    """Part in bed: Rx(-A) Rz(-C); the upright tool seen from the part is the inverse of that (scipy)."""
    moves = meaning(START + f"A{a:.6f} C{c:.6f}\n", machine=posted(*TRUNNION)).moves
    part = Rotation.from_euler("x", -round(a, 6), degrees=True) * Rotation.from_euler("z", -round(c, 6), degrees=True)
    assert tool(moves, -1) == pytest.approx(part.inv().apply([0, 0, 1]), abs=1e-9)
    assert moves.end[:3, -1].tolist() == [10, 0, 50]


@given(b=st.floats(-90, 90), c=st.floats(-720, 720))
def test_tool_axis_of_two_head_axes(b, c):
    moves = meaning(START + f"B{b:.6f} C{c:.6f}\n", machine=posted(*FORK)).moves
    head = Rotation.from_euler("z", round(c, 6), degrees=True) * Rotation.from_euler("y", round(b, 6), degrees=True)
    assert tool(moves, -1) == pytest.approx(head.apply([0, 0, 1]), abs=1e-9)


def test_a_table_and_a_head_axis_of_any_direction_and_sense():
    machine = posted(axis("A", "table", direction=(0, 1, 1), sense=-1), axis("B", "head"))
    moves = meaning(START + "A30 B20\n", machine=machine).moves
    part = Rotation.from_rotvec(np.array([0, 1, 1]) / np.sqrt(2) * 30 * DEG)
    want = (part.inv() * Rotation.from_euler("y", 20, degrees=True)).apply([0, 0, 1])
    assert tool(moves, -1) == pytest.approx(want, abs=1e-12)


@settings(deadline=None, max_examples=30)
@given(words=st.tuples(*[st.floats(-100, 100)] * 3), a=st.floats(-80, 80), c=st.floats(-400, 400))
def test_x_y_z_of_the_machine_become_the_tip_in_the_part(words, a, c):
    """With table axes the tip is where X Y Z say in the bed, and the part has turned about the centres (scipy)."""
    x, y, z = (round(v, 4) for v in words)
    a, c = round(a, 4), round(c, 4)
    text = f"{HEAD}G00 X0 Y0 Z50\nG01 F600 X{x:.4f} Y{y:.4f} Z{z:.4f} A{a:.4f} C{c:.4f}\nX{x + 1:.4f}\n"
    moves = meaning(text, machine=posted(*TRUNNION, tip=False)).moves
    bed = np.array([x + 1, y, z])
    for centre, letter, angle in (((0, 0, -40), "x", a), ((5, 0, 0), "z", c)):
        bed = Rotation.from_euler(letter, angle, degrees=True).apply(bed - centre) + centre
    assert moves.end[:3, -1] == pytest.approx(bed, abs=1e-8)


def test_x_y_z_of_a_machine_with_a_tilting_head_leave_the_pivot_where_it_is():
    # Pivot 30 mm above the gauge point, tool length 101: at B90 the tip lies 131 mm towards -X of it, level with it
    machine = posted(axis("B", "head", (0, 0, 30)), tip=False)
    text = HEAD + "T1 M06\nG43 H1\nG00 X0 Y0 Z50\nG01 B90 F600\n"
    moves = meaning(text, machine=machine, tools=TOOLS).moves
    assert moves.end[:3, -1] == pytest.approx([-131, 0, 50 + 131], abs=1e-9)


def test_a_hole_along_the_tool_of_a_tilted_table():
    # In X Y Z of the machine the tool stays upright: drilling runs along Z of the bed, and along the tool in the part
    machine = posted(axis("A", "table"), tip=False)
    moves = meaning(START + "A-90\nG81 X10 Y5 Z20 R40 F100\nG80\n", machine=machine).moves
    way = moves.end[:3, -2] - moves.start[:3, -2]
    assert way == pytest.approx(tool(moves, -1) * -20, abs=1e-9)


def test_the_words_of_a_pose_give_that_pose_back():
    for tip in (True, False):
        chain = AxisChain(ProgrammedAxes(axes=(*TRUNNION, axis("B", "head", (1, 2, 30))), tip=tip), "ABC")
        words = np.array([12.0, -7, 33, 0.4, -0.2, 1.1])
        pose = chain.poses(words[:, None], 80.0)[:, 0]
        assert chain.words(pose, words[3:], 80.0) == pytest.approx(words, abs=1e-10)


def test_the_tool_does_not_turn_about_itself():
    """Leaning by 20 degrees all around, ten turns: the angles come back after each (rotation by tilt alone)."""
    moves = meaning(START + "A20\nC3600\n", machine=posted(*TRUNNION)).moves
    tilt = Rotation.from_matrix(np.moveaxis(rotation(*moves.end[3:], "ABC"), 2, 0)).as_rotvec()
    assert np.abs(tilt[:, 2]).max() < 1e-9  # the axis of the whole turn lies level
    assert np.abs(moves.end[3:]).max() < 25 * DEG
    steps = np.abs(np.diff(moves.end[3:], axis=1)).max(axis=0)
    assert steps[-500:].max() < 2 * DEG


def test_a_turn_of_the_table_under_a_still_tool_cuts_a_circle():
    machine = posted(axis("C", "table"), tip=False)
    moves = meaning(START + "C360 F3600\n", machine=machine).moves
    piece = moves.line == START.count("\n") + 1
    radius = np.hypot(*moves.end[:2, piece])
    assert radius == pytest.approx(10.0)
    middle = np.hypot(*((moves.end + moves.start)[:2, piece] / 2))
    assert (10 - middle).max() < 1.1e-3
    angle = np.unwrap(np.arctan2(*moves.end[1::-1, piece]))
    assert abs(angle[-1] - angle[0]) > 6.1
    # the part turns against the word, seen from the part the tip turns with it; 3600 degrees a minute: 6 s
    assert angle[-1] > angle[0]
    assert (1 / moves.feed[piece]).sum() == pytest.approx(6.0)
    assert set(moves.feed_mode[piece].tolist()) == {FEED_INVERSE}


def test_an_arc_on_a_tilted_table_is_an_arc_in_the_part():
    machine = posted(axis("A", "table"), tip=False)
    moves = meaning(START + "A-30\nG02 X30 I10\n", machine=machine).moves
    piece = moves.line == START.count("\n") + 2
    assert moves.arcs.move.size == 0
    ends = Rotation.from_euler("x", 30, degrees=True).apply(moves.end[:3, piece].T)
    assert np.hypot(ends[:, 0] - 20, ends[:, 1]) == pytest.approx(10.0, abs=1e-9)
    assert ends[:, 2] == pytest.approx(50.0)


def test_an_upright_program_is_the_same_as_without_the_table():
    text = START + "X20 Y5\nG02 X30 Y15 I10\nG00 Z80\nG55 X1\nG53 G00 Z0\nG54 X3 Z70\n"
    setup = offsets(G54=[0, 0, 60, 0, 0, 0], G55=[3, 0, 60, 0, 0, 0])
    plain = meaning(text, setup=setup).moves
    for tip in (True, False):
        moves = meaning(text, setup=setup, machine=posted(*TRUNNION, tip=tip)).moves
        assert moves.end == pytest.approx(plain.end, abs=1e-9)
        assert moves.start == pytest.approx(plain.start, abs=1e-9)
        assert moves.arcs.turn == pytest.approx(plain.arcs.turn)


def test_a_change_of_offset_does_not_turn_the_axes_of_the_machine():
    setup = offsets(G54=[0, 0, 60, 0, 0, 0], G55=[3, 0, 60, 0, 0, 0])
    for tip in (True, False):
        moves = meaning(START + "A20 C30\nG55\nX17\nX8\n", setup=setup, machine=posted(*TRUNNION, tip=tip)).moves
        assert moves.end[3:, -1] == pytest.approx(moves.end[3:, -3])
        assert moves.start[3:, -2] == pytest.approx(moves.end[3:, -2], abs=1e-9)


def test_rapids_stay_straight_and_events_stay_with_their_blocks():
    found = meaning(START + "G00 A20 C400\nG01 A0 C0 M08\nX5 M09\n", machine=posted(*TRUNNION))
    rapid = found.moves.line == START.count("\n") + 1
    assert rapid.sum() == 1
    assert found.moves.feed_mode[rapid] == FEED_RAPID
    line = found.moves.line[found.events.move].tolist()
    assert [n - START.count("\n") for n in line] == [2, 3]
    assert found.events.move[0] == np.flatnonzero(found.moves.line == START.count("\n") + 2)[0]
    assert found.moves.stop[found.moves.line == START.count("\n") + 2].sum() == 0


@pytest.mark.parametrize(
    ("text", "machine", "code"),
    [
        ("C361\n", MACHINE, "rotary-word-too-large"),
        ("C-7200\n", MACHINE, "rotary-word-too-large"),
        ("B10\n", posted(*TRUNNION), "rotary-word-not-programmed"),
        ("G53 A0\n", posted(*TRUNNION), "rotary-word-not-programmed"),
        ("C9999999\n", posted(*TRUNNION), "rotary-word-too-large"),
    ],
)
def test_rotary_words_that_cannot_be_meant(text, machine, code):
    found = faults(START + text, machine=machine)
    assert [f.code for f in found] == [code]
    assert found[0].hint


def test_readings_say_which_axes():
    said = meaning(START, machine=posted(*TRUNNION)).readings
    assert any("A table, C table" in text and "tip" in text for text in said)
    assert not any("rotary words" in text for text in meaning(START).readings)


TABLE = """
[programmed_axes]
coordinates = "machine"
[[programmed_axes.axis]]
word = "B"
carries = "table"
sense = "part"
centre_mm = [0, 0, -50]
[[programmed_axes.axis]]
word = "C"
carries = "head"
"""


def test_the_table_is_read():
    source = DEMONSTRATION.read_text()
    found = machine_from((source + TABLE).encode(), "m.toml").programmed_axes
    assert not found.tip
    assert [(a.word, a.carries, a.sense) for a in found.axes] == [("B", "table", -1), ("C", "head", 1)]
    assert found.axes[0].centre.tolist() == [0, 0, -50]
    assert found.axes[0].direction.tolist() == [0, 1, 0]
    bad = TABLE.replace('"head"', '"tail"').replace('word = "C"', 'word = "B"\nspeed = 3\ndirection = [0, 0, 0]')
    with pytest.raises(InputError) as error:
        machine_from((source + bad).encode(), "m.toml")
    keys = {f.key for f in error.value.faults}
    assert {f"programmed_axes.axis[2].{k}" for k in ("word", "speed", "direction", "carries")} <= keys


# -- great circles --------------------------------------------------------------------------------------------------

CIRCLE = reading(orientation="great-circle")
ANGLE = st.floats(-60, 60).map(lambda x: round(x, 3))


@settings(deadline=None, max_examples=40)
@given(begin=st.tuples(ANGLE, ANGLE), end=st.tuples(ANGLE, ANGLE))
def test_the_axis_runs_along_the_great_circle(begin, end):
    """The tool axis is that of scipy's Slerp of the tilt between both axes; the ends are those of the program."""
    text = f"{START}A{begin[0]} B{begin[1]}\nX30 A{end[0]} B{end[1]}\n"
    moves = meaning(text, machine=CIRCLE).moves
    piece = np.flatnonzero(moves.line == START.count("\n") + 2)
    first, last = (Rotation.from_euler("xyz", [*x, 0], degrees=True) for x in (begin, end))
    assert moves.end[3:5, -1] == pytest.approx(np.array(end) * DEG, abs=1e-12)
    a, b = first.apply([0, 0, 1]), last.apply([0, 0, 1])
    angle = np.arctan2(np.linalg.norm(np.cross(a, b)), a @ b)
    if angle < 1e-6:
        return
    axis = np.cross(a, b) / np.linalg.norm(np.cross(a, b))
    slerp = Slerp([0, 1], Rotation.concatenate([Rotation.identity(), Rotation.from_rotvec(axis * angle)]))
    share = (moves.end[0, piece] - 10) / 20
    for i, f in zip(piece, share, strict=True):
        assert tool(moves, i) == pytest.approx(slerp(f).apply(a), abs=1e-9)
    middle = (moves.start + moves.end)[3:, piece] / 2
    for m, f, width in zip(middle.T, share, np.diff(share, prepend=0), strict=True):
        off = np.cross(rotation(*m, "ABC")[:, 2], slerp(f - width / 2).apply(a))
        assert np.linalg.norm(off) < 0.004 * DEG


def test_without_a_turn_about_the_tool_it_is_slerp():
    text = f"{START}A40\nX30 A-25\n"
    moves = meaning(text, machine=CIRCLE).moves
    ends = Rotation.from_rotvec(np.array([[40, 0, 0], [-25, 0, 0]]) * DEG)
    for i in np.flatnonzero(moves.line == START.count("\n") + 2):
        want = Slerp([0, 1], ends)((moves.end[0, i] - 10) / 20).as_matrix()
        assert rotation(*moves.end[3:, i], "ABC") == pytest.approx(want, abs=1e-9)


def test_angles_are_the_usual_reading_and_moves_stay_whole():
    assert meaning(f"{START}A40\nX30 A-25 B30\n").moves.count == 3
    assert meaning(f"{START}A40\nX30 A40 B0\n", machine=CIRCLE).moves.line[-1] == START.count("\n") + 2
    assert any("great-circle" in said for said in meaning(START, machine=CIRCLE).readings)


def test_circles_that_are_not_there_are_refused():
    assert [f.code for f in faults(START + "A0\nX20 A180\n", machine=CIRCLE)] == ["great-circle-opposite"]
    assert [f.code for f in faults(START + "A30\nX20 C350\n", machine=CIRCLE)] == ["great-circle-roundabout"]
    assert not faults(START + "X20 C350\n", machine=CIRCLE)  # an upright tool only turns about itself


def test_pieces_of_a_program_are_bounded_and_the_block_is_named(monkeypatch):
    """Turns of 1800 degrees are cut into 360 pieces or more each; the second passes the bound, over windows too."""
    from hexpost.moves.rotary import foreign

    text = START + "".join(f"C{1800 * k}\n" for k in range(1, 6))
    whole = meaning(text, machine=posted(*TRUNNION)).moves
    each = int((whole.line == START.count("\n") + 1).sum())
    assert each >= 360
    monkeypatch.setattr(foreign, "MOST_IN_ALL", 2 * each - 1)
    found = faults(text, machine=posted(*TRUNNION))
    assert [(f.code, f.line) for f in found] == [("too-many-moves", START.count("\n") + 2)]
    assert "short ones" in found[0].what


def test_pieces_of_great_circles_are_bounded_too(monkeypatch):
    from hexpost.moves.rotary import great_circle

    machine = replace(MACHINE, words=replace(MACHINE.words, orientation="great-circle"))
    text = START + "A20 B10\nA-20 B5\nA20 B-10\n"
    lines = meaning(text, machine=machine).moves.line
    many = int((lines > START.count("\n")).sum())
    monkeypatch.setattr(great_circle, "MOST_IN_ALL", many - 1)
    found = faults(text, machine=machine)
    assert [(f.code, f.line) for f in found] == [("too-many-moves", START.count("\n") + 3)]


@pytest.mark.parametrize("axes", [TRUNNION, FORK], ids=["table", "head"])
@pytest.mark.parametrize("word", ["G28", "G30", "G91 G28\nG90", "G28 M05"])
def test_a_return_without_axes_leads_home_as_in_programs_of_this_machine(axes, word):
    text = f"T1 M06\nG43 H1\nG00 X10 Y0 Z50\nG01 X20 F600\n{word}\nG00 X5 Y5 Z60\n"
    same(meaning(HEAD + text, machine=posted(*axes), tools=TOOLS), meaning(HEAD + text, tools=TOOLS))


def test_a_return_without_axes_is_refused_while_other_axes_are_turned():
    """On the machine posted for they would go home with the rest, and which angle that is nobody knows here."""
    text = START + "A20 C5\n{}G28\n"
    (fault,) = faults(text.format(""), machine=posted(*TRUNNION))
    assert fault.code == "return-axes" and "not 0" in fault.what and fault.hint
    assert not faults(text.format("A0 C0\n"), machine=posted(*TRUNNION))
    (fault,) = faults(START + "G53 G00 Z0 A0\n", machine=posted(*TRUNNION))
    assert fault.code == "rotary-word-not-programmed"


def test_a_tool_change_goes_to_its_pose_and_leaves_other_axes_in_force():
    place = np.array([0, 0, 800, 0, 0, 0], float)
    machine = replace(posted(axis("A", "table"), axis("C", "table")), tool_change=place)
    text = "T1 M06\nG43 H1\nG00 X10 Y0 Z50\nG01 A8 F600\nT2 M06\nG43 H2\nG01 X20 F500\n"
    found = meaning(HEAD + text, machine=machine, tools=TOOLS)
    plain = meaning(HEAD + text, machine=replace(MACHINE, tool_change=place), tools=TOOLS)
    ends = [m.end[:, np.append(m.line[1:] != m.line[:-1], True)] for m in (found.moves, plain.moves)]
    np.testing.assert_allclose(*ends, atol=1e-9)
