"""Cutter radius compensation: the tool centre against plain geometry and an independent geometric library."""

from math import pi

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st
from moves.programs import HEAD, faults, meaning, offsets, platform

from hexpost.machine.model import Tool, Tools
from hexpost.moves.model import AFTER, ARC, FEED_INVERSE, FEED_RAPID, FEED_TIP, WITH

TOOLS = Tools(
    tools={n: Tool(number=n, length=100.0, diameter=d) for n, d in ((1, 10.0), (2, 6.0), (3, 0.5), (4, 20.0))},
    given=True,
    file="t.toml",
)
START = HEAD + "T1 M06\nG43 H1\nG00 X-20 Y-20 Z5\nG01 Z0 F600\n"


def centre(text, tools=TOOLS, **more):
    """Return the moves after the start: lines, ends in the plane XY."""
    moves = meaning(START + text, tools=tools, **more).moves
    new = moves.line > START.count("\n")
    return moves.line[new] - START.count("\n"), moves.end[:2, new].T


def told(text, **more):
    return [(f.code, (f.line or 0) - START.count("\n")) for f in faults(START + text, tools=TOOLS, **more)]


def points(moves, first, last, step=0.01):
    """Return the tool's path in X Y over moves ``first`` to ``last`` - 1 as points, arcs by chords of ``step`` rad."""
    slot = {int(m): i for i, m in enumerate(moves.arcs.move)}
    out = [moves.start[:2, first]]
    for i in range(first, last):
        if moves.kind[i] == ARC:
            c, turn = moves.arcs.centre[:2, slot[i]], moves.arcs.turn[slot[i]]
            spokes = moves.start[:2, i] - c, moves.end[:2, i] - c
            share = np.linspace(0, 1, max(int(abs(turn) / step), 2) + 1)[1:]
            angle = np.arctan2(spokes[0][1], spokes[0][0]) + turn * share
            size = np.hypot(*spokes[0]) * (1 - share) + np.hypot(*spokes[1]) * share
            out += list((c[:, None] + size * np.stack((np.cos(angle), np.sin(angle)))).T)
        out.append(moves.end[:2, i])
    return np.array(out)


# -- worked by hand: cutter of radius 5 -----------------------------------------------------------------------------


def test_outside_corners_of_a_rectangle_are_rolled_around():
    line, end = centre("G41 D1 X0\nY50\nX50\nY0\nX-20\nG40 X-40 Y-20\nX0\n")
    assert line.tolist() == [1, 2, 3, 3, 4, 4, 5, 5, 6, 7]
    assert end.tolist() == [
        [-5, -20], [-5, 50], [0, 55], [50, 55], [55, 50], [55, 0], [50, -5], [-20, -5], [-40, -20], [0, -20],
    ]  # fmt: skip


def test_inside_corners_of_a_rectangle_are_turned_back_at():
    line, end = centre("G42 D1 X0\nY50\nX50\nY10\nX20\nG40 X20 Y30\n")
    assert line.tolist() == [1, 2, 3, 4, 5, 6]
    assert end.tolist() == [[5, -20], [5, 45], [45, 45], [45, 15], [20, 15], [20, 30]]


def test_arcs_keep_their_centres_and_change_their_radii():
    # internal circle: the radius of the centre's path is that of the hole less that of the tool
    # (feed formula of trade handbooks: centre feed / edge feed = (hole - tool) / hole = (25 - 10) / 25)
    text = "G42 D1 X0 Y0\nX30\nG02 X30 Y-25 J-12.5\nG02 X30 Y0 J12.5\nG01 G40 X30 Y-12.5\n"
    moves = meaning(START + text, tools=TOOLS).moves
    at = moves.arcs.move
    radius = np.hypot(*(moves.end[:2, at] - moves.arcs.centre[:2]))
    assert radius == pytest.approx([7.5, 7.5])
    assert pytest.approx(np.array([[30, -12.5]] * 2)) == moves.arcs.centre[:2].T
    assert moves.arcs.turn == pytest.approx([-pi, -pi])
    assert 2 * radius[0] / 25 == pytest.approx((25 - 10) / 25)


