"""What to do about a finding: the case of advice, and the feed worked out; ``advised.py`` tries it."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints
from hexpost.audit.band import Context
from hexpost.audit.breaches import MACHINE_FRAME
from hexpost.audit.limit import BELOW, FEED, FIXED, RAMP, RAMP_FEED, RAPID, USUAL, Law, Limit
from hexpost.audit.model import Runs
from hexpost.moves.model import FEED_INVERSE, FEED_RAPID, FEED_TILT, LINE
from hexpost.setpoints.model import Setpoints
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE

MARGIN = 0.995
"""Advised feeds aim this much below what just satisfies the limit: another feed has other ticks."""

RAMP_SHARE = 0.9
"""Where a ramp alone takes more than this share of an acceleration limit, it is the ramp that must become milder."""

MILDER = 0.95
"""Share of the limit that such a ramp is to take at the advised feed; the rest is left to the curve of the path."""

FIGURES = 3
"""Significant figures of an advised feed."""

STILL = 1e-6
"""Path speed below which the tool counts as standing, mm/s: whatever moves it then is a ramp."""

TINY = 1e-9
"""Least use of a limit that a speed is worked out from."""

HALVINGS = 50
"""Steps of bisection for the factor of the feed: good to 1e-15."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Tail:
    """The last sample of a batch: rate and acceleration (6, 1) of the pose, speed and acceleration of the struts."""

    rate: Array
    bend: Array
    speed: Array
    acceleration: Array


