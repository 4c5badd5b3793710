"""Where a tool is on its move, whatever the platform does about the tool; poses of poor machines."""

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import minimize_scalar
from scipy.spatial.transform import Rotation
from verify.folders import run

from hexpost.machine.load import demonstration_machine
from hexpost.moves.model import Frame
from hexpost.verify import corners
from hexpost.verify.axis import Axis
from hexpost.verify.pose import KNOT, Tracker
from hexpost.verify.struts import Angles, StrutLengths

SAMPLES = Path(__file__).parents[2] / "samples"
ORDERS = ("ABC", "ACB", "BAC", "BCA", "CAB", "CBA")


@pytest.mark.parametrize("order", ORDERS)
def test_rotations_and_their_axes_equal_those_of_scipy(order):
    angles = np.random.default_rng(3).uniform(-1.0, 1.0, (3, 40))
    names = {"A": "x", "B": "y", "C": "z"}
    whole = Rotation.from_euler("".join(names[x] for x in order), angles[["ABC".index(x) for x in order]].T)
    found = Angles(order)
    assert np.abs(found.matrices(angles) - whole.as_matrix()).max() < 1e-14
    axes = found.turning(angles)
    for k in range(3):
        step = np.zeros((3, 1))
        step[k] = 1e-6
        both = [Rotation.from_matrix(found.matrices(angles + s * step)) for s in (1, -1)]
        turn = (both[0] * both[1].inv()).as_rotvec() / 2e-6
        assert np.abs(turn - axes[:, :, k]).max() < 1e-8


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("turn", [0.0, 0.4])
def test_a_free_yaw_does_not_hide_the_axis_of_the_tool(order, turn):
    rng = np.random.default_rng(4)
    angles = rng.uniform(-0.5, 0.5, (3, 30))
    angles[2] = 0.1
    asked = Rotation.from_matrix(Angles(order).matrices(angles))
    yawed = (asked * Rotation.from_rotvec([0, 0, turn])).as_matrix()
    named = order.replace("A", "x").replace("B", "y").replace("C", "z")
    told = Rotation.from_matrix(yawed).as_euler(named).T
    q = np.zeros((6, 30))
    q[[3 + "ABC".index(x) for x in order]] = told
    found, _ = Axis(order).of(q, np.zeros((6, 30)), np.tile([[0.0], [0.0], [0.1]], 30))
    assert np.abs(found[3:] - angles).max() < 1e-9


def frame(machine, yaw=0.0):
    work = np.eye(4)
    work[:3, :3] = Rotation.from_euler("xyz", [0.02, -0.03, 0.4]).as_matrix()
    work[:3, 3] = [10.0, -20.0, 480.0]
    tip = machine.platform.gauge_point - np.array([0.0, 0.0, 120.0])
    return Frame(base_from_work=work, tip=tip, offset="G54", tool=1, length_row=1, length=120.0, yaw=yaw)


def lengths_by_vectors(machine, where, q):
    """Return lengths (6, n) by rotations of scipy."""
    turned = Rotation.from_euler("xyz", q[3:].T) * Rotation.from_rotvec([0, 0, where.yaw])
    work = Rotation.from_matrix(where.base_from_work[:3, :3])
    tip = work.apply(q[:3].T) + where.base_from_work[:3, 3]
    out = np.empty((6, q.shape[1]))
    for k, strut in enumerate(machine.struts):
        joint = tip + (work * turned).apply(np.array(strut.platform_joint) - where.tip)
        out[k] = np.linalg.norm(joint - strut.base_joint, axis=1)
    return out


