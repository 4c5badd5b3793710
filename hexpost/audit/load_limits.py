"""Checks of what the struts bear: thrust, torque, power, buckling and critical speed, as shares of what is allowed."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from math import pi

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.audit.band import (
    SHARE_ROUNDING,
    Band,
    Context,
    Figures,
    LimitCheck,
    Maker,
    share_band,
    struts_without,
    symmetric_band,
)
from hexpost.errors import HexpostError
from hexpost.kinematics.screws import buckling_load, critical_speed
from hexpost.last_answer import LastAnswer
from hexpost.machine.model import Machine, Screw
from hexpost.setpoints.model import Setpoints
from hexpost.units import SECONDS_PER_MINUTE

MOST_PERIODS = 1_000_000
"""A window of continuous loads holds so many periods at most."""

Measured = Callable[[Setpoints], Array]


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Bearing:
    """A check of measured values (6, n) against what is ``allowed`` (6,) over the squared length of the screw.

    ``supported`` (6,): what to take off the strut length for the unsupported length of the screw. Without a limit the
    allowed value is infinite.
    """

    band: Band
    value: Measured
    allowed: Array
    supported: Array

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the shares (6, n)."""
        out: Array = np.abs(self.value(setpoints))
        free = setpoints.length - self.supported[:, None]
        out *= free * free
        out *= (1.0 / self.allowed)[:, None]
        return out

    def figures(self, row: Ints, at: Ints, setpoints: Setpoints) -> Figures:
        """Return values and allowed values (m,)."""
        value = np.abs(self.value(setpoints)[row, at])
        allowed = self.allowed[row] / (setpoints.length[row, at] - self.supported[row]) ** 2
        return Figures(value=value, allowed=allowed, use=value / allowed, joint=np.zeros(len(row), dtype=np.uint8))


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Peak:
    """A check of measured values (6, n), of either sign, against limits that do not depend on the pose."""

    band: Band
    value: Measured

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the values (6, n) of a batch in the units of the limit."""
        return self.value(setpoints)


class RunningMean:
    """Root of the mean square of values (6, n) over a window of samples, across batches.

    Before the first sample the machine counts as having stood there for the whole window.
    """

    def __init__(self, value: Measured, window: float, period: float) -> None:
        self._value = value
        self._size = max(round(window / period), 1)
        if self._size > MOST_PERIODS:
            raise HexpostError(
                f"forces.window_s: expected at most {MOST_PERIODS:,} control periods, found {self._size:,}"
            )
        self._before: Array | None = None
        self._last: LastAnswer[Setpoints, Array] = LastAnswer()

    def __call__(self, setpoints: Setpoints) -> Array:
        """Return the root mean squares (6, n) of a batch; asked again for the same batch, the same answer."""
        return self._last.of(setpoints, lambda: self._roots(self._value(setpoints) ** 2))

    def _roots(self, squares: Array) -> Array:
        """Return the root mean squares (6, n) of the next samples, and keep what the samples after them need."""
        before = np.repeat(squares[:, :1], self._size, axis=1) if self._before is None else self._before
        joined = np.concatenate([before, squares], axis=1)
        sums = np.cumsum(joined, axis=1)
        mean = (sums[:, self._size :] - sums[:, : -self._size]) / self._size
        self._before = joined[:, -self._size :]
        out: Array = np.sqrt(np.maximum(mean, 0.0))
        return out


def thrust(context: Context) -> LimitCheck | None:
    """Return the check of the peak thrust, pushing or pulling."""
    return _bearing("thrust", context, lambda s: context.loads.of(s).thrust, lambda s: s.thrust)


def thrust_continuous(context: Context) -> LimitCheck | None:
    """Return the check of the thrust, root mean square over the window."""
    return _averaged("thrust-continuous", context, lambda s: context.loads.of(s).thrust, lambda s: s.thrust_continuous)


def torque(context: Context) -> LimitCheck | None:
    """Return the check of the peak motor torque."""
    return _bearing("torque", context, lambda s: context.loads.of(s).torque, lambda s: s.torque)


def torque_continuous(context: Context) -> LimitCheck | None:
    """Return the check of the motor torque, root mean square over the window."""
    return _averaged("torque-continuous", context, lambda s: context.loads.of(s).torque, lambda s: s.torque_continuous)


def power(context: Context) -> LimitCheck | None:
    """Return the check of the mechanical power of the motor, given or taken."""
    turns = _turns(context.machine)[:, None] * (2.0 * pi)
    return _bearing("power", context, lambda s: context.loads.of(s).torque * s.speed * turns, lambda s: s.power)


def buckling(context: Context) -> LimitCheck | None:
    """Return the check of pushing struts against Euler's load of the screw at its length."""

    def allowed(s: Screw) -> float | None:
        if s.root is None:
            return None
        return s.buckling_share * buckling_load(s.root, s.bore, s.elasticity, s.ends)

    return _bearing("buckling", context, lambda s: np.maximum(context.loads.of(s).thrust, 0.0), allowed, by_length=True)


def critical(context: Context) -> LimitCheck | None:
    """Return the check of the turning speed of the screw against its critical speed at its length."""
    leads = np.array([np.inf if s.screw is None else s.screw.lead for s in context.machine.struts])

    def allowed(s: Screw) -> float | None:
        if s.root is None:
            return None
        return s.critical_speed_share * critical_speed(s.root, s.bore, s.elasticity, s.density, s.ends)

    factor = (SECONDS_PER_MINUTE / leads)[:, None]
    return _bearing("critical-speed", context, lambda s: s.speed * factor, allowed, by_length=True, loaded=False)


def _averaged(
    limit: str, context: Context, value: Measured, allowed: Callable[[Screw], float | None]
) -> LimitCheck | None:
    """Return a check of the running mean of a value, or none where no strut has the limit."""
    forces = context.machine.forces
    assert forces is not None  # every loaded machine has them
    if _bearing(limit, context, value, allowed) is None:
        return None
    return _bearing(limit, context, RunningMean(value, forces.window, context.machine.period), allowed)


def _bearing(
    limit: str, context: Context, value: Measured, allowed: Callable[[Screw], float | None], *,
    by_length: bool = False, loaded: bool = True,
) -> LimitCheck | None:  # fmt: skip
    """Return a check, or none where no strut has the limit; ``loaded``: cutting forces count."""
    screws = [s.screw for s in context.machine.struts]
    known = [None if s is None else allowed(s) for s in screws]
    if all(x is None for x in known):
        return None
    most = np.array([np.inf if x is None else x for x in known])
    unseen = struts_without(np.isfinite(most))
    if loaded and not _cuts(context):
        unseen += (("the cutting force", 1),)
    if by_length:
        supported = np.array([0.0 if s is None else s.supported for s in screws])
        return Bearing(band=replace(share_band(limit), unseen=unseen), value=value, allowed=most, supported=supported)
    return Peak(band=replace(symmetric_band(limit, most, SHARE_ROUNDING), unseen=unseen), value=value)


def _cuts(context: Context) -> bool:
    """Return whether any cutting force is described, in the machine file or of a tool."""
    forces = context.machine.forces
    assert forces is not None  # every loaded machine has them
    return bool(forces.force.any() or forces.moment.any() or any(any(t.force) for t in context.tools.tools.values()))


def _turns(machine: Machine) -> Array:
    """Return the turns of each motor (6,) for a mm of its strut."""
    return np.array([0.0 if s.screw is None else s.screw.gear / s.screw.lead for s in machine.struts])


BEARINGS: tuple[Maker, ...] = (thrust, thrust_continuous, torque, torque_continuous, power, critical, buckling)
"""All checks of this module, in the order of the report."""
