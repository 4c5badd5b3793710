"""Weigh samples against the limits of tip, tilt and struts, and say what must give way where they are over."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, Codes, Ints
from hexpost.feed.bounds import MARGIN, Norms
from hexpost.feed.model import TIP_ACCELERATION, TIP_JERK, TIP_SPEED, PathMotion, PathPlace, strut_cause
from hexpost.feed.struts import THRUST, StrutLimits
from hexpost.feed.thrusts import ThrustParts
from hexpost.machine.model import ToolTip
from hexpost.path.model import ToolPath

TOLERANCE = 1e-6
"""A sample so much over its limit, as a share, is corrected."""
BLAME = 1.5
"""A part gives way by its share of the excess times this, at most by all of it: halves alone would take long."""
STANDS = 2e-3
"""A strut slower than this, mm/s, may be about to turn round."""
NOTHING = 1e-300
"""Keeps divisions of nothing by nothing in range."""
Pick = Callable[[Array], Array]
"""What takes values (6, n) to those (n,) of the worst strut."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class PlanLimits:
    """All limits of a job: of tip and tilt, with bounds that clear pieces of a closer look, and of the struts."""

    shares: Norms
    struts: StrutLimits

    @property
    def two_sided(self) -> bool:
        """Return whether tip, tilt or a strut has another limit for slowing down than for speeding up."""
        tip = self.shares.tip
        return self.struts.two_sided or tip.slowing != (tip.acceleration, tip.tilt_acceleration)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bad:
    """Samples over a limit, shape (k,): where they are, and factors for caps under them and for ramps about them.

    ``over``: the largest share of a limit that they use; ``cause``: the code of that limit.
    """

    motion: Ints
    cap: Array
    ramp: Array
    over: Array
    cause: Codes

    def by_ramps(self) -> "Bad":
        """Return the same, but that ramps alone give way."""
        return replace(self, cap=np.ones(len(self.cap)), ramp=1.0 / self.over)


def weigh(
    motion: PathMotion, place: PathPlace, path: ToolPath, limits: PlanLimits, *, tip: bool = True
) -> tuple[Bad | None, Array]:
    """Return which samples are over a limit, or ``None``, and the largest share of a limit (n,) that each uses.

    ``tip``: whether tip and tilt have limits, too.

    A sample whose jerk is ``r`` times its limit: the share of curvature lowers the cap under it by r^(-2/3 share),
    as its jerk goes with s'^3; the rest lowers the ramps within its window by r^(-share).
    """
    out = _uses(motion, place, path, limits, tip=tip)
    bad = np.flatnonzero(out.over > 1 + TOLERANCE)
    if not len(bad):
        return None, out.over
    return Bad(motion=bad, cap=out.cap[bad], ramp=out.ramp[bad], over=out.over[bad], cause=out.cause[bad]), out.over


def holding(motion: PathMotion, place: PathPlace, path: ToolPath, limits: PlanLimits) -> Codes:
    """Return the cause of the limit that samples use most, shape (n,)."""
    return _uses(motion, place, path, limits, tip=True).cause


def _uses(motion: PathMotion, place: PathPlace, path: ToolPath, limits: PlanLimits, *, tip: bool) -> "_Factors":
    """Return what samples use of all limits; ``tip``: of those of tip and tilt, too."""
    aim = limits.struts.aim[place.piece]
    under = np.flatnonzero(aim)
    q = path.evaluate(place.piece, place.u, 3, 0 if len(under) else 1)
    v, a, j = motion.speed, motion.acceleration, motion.jerk
    out = _Factors(len(v))
    if tip:
        _tip(out, (v, a, j), q[-3:], limits.shares.tip, limits.shares.speed[place.piece])
    if len(under):
        every = len(under) == len(v)
        q, piece = q if every else [x[:, under] for x in q], place.piece[under]
        slopes, pull = limits.struts.slopes(piece, q), limits.struts.pull(piece, q)
        _struts(out, under, (v[under], a[under], j[under]), slopes, limits=limits.struts, aim=aim[under])
        if pull:
            _thrusts(out, under, (v[under], a[under]), pull)
    return out


class _Factors:
    """Factors of caps and ramps per sample (n,), lowered limit by limit; the largest use of a limit."""

    def __init__(self, n: int) -> None:
        self.cap: Array = np.ones(n)
        self.ramp: Array = np.ones(n)
        self.over: Array = np.zeros(n)
        self.cause: Codes = np.zeros(n, dtype=np.uint8)

    def lower(self, at: Ints, r: Array, share: Array, cause: Codes, power: float) -> None:
        """Lower both for samples ``at`` (no two alike) that use ``r`` of a limit, ``share`` of it by curvature.

        ``power``: what the cap of the speed squared gives way by.
        """
        worse = r > self.over[at]
        self.cause[at[worse]] = cause[worse]
        self.over[at] = np.maximum(self.over[at], r)
        bad = np.flatnonzero(r > 1 + TOLERANCE)
        at, r, share = at[bad], r[bad] / MARGIN, share[bad]
        self.cap[at] = np.minimum(self.cap[at], r ** (-power * np.minimum(BLAME * share, 1.0)))
        self.ramp[at] = np.minimum(self.ramp[at], r ** -np.minimum(BLAME * (1 - share), 1.0))


