"""An ordinary machine by its axes, to compare a job with: what each of X Y Z A B C can do, and its own times."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import hypot
from pathlib import Path

import numpy as np

from hexpost.machine.load import raise_faults, root_of
from hexpost.machine.model import Machine, ShopTimes, Strut
from hexpost.machine.reading import read_bytes
from hexpost.machine.table import MOST, Table
from hexpost.machine.tables import MOST_TOLERANCE_DEG, MOST_TOLERANCE_MM, times

LETTERS = "XYZABC"
FAR = 1e12
"""The stroke of an axis, mm or rad: a comparison does not look at it."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AxisLimits:
    """What one axis can do: mm (of A B C rad), s."""

    speed: float
    acceleration: float
    jerk: float


@dataclass(frozen=True, slots=True, kw_only=True)
class OrdinaryMachine:
    """An ordinary machine: ``axes`` X Y Z A B C, ``None`` for one that it does not have.

    ``corner_tolerance`` [mm] and ``corner_tolerance_tilt`` [rad] of its control; ``None``: those of the other machine.
    """

    name: str
    file: str
    axes: tuple[AxisLimits | None, ...]
    corner_tolerance: float | None
    corner_tolerance_tilt: float | None
    times: ShopTimes
    source: bytes

    def planned(self, other: Machine) -> Machine:
        """Return it as a machine that a path can be planned for, with the control period of ``other``.

        Its struts are the axes. Tip and tilt may do all that three axes do together, so that only axes are felt.
        """
        still = AxisLimits(speed=1.0, acceleration=1.0, jerk=1.0)  # an axis that is not there does not move
        axes = [axis or still for axis in self.axes]
        tip = other.tool_tip
        (v, a, j), (w, b, k) = (_together(axes[i : i + 3]) for i in (0, 3))
        tool_tip = replace(
            tip, speed=v, acceleration=a, jerk=j, tilt_speed=w, tilt_acceleration=b, tilt_jerk=k,
            corner_tolerance=self.corner_tolerance or tip.corner_tolerance,
            corner_tolerance_tilt=self.corner_tolerance_tilt or tip.corner_tolerance_tilt,
        )  # fmt: skip
        x, y, z, p, q, r = (_strut(axis) for axis in axes)
        return replace(other, struts=(x, y, z, p, q, r), tool_tip=tool_tip, forces=None, by_axes=True, times=self.times)


def load_ordinary(path: str | Path) -> OrdinaryMachine:
    """Return the ordinary machine of the file at ``path``.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    source = read_bytes(path)
    root = root_of(source, str(path), "compare-with")
    table = root.table("axis")
    out = OrdinaryMachine(
        name=root.text("name"),
        file=str(path),
        axes=tuple(_axis(table, letter) for letter in LETTERS),
        corner_tolerance=_optional(root, "corner_tolerance_mm", MOST_TOLERANCE_MM),
        corner_tolerance_tilt=_optional(root, "corner_tolerance_deg", MOST_TOLERANCE_DEG),
        times=times(root.table("times", optional=True)),
        source=source,
    )
    table.close()
    root.close()
    raise_faults(root)
    return out


def _axis(t: Table, letter: str) -> AxisLimits | None:
    """Return one axis; X Y Z must be there."""
    turns = letter in "ABC"
    if turns and not t.has(letter):
        return None
    unit, own = "deg" if turns else "mm", t.table(letter)
    out = AxisLimits(
        speed=own.positive(f"speed_{unit}_s"),
        acceleration=own.positive(f"acceleration_{unit}_s2"),
        jerk=own.positive(f"jerk_{unit}_s3", most=MOST * 1e3),
    )
    own.close()
    return out


def _optional(t: Table, key: str, most: float) -> float | None:
    return t.positive(key, most=most) if t.has(key) else None


def _together(axes: Sequence[AxisLimits]) -> tuple[float, float, float]:
    """Return the speed, acceleration and jerk of three axes together."""
    return (
        hypot(*(x.speed for x in axes)),
        hypot(*(x.acceleration for x in axes)),
        hypot(*(x.jerk for x in axes)),
    )


def _strut(axis: AxisLimits) -> Strut:
    """Return an axis as a strut of no geometry."""
    nowhere = np.zeros(3)
    return Strut(
        base_joint=nowhere, platform_joint=nowhere, stroke=(-FAR, FAR),
        speed=axis.speed, acceleration=axis.acceleration, jerk=axis.jerk,
    )  # fmt: skip
