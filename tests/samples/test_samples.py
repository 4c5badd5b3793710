"""The sample programs: what they open with, what they break, and that they cut what they say."""

import re
import tomllib
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from samples.make_raster import BALL, FEED, LENGTH, ROW, STEP, WIDTH, program, skin
from scipy.spatial.transform import Rotation

from hexpost.audit.model import LIMITS
from hexpost.machine.load import DEMONSTRATION
from hexpost.moves.model import FEED_TIP
from hexpost.pipeline import Files, examine, load, schedule

SAMPLES = Path(__file__).parent.parent.parent / "samples"
CLEAN = ("contour", "frustum", "pocket", "plate_inch", "blade_band", "crown", "flange", "gland")
POINTED = ("contour", "frustum", "pocket", "plate_inch", "blade_band", "crown", "flange", "limits", "overdriven")
ALL = (*POINTED, "gland")


@cache
def job(name):
    machine = SAMPLES / "gland.toml" if name == "gland" else None
    tools, setup = SAMPLES / "tools.toml", SAMPLES / "setup.toml"
    return schedule(load(Files(program=SAMPLES / f"{name}.nc", machine=machine, tools=tools, setup=setup)))


@cache
def result(name):
    return examine(job(name))


def words(name):
    """Return the blocks of a sample as dictionaries of numbers, comments left out."""
    text = re.sub(r"\([^)]*\)", "", (SAMPLES / f"{name}.nc").read_text())
    return [{a: float(v) for a, v in re.findall(r"([A-Z])([-\d.]+)", line)} for line in text.splitlines()]


def test_these_are_all_samples():
    assert {f.stem for f in SAMPLES.glob("*.nc")} == set(ALL)


@pytest.mark.parametrize("name", POINTED)
def test_a_sample_opens_by_saying_what_it_shows(name):
    lines = (SAMPLES / f"{name}.nc").read_text().splitlines()
    assert lines[0] == "%"
    assert re.fullmatch(r"O\d{4} \(SALTMARSH WORKS - .+\)", lines[1])
    assert re.fullmatch(r"\(SHOWS: .+\)", lines[2])


@pytest.mark.parametrize("name", POINTED)
def test_a_sample_works_with_a_tool_length_and_ends_with_a_retract(name):
    text = (SAMPLES / f"{name}.nc").read_text()
    assert re.search(r"\bG43 H\d", text)
    assert re.search(r"G53 G00 Z0\.\n(N\d+ )?M05\n(N\d+ )?M30\n(O\d{4} .*M99\n)?%\n$", text, re.DOTALL)


@pytest.mark.parametrize("name", CLEAN)
def test_a_good_sample_breaks_no_limit(name):
    r = result(name)
    assert r.findings.count == 0
    assert len(r.warnings) == (name == "plate_inch")
    assert all("rapid below the zero plane" in w for w in r.warnings)  # its pecks go back down into the hole
    assert job(name).inputs.meaning.ignored == ()


def test_the_overdriven_sample_breaks_what_feeds_alone_can_mend():
    assert {LIMITS[k].name for k in result("overdriven").findings.limit} == {"speed", "acceleration"}
    assert result("overdriven").warnings == ()


def test_the_bad_sample_breaks_what_its_comments_name():
    broken = {LIMITS[k].name for k in result("limits").findings.limit}
    assert {"tool-length", "tool-number", "speed", "acceleration", "stroke", "pallet", "retract"} <= broken
    text = (SAMPLES / "limits.nc").read_text().splitlines()
    for comment, limit in (("TOOL NUMBER", "tool-number"), ("STRUT SPEED", "speed"), ("STROKE", "stroke"),
                           ("PALLET", "pallet"), ("RETRACT", "retract"), ("TOOL LENGTH", "tool-length")):  # fmt: skip
        at = next(i for i, line in enumerate(text) if line.startswith(f"({comment}")) + 1
        f = result("limits").findings
        lines = f.line[f.limit == LIMITS.index(limit)]
        assert np.all((lines > at) & (lines <= at + 4)), f"{limit} under its own comment"


def test_every_hole_of_the_flange_is_centred_drilled_and_counterbored():
    moves = job("flange").inputs.meaning.moves
    x, y, z = moves.end[:3, moves.feed_mode == FEED_TIP].round(3)
    angles = np.arange(8) * np.pi / 4
    circle = {(round(60 * np.cos(a), 3) + 0.0, round(60 * np.sin(a), 3) + 0.0) for a in angles}
    rows = {(float(a), float(b)) for a in (-30, -10, 10, 30) for b in (-15, 15)}
    for depth in (-1.5, -18.0, -4.0):
        at = list(zip(x[z == depth] + 0.0, y[z == depth] + 0.0, strict=True))
        assert len(at) == 16
        assert set(at) == circle | rows


def test_contour_stops_only_at_the_corners_of_the_square():
    path = job("contour").path
    moves = job("contour").inputs.meaning.moves
    at = moves.end[:2, path.move[path.span_first[1:] - 1]]
    square = [(82, 82), (82, -82), (-82, -82), (-82, 82)]
    diamond = [(84.853, 0), (0, -84.853), (-84.853, 0), (0, 84.853)]
    for corners, stops in ((square, True), (diamond, False)):
        for corner in corners:
            assert np.any(np.hypot(*(at - np.array(corner)[:, None])) < 1e-9) == stops


