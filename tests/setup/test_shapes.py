"""Fits of planes, lines, spheres and cylinders against an independent method: scipy's general least squares."""

import numpy as np
import pytest
from scipy.optimize import least_squares
from scipy.spatial.transform import Rotation

from hexpost.setup.shapes import cylinder, line, plane, sphere


def cloud(kind, seed, n=24, noise=0.01):
    rng = np.random.default_rng(seed)
    turn = Rotation.random(random_state=seed)
    u, v = rng.uniform(-1, 1, (2, n))
    if kind == "plane":
        p = np.stack([60 * u, 40 * v, np.zeros(n)], axis=1)
    elif kind == "line":
        p = np.stack([60 * u, np.zeros(n), np.zeros(n)], axis=1)
    elif kind == "sphere":
        z = 0.3 + 0.7 * np.abs(v)
        p = 12.5 * np.stack([np.sqrt(1 - z**2) * np.cos(3 * u), np.sqrt(1 - z**2) * np.sin(3 * u), z], axis=1)
    else:
        p = np.stack([20 * np.cos(3 * u), 20 * np.sin(3 * u), 15 * v], axis=1)
    return turn.apply(p + noise * rng.normal(size=(n, 3))) + rng.uniform(-200, 200, 3)


def distance(kind, x, p):
    """Signed distance of points to a shape of six or seven numbers, written anew."""
    if kind == "sphere":
        return np.linalg.norm(p - x[:3], axis=1) - x[3]
    d = x[3:6] / np.linalg.norm(x[3:6])
    if kind == "plane":
        return (p - x[:3]) @ d
    return np.linalg.norm(np.cross(p - x[:3], d), axis=1) - (x[6] if kind == "cylinder" else 0.0)


@pytest.mark.parametrize("kind", ["plane", "line", "sphere", "cylinder"])
@pytest.mark.parametrize("seed", range(4))
def test_sum_of_squares_is_the_least(kind, seed):
    """Authority: scipy.optimize.least_squares from our answer and from disturbed ones finds nothing better."""
    p = cloud(kind, seed)
    found = {"plane": plane, "line": line, "sphere": sphere, "cylinder": cylinder}[kind](p)
    ours = np.concatenate([found.point, [found.radius] if kind == "sphere" else found.direction, [found.radius]])
    assert np.abs(distance(kind, ours, p)) == pytest.approx(np.abs(found.residual), abs=1e-9)
    rng = np.random.default_rng(seed)
    for size in (0.0, 0.05):
        start = ours + size * rng.normal(size=ours.size)
        best = least_squares(lambda x: distance(kind, x, p), start, xtol=1e-14, ftol=1e-14, gtol=1e-14)
        assert (found.residual**2).sum() <= 2 * best.cost * (1 + 1e-9) + 1e-12


@pytest.mark.parametrize("seed", range(6))
def test_exact_shapes_are_found_exactly(seed):
    p = cloud("cylinder", seed, n=9, noise=0.0)
    found = cylinder(p)
    assert found.radius == pytest.approx(20, abs=1e-9)
    assert np.abs(found.residual).max() < 1e-9
    p = cloud("sphere", seed, n=7, noise=0.0)
    assert sphere(p).radius == pytest.approx(12.5, abs=1e-8)
    assert np.abs(plane(cloud("plane", seed, noise=0.0)).residual).max() < 1e-11
