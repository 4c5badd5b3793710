"""The cutting force from S, F and the coefficients of a tool against a case worked by hand."""

import re

import numpy as np
import pytest
from audit.jobs import moves, rest
from machine.described import REST, STRUT, described, text
from scipy.spatial.transform import Rotation

from hexpost.machine.model import Tool, Tools
from hexpost.moves.model import Events
from hexpost.pipeline import Files, load, schedule
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.cutting import Cutting
from hexpost.setpoints.loads import Loads

TOOLS = """
[[tool]]
number = 1
length_mm = 120
diameter_mm = 16
teeth = 4
feed_force_n = 100
feed_force_n_mm = 2000
axial_force_n = 20
axial_force_n_mm = 500
[[tool]]
number = 2
length_mm = 120
diameter_mm = 16
"""
PROGRAM = """G21 G17 G90 G94 G40 T1 M06
G43 H1 S3000 M03
G00 X0 Y0 Z200
G01 X60 F1200
S6000 Y60
G00 A10
G01 X0
G00 Z250
G01 S0 X10
T2 M06
G43 H2 S3000 M03
G01 X20
M30
"""
LIGHT = (
    REST.replace("[300, 0, 150]", "[0, 0, 0]").replace("[0, 0, 5]", "[0, 0, 0]").replace("[0, 0, -9.81]", "[0, 0, 0]")
)
SINE, COSINE = np.sin(np.radians(10.0)), np.cos(np.radians(10.0))
BY_HAND = {
    3: (0, 0, 0),  # a rapid cuts nothing
    4: (-300, 0, 70),  # 20 mm/s, 50 turns/s of 4 teeth: 0.1 mm a tooth; 100 + 2000 / 10, 20 + 500 / 10
    5: (0, -200, 45),  # twice the turns, half the feed per tooth
    7: (200, -45 * SINE, 45 * COSINE),  # the tool is tilted about X
    9: (-100, -20 * SINE, 20 * COSINE),  # no spindle speed: only what does not hang on the feed per tooth
    12: (0, 0, 0),  # a tool without coefficients
}
"""Line of the program: force on the tool in the work frame, N, where the feed of 1200 mm/min is reached."""


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """Return the job without gravity and constant force, its cutting force, and where the struts are."""
    place = tmp_path_factory.mktemp("cutting")
    files = {"machine.toml": text(STRUT, LIGHT), "tools.toml": TOOLS, "p.nc": PROGRAM}
    for name, content in files.items():
        (place / name).write_text(content)
    inputs = load(Files(program=place / "p.nc", machine=place / "machine.toml", tools=place / "tools.toml"))
    meaning = inputs.meaning
    cutting = Cutting(inputs.machine.forces, meaning.moves, meaning.events, inputs.tools)
    return schedule(inputs), cutting, Attitudes(inputs.machine, meaning.moves.frames)


def steady(setpoints, line):
    """Return which samples of a line are at 1200 mm/min, all of it along the straight."""
    poses = setpoints.poses
    speed = np.linalg.norm(poses.rate[:3], axis=0)
    held = (np.abs(poses.acceleration).max(axis=0) < 1e-6) & (np.abs(speed - 20.0) < 1e-6)
    return (poses.line == line) & (held | (line == 3))


def test_forces_equal_those_worked_by_hand(job):
    made, cutting, poses = job
    seen = set()
    for s in made.setpoints():
        cut, force = cutting.at(s), np.zeros((3, len(s.poses.tick)))
        if cut.drag is not None:
            force = cut.axial * poses.links(s).rotation[:, 2] - cut.drag * s.poses.rate[:3]
        assert cut.on is None
        for line, by_hand in BY_HAND.items():
            at = steady(s, line)
            if at.any():
                seen.add(line)
                assert force[:, at] == pytest.approx(np.repeat(np.array(by_hand)[:, None], at.sum(), axis=1), abs=1e-6)
    assert seen == set(BY_HAND)


