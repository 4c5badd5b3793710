"""Checks of numbers that the solver hands on as they are: stroke, speed, acceleration and jerk of each strut."""

from dataclasses import dataclass
from operator import attrgetter

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.band import STRUTS, Band, Context, symmetric_band
from hexpost.audit.within import COLUMNS, Within
from hexpost.setpoints.model import Setpoints

ROUNDING = 1e-9
"""Share of the jerk limit that rounding may add: it is a difference of accelerations good to about 1e-12."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StrutLimit:
    """A check of one array (6, n) of the setpoints, named ``column``, against a band per strut."""

    band: Band
    column: str
    within: Within | None = None

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the values (6, n) of a batch in the units of the limit."""
        out: Array = attrgetter(self.column)(setpoints)
        return out

    def judged(self, setpoints: Setpoints, values: Array, margin: float) -> Array:
        """Return the ``values`` (6, n) of a batch, with those between samples where only these leave the band."""
        if self.within is None or self.column not in COLUMNS:
            return values
        at, found = self.within.of(setpoints, self.column)
        centre = self.band.centre[:, None]
        sure = centre + (found - centre) * (1.0 - ROUNDING)  # looks are taken from the schedule, with its rounding
        more = self.band.outside(sure, margin) & ~self.band.outside(values[:, at], margin)
        if not more.any():
            return values
        out = values.copy()
        out[:, at] = np.where(more, found, values[:, at])
        return out


def stroke(context: Context) -> StrutLimit:
    """Return the check of the lengths: mid-stroke uses nothing of the stroke, either end all of it."""
    low, high = np.array([s.stroke for s in context.machine.struts]).T
    band = Band(
        limit="stroke", struts=STRUTS, low=low, high=high, centre=(low + high) / 2.0, scale=(high - low) / 2.0,
        slack=np.zeros(6),
    )  # fmt: skip
    return StrutLimit(band=band, column="length")


def speed(context: Context) -> StrutLimit:
    """Return the check of the strut speeds, either sense."""
    return _symmetric("speed", "speed", context, 0.0)


def acceleration(context: Context) -> StrutLimit:
    """Return the check of the strut accelerations, either sense."""
    return _symmetric("acceleration", "acceleration", context, 0.0)


def jerk(context: Context) -> StrutLimit:
    """Return the check of the mean strut jerk of each tick, either sense."""
    return _symmetric("jerk", "jerk", context, ROUNDING)


def _symmetric(limit: str, column: str, context: Context, rounding: float) -> StrutLimit:
    """Return a check that both senses of ``column`` stay within the value of the same name of each strut."""
    most = np.array([attrgetter(limit)(s) for s in context.machine.struts], dtype=np.float64)
    return StrutLimit(band=symmetric_band(limit, most, rounding), column=column, within=context.within)
