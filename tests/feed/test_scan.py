"""The exact scan against toppra and a published profile; bit-for-bit laws of chunks, and laws of time and limits."""

import logging

import numpy as np
import pytest
from feed.jobs import FRAME, MACHINE
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.feed.chunks import times
from hexpost.feed.scan import speeds_squared
from hexpost.kinematics.struts import StrutModel

SEEDS = st.integers(0, 2**32 - 1)
STRUTS = StrutModel(MACHINE).in_frame(FRAME.base_from_work, FRAME.tip)

# Path and profile: H. Pham, Q.-C. Pham, IEEE Trans. Robotics 34(3), 2018; the values of sdot^2 are those the authors
# publish beside their code (2-D cubic through (0,0) (1,3) (2,4) (0,0), |q'| <= 1, |q''| <= 0.2, 51 nodes on [0, 3],
# limits at the nodes only).
CUBIC = np.array(
    [
        [[-0.5, -0.5], [1.5, 0.5], [0, 3], [0, 0]],
        [[-0.5, -0.5], [0, -1], [1.5, 2.5], [1, 3]],
        [[-0.5, -0.5], [-1.5, -2.5], [0, -1], [2, 4]],
    ]
)
PUBLISHED = {1: 0.00799999, 2: 0.01559927, 5: 0.0375065, 11: 0.08890758, 12: 0.08734253, 31: 0.0285715, 49: 0.00394282}


def strut_path(seed, nodes=400, length=120.0):
    """Return strut lengths' first and second derivatives (6, n) along a random smooth path of the demo machine."""
    rng = np.random.default_rng(seed)
    s = np.linspace(0.0, length, nodes)
    q = np.zeros((3, 6, nodes))
    for axis in range(5):
        size = rng.uniform(5, 30) if axis < 3 else rng.uniform(0.01, 0.08)
        for wave in (1, 2, 3):
            w, phase = wave * rng.uniform(0.5, 1.5) * 2 * np.pi / length, rng.uniform(0, 6.3)
            for order in range(3):
                q[order, axis] += size / wave * w**order * np.sin(w * s + phase + order * np.pi / 2)
    _, slope, bend = STRUTS.derivatives(list(q))
    return slope, bend, s[1]


def solved(slope, bend, step, acceleration=2000.0, speed=300.0, **options):
    """Return the profile for equal limits of all rows."""
    cap = np.min((speed / np.maximum(np.abs(slope), 1e-9)) ** 2, axis=0)
    return speeds_squared(slope, bend, np.full(len(slope), acceleration), cap, step=step, **options)


def test_the_published_profile():
    s = np.linspace(0, 3, 51)
    k = np.minimum(s.astype(int), 2)
    t = s - k
    c = CUBIC[k].transpose(1, 2, 0)
    slope, bend = 3 * c[0] * t**2 + 2 * c[1] * t + c[2], 6 * c[0] * t + 2 * c[1]
    cap = np.min((1 / np.maximum(np.abs(slope), 1e-12)) ** 2, axis=0)
    x = speeds_squared(slope, bend, np.array([0.2, 0.2]), cap, step=s[1], ends=False)
    for node, value in PUBLISHED.items():
        assert x[node] == pytest.approx(value, abs=1e-6)
    assert times(x, s[1])[-1] == pytest.approx(17.7758, abs=2e-4)  # integrated from the printed profile


@pytest.mark.parametrize("seed", range(4))
def test_toppra_finds_the_same_profile_and_duration(seed):
    ta = pytest.importorskip("toppra")
    from toppra import algorithm, constraint

    logging.disable(logging.CRITICAL)
    slope, bend, step = strut_path(seed, 200)
    n = slope.shape[1]
    s = np.arange(n) * step

    class Given(ta.interpolator.AbstractGeometricPath):
        """A path that is its derivatives at the nodes."""

        dof, path_interval = 6, np.array([0.0, s[-1]])

        def __call__(self, at, order=0):
            k = np.rint(np.atleast_1d(at) / step).astype(int)
            return (np.zeros((n, 6)), slope.T, bend.T)[order][k]

        waypoints = (s, np.zeros((n, 6)))

    limits = [np.column_stack([-np.full(6, x), np.full(6, x)]) for x in (300.0, 2000.0)]
    kind = constraint.DiscretizationType.Interpolation
    rows = [
        constraint.JointVelocityConstraint(limits[0]),
        constraint.JointAccelerationConstraint(limits[1], discretization_scheme=kind),
    ]
    other = algorithm.TOPPRA(rows, Given(), gridpoints=s, solver_wrapper="seidel")
    _, sd, _ = other.compute_parameterization(0.0, 0.0)
    x = solved(slope, bend, step)
    # That solver takes 1e-8 off x at every step (in mm2/s2 here), which is most of the difference.
    assert np.abs(x - sd**2).max() <= 1e-6 * x.max()
    assert times(x, step)[-1] == pytest.approx(times(sd**2, step)[-1], rel=1e-8)


@given(SEEDS, st.sampled_from([2, 3, 7, 16, 40, None]))
@settings(max_examples=25, deadline=None)
def test_any_number_of_chunks_gives_the_same_bits(seed, chunks):
    slope, bend, step = strut_path(seed)
    assert (solved(slope, bend, step, chunks=1) == solved(slope, bend, step, chunks=chunks)).all()