def test_a_full_circle_stays_one():
    inside = meaning(START + "G01 X0 Y0\nG41 D2 X20\nG03 I-20\nG01 G40 X0\n", tools=TOOLS).moves
    outside = meaning(START + "G42 D2 X20 Y-20\nY0\nG03 I-20\nG01 Y20\nG40 X40\n", tools=TOOLS).moves
    for moves, radius in ((inside, 17.0), (outside, 23.0)):
        assert moves.arcs.turn[0] == pytest.approx(2 * pi)
        assert np.hypot(*moves.end[:2, moves.arcs.move[0]]) == pytest.approx(radius)


def test_a_corner_of_line_and_arc_is_where_both_paths_meet():
    # The line y = 5 and the circle of radius 25 about (40, 0) meet at x = 40 - sqrt(25^2 - 5^2)
    moves = meaning(START + "G41 D1 X-20 Y0\nX20\nG02 X60 Y0 I20\nG01 G40 X80\n", tools=TOOLS).moves
    x = 40 - np.sqrt(25**2 - 5**2)
    arc = int(moves.arcs.move[0])
    assert moves.start[:2, arc] == pytest.approx([x, 5])
    assert moves.end[:2, arc] == pytest.approx([65, 0])
    assert moves.arcs.turn[0] == pytest.approx(-(pi - np.arctan2(5, 40 - x)))


def test_a_corner_of_two_arcs_is_where_both_paths_meet():
    # Half circles about (20, 0) and (60, 0): circles of radius 25 about both centres meet at (40, sqrt(25^2 - 20^2))
    moves = meaning(START + "G41 D1 X0 Y0\nG02 X40 I20\nX80 I20\nG01 G40 X100\n", tools=TOOLS).moves
    assert moves.end[:2, moves.arcs.move[0]] == pytest.approx([40, 15])
    assert np.abs(moves.arcs.turn) == pytest.approx([pi - np.arctan2(15, 20)] * 2)


@pytest.mark.parametrize("off", [-2e-3, 0.0, 2e-3])
def test_a_cusp_is_one_through_the_rounding_of_its_tangents(off):
    # A line along Y = 0 to (40, 0), and back on an arc of radius 50 below it: into the wedge no cutter reaches
    end = np.array([40 - 50 * np.sin(off), -50 * np.cos(off)])
    reach = end + 50 * np.array([-np.sin(0.8), np.cos(0.8)])
    arc = f"G03 X{reach[0]:.4f} Y{reach[1]:.4f} I{-50 * np.sin(off):.4f} J{-50 * np.cos(off):.4f}"
    # left of the line is the free side of the arc, right of it the wedge
    assert not told(f"X-30 Y0\nG41 D1 X0 Y0\nX40\n{arc}\n")
    wedge = f"X-30 Y-20\nG42 D1 X0 Y0\nX40\n{arc}\n"
    moves = meaning(START + wedge, tools=TOOLS).moves
    assert np.hypot(*(moves.end[:2, -2] - end)) == pytest.approx(55, abs=0.01)
    assert moves.end[1, -2] == pytest.approx(-5)


def test_a_fillet_of_the_cutters_own_radius_is_a_corner():
    line, end = centre("G42 D1 X0\nY50\nG02 X5 Y55 I5\nG01 X50\nG40 Y0\n")
    assert line.tolist() == [1, 2, 4, 5]
    assert end.tolist() == [[5, -20], [5, 50], [50, 50], [50, 0]]


def test_the_other_side_is_the_mirror_image():
    left = centre("G41 D1 X0\nY50\nG02 X10 Y60 I10\nG01 X50\nX30 Y10\nG40 Y-50\n")[1]
    mirrored = meaning(
        START.replace("X-20", "X20") + "G42 D1 X0\nY50\nG03 X-10 Y60 I-10\nG01 X-50\nX-30 Y10\nG40 Y-50\n", tools=TOOLS
    ).moves
    end = mirrored.end[:2, mirrored.line > START.count("\n")].T
    assert end * [-1, 1] == pytest.approx(left)


