"""What one check looks at: values of a batch of samples, and the band they must stay in."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Protocol, runtime_checkable

import numpy as np

from hexpost.arrays import Array, Codes, Flags, Ints
from hexpost.audit.forecast import Forecasting
from hexpost.audit.shaking import Shaking
from hexpost.audit.within import Within
from hexpost.machine.model import Machine, Tools
from hexpost.moves.model import Interpretation, Moves
from hexpost.program.model import Program
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.loads import Loads
from hexpost.setpoints.model import Setpoints

STRUTS = np.arange(1, 7, dtype=np.uint8)
"""Rows of a check per strut."""

WHOLE = np.zeros(1, dtype=np.uint8)
"""The row of a check on the whole tool: strut 0."""

Rows = Ints | Codes

SHARE_ROUNDING = 1e-9
"""Share of a limit that rounding may add."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Band:
    """The band ``low`` <= value <= ``high`` of one limit, shape (k,), row by row of ``struts``.

    ``limit`` names its row in the table of limits. The use of the limit is |value - ``centre``| / ``scale``: 1 at a
    bound, more beyond it. ``slack`` is how far a value may lie beyond a bound before it counts. ``magnitude``: peaks
    are shown without their sign. A ``margin`` is the share of the limit up to which values are no finding. ``unseen``:
    what is not looked at though the limit is about it, each with the place of the missing key in the row's ``keys``.
    """

    limit: str
    struts: Codes
    low: Array
    high: Array
    centre: Array
    scale: Array
    slack: Array
    magnitude: bool = False
    unseen: tuple[tuple[str, int], ...] = ()

    def edges(self, margin: float) -> tuple[Array, Array]:
        """Return the least and the most (k,) that a value may be at a ``margin``."""
        if margin == 1.0:
            return self.low - self.slack, self.high + self.slack
        low, high, slack = self.centre - self.low, self.high - self.centre, margin * self.slack
        return self.centre - margin * low - slack, self.centre + margin * high + slack

    def outside(self, values: Array, margin: float = 1.0) -> Flags:
        """Return where ``values`` (k, n) lie outside the band; what is not a number lies outside."""
        low, high = self.edges(margin)
        inside: Flags = (values >= low[:, None]) & (values <= high[:, None])
        return ~inside

    def left(self, least: Array, most: Array, margin: float) -> bool:
        """Return whether any value lies outside, from the ``least`` and the ``most`` (k,) of the rows."""
        low, high = self.edges(margin)
        inside = (least >= low).all() and (most <= high).all()
        return not inside

    def use(self, values: Array, row: Rows) -> Array:
        """Return the use of the limit by ``values`` (m,) of the rows ``row`` (m,); inf for what is no number."""
        out: Array = np.abs(values - self.centre[row]) / self.scale[row]
        return np.where(np.isnan(out), np.inf, out)

    def bound(self, values: Array, row: Rows) -> Array:
        """Return the bound (m,) that ``values`` (m,) of the rows ``row`` come nearest to."""
        low, high = self.low[row], self.high[row]
        out: Array = np.where((values < self.centre[row]) & np.isfinite(low), low, high)
        return np.abs(out) if self.magnitude else out

    def shown(self, values: Array) -> Array:
        """Return ``values`` as a report shows them."""
        return np.abs(values) if self.magnitude else values


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Context:
    """What checks may know beside the samples."""

    machine: Machine
    tools: Tools
    program: Program
    meaning: Interpretation
    poses: Attitudes
    loads: Loads
    within: Within | None = None
    """What struts do between samples, where the schedule is at hand."""
    forecasting: Forecasting | None = None
    """What the lags of the struts make of the samples, where the machine file says how they lag."""
    shaking: Shaking | None = None
    """How the platform vibrates on its struts, where the machine file says how stiff they are."""
    margins: Mapping[str, float] = field(default_factory=dict)
    """Shares of limits up to which values are no finding, by name, where they are not 1."""

    @property
    def moves(self) -> Moves:
        """Return the moves."""
        return self.meaning.moves


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Figures:
    """What a report shows of chosen values, shape (m,): value, allowed value, use of the limit, end of the strut."""

    value: Array
    allowed: Array
    use: Array
    joint: Codes


class LimitCheck(Protocol):
    """One limit: its band, and how its values are had from a batch of samples."""

    @property
    def band(self) -> Band:
        """Return the band of the limit."""
        ...

    def measure(self, setpoints: Setpoints) -> Array | None:
        """Return the values (k, n) of a batch, or ``None`` where none of them matters to limit or worst use."""
        ...


@runtime_checkable
class Shares(LimitCheck, Protocol):
    """A check whose values are shares of a limit, 1 at the limit, because what is allowed changes with the pose."""

    def figures(self, row: Ints, at: Ints, setpoints: Setpoints) -> Figures:
        """Return what is shown of the values of the rows ``row`` (m,) at the samples ``at`` (m,) of a batch."""
        ...


@runtime_checkable
class Movable(LimitCheck, Protocol):
    """A check of a limit that another place of the work keeps, and that knows which."""

    def shift(self, row: Ints, at: Ints, setpoints: Setpoints, margin: float) -> tuple[Array, Codes]:
        """Return how far (m,) [mm] the work must move along an axis of the pallet, the least of all, and its way (m,).

        Then the values of the rows ``row`` (m,) at the samples ``at`` (m,) are what a ``margin`` allows. Way 0
        where none along an axis does it, or the place is in machine coordinates.
        """
        ...


@runtime_checkable
class Apart(LimitCheck, Protocol):
    """A check that looks at each batch alone and takes long over it: its values may come from another process."""

    apart: bool


@runtime_checkable
class Meetings(LimitCheck, Protocol):
    """A check of how near bodies come to each other: it measures all pairs, and the nearest is what is judged.

    ``pairs`` (k,) are the two bodies of each row of what it measures, as in ``Findings``; ``each`` is a band with a row
    for each pair.
    """

    pairs: Ints
    each: Band


def share_band(limit: str, struts: Codes = STRUTS) -> Band:
    """Return the band of a check of ``Shares``, of each strut or of the whole tool."""
    one = np.ones(len(struts))
    return Band(
        limit=limit, struts=struts, low=-np.inf * one, high=one, centre=0.0 * one, scale=one, slack=SHARE_ROUNDING * one
    )


def symmetric_band(limit: str, most: Array, rounding: float) -> Band:
    """Return the band in which both senses of a value of each strut stay within ``most`` (6,), infinite for no limit.

    ``rounding`` is the share of the limit that rounding may add.
    """
    return Band(
        limit=limit, struts=STRUTS, low=-most, high=most, centre=np.zeros(6), scale=most, slack=rounding * most,
        magnitude=True,
    )  # fmt: skip


def struts_without(known: Flags, what: str = "", key: int = 0) -> tuple[tuple[str, int], ...]:
    """Return as in ``Band.unseen`` that struts are not looked at (in respect of ``what``) unless ``known`` (6,)."""
    left = [str(k) for k in STRUTS[~known]]
    name = "all struts" if len(left) == len(STRUTS) else f"strut{'s' * (len(left) > 1)} {', '.join(left)}"
    return ((f"{what} of {name}" if what else name, key),) if left else ()


Maker = Callable[[Context], LimitCheck | None]
"""Makes a check, or none where the machine file says nothing of its limit."""