@given(SEEDS, st.sampled_from([None, 1, 7]))
@settings(max_examples=20, deadline=None)
def test_steps_that_happen_to_be_equal_and_steps_of_nothing_change_nothing(seed, chunks):
    slope, bend, step = strut_path(seed)
    n = slope.shape[1]
    x = solved(slope, bend, step)
    assert np.allclose(solved(slope, bend, np.full(n - 1, step), chunks=chunks), x, rtol=1e-9, atol=1e-9 * x.max())
    twice = np.sort(np.append(np.arange(n), [0, n // 3, n - 1]))  # a node that stands twice
    steps = np.diff(twice) * step
    y = solved(slope[:, twice], bend[:, twice], steps, chunks=chunks)
    assert np.allclose(y, x[twice], rtol=1e-9, atol=1e-9 * x.max())


@given(SEEDS, st.integers(0, 5), st.floats(1.0, 10.0))
@settings(max_examples=25, deadline=None)
def test_raising_a_limit_never_lengthens_the_job(seed, row, factor):
    slope, bend, step = strut_path(seed)
    cap = np.full(slope.shape[1], 1e5)
    limit = np.full(6, 1500.0)
    x = speeds_squared(slope, bend, limit, cap, step=step)
    limit[row] *= factor
    y = speeds_squared(slope, bend, limit, cap, step=step)
    assert times(y, step)[-1] <= times(x, step)[-1] * (1 + 1e-6)


@given(SEEDS)
@settings(max_examples=20, deadline=None)
def test_the_way_back_takes_as_long(seed):
    slope, bend, step = strut_path(seed)
    there, back = solved(slope, bend, step), solved(-slope[:, ::-1].copy(), bend[:, ::-1].copy(), step)
    # Where a strut all but stands, the steps of a grid decide between more speed now and more speed later.
    assert times(there, step)[-1] == pytest.approx(times(back, step)[-1], rel=2e-5)
    assert np.abs(there - back[::-1]).max() <= 0.01 * there.max()


def test_a_straight_strut_path_is_the_same_both_ways_to_rounding():
    slope, bend = np.stack([np.full(300, 0.8), np.full(300, -0.5)]), np.stack([np.full(300, 1e-3), np.full(300, -2e-3)])
    there, back = solved(slope, bend, 0.5), solved(-slope, bend, 0.5)
    assert np.allclose(there, back[::-1], rtol=1e-10, atol=1e-8)


@given(SEEDS, st.sampled_from([1e-3, 1 / 1024, 7.0]), st.sampled_from([1e-2, 4.0]))
@settings(max_examples=20, deadline=None)
def test_other_units_of_length_and_time_give_the_same_profile(seed, unit, second):
    slope, bend, step = strut_path(seed)
    x = solved(slope, bend, step)
    # The path parameter in another unit: slopes and bends change with it.
    y = solved(slope / unit, bend / unit**2, step * unit)
    assert np.allclose(y, x * unit**2, rtol=1e-9, atol=1e-9 * x.max() * unit**2)
    z = solved(slope, bend, step, acceleration=2000.0 * second**2, speed=300.0 * second)
    assert np.allclose(z, x * second**2, rtol=1e-9, atol=1e-9 * z.max())


@given(SEEDS)
@settings(max_examples=15, deadline=None)
def test_an_infinite_limit_equals_its_absence(seed):
    slope, bend, step = strut_path(seed)
    cap, limit = np.full(slope.shape[1], 1e5), np.full(6, 2000.0)
    limit[3] = np.inf
    rest = [0, 1, 2, 4, 5]
    x = speeds_squared(slope, bend, limit, cap, step=step)
    assert (x == speeds_squared(slope[rest], bend[rest], limit[rest], cap, step=step)).all()
    free = speeds_squared(slope, bend, np.full(6, np.inf), cap, step=step)
    assert free[1:-1] == pytest.approx(cap[1:-1])


@given(SEEDS, st.sampled_from([1.0, 1e-3, 1e3]))
@settings(max_examples=25, deadline=None)
def test_no_limit_is_broken_at_either_end_of_an_interval(seed, share):
    slope, bend, step = strut_path(seed)
    slope[:, ::37] *= 0.0  # nodes at which nothing moves along the path
    limit = 2000.0 * share
    x = solved(slope, bend, step, limit)
    assert (x >= 0).all() and (x[1:-1] > 0).all()
    u = np.diff(x) / (2 * step)
    for at in (slice(None, -1), slice(1, None)):
        a = slope[:, at] * u + bend[:, at] * x[at]
        assert np.abs(a).max() <= limit * (1 + 1e-6)


def test_two_nodes_and_stops_are_no_trouble():
    assert speeds_squared(np.ones((1, 2)), np.zeros((1, 2)), np.ones(1), np.ones(2), step=1.0).tolist() == [0.0, 0.0]
    cap = np.full(100, 50.0)
    cap[50] = 0.0
    x = speeds_squared(np.ones((1, 100)), np.zeros((1, 100)), np.ones(1), cap, step=1.0)
    assert x[50] == 0
    assert x[25] == pytest.approx(50.0)
    assert x[51] == pytest.approx(2.0)  # v^2 = 2 a s


def test_a_bend_that_takes_all_the_speed_in_one_step_divides_by_nothing():
    slope, bend, cap = np.ones((1, 40)), np.zeros((1, 40)), np.full(40, 50.0)
    bend[0, 20] = 0.5  # 1 - 2 D b / a is nothing
    x = speeds_squared(slope, bend, np.ones(1), cap, step=1.0)
    assert np.isfinite(x).all()
    assert (x[1:-1] > 0).all()