@pytest.mark.parametrize(("plane", "axes", "arc"), [("G18", "ZXY", "KIJ"), ("G19", "YZX", "JKI")])
def test_other_planes_are_the_first_one_with_axes_renamed(plane, axes, arc):
    body = "G41 D1 X0\nY50\nG02 X10 Y60 I10\nG01 X50\nX70 Y90 Z2\nZ9\nG40 Y200\n"
    tilt = {"G18": "A-90", "G19": "B90"}[plane]
    flat = meaning(HEAD + "T1 M06\nG00 X-20 Y-20 Z5\nG01 Z0 F600\n" + body, tools=TOOLS).moves
    names = str.maketrans("XYZIJK", axes + arc)
    head = HEAD.replace("G17", plane) + f"T1 M06\nG00 {tilt}\n"
    other = meaning(head + ("G00 X-20 Y-20 Z5\nG01 Z0 F600\n" + body).translate(names), tools=TOOLS).moves
    where = ["XYZ".index(x) for x in axes]
    assert other.end[where, 2:] == pytest.approx(flat.end[:3, 1:], abs=1e-9)
    assert other.arcs.turn == pytest.approx(flat.arcs.turn)
    assert set(other.arcs.axis.tolist()) == {where[2]}


# -- turning on and off ---------------------------------------------------------------------------------------------


def test_blocks_without_motion_in_the_plane_are_looked_over():
    line, end = centre("G41 D1\nM08\nX0\nZ-2\nS900\nY50\nZ-3\nM09\nF300\nX50\nZ5\nG40\nX100\n")
    assert line.tolist() == [3, 4, 6, 7, 10, 10, 11, 13]
    assert end.tolist() == [[-5, -20], [-5, -20], [-5, 50], [-5, 50], [0, 55], [50, 55], [50, 55], [100, 50]]


def test_cancelled_without_motion_the_tool_stays_beside_the_contour_until_it_moves_in_the_plane():
    text = "G41 D1 X0\nY50\nG40\nZ20\nG53 G00 Z0\nG00 X30\n"
    found = meaning(START + text, tools=TOOLS)
    moves = found.moves
    assert moves.end[:2, -3].tolist() == [-5, 50]
    before = platform(found, moves.end[:, -3], moves.frame[-3])
    after = platform(found, moves.end[:, -2], moves.frame[-2])
    assert after[:2, 3] == pytest.approx(before[:2, 3], abs=1e-9)
    assert moves.end[:2, -1].tolist() == [30, 50]
    for i in range(1, moves.count):
        joint = (
            platform(found, moves.end[:, i - 1], moves.frame[i - 1]),
            platform(found, moves.start[:, i], moves.frame[i]),
        )
        assert joint[0] == pytest.approx(joint[1], abs=1e-9)


def test_the_shift_is_carried_into_a_turned_frame():
    setup = offsets(G54=[0, 0, 60, 0, 0, 0], G55=[7, 3, 60, 0, 0, 90])
    found = meaning(START + "G41 D1 X0\nY50\nG40\nG55 Z20\nG53 Z0\nG54 X30\n", tools=TOOLS, setup=setup)
    gauge = [platform(found, found.moves.end[:, i], found.moves.frame[i])[:2, 3] for i in range(-4, 0)]
    assert gauge[1] == pytest.approx(gauge[0], abs=1e-9)
    assert gauge[2] == pytest.approx(gauge[0], abs=1e-9)


def test_from_one_contour_to_the_next_without_a_move_between():
    _, end = centre("G41 D1 X0\nY50\nG40\nZ5\nG42 X20\nY-50\n")
    assert end.tolist() == [[-5, -20], [-5, 50], [-5, 50], [15, 50], [15, -50]]
    assert meaning(START + "G41 D1 X0\nM30\n", tools=TOOLS).moves.end[:2, -1].tolist() == [0, -15]