class Adviser:
    """Advice for the findings of one batch after the other.

    A strut value splits into parts that go with powers of the feed: with s along the path, l' = l_s s',
    l'' = l_s s'' + l_ss s'^2 and l''' = l_s s''' + 3 l_ss s' s'' + l_sss s'^3 (chain rule). The parts in s'' and s'''
    alone are ramps: how hard they are is up to the tool-tip limits rather than to F. The factor k <= 1 of the feed
    makes the sum of |part| k^power equal to what is allowed.
    """

    def __init__(self, context: Context) -> None:
        tip = context.machine.tool_tip
        self._rho = tip.corner_tolerance / tip.corner_tolerance_tilt
        self._jerks = (tip.jerk, tip.tilt_jerk)
        moves = context.moves
        self._frames = moves.frames
        self._mode = np.append(moves.feed_mode, np.uint8(FEED_RAPID))
        still = (moves.kind == LINE) & (moves.start[:3] == moves.end[:3]).all(axis=0)
        turning = (moves.feed_mode == FEED_TILT) | ((moves.feed_mode == FEED_INVERSE) & still)
        self._turning: Flags = np.append(turning, False)
        self._tail: Tail | None = None

    def remember(self, setpoints: Setpoints) -> None:
        """Keep the last sample of a batch for the jerk of the first tick of the next one."""
        self._tail = Tail(
            rate=setpoints.poses.rate[:, -1:].copy(),
            bend=setpoints.poses.acceleration[:, -1:].copy(),
            speed=setpoints.speed[:, -1:].copy(),
            acceleration=setpoints.acceleration[:, -1:].copy(),
        )

    def advise(
        self,
        limit: Limit,
        runs: Runs,
        row: Ints,
        at: Ints,
        setpoints: Setpoints,
        *,
        values: Array | None = None,
        margin: float = 1.0,
    ) -> None:
        """Write feeds and case into ``runs`` (m,) of one ``limit``, worst at samples ``at`` of the struts ``row``.

        Where a ``margin`` is asked for, there are two feeds: that which keeps the limit, where it is broken, and that
        which keeps its share. Where ``values`` (k, n) that go with a power of the feed are given, the feed keeps the
        limit at every sample of a run: one where the tool was slower may need less than the worst one does.
        """
        if limit.law is Law.NONE:
            runs["case"] = np.where(runs["peak"] <= runs["allowed"], BELOW, USUAL)
            if self._frames[setpoints.poses.frame].offset == MACHINE_FRAME:
                runs["case"] = FIXED
            return
        mode = self._mode[setpoints.poses.move[at]]
        parts = self._parts(limit.law, runs, row, at, setpoints)
        rate, bend = setpoints.poses.rate[:, at], setpoints.poses.acceleration[:, at]
        runs["turning"] = turning = self._turning[setpoints.poses.move[at]]
        reached = _speed(rate, turning)
        pull = np.where(turning, _pull(rate[3:], bend[3:]), _pull(rate[:3], bend[:3]))
        slow = None
        if values is not None and limit.law in (Law.LINEAR, Law.SQUARE):
            slow = self._slowest(limit.law.value, values, runs, row=row, at=at, setpoints=setpoints, turning=turning)
        for name, share in (("margin_feed", margin), ("own_feed", 1.0))[margin == 1.0 :]:
            allowed, broken = share * runs["allowed"], runs["ratio"] > share
            ramp = parts[0] > RAMP_SHARE * allowed if limit.law is Law.SECOND else parts[0] >= allowed
            case = _cases(mode, ramp, RAMP_FEED if limit.law is Law.SECOND else RAMP)
            feed = reached * _factor(parts, allowed)
            if limit.law is Law.SECOND and ramp.any():
                feed = np.where(ramp, self._ramp_feed(parts, allowed, reached, pull, turning), feed)
            if slow is not None:
                feed = np.minimum(feed, slow * share ** (1.0 / limit.law.value))
            feed = round_down(MARGIN * feed * SECONDS_PER_MINUTE * np.where(turning, DEG_PER_RAD, 1.0))
            none = (case == RAPID) | (case == RAMP) | (feed <= 0.0)
            runs[name] = np.where(broken & ~none, feed, np.nan)
            runs["case"] = np.where(broken, case, runs["case"])

    @staticmethod
    def _slowest(
        power: int, values: Array, runs: Runs, *, row: Ints, at: Ints, setpoints: Setpoints, turning: Flags
    ) -> Array:
        """Return the least speed (m,) over the samples of each run at which its value just keeps the limit."""
        poses = setpoints.poses
        tip, tilt = (np.sqrt((poses.rate[k] ** 2).sum(axis=0)) for k in (slice(3), slice(3, 6)))
        out: Array = np.full(len(runs), np.inf)
        tip[tip <= STILL], tilt[tilt <= STILL] = np.inf, np.inf  # F says nothing of what moves beside a still tip
        first = runs["start"] - poses.tick[0]
        for i, (k, a, b) in enumerate(zip(row, first, first + runs["end"] - runs["start"] + 1, strict=True)):
            size = np.abs(values[k, a:b])
            use = runs["ratio"][i] * size / size[at[i] - a]
            out[i] = ((tilt if turning[i] else tip)[a:b] * np.maximum(use, TINY) ** (-1.0 / power)).min()
        return out

    def _parts(self, law: Law, runs: Runs, row: Ints, at: Ints, setpoints: Setpoints) -> Array:
        """Return the sizes (4, m) of the parts of the peaks that go with the powers 0 to 3 of the feed."""
        out: Array = np.zeros((4, len(runs)))
        if law is Law.SECOND:
            poses = setpoints.poses
            along, pull = self._along(poses.rate[:, at], poses.acceleration[:, at])
            out[0] = _ramp(setpoints.speed[row, at], setpoints.acceleration[row, at], along, pull)
            out[2] = setpoints.acceleration[row, at] - out[0]
        elif law is Law.THIRD:
            out[:] = self._jerk_parts(row, at, setpoints)
        else:
            out[law.value] = runs["peak"]
        return np.abs(out)

    def _jerk_parts(self, row: Ints, at: Ints, setpoints: Setpoints) -> Array:
        """Return the parts (4, m) of the mean jerk of the ticks that end at samples ``at``, values at mid-tick."""
        poses, tail = setpoints.poses, self._tail
        first = at == 0
        before = np.maximum(at - 1, 0)

        def earlier(x: Array, last: Array) -> Array:
            return np.where(first, last, x[:, before])

        rate, bend = poses.rate[:, at], poses.acceleration[:, at]
        rate0 = earlier(poses.rate, rate if tail is None else tail.rate)
        bend0 = earlier(poses.acceleration, bend if tail is None else tail.bend)
        column = np.arange(len(at))
        speed = earlier(setpoints.speed, setpoints.speed[:, :1] if tail is None else tail.speed)[row, column]
        strut = earlier(setpoints.acceleration, setpoints.acceleration[:, :1] if tail is None else tail.acceleration)
        speed = (speed + setpoints.speed[row, at]) / 2.0
        mid = (strut[row, column] + setpoints.acceleration[row, at]) / 2.0
        along, pull = self._along(rate, bend)
        along0, pull0 = self._along(rate0, bend0)
        along = (along + along0) / 2.0
        change = (pull - pull0) / setpoints.period
        jerk = setpoints.jerk[row, at]
        ramp = _ramp(speed, jerk, along, change)
        curve = mid - _ramp(speed, mid, along, (pull + pull0) / 2.0)
        mixed = _share(3.0 * curve * (pull + pull0) / 2.0, along, np.zeros(len(at)))
        return np.stack([ramp, mixed, np.zeros(len(at)), jerk - ramp - mixed])

    def _along(self, rate: Array, bend: Array) -> tuple[Array, Array]:
        """Return speed and acceleration (m,) along the path, ds2 = |dp|2 + (rho da)2; from rest, all of it."""
        weight = np.array([1.0, 1.0, 1.0, self._rho, self._rho, self._rho])[:, None]
        v, a = rate * weight, bend * weight
        along: Array = np.sqrt((v * v).sum(axis=0))
        return along, _share((v * a).sum(axis=0), along, np.sqrt((a * a).sum(axis=0)))

    def _ramp_feed(self, parts: Array, allowed: Array, reached: Array, pull: Array, turning: Flags) -> Array:
        """Return the feed (m,), per second, whose ramp from rest is mild enough; ``pull`` is the ramp's peak now.

        A jerk-limited ramp to speed v that needs no constant acceleration peaks at a = sqrt(v J) (double-S profile,
        e.g. Biagiotti & Melchiorri 2008, sec. 3.4), so v = a^2 / J.
        """
        peak = pull * MILDER * allowed / np.maximum(parts[0], RAMP_SHARE * allowed)
        ramp = peak**2 / np.where(turning, self._jerks[1], self._jerks[0])
        left = (1.0 - MILDER) * allowed
        curve = reached * np.sqrt(left / np.maximum(parts[2], left))
        out: Array = np.where(reached > STILL, np.minimum(ramp, curve), ramp)
        return out


