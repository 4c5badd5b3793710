"""Findings, worst values and numbers as the JSON documents hold them: one form for reports, gate, refeed and place.

A measured value has six significant digits, a length at least a thousandth of a millimetre. Where it takes more digits
to be on its own side of a limit, it has more. What is given (a limit of the machine file) keeps what it was, without
the dust of arithmetic; times are whole microseconds, as in the setpoint table. Counts, lines and coordinates are exact.
"""

from collections.abc import Iterable, Sequence
from itertools import chain
from math import floor, isfinite, log10

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.model import Finding, Worst
from hexpost.voice import advice, more_percent

DIGITS, MOST_DIGITS = 6, 17
LENGTH_DECIMALS = 3


BETWEEN = ",\n  "
"""What stands between the entries of a list."""


class Encoded(str):
    """Entries of a list that are JSON already, with ``BETWEEN`` between them."""

    __slots__ = ()


def measured(x: float, unit: str = "", beside: float | None = None) -> float | None:
    """Return a measured value for JSON, on its own side of the limit ``beside``; ``None`` where it is not finite."""
    if not isfinite(x) or x == 0.0:
        return 0.0 if x == 0.0 else None
    places = DIGITS - 1 - floor(log10(abs(x)))
    if unit == "mm":
        places = max(places, LENGTH_DECIMALS)
    for more in range(MOST_DIGITS):
        shown = round(x, places + more)
        if beside is None or _side(shown, beside) == _side(x, beside):
            return shown
    return x


def given(x: float) -> float | None:
    """Return a number that was given, for JSON: twelve significant digits, ``None`` where it is not finite."""
    return float(f"{x:.12g}") if isfinite(x) else None


def seconds(x: float) -> float | None:
    """Return a time for JSON, whole microseconds; ``None`` where it is not finite."""
    return round(x, 6) if isfinite(x) else None


def measured_column(x: Array) -> list[str]:
    """Return what ``measured`` makes of each of ``x`` (n,), as JSON."""
    return _column(np.where(x == 0.0, 0.0, x), f"%.{DIGITS}g")


def seconds_column(x: Array) -> list[str]:
    """Return what ``seconds`` makes of each of ``x`` (n,), as JSON."""
    return _column(x, "%.6f")


def filled(form: str, columns: Sequence[Iterable[object]], between: str = "") -> str:
    """Return the rows of ``columns``, each written by the ``form`` of a row, in one step for all of them."""
    values = tuple(chain.from_iterable(zip(*columns, strict=True)))
    return between.join([form] * (len(values) // len(columns))) % values


def _column(x: Array, form: str) -> list[str]:
    """Return numbers (n,), rounded as ``form`` writes them, as JSON: the shortest text that is that number."""
    rounded = list(map(float, filled(f"{form} ", [x.tolist()]).split()))
    texts = filled("%r ", [rounded]).split()
    for i in np.flatnonzero(~np.isfinite(x)).tolist():
        texts[i] = "null"
    return texts


def worst_use(w: Worst) -> dict[str, object]:
    """Return the worst use of a limit."""
    return {
        "value": measured(w.value, w.limit.unit, w.allowed),
        "allowed": given(w.allowed),
        "unit": w.limit.unit,
        "ratio": measured(w.ratio, beside=1.0),
        "line": w.line or None,
        "time_s": seconds(w.time),
    }


def finding(f: Finding) -> dict[str, object]:
    """Return a finding; ``allowed`` is the machine's own value, the advised feed is said with its unit."""
    return {
        "limit": f.limit.name,
        "strut": f.strut or None,
        "line": f.line or None,
        "text": f.text,
        "time_s": seconds(f.time),
        "until_s": seconds(f.until),
        "peak": measured(f.peak, f.limit.unit, f.allowed),
        "allowed": given(f.allowed),
        "unit": f.limit.unit,
        "ratio": measured(f.ratio, beside=1.0) if f.limit.share else None,
        "advice": advice(f),
        "advice_feed_mm_min": None if f.turning else f.feed,
        "advice_feed_deg_min": f.feed if f.turning else None,
        "advice_f": f.f_word(f.feed),
        "advice_f_unit": f.f_unit or None,
        "advice_tried": f.tried if f.advises_feed else None,
        "advice_low_by_percent": more_percent(f.room) if f.advises_feed and f.room is not None else None,
        "advice_move_mm": f.shift,
        "advice_move_way": f.way or None,
    }


def _side(x: float, beside: float) -> tuple[bool, bool, bool, bool]:
    """Return on which side of a limit a value is, and its size."""
    return x < beside, x > beside, abs(x) < abs(beside), abs(x) > abs(beside)
