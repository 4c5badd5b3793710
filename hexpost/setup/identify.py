"""Find the geometry that explains measurements best: least squares, wrong ones set aside, what the data tell."""

from dataclasses import dataclass
from math import sqrt

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.errors import HexpostError
from hexpost.setup.measured import NUMBERS, Measured
from hexpost.setup.observe import ELASTIC, GEOMETRY, RIGID, Built, residuals, slopes, weights

MOST_ROUNDS = 40
ROBUST_ROUNDS = 12
SIEVES = 5
"""Gross mistakes are set aside first; what they hid comes to light in the next round."""
CLOSE = 1e-11
"""A step below this, mm, is the last."""
SETTLED = 1e-12
"""A step that lowers the sum of squares by less than this share is the last, too."""
RANK = 1e-9
"""Singular values below this share of the largest count as zero: rounding leaves about 1e-13."""
PATIENT = 2.0
"""Numbers beyond so many robust standard deviations lose weight in the search for wrong ones (P. J. Huber)."""
WRONG = 5.0
"""... and a measurement with a number beyond so many is set aside."""
FLOOR = 0.01
"""Robust standard deviations are not taken below this share of the stated uncertainty."""
FAR = 4.0
"""Measurements farther from the nominal machine than so many times the usual count little at first."""
MOST_WRONG = 0.25
LEAST_SPARE = 6
"""With fewer numbers to spare than this, residuals do not tell the noise."""
SPARE = 12
"""With fewer numbers than this to spare, a wrong measurement cannot be told from a wrong geometry."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Frames:
    """What is estimated with the geometry: frames, which are else pinned where they should be, and stiffness."""

    measuring: bool = False
    target: bool = False
    stiffness: bool = False

    @property
    def columns(self) -> Ints:
        """Return the columns of the slopes that are free."""
        flags = [True] * GEOMETRY + [self.measuring] * 6 + [self.target] * 6
        flags += [self.stiffness] * ELASTIC
        return np.flatnonzero(flags)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Identified:
    """A geometry found, the poses (6, n) it takes, which measurements count, and what the data tell.

    ``rank`` of the 42 numbers with the frames as they are, ``own_rank`` without the freedoms of frames that are
    estimated; ``values`` singular values of the weighted slopes, mm for every number; ``covariance`` (42, 42) in mm2,
    or (48, 48) with the compliances [mm/N] where they are estimated, for ``noise`` times the stated uncertainties,
    ``noise_known`` from the residuals or taken as stated; ``spare`` numbers more than unknowns; ``open`` (42, k)
    directions that stay as they were.
    """

    built: Built
    pose: Array
    kept: Flags
    rank: int
    own_rank: int
    values: Array
    covariance: Array
    noise: float
    noise_known: bool
    spare: int
    open: Array

    @property
    def of_geometry(self) -> Array:
        """Return the covariance of the 42 numbers alone."""
        return self.covariance[:GEOMETRY, :GEOMETRY]

    @property
    def condition(self) -> float:
        """Return the largest over the smallest singular value that counts."""
        return float(self.values[0] / self.values[self.rank - 1])

    def indices(self, count: int) -> tuple[float, float]:
        """Return the observability index and the noise amplification index for ``count`` measurements.

        The first is the geometric mean of the singular values over sqrt(count): its power of minus the rank is, but for
        a factor, the volume of the ellipsoid of confidence. The second is the smallest singular value over the
        condition number (A. Nahvi and J. Hollerbach, ICRA 1996).
        """
        used = self.values[: self.rank]
        return float(np.exp(np.log(used).mean()) / sqrt(count)), float(used[-1] ** 2 / used[0])


def unit_scale(built: Built, columns: Ints) -> Array:
    """Return the unit of each free number: mm; of turns over the radius of base joints, of compliances over weight."""
    radius = float(np.sqrt((built.base**2).sum(axis=1).mean()))
    scale = np.ones(RIGID + ELASTIC)
    scale[45:48] = scale[51:54] = 1.0 / radius
    scale[RIGID:] = 1.0 / built.carried.weight if built.carried else 1.0
    return scale[columns]


def identify(start: Built, measured: Measured, guess: Array, frames: Frames, *, robust: bool = True) -> Identified:
    """Return the geometry that explains the measurements best, nearest to ``start`` where they leave it open.

    Raises
    ------
    HexpostError
        When the commanded lengths belong to no pose of the machine, or too many measurements seem wrong.
    """
    spare = measured.equations - len(frames.columns)
    kept: Flags = np.ones(measured.count, dtype=np.bool_)
    if not robust or spare < SPARE:
        built, pose = _least_squares(start, measured, guess, _column(kept), frames)
        return told(built, measured, pose, kept, frames)
    built, pose = _least_squares(start, measured, guess, _column(_first_weights(start, measured, guess)), frames)
    for _ in range(SIEVES):
        before = kept
        built, pose, kept = _sieved(built, measured, pose, kept, frames)
        if (~kept).mean() > MOST_WRONG:
            what = f"{(~kept).sum()} of {len(kept)} measurements do not fit the geometry that suits the others best"
            raise HexpostError(f"{what}\n    hint: check units, the order of the struts and the measuring frame")
        if (kept == before).all():
            break
    return told(built, measured, pose, kept, frames)


def _sieved(built: Built, measured: Measured, pose: Array, kept: Flags, frames: Frames) -> tuple[Built, Array, Flags]:
    """Return the geometry that suits most measurements, its poses, and which measurements it is close to."""
    unknown = len(frames.columns)
    for _ in range(ROBUST_ROUNDS):
        size = _sizes(built, measured, pose, unknown, kept)
        weight = _column(kept) * np.minimum(1.0, PATIENT / np.maximum(size, 1e-300)) ** 2
        built, pose = _least_squares(built, measured, pose, weight, frames, rounds=2)
    close: Flags = np.asarray((_sizes(built, measured, pose, unknown, kept) <= WRONG).all(axis=1))
    built, pose = _least_squares(built, measured, pose, _column(close), frames)
    return built, pose, close


def told(built: Built, measured: Measured, pose: Array, kept: Flags, frames: Frames) -> Identified:
    """Return a geometry with what the kept measurements tell of it."""
    columns = frames.columns
    some = measured.at(np.flatnonzero(kept))
    rows = _weighted(slopes(built, some, pose[:, kept]), weights(some))[:, columns] * unit_scale(built, columns)
    wrong = _weighted(residuals(built, some, pose[:, kept])[:, :, None], weights(some))[:, 0]
    _, values, vt = np.linalg.svd(rows, full_matrices=len(rows) < len(columns))
    rank = int((values > RANK * values[0]).sum())
    spare = len(rows) - rank
    known = spare >= LEAST_SPARE
    noise = sqrt(float(wrong @ wrong) / spare) if known else 1.0
    own = (columns < GEOMETRY) | (columns >= RIGID)
    inverse = (vt[:rank].T / values[:rank] * unit_scale(built, columns)[:, None])[own]
    covariance: Array = noise**2 * (inverse @ inverse.T)
    return Identified(
        built=built,
        pose=pose,
        kept=kept,
        rank=min(rank, GEOMETRY) if len(columns) == GEOMETRY else rank,
        own_rank=_own_rank(rows, own),
        values=values,
        covariance=covariance,
        noise=noise,
        noise_known=known,
        spare=spare,
        open=vt[rank:, :GEOMETRY].T,
    )


def _own_rank(rows: Array, of_machine: Flags) -> int:
    """Return the rank of the numbers ``of_machine`` once what the free frames could do as well is taken out."""
    own = rows[:, of_machine]
    if not of_machine.all():
        u, s, _ = np.linalg.svd(rows[:, ~of_machine], full_matrices=False)
        u = u[:, s > RANK * s[0]] if s[0] > 0.0 else u[:, :0]
        own = own - u @ (u.T @ own)
    values = np.linalg.svd(own, compute_uv=False)
    return int((values > RANK * np.linalg.svd(rows, compute_uv=False)[0]).sum())


def _least_squares(
    built: Built, measured: Measured, pose: Array, weight: Array, frames: Frames, *, rounds: int = MOST_ROUNDS
) -> tuple[Built, Array]:
    """Return the geometry and its poses after Gauss-Newton steps, each the shortest that does what can be done.

    ``weight`` (n, k) is that of each number, or (n, 1) of all numbers of a measurement.
    """
    columns = frames.columns
    scale = unit_scale(built, columns)
    factors = weights(measured) * np.sqrt(weight)
    pose, cost = _cost(built, measured, pose, factors)
    for _ in range(rounds):
        rows = _weighted(slopes(built, measured, pose), factors)[:, columns] * scale
        wrong = _weighted(residuals(built, measured, pose)[:, :, None], factors)[:, 0]
        step: Array = np.zeros(RIGID + ELASTIC)
        step[columns] = np.linalg.lstsq(rows, wrong, rcond=RANK)[0] * scale
        for _ in range(12):
            trial = built.moved(step)
            new_pose, new_cost = _cost(trial, measured, pose, factors)
            if new_cost <= cost * (1.0 + 1e-9) + 1e-12:
                break
            step = step / 2.0
        else:
            break
        settled = new_cost >= cost * (1.0 - SETTLED)
        built, pose, cost = trial, new_pose, new_cost
        if settled or np.abs(step[columns] / scale).max() < CLOSE:
            break
    return built, pose


def _cost(built: Built, measured: Measured, guess: Array, factors: Array) -> tuple[Array, float]:
    """Return the poses of a geometry and the sum of squares it leaves; inf where a pose is not found."""
    pose = built.poses(measured.length, guess, measured.load)
    if not np.isfinite(pose).all():
        return pose, float("inf")
    wrong = residuals(built, measured, pose) * factors
    return pose, float((wrong**2).sum())


def _first_weights(start: Built, measured: Measured, guess: Array) -> Array:
    """Return weights (n,) that keep measurements out which are far from the start where the others are near."""
    pose = start.poses(measured.length, guess, measured.load)
    size: Array = np.sqrt(((residuals(start, measured, pose) * weights(measured)) ** 2).mean(axis=1))
    out: Array = np.minimum(1.0, FAR * float(np.median(size)) / np.maximum(size, 1e-300)) ** 4
    return out


def _sizes(built: Built, measured: Measured, pose: Array, unknown: int, kept: Flags) -> Array:
    """Return how far each number is off (n, k), as a multiple of what is usual among the positions, or the turns.

    One wrong coordinate among six must not hide in their mean. What is usual is a robust standard deviation: the median
    over 0.6745, that of standard normal numbers.
    """
    size: Array = np.abs(residuals(built, measured, pose) * weights(measured))
    known = NUMBERS[measured.kind] * int(kept.sum())
    inflate = sqrt(known / max(known - unknown, 1)) / 0.6745
    for part in (slice(0, 3), slice(3, 6)):
        if size[:, part].size:
            size[:, part] /= max(float(np.median(size[kept, part])) * inflate, FLOOR)
    return size


def _column(weight: Array | Flags) -> Array:
    """Return weights of measurements (n,) as those of all their numbers (n, 1)."""
    out: Array = np.asarray(weight, dtype=np.float64)[:, None]
    return out


def _weighted(rows: Array, factors: Array) -> Array:
    """Return rows (n, k, m) times factors (n, k), as a matrix (n k, m)."""
    out: Array = (rows * factors[:, :, None]).reshape(-1, rows.shape[2])
    return out