def settle(runs: Runs) -> None:
    """Write into ``runs`` (m,) the feeds that are advised: of a line the least, so that it clears all its limits.

    A limit of a line that no feed keeps has none. The feed for margins clears limits without one, too.
    """
    lines, back = np.unique(runs["line"], return_inverse=True)
    for name, of in (("feed", ("own_feed",)), ("margin_feed", ("margin_feed", "own_feed"))):
        least = np.full(len(lines), np.inf)
        for column in of:
            np.fmin.at(least, back, runs[column])
        own = runs[of[0]]
        runs[name] = np.where(np.isfinite(own), least[back], own)


def _ramp(slope: Array, value: Array, along: Array, pull: Array) -> Array:
    """Return the part (m,) of a strut ``value`` that comes from ``pull`` along the path; from rest, all of it."""
    return _share(slope * pull, along, value)


def _pull(velocity: Array, acceleration: Array) -> Array:
    """Return the size (m,) of the part of ``acceleration`` (3, m) along ``velocity``; from rest, of all of it."""
    speed: Array = np.sqrt((velocity * velocity).sum(axis=0))
    return _share(
        np.abs((velocity * acceleration).sum(axis=0)), speed, np.sqrt((acceleration * acceleration).sum(axis=0))
    )


def _share(product: Array, speed: Array, at_rest: Array) -> Array:
    """Return ``product`` / ``speed`` (m,), and ``at_rest`` where nothing moves."""
    return np.divide(product, speed, out=at_rest.astype(np.float64), where=speed > STILL)


def _speed(rate: Array, turning: Flags) -> Array:
    """Return the speed (m,) that F speaks of: of the tip in mm/s, of the tilt in rad/s where ``turning``."""
    part = np.where(turning, rate[3:], rate[:3])
    out: Array = np.sqrt((part * part).sum(axis=0))
    return out


def _factor(parts: Array, allowed: Array) -> Array:
    """Return the largest k <= 1 (m,) with the sum of ``parts`` (4, m) k^power within ``allowed``; 0 if none is."""
    low, high = np.zeros(len(allowed)), np.ones(len(allowed))
    for _ in range(HALVINGS):
        k = (low + high) / 2.0
        over = parts[0] + k * (parts[1] + k * (parts[2] + k * parts[3])) > allowed
        low, high = np.where(over, low, k), np.where(over, k, high)
    return low


def _cases(mode: Codes, ramp: Flags, ramp_case: int) -> Ints:
    """Return the case (m,) of each finding by the feed ``mode`` of its move; ``ramp`` where the ramp is to blame."""
    by_mode = np.full(int(mode.max(initial=FEED_RAPID)) + 1, FEED)
    by_mode[FEED_RAPID] = RAPID
    case = by_mode[mode]
    return np.where(ramp & (case != RAPID), ramp_case, case)


def round_down(feed: Array) -> Array:
    """Return ``feed`` (m,) rounded down to ``FIGURES`` significant figures."""
    small = np.maximum(feed, 1e-6)
    unit = 10.0 ** (np.floor(np.log10(small)) + 1 - FIGURES)
    return np.round(np.floor(feed / unit) * unit, 8)