def test_the_radius_is_that_of_row_d_of_the_tool_itself_or_nothing():
    for word, radius in (("D1", 5.0), ("D2", 3.0), ("D0", 0.0), ("", 5.0), ("D4", 10.0)):
        assert centre(f"G41 {word} X0\nY50\n")[1][-1].tolist() == [-radius, 50]
    assert centre("D2\nG41 X0\nY50\n")[1][-1].tolist() == [-3, 50]
    said = meaning(START + "G41 X0\nY5\n", tools=TOOLS).readings
    assert any("no D was given" in text for text in said)
    assert any("tool centre" in text for text in said)
    none = meaning(START + "G41 D1 X0\nY5\n")
    assert none.moves.end[:2, -1].tolist() == [0, 5]
    assert any("radius 0" in text for text in none.readings)


def test_programs_without_compensation_are_left_alone():
    moves = meaning(START + "G40 G17 X5 D1\nX7\n", tools=TOOLS).moves
    assert moves.end[0, -2:].tolist() == [5, 7]
    assert not any("G41" in said for said in meaning(START + "G40 X5\n", tools=TOOLS).readings)


# -- feeds, stops, events -------------------------------------------------------------------------------------------


def test_a_rolled_corner_belongs_to_the_block_behind_it():
    found = meaning(START + "G41 D1 X0\nG61 Y50 M09\nG64 X50 M08 F300\nY0\nG40 X90\n", tools=TOOLS)
    moves, events = found.moves, found.events
    corner = int(moves.arcs.move[0])
    assert moves.feed[corner - 1 : corner + 2] == pytest.approx([10, 5, 5])
    assert moves.stop[corner - 1 : corner + 2].tolist() == [True, False, False]
    told = {(int(v), int(r)): int(m) for v, m, r in zip(events.value, events.move, events.rule, strict=True)}
    assert told[9, AFTER] == corner - 1
    assert told[8, WITH] == corner


def test_inverse_time_is_shared_by_the_corner_and_the_block():
    moves = meaning(START + "G41 D1 X0\nY50\nG93 X50 F2\nG94 Y0 F100\nG40 X90\n", tools=TOOLS).moves
    corner = int(moves.arcs.move[0])
    seconds = 1 / moves.feed[corner : corner + 2]
    assert moves.feed_mode[corner : corner + 2].tolist() == [FEED_INVERSE] * 2
    assert seconds.sum() == pytest.approx(30)
    assert seconds[0] / seconds[1] == pytest.approx(5 * pi / 2 / 50)


def test_a_corner_before_a_rapid_is_cut_at_the_feed():
    moves = meaning(START + "G41 D1 X0\nY50\nG00 X50\nG40 Y90\n", tools=TOOLS).moves
    corner = int(moves.arcs.move[0])
    assert moves.feed_mode[corner : corner + 2].tolist() == [FEED_TIP, FEED_RAPID]
    assert moves.feed[corner] == 10


def test_what_shrinks_to_nothing_leaves_its_events_behind():
    found = meaning(START + "G42 D1 X0\nY50\nG02 X5 Y55 I5 M08\nG01 X50\nG40 Y0\n", tools=TOOLS)
    at = found.events.value == 8
    line = found.moves.line[found.events.move[at][0]]
    assert (line - START.count("\n"), found.events.rule[at][0]) == (2, AFTER)


# -- refusals -------------------------------------------------------------------------------------------------------