def test_struts_do_the_work_that_cutting_takes(job):
    """Hold the balance of powers: at steady speed thrusts times strut speeds are - force . velocity."""
    made, cutting, poses = job
    loads = Loads(made.inputs.machine, poses, cutting)
    powers = {4: 300 * 20.0, 5: 200 * 20.0, 7: 200 * 20.0, 12: 0.0}  # N mm/s; the axial force is square to the feed
    seen = set()
    for s in made.setpoints():
        power = (loads.of(s).thrust * s.speed).sum(axis=0)
        for line, expected in powers.items():
            at = steady(s, line)
            if at.any():
                seen.add(line)
                assert power[at] == pytest.approx(expected, rel=1e-9, abs=1e-4)
    assert seen == set(powers)


def test_struts_push_against_the_force(job):
    """Hold the balance of forces: with nothing accelerated, thrusts along the struts are - force."""
    made, cutting, poses = job
    loads = Loads(made.inputs.machine, poses, cutting)
    for s in made.setpoints():
        total = np.einsum("ikn,kn->in", poses.links(s).direction, loads.of(s).thrust)
        for line in (4, 5, 7, 9):
            at = steady(s, line)
            assert total[:, at] == pytest.approx(
                -np.repeat(np.array(BY_HAND[line])[:, None], at.sum(), axis=1), abs=1e-4
            )


@pytest.mark.parametrize(("turns", "drag"), [(3.0, 100 + 2000 * 0.5 / (3.0 * 4 / 60)), (0.0, 100.0)])
def test_a_spindle_that_hardly_turns_bites_as_it_turns(turns, drag):
    """Tool 1 at 0.5 mm/s: 3 turns a minute of 4 teeth are a fifth of a tooth a second, 2.5 mm each."""
    machine = described(STRUT, LIGHT)
    events = Events(
        move=np.zeros(1, dtype=np.int64), rule=np.zeros(1, dtype=np.uint8), letter=np.array([ord("S")], dtype=np.uint8),
        value=np.array([turns]), pause=np.zeros(1), wait=np.zeros(1, dtype=bool), line=np.ones(1, dtype=np.int32),
    )  # fmt: skip
    tool = Tool(number=1, length=120.0, diameter=16.0, teeth=4, force=(100.0, 2000.0, 20.0, 500.0))
    s = rest(2)
    s.poses.rate[0] = 0.5
    cut = Cutting(machine.forces, moves(), events, Tools(tools={1: tool}, given=True)).at(s)
    assert cut.drag * 0.5 == pytest.approx([drag, drag])


def test_a_constant_force_acts_where_the_tool_only_tilts(tmp_path):
    """Hold the balance of forces: thrusts along the struts are - force, turned with the platform; rapids have none."""
    rest = REST.replace("[0, 0, -9.81]", "[0, 0, 0]")
    files = {
        "machine.toml": re.sub(r"^(mass_kg|platform_end_kg) = .*", r"\1 = 1e-6", text(STRUT, rest), flags=re.MULTILINE),
        "tools.toml": TOOLS, "p.nc": "G21 G90 T1 M06\nG43 H1 S3000 M03\nG01 F600 A10 B5\nG04 X0.1\nG00 A0\nM30\n",
    }  # fmt: skip
    for name, content in files.items():
        (tmp_path / name).write_text(content)
    made = schedule(
        load(Files(**{k: tmp_path / f for k, f in zip(("machine", "tools", "program"), files, strict=True)}))
    )
    meaning, poses = made.inputs.meaning, Attitudes(made.inputs.machine, made.inputs.meaning.moves.frames)
    cutting = Cutting(made.inputs.machine.forces, meaning.moves, meaning.events, made.inputs.tools)
    loads = Loads(made.inputs.machine, poses, cutting)
    for s in made.setpoints():
        total = np.einsum("ikn,kn->in", poses.links(s).direction, loads.of(s).thrust)
        cuts = (s.poses.line == 3) & (np.abs(s.poses.rate[3:]).max(axis=0) > 0)
        force = Rotation.from_euler("xyz", s.poses.pose[3:].T).apply([300.0, 0.0, 150.0]).T * cuts
        assert cuts.any() and total == pytest.approx(-force, abs=0.01)
