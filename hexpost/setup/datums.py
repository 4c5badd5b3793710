"""Align to datum features after the 3-2-1 principle: each fixes what those before it leave open.

Three points of the primary datum fix one shift and two turns, two of the secondary a shift and a turn, one of the
tertiary the last shift. (ISO 5459:2011 and ASME Y14.5-2018 govern datums on drawings; neither was at hand.) Three ways:

- faces: primary plane (z), secondary line or plane (y), tertiary point, plane or hole (x);
- a face and two holes: primary plane (z), secondary hole (x = y = 0), tertiary hole (on the x axis);
- a bore: primary cylinder (z axis), secondary plane or point (z), tertiary hole or point (on the x axis).

A hole is a cylinder or a sphere. Faces turn outwards along +z, -y, -x of the work frame, as the near left top corner
of a part does; the ball touches them from outside.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from math import nan, sqrt

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.errors import Fault, InputError, unknown
from hexpost.kinematics.frames import pose_from_matrix
from hexpost.setup.columns import MeasuredColumns
from hexpost.setup.model import Alignment
from hexpost.setup.points import PROBED, Probing, correlation
from hexpost.setup.rigid import spread
from hexpost.setup.shapes import FREEDOM, LEAST_POINTS, Shape, fit_shape, line

ROLES = ("primary", "secondary", "tertiary")
USUAL = {"primary": "plane", "secondary": "line", "tertiary": "point"}
HOLES = ("cylinder", "sphere")
STEP = 1e-3
"""Millimetres by which a point is moved to see how the frame follows."""
LEAST_LENGTH = 1e-3
"""A direction whose part square to the ones before is below this share of it does not fix a turn."""

Fits = Mapping[str, Shape]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class _Feature:
    """One datum: its shape, its rows of the file, and the coordinate at which it stands in the work frame."""

    kind: str
    rows: Ints
    at: float


class _Open(Exception):  # noqa: N818 - says what is open, and never leaves this module
    """A freedom that the datums leave open."""


def align_datums(columns: MeasuredColumns, probing: Probing, order: str) -> Alignment:
    """Return the work frame that the datums of the file fix.

    Raises
    ------
    InputError
        When a datum is missing, has too few points, does not have its shape within the tolerance, or leaves a
        freedom open.
    """
    features = _features(columns)
    points = columns.rows(PROBED)
    radius = probing.ball / 2.0
    _refuse_shapes(columns, features, points)
    try:
        pose, fits = _pose(features, points, radius, order)
    except _Open as open_freedom:
        raise columns.refusal(str(open_freedom), "freedom-open") from None
    residual = np.zeros((columns.count, 1))
    for role, feature in features.items():
        residual[feature.rows, 0] = np.abs(fits[role].residual)
    _refuse_misfits(columns, features, residual[:, 0], probing.tolerance)
    spare = sum(_spare(role, f, features["primary"].kind) for role, f in features.items())
    noise, source = probing.noise, "as stated"
    if noise is None:
        noise = sqrt(float((residual**2).sum()) / spare) if spare else nan
        source = "from the residuals"
    covariance = noise**2 * _unit_covariance(features, points, radius, order, fits=fits)
    return Alignment(
        pose=pose,
        residual=residual,
        names=tuple(columns.row_name(i) for i in range(columns.count)),
        deviation=np.sqrt(np.diag(covariance)),
        correlation=correlation(covariance) if np.isfinite(noise) else np.full((6, 6), nan),
        noise=noise,
        noise_from=source,
        spare=spare,
        spread=spread(points),
        method="datums: " + ", ".join(f"{role} {f.kind}" for role, f in features.items()),
    )


def _refuse_misfits(columns: MeasuredColumns, features: dict[str, _Feature], off: Array, tolerance: float) -> None:
    """Refuse a file with points that are further ``off`` (m,), mm, than is allowed: each is named, the worst first."""
    faults: list[Fault] = []
    for row in sorted(np.flatnonzero(off > tolerance).tolist(), key=lambda i: -off[i]):
        shape = next(f"{role} {f.kind}" for role, f in features.items() if row in f.rows)
        what = f"the point is {off[row]:.4g} mm from the {shape}; at most {tolerance:g} mm is allowed"
        faults += columns.refusal(what, "misfit", "probe this point again", row=row).faults
    if len(faults) > 1:
        faults[0] = replace(faults[0], hint="probe the worst point again first: it pulls the others off")
        faults[1:] = [replace(fault, hint="") for fault in faults[1:]]
    if faults:
        raise InputError(faults)


def _spare(role: str, feature: _Feature, primary: str) -> int:
    """Return how many numbers a datum has to spare: those of its points that its shape can contradict, less its own."""
    each, freedom = {"line": 2, "point": 3}.get(feature.kind, 1), FREEDOM[feature.kind]
    if (role, feature.kind, primary) == ("secondary", "line", "plane"):
        each, freedom = 1, 2  # across the line as the primary normal sees it
    return max(len(feature.rows) * each - freedom, 0)


def _features(columns: MeasuredColumns) -> dict[str, _Feature]:
    """Return the three datums of the file."""
    out = {}
    names = columns.texts["datum"]
    for i, name in enumerate(names):
        if name not in ROLES:
            raise columns.refusal(unknown("datum", name[:40], ROLES), "bad-datum", row=i)
    for role in ROLES:
        rows = np.flatnonzero(np.array([name == role for name in names]))
        if not rows.size:
            raise columns.refusal(f"no {role} datum: a freedom stays open", "freedom-open")
        kind = _shared(columns, "shape", rows, USUAL[role])
        if kind not in LEAST_POINTS:
            what = unknown("shape", kind[:40], tuple(LEAST_POINTS))
            raise columns.refusal(what, "bad-datum", row=int(rows[0]))
        at = columns.numbers["at_mm"][rows] if "at_mm" in columns.numbers else np.zeros(1)
        if (at != at[0]).any():
            raise columns.refusal(f"at_mm has several values for the {role} datum; give one", "bad-datum")
        out[role] = _Feature(kind=kind, rows=rows, at=float(at[0]))
    return out


def _shared(columns: MeasuredColumns, name: str, rows: Ints, usual: str) -> str:
    """Return the text that all rows of a datum share, or ``usual``."""
    if name not in columns.texts:
        return usual
    found = {columns.texts[name][i] for i in rows.tolist()} - {""}
    if len(found) > 1:
        raise columns.refusal(f"{name} is {', '.join(sorted(found))} for one datum; give one", "bad-datum")
    return found.pop() if found else usual


def _refuse_shapes(columns: MeasuredColumns, features: Mapping[str, _Feature], points: Array) -> None:
    """Refuse datums of too few points and planes whose points lie in a line."""
    for role, f in features.items():
        if len(f.rows) < LEAST_POINTS[f.kind]:
            what = f"{len(f.rows)} points on the {role} {f.kind} are too few; probe at least {LEAST_POINTS[f.kind]}"
            raise columns.refusal(what, "too-few")
        size = spread(points[f.rows])
        needed = {"line": 1, "plane": 2, "cylinder": 2, "sphere": 2}.get(f.kind, 0)
        if needed and size[needed - 1] < max(LEAST_LENGTH * size[0], 1e-9):
            what = f"the points of the {role} {f.kind} lie in a {'line' if needed > 1 else 'point'}"
            raise columns.refusal(f"{what}: a freedom stays open", "collinear")


def _pose(
    features: Mapping[str, _Feature], points: Array, radius: float, order: str, *, near: Fits | None = None
) -> tuple[Array, Fits]:
    """Return the pose (6,) of the work frame in the pallet frame, and the fitted shapes, close to ``near``."""
    known = near or {}
    fits = {role: fit_shape(f.kind, points[f.rows], known.get(role)) for role, f in features.items()}
    kinds = tuple(features[role].kind for role in ROLES)
    if kinds[:2] == ("plane", "line"):
        fits["secondary"] = line(_projected(points[features["secondary"].rows], fits["primary"]))
    at = [features[role].at for role in ROLES]
    if kinds[0] == "plane" and kinds[1] in ("line", "plane"):
        matrix = _from_faces(fits, kinds, points[features["secondary"].rows], at, radius)
    elif kinds[0] == "plane" and kinds[1] in HOLES:
        matrix = _from_holes(fits, at, radius)
    elif kinds[0] == "cylinder" and kinds[1] in ("plane", "point"):
        matrix = _from_bore(fits, at, radius)
    else:
        raise _Open(f"{', '.join(kinds)}: these datums do not follow the 3-2-1 principle")
    return pose_from_matrix(matrix, order), fits


def _projected(points: Array, face: Shape) -> Array:
    """Return points (n, 3) of a side as the normal of the primary face sees them: how high each was probed is no error.

    ISO 5459 and ASME Y14.5 hold a secondary datum to the primary one (neither was at hand, see above).
    """
    flat: Array = points - np.outer((points - face.point) @ face.direction, face.direction)
    if spread(flat)[0] <= LEAST_LENGTH * spread(points)[0]:
        raise _Open("the secondary datum runs along the normal of the primary one: the turn about z stays open")
    return flat


def _from_faces(fits: Fits, kinds: Sequence[str], side: Array, at: Sequence[float], radius: float) -> Array:
    """Return the frame of a face, a side and an end."""
    z = _up(fits["primary"].direction)
    second = fits["secondary"]
    along = second.direction if kinds[1] == "line" else np.cross(second.direction, z)
    x = _square(along, z, "the secondary datum runs along the normal of the primary one")
    x = x if x @ (side[-1] - side[0]) >= 0.0 else -x
    y = np.cross(z, x)
    third = fits["tertiary"].point
    end = radius if kinds[2] in ("point", "plane") else 0.0
    origin = (
        z * (z @ fits["primary"].point - radius - at[0])
        + y * (y @ second.point + radius - at[1])
        + x * (x @ third + end - at[2])
    )
    return _frame(x, y, z, origin)


def _from_holes(fits: Fits, at: Sequence[float], radius: float) -> Array:
    """Return the frame of a face and two holes."""
    z = _up(fits["primary"].direction)
    first = fits["secondary"].point
    level = z @ fits["primary"].point - radius - at[0]
    x = _square(fits["tertiary"].point - first, z, "the two holes are above each other")
    return _frame(x, np.cross(z, x), z, first - z * (z @ first) + z * level)


def _from_bore(fits: Fits, at: Sequence[float], radius: float) -> Array:
    """Return the frame of a bore, a shoulder and a mark of the clock."""
    bore = fits["primary"]
    z = _up(bore.direction)
    level = z @ fits["secondary"].point - radius - at[1]
    off = fits["tertiary"].point - bore.point
    x = _square(off, z, "the tertiary datum lies on the axis of the primary one")
    return _frame(x, np.cross(z, x), z, bore.point + z * (level - z @ bore.point))


def _up(direction: Array) -> Array:
    """Return the sense of a direction that points out of the pallet."""
    return direction if direction[2] >= 0.0 else -direction


def _square(direction: Array, z: Array, otherwise: str) -> Array:
    """Return the unit part of a direction that is square to ``z``."""
    out = direction - (direction @ z) * z
    size = np.linalg.norm(out)
    if size <= LEAST_LENGTH * np.linalg.norm(direction) or size == 0.0:
        raise _Open(f"{otherwise}: the turn about z stays open")
    flat: Array = out / size
    return flat


def _frame(x: Array, y: Array, z: Array, origin: Array) -> Array:
    """Return the matrix (4, 4) of a frame."""
    out: Array = np.eye(4)
    out[:3, 0], out[:3, 1], out[:3, 2], out[:3, 3] = x, y, z, origin
    return out


def _unit_covariance(
    features: Mapping[str, _Feature], points: Array, radius: float, order: str, *, fits: Fits
) -> Array:
    """Return the covariance (6, 6) of the pose for probed coordinates of unit variance, by central differences."""
    slopes = np.zeros((6, points.size))
    for k in range(points.size):
        moved = []
        for step in (STEP, -STEP):
            p = points.copy()
            p.flat[k] += step
            moved.append(_pose(features, p, radius, order, near=fits)[0])
        change = moved[0] - moved[1]
        change[3:] -= 2.0 * np.pi * np.round(change[3:] / (2.0 * np.pi))
        slopes[:, k] = change / (2.0 * STEP)
    return slopes @ slopes.T
