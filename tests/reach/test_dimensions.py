"""The drawings of a machine against the numbers of its file, read by a TOML reader, and against their own scale."""

import re
import tomllib
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest

from hexpost.machine.load import DEMONSTRATION, machine_from
from hexpost.reach.dimensions import joint_circles
from hexpost.reach.picture import picture

FILE = tomllib.loads(DEMONSTRATION.read_text())
SVG = "{http://www.w3.org/2000/svg}"
JOINTS = {end: np.array([s[f"{end}_joint_mm"] for s in FILE["strut"]]) for end in ("base", "platform")}


@pytest.fixture(scope="module")
def drawn():
    """Return the six drawings of the demonstration machine."""
    groups = ET.fromstring(picture(machine_from(DEMONSTRATION.read_bytes(), "x"))).iter(f"{SVG}g")
    return [g for g in groups if g.get("class") == "drawing"]


def words(group):
    return [t.text for t in group.iter(f"{SVG}text")]


def test_joints_are_on_the_circles_that_are_drawn(drawn):
    for end, group in (("base", drawn[0]), ("platform", drawn[3])):
        said = [w for w in words(group) if w.startswith("⌀")]
        radii = sorted({float(c.get("r")) for c in group.iter(f"{SVG}circle") if c.get("fill") == "none"})
        found = []
        for w in said:
            diameter, spread, joints = re.fullmatch(r"⌀ ([\d.]+)(?: ± ([\d.]+))?: ([\d ]+)", w).groups()
            far = 2.0 * np.hypot(*JOINTS[end][[int(k) - 1 for k in joints.split()], :2].T)
            assert np.abs(far - float(diameter)).max() <= float(spread or 0.0) + 0.006
            found.append(float(diameter))
        assert len(found) == 2 and found == sorted(found)
        assert radii[1] / radii[0] == pytest.approx(found[1] / found[0], rel=2e-3)


@pytest.mark.parametrize(("k", "end", "more"), [(1, "base", (890, 640, 420)), (4, "platform", (-250,))])
def test_heights_are_those_of_the_file_and_to_scale(drawn, k, end, more):
    heights = {float(w.split()[0]) for w in words(drawn[k])[1:]}
    assert heights == {0.0, *JOINTS[end][:, 2], *more}
    line = next(p.get("d") for p in drawn[k].iter(f"{SVG}path") if re.fullmatch(r"M[\d.]+ [\d.]+V[\d.]+", p.get("d")))
    top, bottom = map(float, re.findall(r"[\d.]+", line)[1:])
    starts = [p.get("d").split("H")[0] for p in drawn[k].iter(f"{SVG}path") if "H" in p.get("d")]
    at = sorted({float(s.split()[1]) for s in starts})
    want = np.interp(sorted(heights, reverse=True), [min(heights), max(heights)], [bottom, top])
    assert np.abs(np.array(at) - want).max() < 0.2


def test_struts_have_their_range_and_their_length(drawn):
    home = np.array(FILE["reference"]["pose_mm_deg"][:3])
    said = words(drawn[2])
    for k, strut in enumerate(FILE["strut"]):
        low, high, length = said[1 + 4 * k + 1 : 1 + 4 * k + 4]
        assert [float(low), float(high)] == strut["stroke_mm"]
        assert float(length) == round(float(np.linalg.norm(home + JOINTS["platform"][k] - JOINTS["base"][k])), 3)


def test_every_joint_is_there_in_numbers(drawn):
    said = words(drawn[5])
    cells = np.array([float(w) for w in said[10 : 10 + 42]]).reshape(6, 7)
    assert (cells[:, 1:] == np.hstack([JOINTS["base"], JOINTS["platform"]])).all()
    assert "X0 Y0 Z-250" in said and "X0 Y0 Z420 A0 B0 C0" in said


def test_joints_as_they_were_built_are_on_a_circle_give_or_take_and_others_on_none():
    built = JOINTS["base"] + np.linspace(-0.3, 0.3, 18).reshape(6, 3)
    circles = joint_circles(built)
    assert [c.joints for c in circles] == [(1, 3, 5), (2, 4, 6)]
    for c in circles:
        far = 2.0 * np.hypot(*built[[k - 1 for k in c.joints], :2].T)
        assert (far.min(), far.max()) == (pytest.approx(c.diameter - c.spread), pytest.approx(c.diameter + c.spread))
    assert joint_circles(built * [[1.0, 1.3, 1.0]]) == []


def test_names_in_a_picture_are_text():
    machine = replace(machine_from(DEMONSTRATION.read_bytes(), "x"), name="<script>alert(1)</script>")
    assert "<script" not in picture(machine)