def _tip(out: _Factors, rates: Sequence[Array], q: Sequence[Array], tip: ToolTip, speed: Array) -> None:
    """Weigh speed, acceleration and jerk of tip and tilt; ``q`` three derivatives of the pose, ``speed`` caps of s'."""
    v, a, j = rates
    q1, q2, q3 = q
    jerks = tip.jerk, tip.tilt_jerk
    straight, curved = q1 * j, q3 * (v * v * v)
    jerk = straight + q2 * (3.0 * v * a) + curved
    pull = q1 * a + q2 * (v * v)
    r, r_jerk = _ratio(pull, tip.acceleration, tip.tilt_acceleration), _ratio(jerk, *jerks)
    if tip.slowing != (tip.acceleration, tip.tilt_acceleration):
        r = _slowing(pull, q1, tip)
    cause = np.where(r > r_jerk, TIP_ACCELERATION, TIP_JERK).astype(np.uint8)
    r = np.maximum(r, r_jerk)
    over = v / speed
    at = np.flatnonzero(np.maximum(r, over) > 1 + TOLERANCE)
    c, s = (_ratio(x[:, at], *jerks) for x in (curved, straight))
    share = np.where(over[at] > 1 + TOLERANCE, 1.0, c / np.maximum(c + s, NOTHING))
    cause = np.where(over > r, TIP_SPEED, cause).astype(np.uint8)
    out.lower(at, np.maximum(r, over)[at], share, cause[at], 2 / 3)


def _room(limits: StrutLimits, speed: Array, acceleration: Array) -> Array:
    """Return the limits (6, 1) or (6, n) that hold for accelerations (6, n) at speeds (6, n) of the struts.

    A strut slows down where the two have other signs; one that stands keeps both limits.
    """
    if not limits.two_sided:
        return limits.acceleration
    slows = (speed < 0.0) != (acceleration < 0.0)
    return np.where(np.abs(speed) <= STANDS, limits.least, np.where(slows, limits.slowing, limits.acceleration))


def _slowing(pull: Array, way: Array, tip: ToolTip) -> Array:
    """Return the larger share (k,) of their limits that accelerations ``pull`` (6, k) of tip and tilt use.

    The part that slows down along the ``way`` (6, k) is a share of the limit of that.
    """
    out: Array = np.zeros(pull.shape[1])
    limits = zip((tip.acceleration, tip.tilt_acceleration), tip.slowing, strict=True)
    for half, (most, slow) in zip((slice(3), slice(3, 6)), limits, strict=True):
        part, along = pull[half], way[half]
        size = np.maximum(np.sqrt(np.einsum("ij,ij->j", along, along)), NOTHING)
        back = np.minimum(np.einsum("ij,ij->j", part, along) / size, 0.0)
        square = np.einsum("ij,ij->j", part, part) / most**2 + back * back * (1.0 / slow**2 - 1.0 / most**2)
        np.maximum(out, square, out=out)
    return np.sqrt(out)


def _struts(
    out: _Factors, under: Ints, rates: Sequence[Array], slopes: Sequence[Array], *, limits: StrutLimits, aim: Array
) -> None:
    """Weigh speed, acceleration and jerk of the worst strut of samples ``under``; ``slopes`` l', l'', l''' (6, n)."""
    v, a, j = rates
    l1, l2, l3 = slopes
    pull, bend = l1 * a, l2 * (v * v)
    ramp, both, curve = l1 * j, l2 * (3.0 * v * a), l3 * (v * v * v)

    def halved(of: Pick) -> tuple[Array, Array]:
        half = 0.5 * np.abs(of(both))
        return np.abs(of(curve)) + half, np.abs(of(ramp)) + half

    speeds = _worst(l1 * v, lambda of: (of(l1), 0.0 * v), limits.speed, aim=aim, kind=0)
    out.lower(under, *speeds, 2.0)
    room = _room(limits, l1 * v, pull + bend)
    out.lower(under, *_worst(pull + bend, lambda of: (of(bend), of(pull)), room, aim=aim, kind=1), 1.0)
    out.lower(under, *_worst(ramp + both + curve, halved, limits.jerk, aim=aim, kind=2), 2 / 3)


def _thrusts(out: _Factors, under: Ints, rates: Sequence[Array], pull: ThrustParts) -> None:
    """Weigh the motion's part of the thrusts against what standing still leaves of their limits."""
    v, a = rates
    ramp, bend = pull.ramp * a, pull.bend * (v * v)
    moving = ramp + bend
    parts = _worst(moving, lambda of: (of(bend), of(ramp)), pull.room(moving), aim=np.ones(len(v)), kind=THRUST)
    out.lower(under, *parts, 1.0)


def _worst(
    value: Array, parts: Callable[[Pick], tuple[Array, Array]], limit: Array, *, aim: Array, kind: int
) -> tuple[Array, Array, Codes]:
    """Return the largest use (n,) of a limit by a ``value`` (6, n), the share that curvature has in it, its cause.

    ``parts``: what curvature and ramps have in the value, of the worst strut alone.
    """
    use = np.abs(value)
    use /= limit
    k = use.argmax(axis=0)
    n = np.arange(len(k))
    c, r = (np.abs(x) for x in parts(lambda x: x[k, n]))
    return use[k, n] / aim, c / np.maximum(c + r, NOTHING), strut_cause(k, kind)


def _ratio(x: Array, tip: float, tilt: float) -> Array:
    """Return the norms of the tip's and of the tilt's part, (k,), the larger share of their limits."""
    p, q = np.einsum("ij,ij->j", x[:3], x[:3]), np.einsum("ij,ij->j", x[3:], x[3:])
    out: Array = np.sqrt(np.maximum(p / (tip * tip), q / (tilt * tilt)))
    return out
