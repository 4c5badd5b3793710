"""Checks of numbers that the solver hands on as they are: stroke, speed, acceleration and jerk of each strut."""

from dataclasses import dataclass
from operator import attrgetter

import numpy as np

from hexpost.arrays import Array, Codes, Ints
from hexpost.audit.advice import FIGURES
from hexpost.audit.band import STRUTS, Band, Context, symmetric_band
from hexpost.audit.breaches import MACHINE_FRAME
from hexpost.audit.within import COLUMNS, Within, senses
from hexpost.kinematics.frames import pose_matrix
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.model import Setpoints

LEAST = 1e-3
"""Millimetres: a shift of the work is told to so much."""
ROUNDING = 1e-9
"""Share of the jerk limit that rounding may add: it is a difference of accelerations good to about 1e-12."""
DRIVEN = {"length": "driven_length", "speed": "driven_speed"}
"""Columns that are judged as the drives follow them."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class StrutLimit:
    """A check of one array (6, n) of the setpoints, named ``column``, against a band per strut.

    Lengths and speeds are those that the drives follow: commands may make up for what the struts give way.
    """

    band: Band
    column: str
    within: Within | None = None

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the values (6, n) of a batch in the units of the limit."""
        out: Array = attrgetter(DRIVEN.get(self.column, self.column))(setpoints)
        return out

    def judged(self, setpoints: Setpoints, values: Array, margin: float) -> Array:
        """Return the ``values`` (6, n) of a batch, with those between samples where only these leave the band."""
        if self.within is None or self.column not in COLUMNS:
            return values
        at, found = self.within.of(setpoints, self.column)
        if self.column == "speed" and setpoints.creep is not None:
            found = found + setpoints.creep[:, at]
        centre = self.band.centre[:, None]
        sure = centre + (found - centre) * (1.0 - ROUNDING)  # looks are taken from the schedule, with its rounding
        more = self.band.outside(sure, margin) & ~self.band.outside(values[:, at], margin)
        if not more.any():
            return values
        out = values.copy()
        out[:, at] = np.where(more, found, values[:, at])
        return out


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Stroke(StrutLimit):
    """The check of the lengths, which another place of the work changes: ``base_from_pallet`` (3, 3) has its axes."""

    poses: Attitudes
    base_from_pallet: Array

    def shift(self, row: Ints, at: Ints, setpoints: Setpoints, margin: float) -> tuple[Array, Codes]:
        """Return how far (m,) [mm] the work must move along an axis of the pallet, and its way (m,); see ``Movable``.

        Work and platform move as one, by h along axis i: the strut v (Conventions: t + R b - a) becomes v + h e_i, and
        |v + h e_i| = L is a quadratic in h. Of its roots the one that keeps the sign of v_i is the nearer.
        """
        frame = self.poses.frame(setpoints)
        count = len(at)
        if frame.offset == MACHINE_FRAME:
            return np.zeros(count), np.zeros(count, np.uint8)
        links = self.poses.some(setpoints, at)
        which = np.arange(count)
        more = 0.0 if setpoints.compensation is None else setpoints.compensation[row, at]
        long = links.length[row, which]
        strut = links.direction[:, row, which] * long
        strut = self.base_from_pallet.T @ frame.base_from_work[:3, :3] @ strut
        low, high = self.band.edges(margin)
        aim = np.clip(long, low[row] - more, high[row] - more)
        along = aim**2 - long**2 + strut**2  # (3, m): what is left for the strut's own part along each axis
        ahead = np.where(strut < 0.0, -1.0, 1.0) * np.sqrt(np.where(along < 0.0, np.nan, along)) - strut
        size = np.where(np.isnan(ahead), np.inf, np.abs(ahead))
        axis = size.argmin(axis=0)
        far = size[axis, which]
        way = 1 + 2 * axis + (ahead[axis, which] < 0.0)
        known = np.isfinite(far)
        return round_up(np.where(known, far, 0.0)), np.where(known, way, 0).astype(np.uint8)


def round_up(far: Array) -> Array:
    """Return distances (m,) [mm] rounded up to ``FIGURES`` significant figures, to a micrometre at most."""
    unit = np.maximum(10.0 ** (np.floor(np.log10(np.maximum(far, LEAST))) + 1 - FIGURES), LEAST)
    return np.round(np.ceil(far / unit) * unit, 3)


def stroke(context: Context) -> Stroke:
    """Return the check of the lengths: mid-stroke uses nothing of the stroke, either end all of it."""
    low, high = np.array([s.stroke for s in context.machine.struts]).T
    band = Band(
        limit="stroke", struts=STRUTS, low=low, high=high, centre=(low + high) / 2.0, scale=(high - low) / 2.0,
        slack=np.zeros(6),
    )  # fmt: skip
    machine = context.machine
    pallet = pose_matrix(machine.pallet.pose, machine.tilt_order)[:3, :3]
    return Stroke(band=band, column="length", poses=context.poses, base_from_pallet=pallet)


def speed(context: Context) -> StrutLimit:
    """Return the check of the strut speeds, either sense."""
    return _symmetric("speed", "speed", context, 0.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class OneWay(StrutLimit):
    """The check of the accelerations of struts that speed up, or of those that slow down (``slows``)."""

    slows: bool

    def measure(self, setpoints: Setpoints) -> Array:
        """Return the accelerations (6, n) of a batch that the limit is about, else 0."""
        return np.where(senses(setpoints.speed, setpoints.acceleration)[self.slows], setpoints.acceleration, 0.0)


def acceleration(context: Context) -> StrutLimit:
    """Return the check of the strut accelerations, either sense, or of those that speed up."""
    found = _symmetric("acceleration", "acceleration", context, 0.0)
    if not context.machine.struts_slow_otherwise:
        return found
    return OneWay(band=found.band, column="speeding", within=context.within, slows=False)


def deceleration(context: Context) -> StrutLimit | None:
    """Return the check of the accelerations of struts that slow down; none where no strut has a limit of its own."""
    if not context.machine.struts_slow_otherwise:
        return None
    band = symmetric_band("deceleration", np.array([s.slowing for s in context.machine.struts]), 0.0)
    return OneWay(band=band, column="slowing", within=context.within, slows=True)


def jerk(context: Context) -> StrutLimit:
    """Return the check of the mean strut jerk of each tick, either sense."""
    return _symmetric("jerk", "jerk", context, ROUNDING)


def _symmetric(limit: str, column: str, context: Context, rounding: float) -> StrutLimit:
    """Return a check that both senses of ``column`` stay within the value of the same name of each strut."""
    most = np.array([attrgetter(limit)(s) for s in context.machine.struts], dtype=np.float64)
    return StrutLimit(band=symmetric_band(limit, most, rounding), column=column, within=context.within)
