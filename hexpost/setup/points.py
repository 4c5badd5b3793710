"""Align to nominal points that were probed: the rigid fit, its uncertainty, and what it refuses."""

from dataclasses import dataclass
from itertools import combinations
from math import nan, sqrt

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.errors import out_of_range
from hexpost.kinematics.frames import pose_from_matrix
from hexpost.setup.columns import MeasuredColumns
from hexpost.setup.model import Alignment
from hexpost.setup.rigid import Rigid, fit, pose_covariance, spread
from hexpost.units import MM_PER_INCH

NOMINAL = ("nominal_x_mm", "nominal_y_mm", "nominal_z_mm")
PROBED = ("probed_x_mm", "probed_y_mm", "probed_z_mm")
NORMAL = ("normal_x", "normal_y", "normal_z")
LEAST_POINTS = 3
LEAST_SPREAD = 1e-3
"""Points whose second principal extent is below this share of the first lie in a line as far as probing goes."""
FLAT = 1e-3
"""Points whose third principal extent is below this share of the first lie in a plane."""
UNITS = {MM_PER_INCH: ("an inch", "inches"), 1e3: ("a metre", "metres"), 10.0: ("a centimetre", "centimetres")}
UNIT_SLIP = 0.03
"""A ratio of the two spreads this near to one of ``UNITS``, relatively, is a slip of the unit."""
MIRROR = 0.2
"""A reflection that leaves less than this share of the residual is what happened."""
MOST_SUSPECTS = 20
MOST_TRIPLES, MOST_ALL = 2000, 24
"""So many threes of points are tried for a frame that most others agree with: all, of that few points."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Probing:
    """How the points were probed: what counts as agreement, the noise of a coordinate if known, the ball's diameter."""

    tolerance: float = 0.1
    noise: float | None = None
    ball: float = 0.0


def align_points(columns: MeasuredColumns, probing: Probing, order: str) -> Alignment:
    """Return the work frame that carries the nominal points onto the probed ones best.

    Raises
    ------
    InputError
        When the points leave a freedom open, are mirror images, are in another unit, or do not agree within the
        tolerance; a single wrong point is named.
    """
    nominal, probed, weight = _points(columns, probing)
    _refuse_unusable(columns, nominal, probed)
    found = fit(nominal, probed, weight)
    _refuse_misfit(columns, (nominal, probed, weight), found, probing.tolerance)
    if found.matrix[2, 2] < 0.0:
        what = "the work frame is upside down: its z axis points into the pallet"
        hint = "are the signs of two axes turned, as those of y and z?"
        if spread(nominal)[2] < FLAT * spread(nominal)[0]:
            hint = "points in a plane fit their mirror image: is the sign of one nominal axis turned?"
        raise columns.refusal(what, "mirrored", hint)
    spare = 3 * columns.count - 6
    freed = float((weight * (found.residual**2).sum(axis=1)).sum()) / spare if spare > 0 else nan
    noise, source = (probing.noise, "as stated") if probing.noise is not None else (sqrt(freed), "from the residuals")
    covariance = noise**2 * pose_covariance(found.matrix, nominal, weight, order)
    deviation = np.sqrt(np.diag(covariance))
    return Alignment(
        pose=pose_from_matrix(found.matrix, order),
        residual=found.residual,
        names=tuple(columns.row_name(i) for i in range(columns.count)),
        deviation=deviation,
        correlation=correlation(covariance),
        noise=noise,
        noise_from=source,
        spare=spare,
        spread=spread(nominal),
        method=f"rigid fit of {columns.count} points",
        notes=_notes(columns.count),
    )


def correlation(covariance: Array) -> Array:
    """Return the correlation (k, k) of a covariance; 0 where a number has no uncertainty."""
    size = np.sqrt(np.diag(covariance))
    scale = np.outer(size, size)
    out: Array = np.divide(covariance, scale, out=np.zeros_like(scale), where=scale > 0.0)
    return out


def _notes(count: int) -> tuple[str, ...]:
    if count == LEAST_POINTS:
        return ("Three points hold a frame but hardly check it: probe a fourth.",)
    return ()


def _points(columns: MeasuredColumns, probing: Probing) -> tuple[Array, Array, Array]:
    """Return nominal and probed points (n, 3) and weights (n,); with a ball, where its centre should be."""
    nominal, probed = columns.rows(NOMINAL), columns.rows(PROBED)
    weight = columns.numbers.get("weight", np.ones(columns.count))
    if (weight <= 0.0).any():
        row = int(np.argmax(weight <= 0.0))
        raise columns.refusal(out_of_range("weight", f"{weight[row]:g}", "above 0"), "bad-weight", row=row)
    if probing.ball > 0.0:
        if not columns.has(*NORMAL):
            what = f"a probe ball needs the columns {', '.join(NORMAL)}"
            hint = "they say which way the surface faces at each nominal point; or give ball centres and no --ball-mm"
            raise columns.refusal(what, "missing-column", hint)
        normal = columns.rows(NORMAL)
        size = np.linalg.norm(normal, axis=1)
        if (np.abs(size - 1.0) > 0.01).any():
            row = int(np.abs(size - 1.0).argmax())
            raise columns.refusal(f"the normal has the length {size[row]:.3f}; it must be 1", "bad-normal", row=row)
        nominal = nominal + 0.5 * probing.ball * normal / size[:, None]
    return nominal, probed, weight


