"""The worst value of each limit by each strut beside what is allowed, to be held against a data sheet."""

from collections.abc import Sequence

from hexpost.audit.model import JOINTS, UNITS, Worst
from hexpost.report.model import StrutUse
from hexpost.report.words import columns, number

_ABSENT = "-"
_DIGITS = 5

Row = list[str]
Used = Sequence[Worst | None]


def figures_text(struts: Sequence[StrutUse], width: int) -> list[str]:
    """Return the table of figures with its title, as lines; in two tables where one is wider than ``width``."""
    table = _table(struts)
    if max(len(row) for row in table) > width:
        half = len(struts) // 2
        table = [*_table(struts[:half]), "", *_table(struts[half:])]
    return ["", "WORST VALUE OF EACH LIMIT, AND WHAT IS ALLOWED THERE", "", *table]


def _table(struts: Sequence[StrutUse]) -> list[str]:
    limits = list(dict.fromkeys(w.limit for s in struts for w in s.worst))
    uses = [{w.limit: w for w in s.worst} for s in struts]
    rows = [["", *(f"strut {s.strut}" for s in struts), "allowed"]]
    for limit in limits:
        rows += _rows(limit, [use.get(limit) for use in uses])
    return columns(rows, [False] + [True] * (len(struts) + 1))


def _rows(limit: str, used: Used) -> list[Row]:
    """Return the rows of one limit: values; where they differ, what is allowed; the joint meant; the stroke left."""
    allowed = [_ABSENT if w is None else _figure(w.allowed) for w in used]
    same = len({a for a in allowed if a != _ABSENT}) == 1
    one = next(a for a in allowed if a != _ABSENT) if same else ""
    out = [[f"{limit} {UNITS[limit]}", *(_ABSENT if w is None else _figure(w.value) for w in used), one]]
    if not same:
        out.append(["  allowed", *allowed, ""])
    if any(w is not None and w.joint for w in used):
        out.append(["  joint", *(_ABSENT if w is None else JOINTS[w.joint] for w in used), ""])
    if limit == "stroke":
        out.append(["  left", *(_ABSENT if w is None else _figure(_left(w)) for w in used), ""])
    return out


def _left(w: Worst) -> float:
    """Return the stroke that is left at the worst value, mm; less than 0 beyond the end."""
    gap = abs(w.allowed - w.value)
    return gap if w.ratio <= 1.0 else -gap


def _figure(x: float) -> str:
    """Return ``x`` with five significant digits, whole numbers kept whole."""
    return number(float(f"{x:.{_DIGITS}g}") if abs(x) < 10.0**_DIGITS else x)
