"""Time that a shop counts beside the motion: tool changes, starts and reversals of the spindle, attended stops."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.documents import given, seconds
from hexpost.machine.beside import NOTHING
from hexpost.machine.model import ShopTimes
from hexpost.moves.model import Events
from hexpost.voice import duration, number, plural

NAMES = ("tool change", "spindle start", "spindle reversal", "attended stop")
KEYS = ("tool_change_s", "spindle_start_s", "spindle_reverse_s", "attended_stop_s")
"""Names and keys of what takes time, in the order of their codes."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BesideRow:
    """What a job does so many times beside its motion, and the seconds that each takes; ``None``: not known."""

    name: str
    key: str
    count: int
    each: float | None

    @property
    def whole(self) -> float | None:
        """Return the seconds that all of them take."""
        return None if self.each is None else self.count * self.each


@dataclass(frozen=True, slots=True, kw_only=True)
class TimeBeside:
    """What a job does beside its motion, a row for each kind that it does: none of it is in the table."""

    rows: tuple[BesideRow, ...]

    @property
    def seconds(self) -> float:
        """Return the seconds that are known."""
        return sum(r.whole or 0.0 for r in self.rows)

    @property
    def missing(self) -> tuple[BesideRow, ...]:
        """Return the kinds whose time is not known."""
        return tuple(r for r in self.rows if r.each is None)


def beside(events: Events, times: ShopTimes) -> TimeBeside:
    """Return what a job does beside its motion, with the ``times`` of a machine."""
    each, count = _each(times), np.bincount(events.beside, minlength=NOTHING)
    rows = [
        BesideRow(name=NAMES[k], key=f"times.{KEYS[k]}", count=int(count[k]), each=each[k])
        for k in range(NOTHING)
        if count[k]
    ]
    return TimeBeside(rows=tuple(rows))


def beside_each(events: Events, times: ShopTimes) -> Array:
    """Return the seconds (e,) that each event takes beside the motion; nan where that is not known."""
    known = np.array([np.nan if x is None else x for x in (*_each(times), 0.0)])
    out: Array = known[events.beside.astype(np.int64)]
    return out


def beside_of(events: Events, times: ShopTimes, place: Ints, count: int) -> Array:
    """Return the seconds (count,) beside the motion by ``place`` (e,) of each event; nan where one is not known."""
    out: Array = np.zeros(count)
    np.add.at(out, place, beside_each(events, times))
    return out


def _each(times: ShopTimes) -> tuple[float | None, ...]:
    return times.tool_change, times.spindle_start, times.spindle_reverse, times.attended_stop


def beside_document(found: TimeBeside, motion: float) -> dict[str, object]:
    """Return the time beside ``motion`` [s] as plain values; in all is only known where nothing is missing."""
    rows = [
        {"what": r.name, "key": r.key, "count": r.count, "each_s": None if r.each is None else given(r.each)}
        for r in found.rows
    ]
    whole = None if found.missing else seconds(motion + found.seconds)
    return {"rows": rows, "known_s": seconds(found.seconds), "in_the_shop_s": whole}


def beside_text(found: TimeBeside, motion: float) -> str:
    """Return the time in the shop of a job whose ``motion`` takes so many seconds, in words; nothing beside it: none.

    None of it is in the table: there the tool rests for one row, and whoever runs the job waits.
    """
    if not found.rows:
        return ""
    known = [f"{plural(r.count, r.name)} of {number(r.each)} s" for r in found.rows if r.each is not None]
    left = [plural(r.count, r.name) for r in found.missing]
    keys = ", ".join(r.key for r in found.missing)
    without = f"{_and(left)} not counted (no {keys})" if left else ""
    if not known:
        return without
    whole = f"{duration(motion + found.seconds)} in the shop, with {_and(known)}"
    return f"{whole}; {without}" if without else whole


def _and(parts: list[str]) -> str:
    """Return parts as a list in words."""
    return " and ".join([", ".join(parts[:-1]), parts[-1]] if len(parts) > 1 else parts)
