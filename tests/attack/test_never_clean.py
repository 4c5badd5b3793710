"""What must not pass without a word: ways through singular poses, words of two meanings, a spindle at rest, ways home.

Each kind is tried on inputs made by a rule, and what is found is held against arithmetic of the test's own.
"""

from dataclasses import replace

import numpy as np
import pytest
from moves.programs import HEAD, MACHINE, faults, meaning, platform

from hexpost.audit.limits import LIMITS
from hexpost.machine.load import no_setup, no_tools
from hexpost.pipeline import examine, parse, schedule, understand

SINGULAR = LIMITS.index("singular-pose")
STRAIGHT = meaning(HEAD + "G00 X0 Y0 Z100\n")


def audited(text, machine=MACHINE):
    return examine(schedule(understand(parse(text.encode(), "p.nc"), machine, no_tools(), no_setup())))


def determinant(found, pose):
    """Return the determinant of the Jacobian, rows [u, (R b) x u], by elimination with partial pivots."""
    m = platform(found, pose, 0)
    rows = []
    for s in MACHINE.struts:
        arm = m[:3, :3] @ s.platform_joint
        way = arm + m[:3, 3] - s.base_joint
        u = way / np.linalg.norm(way)
        rows.append([*u, *(np.cross(arm, u) / 500.0)])
    a, det = np.array(rows), 1.0
    for k in range(6):
        p = k + int(np.abs(a[k:, k]).argmax())
        det *= a[p, k] * (1.0 if p == k else -1.0)
        a[[k, p]] = a[[p, k]]
        a[k + 1 :] -= np.outer(a[k + 1 :, k] / a[k, k], a[k])
    return det


def turned(axis, z, angle):
    """Return the pose of a tool that stands at X0 Y0 and is turned about one axis, degrees."""
    pose = np.array([0.0, 0.0, z, 0.0, 0.0, 0.0])
    pose[3 + "ABC".index(axis)] = np.radians(angle)
    return pose


def crossings():
    """Return tilts (axis, height, angle) just beyond the first sign change of the determinant."""
    found, out = STRAIGHT, []
    for axis in "ABC":
        for sense in (1, -1):
            for z in (20, 60, 100, 150, 200, 260):
                first = np.sign(determinant(found, turned(axis, z, 0.0)))
                angles = np.arange(1, 180) * 0.5 * sense
                beyond = [x for x in angles if np.sign(determinant(found, turned(axis, z, x))) != first]
                if beyond:
                    out.append((axis, z, float(beyond[0]) + 2.0 * sense))
    return out


WAYS = [("B", 100, -65.0), ("C", 150, 85.0), *crossings()]


def test_there_are_enough_ways():
    assert len(WAYS) >= 22 and len({axis for axis, *_ in WAYS}) == 3


@pytest.mark.parametrize(("axis", "z", "angle"), WAYS, ids=lambda x: f"{x}")
def test_no_way_through_a_singular_pose_is_clean_and_no_feed_is_said_to_mend_it(axis, z, angle):
    text = HEAD + f"G00 X0 Y0 Z{z}\nG01 {axis}{angle} F9000\n"
    for conditioning in (None, 0.00005):
        health = replace(MACHINE.health, conditioning=conditioning)
        found = audited(text, replace(MACHINE, health=health, period=0.004)).findings
        mine = found.limit == SINGULAR
        signs = [np.sign(determinant(STRAIGHT, turned(axis, z, x))) for x in (angle, 0.0)]
        beyond = signs[0] != signs[1]
        assert mine.any() == beyond and set(found.line.tolist()) == {3}  # else a strut ends first
        assert np.isnan(found.own_feed[mine]).all() and np.isnan(found.feed[mine]).all()


HOMING = [f"G74 {w}" for w in ("", "X5", "Z0", "X5 Y5 Z-5 F100", "Z-5 R2 F100", "X1 Y1 Z-9 R3 P1 F50", "A0", "X0 Y0 Z0",
          "Z-3 F1", "Q2 Z-5 R1 F9", "I1 J1", "L2 X5 Z-2 R1 F7")]  # fmt: skip


@pytest.mark.parametrize("block", [*HOMING, *(f"G91 {b}" for b in HOMING)])
def test_a_word_of_two_meanings_is_refused_until_the_machine_file_says_which(block):
    found = faults(HEAD + f"G00 X0 Y0 Z100\n{block}\n")
    assert ("return-reading-missing", 3) in [(f.code, f.line) for f in found]


CUTS = ["G01 X5 F300", "G02 X10 I5 F300", "G03 I4 F300", "G01 A3 F300", "G81 X5 Z-4 R3 F90\nG80",
        "G85 X5 Z-4 R3 F90\nG80", "G93 G01 X5 F2\nG94"]  # fmt: skip
STILL = ["", "S900 M03\nM05", "S900 M04\nM19", "S900 M03\nG00 Z40 M05"]


@pytest.mark.parametrize("cut", CUTS)
@pytest.mark.parametrize("still", STILL)
def test_a_cut_with_the_spindle_at_rest_is_remarked_with_its_first_line(cut, still):
    head = f"{HEAD}G00 X0 Y0 Z50\n{still}\n"
    line = head.count("\n") + 1
    remarks = audited(head + cut + "\n").remarks
    rows = [remarks.row(i) for i in range(remarks.count)]
    assert [f.line for f in rows if f.limit.name == "spindle-off"] == [line]
    turning = audited(head + "S900 M03\n" + cut + "\n").remarks
    assert not [i for i in range(turning.count) if turning.row(i).limit.name == "spindle-off"]


@pytest.mark.parametrize("where", [(10, 10), (0, 0), (50, 40), (25, 1), (49, 39), (5, 38), (30, 20)])
@pytest.mark.parametrize(("through", "deep"), [("Z0.", 0), ("Z-2.", 2), ("Z-7.5", 7.5)])
def test_a_way_home_through_the_part_is_a_finding(where, through, deep):
    """The cuts lie in X0 to X50, Y0 to Y40; a return to a point in there below their zero plane goes through them."""
    x, y = where
    text = f"{HEAD}S900 M03\nG00 X0 Y0 Z120\nG92 Z20\nG01 Z-1 F900\nX50\nY40\nG00 Z20\nX{x} Y{y}\nG90 G28 {through}\n"
    found = audited(text).findings
    rows = [found.row(i) for i in range(found.count)]
    home = [f for f in rows if f.limit.name == "return-path"]
    assert [f.line for f in home] == [10] and home[0].peak == pytest.approx(deep, abs=1e-6)
