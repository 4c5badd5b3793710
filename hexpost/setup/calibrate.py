"""Calibrate a machine: its as-built geometry from measured poses, with everything that says how far to trust it."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import nan
from pathlib import Path

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.errors import HexpostError
from hexpost.kinematics.uncertainty import root_of
from hexpost.machine.model import Machine
from hexpost.setup.columns import MeasuredColumns
from hexpost.setup.identify import Frames, Identified, identify, told
from hexpost.setup.measured import DISTANCE, FULL, NUMBERS, Measured, Noise, read_measured
from hexpost.setup.observe import GEOMETRY, Built, nominal, pose_slopes, residuals, rotations
from hexpost.setup.poses_in_reach import grid_poses, spread_poses
from hexpost.setup.slips import Meant, first_frames, other_order, refuse_far, slip
from hexpost.voice import unseen

FOLDS = 5
FITS = 1 + FOLDS
"""A calibration is a fit to all measurements, and one to all but each fifth of them."""
MOST_MM = 5.0
"""A joint, or a length, is not built farther from the drawing, unless told otherwise (common practice, no source)."""
CONFIDENCE = 0.95
DRAWS = 4000
"""Geometries drawn as the measurements allow them."""
INHERENT = 60
"""Poses spread over the reach that show what measurements of a kind can tell at best."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Accuracy:
    """Error of the gauge point over a grid of ``points`` poses in reach, mm.

    ``before``: the as-built machine run with the nominal geometry, root mean square and largest; ``after``: what the
    uncertainty of the geometry found leaves: the root mean square to expect, and what the largest stays below in 95 %
    of calibrations like this one.
    """

    points: int
    before: tuple[float, float]
    after: tuple[float, float]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Calibration:
    """A calibration: what was found, from what, and errors (root mean square, largest) in mm.

    ``before`` and ``after``: how far measurements are from the nominal and from the found machine, at the tool (the
    gauge point) or at the target. ``held_back``: the same for measurements the fit had not seen (nan: too few to spare
    any). ``best_rank`` is what measurements of this kind can tell at best. ``parts`` where stiffness is estimated.
    """

    machine: Machine
    columns: MeasuredColumns
    measured: Measured
    frames: Frames
    found: Identified
    best_rank: int
    before: tuple[float, float]
    after: tuple[float, float]
    held_back: tuple[float, float]
    accuracy: Accuracy
    parts: "Parts | None"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Parts:
    """What geometry and elasticity explain: errors (root mean square, largest) in mm.

    ``geometry``: how far measurements are from the machine that fits them best with rigid struts; ``sag`` of the tool
    in the measured poses, against the pose in which commands are lengths.
    """

    geometry: tuple[float, float]
    sag: tuple[float, float]


