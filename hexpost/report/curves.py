"""Curves of the whole tool that charts show: how it leans, how well the struts hold it, how far it is off its path."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.audit.model import Followed
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.links import Links, links
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.machine.geometry import least_conditioning, nearness
from hexpost.machine.model import Machine
from hexpost.moves.model import Moves
from hexpost.setpoints.model import Setpoints
from hexpost.units import DEG_PER_RAD

LOOKS = 8
"""A slow curve is worked out at so many samples of a column, at least, or at all of them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PoseCurve:
    """A curve: ``measure`` gives its values (m,) at rows (m,) of a batch, every ``every`` ticks.

    ``least`` and ``most``: what is allowed; ``None``: no limit. ``name`` is its address, ``title`` its words.
    ``forecast``: it is what becomes of the job, not what the job is.
    """

    name: str
    title: str
    unit: str
    measure: Callable[[Setpoints, Ints], Array]
    every: int
    least: float | None = None
    most: float | None = None
    forecast: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Drawn:
    """A curve with its smallest and largest value in each column, (w,)."""

    curve: PoseCurve
    low: Array
    high: Array


def curves_of(machine: Machine, moves: Moves, followed: Sequence[Followed], total: int, width: int) -> list[PoseCurve]:
    """Return the curves of a job of ``total`` samples in ``width`` columns: tilt, conditioning, what is followed."""
    model = StrutModel(machine)
    up = pose_matrix(machine.pallet.pose, machine.tilt_order)[:3, 2]
    every = max(total // (LOOKS * width), 1)

    def struts(setpoints: Setpoints) -> Struts:
        frame = moves.frames[setpoints.poses.frame]
        return model.in_frame(frame.base_from_work, frame.tip)

    def some(setpoints: Setpoints, at: Ints) -> Links:
        return links(struts(setpoints), setpoints.poses.pose[:, at], setpoints.length[:, at])

    def tilt(setpoints: Setpoints, at: Ints) -> Array:
        axis = moves.frames[setpoints.poses.frame].base_from_work[:3, :3] @ some(setpoints, at).rotation[:, 2]
        across = np.linalg.norm(np.cross(axis.T, up), axis=1)
        out: Array = np.arctan2(across, up @ axis) * DEG_PER_RAD
        return out

    def conditioning(setpoints: Setpoints, at: Ints) -> Array:
        return nearness(machine, struts(setpoints)).of(some(setpoints, at))[0]

    least = least_conditioning(machine)
    seen = f", looked at every {every} rows" if every > 1 else ""
    tells = f"Tilt of the tool against the pallet{seen}"
    holds = f"Conditioning of the pose (1 at best, at least {least:g} allowed){seen}"
    return [
        PoseCurve(name="tilt", title=tells, unit="deg", measure=tilt, every=every),
        PoseCurve(name="conditioning", title=holds, unit="1", measure=conditioning, every=every, least=least),
        *(_curve(one) for one in followed),
    ]


def _curve(one: Followed) -> PoseCurve:
    def measure(setpoints: Setpoints, at: Ints) -> Array:
        return one.measure(setpoints)[at]

    return PoseCurve(
        name=one.name, title=one.title, unit=one.unit, measure=measure, every=1, most=one.most, forecast=True
    )


class Curves:
    """Gathers the extremes of curves; batches come in the order of time."""

    def __init__(self, curves: Sequence[PoseCurve], total: int, width: int) -> None:
        self._curves, self._total, self._width = tuple(curves), total, width
        self._ends = [np.array([[np.inf], [-np.inf]]) * np.ones(width) for _ in curves]

    def add(self, setpoints: Setpoints) -> None:
        """Take the next batch."""
        tick = setpoints.poses.tick
        for curve, (low, high) in zip(self._curves, self._ends, strict=True):
            at = np.flatnonzero(tick % curve.every == 0)
            if not len(at):
                continue
            values = curve.measure(setpoints, at)
            column: Ints = tick[at] * self._width // self._total
            first = np.flatnonzero(np.append(True, column[1:] != column[:-1]))
            to = column[first]
            low[to] = np.minimum(low[to], np.minimum.reduceat(values, first))
            high[to] = np.maximum(high[to], np.maximum.reduceat(values, first))

    def finish(self) -> tuple[Drawn, ...]:
        """Return the curves as they are drawn."""
        ends = zip(self._curves, self._ends, strict=True)
        return tuple(Drawn(curve=curve, low=low, high=high) for curve, (low, high) in ends)