REFUSED = [
    ("G42 D1\nG02 X0 Y0 I20\n", "compensation-starts-in-arc", 2),
    ("G41 D1 X0\nY50\nG40 G02 X20 Y70 I20\n", "compensation-ends-in-arc", 3),
    ("G41 D1 X0\nY50\nG40\nM09\nG02 X20 Y70 I20\n", "compensation-ends-in-arc", 5),
    ("G41 D1 X0\nY50\nG42 X20\n", "compensation-side-changed", 3),
    ("G41 D1 X0\nY50\nD2 X20\n", "compensation-radius-changed", 3),
    ("G41 D1 X0\nY50\nG18 X20 Z5\n", "compensation-plane-changed", 3),
    ("G41 D1 X0\nY50\nG53 Z0\n", "compensation-frame-changed", 3),
    ("G42 D1 X0\nY50\nG02 X4 Y54 I4\nG01 X50\nG40 Y0\n", "compensation-arc-too-small", 3),
    ("G42 D1 X0\nY50\nX8\nY0\nG40 Y-30\n", "compensation-no-path", 3),
    ("G42 D1 X0\nY50\nX2\nX50 Y53\nG40 Y0\n", "compensation-no-path", 3),
    ("G42 D1 X0\nY50\nX3 Y0\nG40 Y-30\n", "compensation-no-path", 3),
    ("G42 D1 X0\nY50\nX-20\nY80\nX30\nY50\nX9\nY0\nG40 Y-30\n", "compensation-too-narrow", 8),
    ("G41 D1 X-20 Y10\nY-30\nG40 Y-100\n", "compensation-entry-gouges", 1),
    ("G41 D1 X0\nY50\nG40 X20 Y20\n", "compensation-exit-gouges", 3),
    ("G41 D1 X0 A0.02\nY50\nG40 X20 Y70\n", "compensation-tool-not-square", 1),
    ("G18 G41 D1 X0\nZ50\nG40 X90\n", "compensation-tool-not-square", 1),
]  # fmt: skip


@pytest.mark.parametrize(("text", "code", "line"), REFUSED, ids=[r[0].replace("\n", " ") for r in REFUSED])
def test_what_cannot_be_cut_is_refused_where_it_stands(text, code, line):
    found = told(text)
    assert (code, line) == found[0]
    assert len({f[0] for f in found}) == 1
    fault = faults(START + text, tools=TOOLS)[0]
    assert fault.hint
    assert fault.text == text.splitlines()[line - 1]


def test_within_a_hundredth_of_a_degree_the_tool_counts_as_square():
    assert not told("G41 D1 X0 A0.009\nY50\nG40 X20 Y70\n")
    assert not told("G41 D1 X0 C40\nY50 C90\nG40 X20 Y70\n")


def test_missing_rows_are_named():
    assert [f.code for f in faults(START + "G41 D9 X0\nY5\n", tools=TOOLS)] == ["missing-tools"]
    assert [f.code for f in faults(START + "G41 D1.5 X0\nY5\n", tools=TOOLS)] == ["row-number-bad"]


def test_repeated_passes_and_leads_are_no_crossings():
    lead = "X-40\nG41 D1 G01 X-20\nG03 X0 Y0 J20\n"
    around = "G01 Y50\nX50\nY-40\nX0\nY0\n"
    away = "G03 X-20 Y20 I-20\nG01 G40 X-40\n"
    assert not told(lead + around + away)
    assert not told(lead + around * 3 + away)
    assert not told(lead + around + "Z-3\n" + around + away)
    assert not told("X0\nG41 D1 Y-40\nX50 Y20\nX0\nX50 Y-40\nG40 Y-60\n")  # the contour crosses itself


def test_a_dense_contour_is_followed_through_the_rounding_of_its_coordinates():
    shapely = pytest.importorskip("shapely")
    angle = np.linspace(0, 2 * pi, 12_001)
    radius = 40 + 4 * np.sin(5 * angle)
    outline = np.stack((radius * np.cos(angle), radius * np.sin(angle)), axis=1)
    blocks = "".join(f"X{x:.3f} Y{y:.3f}\n" for x, y in outline)
    moves = meaning(START + "G00 X60 Y-30\nG42 D1 G01 " + blocks + "G40 X70\n", tools=TOOLS).moves
    first = int(np.flatnonzero(moves.line == START.count("\n") + 2)[0]) + 1
    path = shapely.LineString(points(moves, first, moves.count - 1))
    assert path.hausdorff_distance(shapely.Polygon(outline).buffer(5.0, quad_segs=64).exterior) < 5e-3
    along = moves.end[:2, first:-1] - moves.start[:2, first:-1]
    assert (along[:, 1:] * along[:, :-1]).sum(axis=0).min() > 0  # never back and forth


# -- against an independent geometric library -------------------------------------------------------------------------


def star(radii, turned):
    """Return the corners (n, 2) of a closed contour that runs counter-clockwise around the origin."""
    angle = turned + np.arange(len(radii)) * 2 * pi / len(radii)
    return np.round(np.array(radii)[:, None] * np.stack((np.cos(angle), np.sin(angle)), axis=1), 3)