def calibrate(
    path: Path, machine: Machine, frames: Frames, noise: Noise, most: float = MOST_MM,
    *, tick: Callable[[int], None] = unseen,
) -> Calibration:  # fmt: skip
    """Return the as-built geometry of ``machine`` from the measured poses of a file.

    ``most``: how far a joint, and a length, may be from the drawing, mm. ``tick`` is called with 1 after each of
    ``FITS`` fits, and one more where stiffness is estimated.

    Raises
    ------
    InputError
        When the file is no such table, there are fewer numbers than unknowns, its poses leave open what others
        would tell, it means something else than it says, or the machine found cannot be.
    HexpostError
        When too many measurements do not fit any geometry.
    """
    measured, columns = read_measured(path, machine, noise)
    start = nominal(machine, elastic=frames.stiffness)
    best = _best_rank(machine, measured, frames)
    if measured.equations < best:
        each = NUMBERS[measured.kind]
        what = f"{measured.equations} numbers ({measured.count} {measured.kind}) are too few for {best} unknowns"
        raise columns.refusal(f"{what}; measure at least {-(-best // each)} {measured.kind}", "too-few")
    guess = _first_poses(start, machine, measured, columns, lambda g: other_order(start, measured, g, frames, most))
    if (meant := slip(machine, measured, guess, frames, most)) is not None:
        raise columns.refusal(meant[0], "slip", meant[1])
    try:
        found = identify(first_frames(start, measured, guess, frames), measured, guess, frames)
        found = _in_frames(found, start, measured, frames)
        refuse_far(found.built, start, most, columns)
    except HexpostError:
        if (meant := slip(machine, measured, guess, frames, most, doubted=True)) is not None:
            raise columns.refusal(meant[0], "slip", meant[1]) from None
        raise
    tick(1)
    if found.rank < best:
        what = f"these poses determine {found.rank} of the {best} numbers that such measurements can determine"
        raise columns.refusal(what, "freedom-open", "spread positions and turns; --plan N proposes poses")
    kept = np.flatnonzero(found.kept)
    some = measured.at(kept)
    gauge = machine.platform.gauge_point
    return Calibration(
        machine=machine,
        columns=columns,
        measured=measured,
        frames=frames,
        found=found,
        best_rank=best,
        before=_size(tool_errors(start, some, guess[:, kept], gauge)),
        after=_size(tool_errors(found.built, some, found.pose[:, kept], gauge)),
        held_back=_held_back(found, some, found.pose[:, kept], frames, gauge, tick=tick),
        accuracy=accuracy(machine, found, grid_poses(machine)),
        parts=_parts(found, some, found.pose[:, kept], frames, gauge, tick=tick) if frames.stiffness else None,
    )


def _in_frames(found: Identified, start: Built, measured: Measured, frames: Frames) -> Identified:
    """Return a geometry whose frames, where they were not known, leave its joints near those of the drawing."""
    if frames == Frames():
        return found
    built = found.built.near(start, measuring=frames.measuring, target=frames.target)
    return replace(found, built=built, pose=built.poses(measured.length, found.pose, measured.load))


def tool_errors(built: Built, measured: Measured, pose: Array, gauge: Array) -> Array:
    """Return how far measurements are from what a geometry predicts, mm (n,): at the gauge point, or the target."""
    wrong = residuals(built, measured, pose)
    if measured.kind == FULL:
        arm = rotations(built, pose) @ gauge
        wrong = wrong[:, :3] + np.cross(wrong[:, 3:], arm @ built.base_from_measuring[:3, :3])
    out: Array = np.linalg.norm(wrong, axis=1)
    return out


def accuracy(machine: Machine, found: Identified, pose: Array) -> Accuracy:
    """Return the error of the gauge point over poses (6, n), before and after: the volumetric accuracy."""
    start, gauge = nominal(machine), machine.platform.gauge_point
    real = found.built.poses(start.struts.lengths(pose) + start.shorter(pose), pose)
    seen = np.isfinite(real).all(axis=0)
    pose, real = pose[:, seen], real[:, seen]
    off = real[:3] - pose[:3] + ((rotations(found.built, real) - rotations(start, pose)) @ gauge).T
    slopes = pose_slopes(found.built, real)
    arm = rotations(found.built, real) @ gauge
    tip = slopes[:, :3] + np.cross(slopes[:, 3:], arm[:, :, None], axis=1)
    return Accuracy(points=pose.shape[1], before=_size(np.linalg.norm(off, axis=0)), after=_left(tip, found))