def test_the_frustum_is_cut_by_the_flank():
    """Authority: the cone r = 46 + depth tan 14 and scipy's Rotation: the tool's axis runs 6 mm off the cone."""
    rounds = [b for b in words("frustum") if b.get("G") == 2]
    assert len(rounds) == 144
    alpha = np.radians(14.0)
    for left, blocks in ((0.6, rounds[:72]), (0.0, rounds[72:])):
        q = np.array([[b["X"], b["Y"], -34.548, b["A"], b["B"]] for b in blocks])
        axis = Rotation.from_euler("xy", q[:, 3:], degrees=True).apply([0, 0, 1])
        for height in (0.0, 15.0, 30.0):  # points of the tool's axis, back along the normal of the cone
            p = q[:, :3] + height * axis
            distance = (np.hypot(p[:, 0], p[:, 1]) - 46.0 + p[:, 2] * np.tan(alpha)) * np.cos(alpha)
            assert distance == pytest.approx(6.0 + left * np.cos(alpha), abs=0.002)


def test_the_plate_is_in_inches():
    moves = job("plate_inch").inputs.meaning.moves
    plate = np.array([f.offset == "G57" for f in moves.frames])[moves.frame]
    assert moves.end[0, plate].max() == pytest.approx(8.7 * 25.4)
    assert moves.end[2, plate].min() == pytest.approx(-0.95 * 25.4)
    assert job("plate_inch").inputs.meaning.events.pause.sum() == pytest.approx(6 * 0.2)


def test_the_gland_plate_is_written_in_plain_iso_style():
    """No points, no O word, no per cent sign, inch by G70, alignment numbers in place of N, home by G74."""
    text = re.sub(r"\(.*\)", "", (SAMPLES / "gland.nc").read_text())
    assert not set(text) & set("%.O")
    assert {"G70", "G71", "G74"} <= set(text.split()) and not {"G20", "G21", "G28"} & set(text.split())
    assert re.findall(r"^:(\d+)", text, re.MULTILINE) == ["10", "310"]


def test_the_gland_plate_is_cut_to_size():
    """Authority: the drawing, 96 x 64 with corners of 10; the tool is 6 mm off; holes at 1.5 and 0.85 in."""
    moves = job("gland").inputs.meaning.moves
    mills = np.isin(moves.line, range(10, 33)) & (moves.feed_mode == FEED_TIP)
    assert (abs(moves.end[0, mills]).max(), moves.end[1, mills].max()) == pytest.approx((48 + 6, 32 + 6))
    assert set(moves.end[2, mills].round(9)) == {-4.0, -8.0}
    corners = moves.arcs.turn[np.isin(moves.line[moves.arcs.move], range(10, 33))]
    assert (np.round(np.degrees(corners)) == -90).sum() == 8
    holes = moves.end[:2, moves.end[2].round(6) == -13.97]
    assert sorted(map(tuple, holes.T.round(6))) == [(x, y) for x in (-38.1, 38.1) for y in (-21.59, 21.59)]


def test_the_machine_of_the_gland_plate_is_the_demonstration_machine_but_for_its_words():
    own, usual = (tomllib.loads(file.read_text()) for file in (SAMPLES / "gland.toml", DEMONSTRATION))
    assert own.pop("words")["numbers"] == "implied"
    assert own == usual


def test_the_raster_is_what_its_script_writes():
    assert (SAMPLES / "blade_band.nc").read_text() == "".join(program())


def test_the_raster_has_more_than_20_000_blocks_and_touches_the_skin():
    """Authority: the definition of contact; the nearest point of the skin to the ball's centre, by Newton's method."""
    blocks = [b for b in words("blade_band") if len(b.keys() & set("XYZAB")) == 5]
    assert len(blocks) > 20_000
    q = np.array([[b[a] for a in "XYZAB"] for b in blocks[::97]])
    axis = Rotation.from_euler("xy", q[:, 3:], degrees=True).apply([0, 0, 1])
    for centre in q[:, :3] + BALL * axis:
        x, y = centre[:2]
        for _ in range(60):
            z, along, across = skin(x, y)
            normal = np.array([-along, -across, 1.0]) / np.sqrt(1 + along**2 + across**2)
            x, y = centre[:2] - BALL * normal[:2]
        assert np.linalg.norm(centre - [x, y, z]) == pytest.approx(BALL, abs=0.002)
        assert np.cross(normal, centre - [x, y, z]) == pytest.approx(0, abs=0.01)


def test_the_raster_holds_its_feed():
    """Rows at the programmed feed take length/feed each; corners, approach and retract may cost a tenth."""
    ideal = (WIDTH / ROW + 1) * LENGTH / (FEED / 60)
    assert ideal < result("blade_band").duration < 1.1 * ideal
    assert job("blade_band").path.moved.mean() > 0.95
    assert STEP * (len(job("blade_band").path.length) - 1) > LENGTH * WIDTH / ROW