def around(corners, bulges, side, radius_row):
    """Return a program once around a contour from the middle of its first side, and its outline as points.

    A side with a bulge is an arc whose middle stands off the chord by that share of it (0: a line).
    """
    blocks, outline = [], []
    for i, bulge in enumerate(bulges):
        a, b = corners[i], corners[(i + 1) % len(corners)]
        if bulge == 0:
            blocks.append(f"G01 X{b[0]:.6f} Y{b[1]:.6f}")
            outline += [a, b]
            continue
        chord = b - a
        sagitta = abs(bulge) * np.hypot(*chord)
        radius = (np.hypot(*chord) ** 2 / 4 + sagitta**2) / (2 * sagitta)
        left = np.array([-chord[1], chord[0]]) / np.hypot(*chord)
        centre = (a + b) / 2 + left * (radius - sagitta) * np.sign(bulge)
        turn = 4 * np.arctan(2 * bulge)
        word = "G03" if bulge > 0 else "G02"
        blocks.append(f"{word} X{b[0]:.9f} Y{b[1]:.9f} I{centre[0] - a[0]:.9f} J{centre[1] - a[1]:.9f}")
        spoke = a - centre
        angle = np.arctan2(spoke[1], spoke[0]) + turn * np.linspace(0, 1, 300)
        outline += list(centre + radius * np.stack((np.cos(angle), np.sin(angle)), axis=1))
    first = (corners[0] + corners[1]) / 2
    normal = np.array([-(corners[1] - corners[0])[1], (corners[1] - corners[0])[0]])
    normal *= (1 if side == 41 else -1) / np.hypot(*normal)
    tool = first + normal * 12
    head = f"G00 X{tool[0]:.6f} Y{tool[1]:.6f}\nG{side} D{radius_row} G01 X{first[0]:.9f} Y{first[1]:.9f}\n"
    back = f"G01 X{first[0]:.9f} Y{first[1]:.9f}\nG40 X{tool[0]:.6f} Y{tool[1]:.6f}\n"
    return head + "\n".join(blocks) + "\n" + back, np.array(outline)


@pytest.mark.parametrize("side", [41, 42])
@settings(deadline=None, max_examples=40)
@given(
    radii=st.lists(st.floats(25, 60), min_size=3, max_size=9),
    turned=st.floats(0, 6),
    bulges=st.lists(st.sampled_from([0, 0, 0.1, -0.1, 0.3, -0.25]), min_size=9, max_size=9),
)
def test_random_closed_contours_against_shapely(side, radii, turned, bulges):
    """The tool centre runs on the boundary of the contour's buffer (shapely's offset curves); else it is refused."""
    shapely = pytest.importorskip("shapely")
    corners = star(radii, turned)
    bulges = [0, *bulges[: len(corners) - 1]]
    text, outline = around(corners, bulges, side, 1)
    part = shapely.Polygon(outline)
    assume(part.is_valid)
    distance = 5.0 if side == 42 else -5.0
    beside = part.buffer(distance, quad_segs=64)
    found = []
    try:
        moves = meaning(START + text, tools=TOOLS).moves
    except AssertionError:
        found = told(text)
        assert {code for code, _ in found} <= {
            "compensation-no-path", "compensation-too-narrow", "compensation-arc-too-small",
            "compensation-entry-gouges", "compensation-exit-gouges",
        }  # fmt: skip
        # refused: a tool that fits reaches every point of the contour, so rolling it around and back gives the part
        opened = beside.buffer(-distance, quad_segs=64)
        lost = part.symmetric_difference(opened).area
        assert lost > 1e-3 or "gouges" in found[0][0]
        return
    first = int(np.flatnonzero(moves.line == START.count("\n") + 2)[0]) + 1
    path = shapely.LineString(points(moves, first, moves.count - 1))
    assert path.hausdorff_distance(beside.exterior) < 5e-3
    assert shapely.distance(path, part.exterior) > 5.0 - 3e-3
