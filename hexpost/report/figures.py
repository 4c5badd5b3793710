"""The worst value of each limit by each strut beside what is allowed, to be held against a data sheet."""

from collections.abc import Callable, Sequence

from hexpost.audit.model import JOINTS, Limit, Sense, Worst
from hexpost.report.model import StrutUse
from hexpost.voice import columns, figure, given

_ABSENT = "-"

Row = list[str]
Used = Sequence[Worst | None]


def figures_text(struts: Sequence[StrutUse], width: int) -> list[str]:
    """Return the table of figures with its title, as lines."""
    table = side_by_side(struts, _table, width)
    return ["", "Worst value of each limit, and what is allowed there", "", *table]


def side_by_side(struts: Sequence[StrutUse], table: Callable[[Sequence[StrutUse]], list[str]], width: int) -> list[str]:
    """Return a table of all struts, or several of fewer struts where one would be wider than ``width``."""
    lines: list[str] = []
    for share in (6, 3, 2, 1):
        groups = [table(struts[first : first + share]) for first in range(0, len(struts), share)]
        lines = [line for group in groups for line in (*group, "")][:-1]
        if max(map(len, lines), default=0) <= width:
            break
    return lines


def _table(struts: Sequence[StrutUse]) -> list[str]:
    limits = list(dict.fromkeys(w.limit for s in struts for w in s.worst))
    uses = [{w.limit: w for w in s.worst} for s in struts]
    rows = [["", *(f"strut {s.strut}" for s in struts), "allowed"]]
    for limit in limits:
        rows += _rows(limit, [use.get(limit) for use in uses])
    return columns(rows, [False] + [True] * (len(struts) + 1))


def _rows(limit: Limit, used: Used) -> list[Row]:
    """Return the rows of one limit: values; where they differ, what is allowed; the joint meant; the stroke left."""
    unit = limit.unit
    allowed = [_ABSENT if w is None else given(w.allowed, unit) for w in used]
    same = len({a for a in allowed if a != _ABSENT}) == 1
    one = next(a for a in allowed if a != _ABSENT) if same else ""
    out = [[f"{limit.name} {unit}", *(_ABSENT if w is None else figure(w.value, unit) for w in used), one]]
    if not same:
        out.append(["  allowed", *allowed, ""])
    if any(w is not None and w.joint for w in used):
        out.append(["  joint", *(_ABSENT if w is None else JOINTS[w.joint] for w in used), ""])
    if limit.sense is Sense.RANGE:
        out.append(["  left", *(_ABSENT if w is None else figure(_left(w), unit) for w in used), ""])
    return out


def _left(w: Worst) -> float:
    """Return the stroke that is left at the worst value, mm; less than 0 beyond the end."""
    gap = abs(w.allowed - w.value)
    return gap if w.ratio <= 1.0 else -gap