def _left(tip: Array, found: Identified) -> tuple[float, float]:
    """Return the errors to expect at ``tip`` slopes (n, 3, 42 or 48): root mean square, and a bound of the largest.

    The bound is a quantile over geometries drawn from the covariance: the largest of many errors is far above any one
    of their standard deviations. Where the noise is that of the residuals, it is uncertain, too: the draws are those
    of a multivariate t distribution.
    """
    root = root_of(found.covariance)
    tip = tip[:, :, : len(root)]
    rms = float(np.sqrt(((tip @ root) ** 2).sum(axis=(1, 2)).mean()))
    rng = np.random.default_rng(GEOMETRY)
    draws = root @ rng.standard_normal((len(root), DRAWS))
    if found.noise_known:
        draws *= np.sqrt(found.spare / rng.chisquare(found.spare, DRAWS))
    largest = np.zeros(DRAWS)
    for part in np.array_split(tip, max(len(tip) // 32, 1)):
        largest = np.maximum(largest, ((part @ draws) ** 2).sum(axis=1).max(axis=0))
    return rms, float(np.sqrt(np.quantile(largest, CONFIDENCE)))


def _size(errors: Array) -> tuple[float, float]:
    """Return root mean square and largest of errors (n,)."""
    return (float(np.sqrt((errors**2).mean())), float(errors.max())) if errors.size else (nan, nan)


def _first_poses(
    start: Built, machine: Machine, measured: Measured, columns: MeasuredColumns, meant: Callable[[Array], Meant]
) -> Array:
    """Return the poses (6, n) of the nominal machine at the commanded lengths."""
    guess = np.repeat(machine.reference[:, None], measured.count, axis=1)
    if measured.kind != DISTANCE:
        guess[:3] = measured.place.T
    pose = start.poses(measured.length, guess, measured.load)
    lost = ~np.isfinite(pose).all(axis=0)
    if lost.any():
        some = measured.at(np.flatnonzero(lost))
        pose[:, lost] = start.poses(some.length, np.repeat(machine.reference[:, None], some.count, axis=1), some.load)
        lost = ~np.isfinite(pose).all(axis=0)
    if lost.any():
        if (other := meant(guess)) is not None:
            raise columns.refusal(other[0], "slip", other[1])
        row = int(np.argmax(lost))
        what = "no pose of the machine has these lengths"
        raise columns.refusal(what, "no-pose", "is this the machine, and strut 1 the first?", row=row)
    return pose


def _best_rank(machine: Machine, measured: Measured, frames: Frames) -> int:
    """Return how many unknowns many poses, measured like these, would tell."""
    pose = spread_poses(machine, 4 * INHERENT)
    pose = pose[:, : max(INHERENT, -(-2 * GEOMETRY // NUMBERS[measured.kind]))]
    n = pose.shape[1]
    built = nominal(machine, elastic=frames.stiffness)
    rows: Ints = np.arange(n) % measured.count
    lengths = built.struts.lengths(pose)
    like = replace(measured.at(rows), length=lengths, place=pose[:3].T, turned=rotations(built, pose))
    return told(built, like, pose, np.ones(n, dtype=np.bool_), frames).rank


def _held_back(
    found: Identified, measured: Measured, pose: Array, frames: Frames, gauge: Array, *, tick: Callable[[int], None]
) -> tuple[float, float]:
    """Return the errors at measurements that a fit to the others predicts: each fifth is held back in turn."""
    n = measured.count
    if (n - -(-n // FOLDS)) * NUMBERS[measured.kind] <= found.rank:
        return nan, nan
    errors = []
    for fold in range(FOLDS):
        out = np.arange(n) % FOLDS == fold
        rest, held = np.flatnonzero(~out), np.flatnonzero(out)
        if not held.size:
            continue
        fit = identify(found.built, measured.at(rest), pose[:, rest], frames, robust=False)
        tick(1)
        if fit.rank < found.rank:
            return nan, nan
        there = fit.built.poses(measured.length[:, held], pose[:, held], measured.at(held).load)
        errors.append(tool_errors(fit.built, measured.at(held), there, gauge))
    return _size(np.concatenate(errors))


def _parts(
    found: Identified, measured: Measured, pose: Array, frames: Frames, gauge: Array, *, tick: Callable[[int], None]
) -> Parts:
    """Return what the geometry alone explains, and what sags."""
    rigid = replace(found.built, carried=None)
    fit = identify(rigid, measured, pose, replace(frames, stiffness=False), robust=False)
    tick(1)
    stands = rigid.poses(measured.length, pose)
    arms = (rotations(rigid, stands) - rotations(rigid, pose)) @ gauge
    return Parts(
        geometry=_size(tool_errors(fit.built, measured, fit.pose, gauge)),
        sag=_size(np.linalg.norm(stands[:3] - pose[:3] + arms.T, axis=0)),
    )