@pytest.mark.parametrize("yaw", [0.0, -0.3])
@pytest.mark.parametrize("speed", [0.05, 1.5])
def test_tracker_finds_the_coordinates_whose_lengths_are_had_from_their_vectors(yaw, speed):
    """Two blocks, one of them not of whole knots; slow and fast; rates by differences of coordinates."""
    machine = demonstration_machine()
    where = frame(machine, yaw)
    t = np.arange(5 * KNOT + 7) * 1e-3
    w = 6.0
    q = np.array([
        60 * np.sin(w * t), 40 * np.cos(w * t), 60 + 10 * np.sin(2 * w * t),
        0.1 * np.sin(w * t), 0.08 * np.cos(w * t), 0.2 * t,
    ])  # fmt: skip
    q = q * speed + np.array([5.0, -7.0, 30.0, 0.02, 0.01, 0.0])[:, None]
    lengths = lengths_by_vectors(machine, where, q)
    struts = StrutLengths(machine, where)
    assert np.abs(struts.lengths(q) - lengths).max() < 1e-10
    step = 1e-4
    for i in range(6):
        moved = [struts.lengths(q + s * step * np.eye(6)[:, i : i + 1]) for s in (1, -1)]
        assert np.abs(struts.slopes(q)[1][:, :, i].T - (moved[0] - moved[1]) / (2 * step)).max() < 1e-5
    tracker = Tracker(struts, lengths[:, 0], q[:, 0] + [0.5, -0.3, 0.2, 0.01, -0.01, 0.02])
    rates = np.gradient(lengths, t, axis=1, edge_order=2)
    cut = 2 * KNOT + 3
    for part in (slice(0, cut), slice(cut, None)):
        poses = tracker.follow(lengths[:, part])
        assert poses.found.all()
        assert np.abs(poses.q - q[:, part])[:3].max() < 3e-8
        assert np.abs(poses.q - q[:, part])[3:].max() < 1e-10
        found = struts.slopes(q[:, part])[1]
        exact = np.linalg.solve(found, rates[:, part].T[:, :, None])[:, :, 0].T
        size = np.abs(exact[:3]).max()
        assert np.abs(poses.rates(rates[:, part]) - exact)[:3].max() < 1e-5 * size


def test_constants_of_corners_are_the_largest_distances_of_their_quintics():
    """Hermite's quintic of data on both sides, by numpy.linalg; its distance from the sides, by scipy.optimize."""

    def quintic(left, right):
        rows = []
        for x in (-1.0, 1.0):
            rows += [[x**k for k in range(6)], [k * x ** max(k - 1, 0) for k in range(6)]]
            rows.append([k * (k - 1) * x ** max(k - 2, 0) for k in range(6)])
        return np.polynomial.Polynomial(np.linalg.solve(np.array(rows), np.array([*left, *right])))

    def largest(curve, side):
        ends = (-1.0, 0.0), (0.0, 1.0)
        return max(
            -minimize_scalar(
                lambda x, g=g: -abs(curve(x) - g(x)), bounds=e, method="bounded", options={"xatol": 1e-10}
            ).fun
            for e, g in zip(ends, side, strict=True)
        )

    corner = quintic((0, 0, 0), (1, 1, 0))  # a jump of 1 in direction, half-length 1
    assert largest(corner, (lambda x: 0.0, lambda x: x)) == pytest.approx(corners.VERTEX, rel=1e-6)
    bend = quintic((0, 0, 0), (0.5, 1, 1))  # a jump of 1 in the second derivative
    assert largest(bend, (lambda x: 0.0, lambda x: x * x / 2)) == pytest.approx(corners.BEND, rel=1e-2)
    carried = quintic((0, 0, 1), (0, 0, 0))
    assert largest(carried, (lambda x: 0.0, lambda x: 0.0)) / 4 == pytest.approx(corners.CARRY, rel=1e-6)


def test_a_pure_rotation_in_a_poor_pose_has_no_way_for_the_deviation_to_lie_along(tmp_path):
    """The decimals of the table make the resting tip seem to creep, faster than any fixed bound."""
    text = (SAMPLES / "limits.nc").read_text()
    changed = text.replace("N220 G01 X-60. F3000", "N220 G01 B-60. F3000")
    assert changed != text
    (tmp_path / "p.nc").write_text(changed)
    code, output = run(
        "convert", tmp_path / "p.nc", "--tools", SAMPLES / "tools.toml", "--setup", SAMPLES / "setup.toml",
        "--period-ms", "4", "--feed", "strut-limited", "--out", tmp_path / "job",
    )  # fmt: skip
    assert code == 1, output
    code, output = run("verify", tmp_path / "job")
    assert "PROVEN, BROKEN" in output, output