def _refuse_unusable(columns: MeasuredColumns, nominal: Array, probed: Array) -> None:
    """Refuse too few points, one point twice, points in a line, and the wrong unit."""
    n = columns.count
    if n < LEAST_POINTS:
        raise columns.refusal(f"{n} points are too few for six unknowns; probe at least {LEAST_POINTS}", "too-few")
    for points, kind in ((nominal, "nominal"), (probed, "probed")):
        first: dict[bytes, int] = {}
        for i, p in enumerate(points):
            other = first.setdefault(p.tobytes(), i)
            if other != i:
                what = f"the {kind} point is that of {columns.row_name(other)} again"
                raise columns.refusal(what, "repeated", row=i)
    sizes = spread(nominal), spread(probed)
    for size, kind in zip(sizes, ("nominal", "probed"), strict=True):
        if size[1] < LEAST_SPREAD * size[0]:
            what = f"the {kind} points lie in a line ({size[0]:.3f} mm along it, {size[1]:.3g} mm beside it)"
            raise columns.refusal(f"{what}: the turn about that line stays open", "collinear", "add a point beside it")
    scale = float(np.linalg.norm(sizes[1]) / np.linalg.norm(sizes[0]))
    for unit, (one, many) in UNITS.items():
        for factor, which in ((unit, "nominal"), (1.0 / unit, "probed")):
            if abs(scale / factor - 1.0) < UNIT_SLIP:
                what = f"the probed points are spread {scale:.4g} times as far as the nominal ones"
                hint = f"{unit:g} millimetres are {one}: the {which} points seem to be in {many}, not millimetres"
                raise columns.refusal(what, "unit-slip", hint)


def _refuse_misfit(
    columns: MeasuredColumns, points: tuple[Array, Array, Array], found: Rigid, tolerance: float
) -> None:
    """Refuse points that do not agree within the tolerance, and say what is most likely wrong with them."""
    nominal, probed, weight = points
    distances = np.linalg.norm(found.residual, axis=1)
    worst = int(distances.argmax())
    if distances[worst] <= tolerance:
        return
    what = f"{columns.row_name(worst)} is {distances[worst]:.4g} mm off; at most {tolerance:g} mm is allowed"
    if fit(nominal, probed, weight, mirrored=True).rms(weight) < MIRROR * found.rms(weight):
        hint = "a mirror image of the nominal points fits: is the sign of one axis turned, or are two points swapped?"
        raise columns.refusal(what, "mirrored", hint)
    suspect = _suspect(nominal, probed, weight, distances, tolerance)
    if suspect is not None:
        name = columns.row_name(suspect)
        hint = f"without the point of {name} the others agree within the tolerance: probe it again"
        raise columns.refusal(what, "outlier", hint, row=suspect)
    agree = _agreeing(nominal, probed, weight, tolerance)
    if agree is not None:
        wrong = [columns.row_name(i) for i in np.flatnonzero(~agree).tolist()]
        hint = f"without the points of {', '.join(wrong)} the other {agree.sum()} agree within the tolerance"
        raise columns.refusal(what, "outlier", f"{hint}: probe them again", row=int(np.argmin(agree)))
    ratio = float(np.linalg.norm(spread(probed)) / np.linalg.norm(spread(nominal)))
    hint = f"no single point explains it; probed distances are {ratio:.6g} times the nominal ones"
    raise columns.refusal(what, "misfit", hint)


def _suspect(nominal: Array, probed: Array, weight: Array, distances: Array, tolerance: float) -> int | None:
    """Return the point without which the others agree best, if they then agree and still show that they do."""
    n = len(weight)
    if n <= LEAST_POINTS + 1:
        return None
    best: tuple[float, int] | None = None
    for i in np.argsort(-distances)[:MOST_SUSPECTS].tolist():
        keep = np.arange(n) != i
        size = spread(nominal[keep])
        if size[1] < LEAST_SPREAD * size[0]:
            continue
        left = float(np.linalg.norm(fit(nominal[keep], probed[keep], weight[keep]).residual, axis=1).max())
        if left <= tolerance and (best is None or left < best[0]):
            best = (left, i)
    return None if best is None else best[1]


def _agreeing(nominal: Array, probed: Array, weight: Array, tolerance: float) -> Flags | None:
    """Return the most points (n,), and more than half, that agree on a frame within the tolerance.

    Frames of three points each are tried, all or a fixed sample of them (M. A. Fischler and R. C. Bolles, Comm. ACM 24
    (1981) 381): one of them is of good points alone.
    """
    n = len(weight)
    triples = np.array(list(combinations(range(n), LEAST_POINTS))) if n <= MOST_ALL else None
    if triples is None or len(triples) > MOST_TRIPLES:
        triples = np.sort(np.random.default_rng(n).random((MOST_TRIPLES, n)).argsort(axis=1)[:, :LEAST_POINTS], axis=1)
    best: Flags | None = None
    for triple in triples:
        agree = np.zeros(n, dtype=np.bool_)
        agree[triple] = True
        for near in (2.0 * tolerance, tolerance):
            if agree.sum() < LEAST_POINTS or (size := spread(nominal[agree]))[1] < LEAST_SPREAD * size[0]:
                break
            motion = fit(nominal[agree], probed[agree], weight[agree]).matrix
            off = probed - nominal @ motion[:3, :3].T - motion[:3, 3]
            agree = np.linalg.norm(off, axis=1) <= near
        else:
            if agree.sum() > max(LEAST_POINTS, n // 2, 0 if best is None else int(best.sum())):
                best = agree
    return best
