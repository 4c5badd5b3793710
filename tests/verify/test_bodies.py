"""Room between bodies proven again: distances by an optimiser and by the audit, hidden and milder findings."""

import json

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from machine.described import REST, STRUT, text
from scipy.optimize import lsq_linear
from verify.folders import PROGRAM, convert, copied, left_out, proof, retold, run

from hexpost.kinematics import clearance
from hexpost.verify.bodies import STRIDES, Bodies
from hexpost.verify.convex import box_apart, segments_apart

pytestmark = pytest.mark.usefixtures("untried")

WIDE = REST.replace("clearance_mm = 20", "clearance_mm = 84")
POST = REST.replace("low_mm = [-150, 1300, 0]", "low_mm = [-150, 500, 0]")
CASES = {"roomy": REST, "wide": WIDE, "post": POST}


@pytest.fixture(scope="module", params=CASES)
def job(request, tmp_path_factory):
    place = tmp_path_factory.mktemp(request.param)
    return request.param, convert(place, PROGRAM, machine=text(STRUT, CASES[request.param]))


def test_room_is_found_again(job):
    name, folder = job
    code, output = run("verify", folder)
    assert code == (0 if name == "roomy" else 1), output
    assert "bodies          found again" in output
    assert "not found again" not in output
    report = json.loads((folder / "report.json").read_text())
    assert any(f["limit"] == "clearance" for f in report["findings"]) == (name != "roomy")


def test_a_finding_left_out_is_named(job, tmp_path):
    if job[0] == "roomy":
        pytest.skip("nothing is too near")
    folder = copied(job[1], tmp_path)
    line = left_out(folder, "clearance")
    code, faults = proof(folder)
    assert code == 2
    assert any(f"broken in line {line}, which the report does not say" in f for f in faults["bodies"])


@pytest.mark.parametrize(
    ("key", "other"), [("peak", lambda v: v + 0.01), ("bodies", lambda v: [v[0], "strut 9"]), ("line", lambda _: 3)]
)
def test_a_finding_told_otherwise_is_named(job, tmp_path, key, other):
    if job[0] == "roomy":
        pytest.skip("nothing is too near")
    folder = copied(job[1], tmp_path)

    def change(report):
        worst = next(f for f in report["findings"] if f["limit"] == "clearance")
        worst[key] = other(worst[key])

    retold(folder, change)
    code, faults = proof(folder)
    assert code == 2
    assert any("the report says" in f for f in faults["bodies"])


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 100_000))
def test_distances_equal_those_of_an_optimiser_and_of_the_audit(seed):
    """Bounded linear least squares of scipy.optimize: points on both segments; a point on one and one of the box."""
    rng = np.random.default_rng(seed)
    p, q, r, s = rng.uniform(-1, 1, (4, 3)) * 100
    if seed % 3 == 0:
        s = r + (q - p) * rng.uniform(-2, 2)  # parallel
    if seed % 5 == 0:
        q = q * [1, 0, 0] + p * [0, 1, 1]  # along an axis
    best = lsq_linear(np.stack([q - p, r - s], axis=1), r - p, (0.0, 1.0), tol=1e-14)
    found = segments_apart(*(x[None] for x in (p, q, r, s)))[0]
    assert found == pytest.approx(np.sqrt(2.0 * best.cost), abs=1e-5)
    assert found == pytest.approx(clearance.segments_apart(*(x[:, None] for x in (p, q, r, s)))[0], abs=1e-6)
    low, high = np.sort(rng.uniform(-60, 60, (2, 3)), axis=0)
    best = lsq_linear(np.column_stack([q - p, -np.diag(high - low)]), low - p, (0.0, 1.0), tol=1e-14)
    found = box_apart(*(x[None] for x in (p, q, low, high)))[0]
    assert found == pytest.approx(np.sqrt(2.0 * best.cost), abs=1e-4)
    assert found == pytest.approx(clearance.segment_to_box(p[:, None], q[:, None], low, high)[0], abs=1e-9)


def test_rows_passed_over_have_room_enough():
    """Ends that jump to and fro between measured rows: what is infinite is indeed far, all else is measured."""
    from hexpost.machine.load import machine_from

    bodies = Bodies(machine_from(text().encode(), "m.toml"))
    rng = np.random.default_rng(3)
    n = 3 * STRIDES[0] + 5
    swing = np.sin(np.arange(n)[:, None] * rng.uniform(0.001, 0.02, 3)) * 100.0
    ends = rng.uniform(-400, 400, (7, 2, 1, 3)) + np.array([0, 1])[:, None, None] * swing
    enough = 150.0
    found, every = bodies._distances(ends, enough), bodies._distances(ends, np.inf)
    left = np.isinf(found)
    assert 0.2 < left.mean() < 0.95
    assert (every[left] >= enough).all()
    assert (found[~left] == every[~left]).all()
