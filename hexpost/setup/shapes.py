"""Least-squares planes, lines, spheres and cylinders through probed points (orthogonal distances)."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array

LEAST_POINTS = {"point": 1, "line": 2, "plane": 3, "sphere": 4, "cylinder": 5}
"""Points that a shape needs; more show whether it fits."""

FREEDOM = {"point": 3, "line": 4, "plane": 3, "sphere": 4, "cylinder": 5}
"""Numbers that describe a shape; of a point all coordinates are taken as they are."""

CLOSE = 1e-12
"""A step below this share of the size of the data is the last."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Shape:
    """A fitted shape: a point of it (3,) (its centre, or a point of its axis), its direction (3,), its radius.

    ``direction`` is the normal of a plane, the axis of a cylinder, along a line; zeros where there is none.
    ``residual`` (n,): signed distances of the points (of a line: never negative).
    """

    kind: str
    point: Array
    direction: Array
    radius: float
    residual: Array


def fit_shape(kind: str, points: Array, near: Shape | None = None) -> Shape:
    """Return the shape of a ``kind`` that lies best among ``points`` (n, 3); ``near`` is one that all but does."""
    if near is not None and kind == "cylinder":
        return cylinder(points, near.direction)
    return {"point": point, "line": line, "plane": plane, "sphere": sphere, "cylinder": cylinder}[kind](points)


def point(points: Array) -> Shape:
    """Return the mean of points."""
    middle: Array = points.mean(axis=0)
    residual = np.linalg.norm(points - middle, axis=1)
    return Shape(kind="point", point=middle, direction=np.zeros(3), radius=0.0, residual=residual)


def line(points: Array) -> Shape:
    """Return the line of least squares: through the mean, along the first principal axis, from first to last point."""
    middle = points.mean(axis=0)
    along = np.linalg.svd(points - middle)[2][0]
    along = along if along @ (points[-1] - points[0]) >= 0.0 else -along
    off = points - middle - np.outer((points - middle) @ along, along)
    return Shape(kind="line", point=middle, direction=along, radius=0.0, residual=np.linalg.norm(off, axis=1))


def plane(points: Array) -> Shape:
    """Return the plane of least squares: through the mean, square to the last principal axis."""
    middle = points.mean(axis=0)
    normal = np.linalg.svd(points - middle)[2][2]
    return Shape(kind="plane", point=middle, direction=normal, radius=0.0, residual=(points - middle) @ normal)


def sphere(points: Array) -> Shape:
    """Return the sphere of least squares: linear start, then Gauss-Newton on the distances."""
    origin = points.mean(axis=0)
    p = points - origin
    system = np.column_stack([2.0 * p, np.ones(len(p))])
    first = np.linalg.lstsq(system, (p**2).sum(axis=1), rcond=None)[0]
    centre = first[:3]
    radius = float(np.sqrt(max(first[3] + centre @ centre, 0.0)))
    size = float(np.abs(p).max())
    for _ in range(50):
        arms = p - centre
        distance = np.linalg.norm(arms, axis=1)
        slopes = np.column_stack([-arms / distance[:, None], -np.ones(len(p))])
        step = np.linalg.lstsq(slopes, radius - distance, rcond=None)[0]
        centre, radius = centre + step[:3], radius + float(step[3])
        if np.abs(step).max() < CLOSE * size:
            break
    residual = np.linalg.norm(p - centre, axis=1) - radius
    return Shape(kind="sphere", point=origin + centre, direction=np.zeros(3), radius=radius, residual=residual)


def cylinder(points: Array, near: Array | None = None) -> Shape:
    """Return the cylinder of least squares: the best of several starting axes, each by damped Gauss-Newton.

    The starts are the best of axes spread over a hemisphere, each with the circle of least squares across it; or the
    direction ``near`` alone.
    """
    origin = points.mean(axis=0)
    p = points - origin
    size = float(np.abs(p).max())
    starts = [near] if near is not None else [*_hemisphere(), *np.linalg.svd(p, full_matrices=False)[2]]
    rough = sorted(((_across(p, axis)[2], k) for k, axis in enumerate(starts)), key=lambda x: x[0])
    found = [_refined(p, np.asarray(starts[k]), size) for _, k in rough[:6]]
    axis, centre, radius = min(found, key=lambda x: float((_radial(p, x[0], x[1])[1] - x[2]) @ (
        _radial(p, x[0], x[1])[1] - x[2])))  # fmt: skip
    residual = _radial(p, axis, centre)[1] - radius
    return Shape(kind="cylinder", point=origin + centre, direction=axis, radius=radius, residual=residual)


def _hemisphere() -> list[Array]:
    """Return 48 directions spread over a hemisphere by the golden angle."""
    k = np.arange(48)
    z = (k + 0.5) / 48
    turn = k * np.pi * (3.0 - np.sqrt(5.0))
    r = np.sqrt(1.0 - z**2)
    return list(np.stack([r * np.cos(turn), r * np.sin(turn), z], axis=1))


def _across(p: Array, axis: Array) -> tuple[Array, float, float]:
    """Return centre (3,), radius and sum of squares of the algebraic circle of points seen along ``axis``."""
    u, v = _square_to(axis)
    flat = np.stack([p @ u, p @ v], axis=1)
    system = np.column_stack([2.0 * flat, np.ones(len(p))])
    first = np.linalg.lstsq(system, (flat**2).sum(axis=1), rcond=None)[0]
    radius = float(np.sqrt(max(first[2] + first[:2] @ first[:2], 0.0)))
    off = np.linalg.norm(flat - first[:2], axis=1) - radius
    return first[0] * u + first[1] * v, radius, float(off @ off)


def _refined(p: Array, axis: Array, size: float) -> tuple[Array, Array, float]:
    """Return axis, centre and radius after Gauss-Newton steps that are halved while they do not help."""
    centre, radius, _ = _across(p, axis)
    for _ in range(60):
        u, v = _square_to(axis)
        off, distance = _radial(p, axis, centre)
        unit = off / np.maximum(distance, CLOSE * size)[:, None]
        along = (p - centre) @ axis
        slopes = np.column_stack([-unit @ u, -unit @ v, -along * (unit @ u), -along * (unit @ v), -np.ones(len(p))])
        wrong = distance - radius
        step = np.linalg.lstsq(slopes, -wrong, rcond=1e-12)[0]
        before = float(wrong @ wrong)
        for _ in range(12):
            new_axis = axis + step[2] * u + step[3] * v
            new_axis /= np.linalg.norm(new_axis)
            new_centre = centre + step[0] * u + step[1] * v
            now = _radial(p, new_axis, new_centre)[1] - radius - step[4]
            if float(now @ now) <= before:
                break
            step = step / 2.0
        axis, centre, radius = new_axis, new_centre - (new_centre @ new_axis) * new_axis, radius + float(step[4])
        if np.abs(step[[0, 1, 4]]).max() < CLOSE * size and np.abs(step[2:4]).max() < CLOSE:
            break
    return axis, centre, radius


def _radial(p: Array, axis: Array, centre: Array) -> tuple[Array, Array]:
    """Return the vectors (n, 3) and distances (n,) of points from an axis."""
    off = p - centre
    off = off - np.outer(off @ axis, axis)
    return off, np.linalg.norm(off, axis=1)


def _square_to(axis: Array) -> tuple[Array, Array]:
    """Return two directions square to ``axis`` and to each other."""
    least = np.eye(3)[int(np.abs(axis).argmin())]
    u = np.cross(axis, least)
    u /= np.linalg.norm(u)
    return u, np.cross(axis, u)
