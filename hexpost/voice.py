"""One voice for all outputs: findings, worst values, shares, feeds and numbers as people read them, laid out as text.

Everything that people read of a limit is said here: on the terminal, in reports and pages, by the gate and by refeed.
"""

import textwrap
import unicodedata
from collections.abc import Iterable, Sequence
from math import ceil, floor, isfinite, log10, sqrt
from typing import Protocol

from hexpost.audit.model import Finding, Limit, Nearest, Sense, Worst

DIGITS = 3
"""Digits of loads, speeds and shares for people."""
MOST_DIGITS = 14
DECIMALS = {"mm": 3, "s": 3}
"""Decimals of lengths and times for people."""
APPROACH = "approach"
"""What stands in a table in place of a line, where no line of the program asks for a motion."""
MOST_ROOT = 1e3
"""Steps in which a share that is advised is rounded down."""
MOST_MORE = 2.0
"""Feeds that may be higher by more than this are told by times, not by per cent."""
GIVEN_DIGITS = 5
"""An allowed value of at most so many digits is shown as the machine file says it."""


def unseen(_: int) -> None:
    """Say nothing of how far a work is: what takes the place of progress where nobody looks."""


def clean(text: str) -> str:
    """Return ``text`` with everything that could act on a terminal or mislead the eye replaced by a blank.

    That is every control, format (right-to-left marks too), surrogate and unassigned character, every line end and
    every unusual blank.
    """
    if text.isascii() and text.isprintable():
        return text
    out = []
    for c in text:
        kind = unicodedata.category(c)
        out.append(" " if kind[0] in "CZ" else c)
    return "".join(out)


def number(x: float) -> str:
    """Return ``x`` with up to six significant digits, thousands in commas, no exponent below a million million."""
    if not isfinite(x):
        return "none"
    if abs(x) >= 1e12:
        return f"{x:.6g}"
    if abs(x) >= 1e5:
        return f"{x:,.0f}"
    text = f"{x:.6g}"
    return f"{x:.9f}".rstrip("0").rstrip(".") if "e" in text else text


def percent(ratio: float) -> str:
    """Return a use of a limit in per cent, three digits; the wrong side of 100 is never shown."""
    if not isfinite(ratio):
        return "none"
    share = 100.0 * ratio
    if share < 100.0:
        return f"{floor(share * 10.0) / 10.0 if share > 99.9 else share:.1f} %"
    shown = f"{share:,.0f} %"
    return "> 100 %" if ratio > 1 and shown == "100 %" else shown


def reading(value: float, allowed: float, unit: str) -> tuple[str, str]:
    """Return a value and what is allowed as people read them, without their unit.

    More digits than usual where they would read the same, or the wrong way round.
    """
    most = given(allowed, unit)
    shown = float(most.replace(",", "")) if isfinite(allowed) else allowed
    for more in range(MOST_DIGITS):
        text = figure(value, unit, more)
        near = float(text.replace(",", "")) if isfinite(value) else value
        if value == allowed or (near - shown) * (value - allowed) > 0:
            return text, most
    return text, most


def amount(value: float, unit: str) -> str:
    """Return a number with its unit as people read it."""
    return f"{figure(value, unit)}{unit_of(unit)}"


def figure(x: float, unit: str, more: int = 0) -> str:
    """Return a number as people read it, with so many digits ``more`` than usual."""
    if not isfinite(x) or x == 0.0 or abs(x) >= 1e12:
        return number(x)
    decimals = more + DECIMALS.get(unit, DIGITS - 1 - floor(log10(abs(x))))
    x = round(x, decimals)
    text = f"{x:,.{max(decimals, 0)}f}" if abs(x) >= 1e5 else f"{x:.{max(decimals, 0)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def given(x: float, unit: str) -> str:
    """Return an allowed value: a plain number as the machine file has it, others as people read them."""
    return number(x) if float(f"{x:.{GIVEN_DIGITS}g}") == x else figure(x, unit)


def unit_of(unit: str) -> str:
    """Return a unit as it stands behind a number."""
    return "" if unit == "1" else f" {unit.replace('s2', 's²').replace('s3', 's³')}"


def compared(limit: Limit, value: float, allowed: float) -> str:
    """Return a value beside what is allowed."""
    peak, most = reading(value, allowed, limit.unit)
    least = "at least " if limit.sense is Sense.LEAST else ""
    return f"{peak}{unit_of(limit.unit)}, {least}{most} allowed"


def what(f: Finding) -> str:
    """Return which limit of what, what was reached, what is allowed; of a rule, what the block does."""
    if f.limit.fault:
        return f"{f.limit.name}: {_filled(f.limit.fault, f)}"
    share = f" ({percent(f.ratio)})" if f.limit.share else ""
    margin = f"; the policy allows {percent(f.margin)} of it" if f.margin != 1.0 else ""
    return f"{whose(f)}: {compared(f.limit, f.peak, f.allowed)}{share}{margin}"


def whose(f: Finding) -> str:
    """Return the limit and whose it is."""
    if f.bodies:
        return f"{f.limit.name} between {' and '.join(f.bodies)}"
    joint = f" ({f.joint} joint)" if f.joint else ""
    return owned(f.limit, f.strut) + joint


def owned(limit: Limit, strut: int) -> str:
    """Return a limit with its strut (0: none is meant)."""
    return f"{limit.name} of strut {strut}" if strut else limit.name


def short(f: Finding) -> str:
    """Return a finding in few words."""
    far = f", work {away(f)}" if f.shift is not None else ""
    return f"{whose(f)}, {percent(f.ratio)}{far}" if f.limit.share else what(f)


def where(f: Finding) -> str:
    """Return the line and, where it has one, the block number."""
    return f"{in_line(f.line)} ({f.block})" if f.block else in_line(f.line)


def in_line(line: int) -> str:
    """Return a line as a place; the approach of a job that begins again is asked for by no line, 0 stands for it."""
    return f"line {line}" if line else f"the {APPROACH}"


def when(f: Finding) -> str:
    """Return the time of a finding."""
    start, end = f"{f.time:.1f}", f"{f.until:.1f}"
    return f"at {start} s" if start == end else f"from {start} s to {end} s"


def advice(f: Finding) -> str:
    """Return what to do, and how sure an advised feed is: whether it was tried, and how much more is too much."""
    text = _filled(f.limit.advice.words(f.case), f)
    if not f.advises_feed:
        return text
    many = f.room is not None and f.room > MOST_MORE
    if f.tried:
        much = "" if f.room is None else times(f.room) if many else f"{more_percent(f.room)} % more"
        return f"{text} This F is tried: {much} is too fast."
    if f.room is None:
        return f"{text} This F is not tried."
    low = f"up to {times(f.room)} may do" if many else f"it may be up to {more_percent(f.room)} % too low"
    return f"{text} This F is not tried: {low}."


def times(room: float) -> str:
    """Return how many times as high a feed may be at most, never less than so many times."""
    steps = 10.0 if room < 10.0 else 1.0
    return f"{number(ceil(room * steps - 1e-6) / steps)} times as much"


def more_percent(room: float) -> int:
    """Return by how many per cent a feed may be too low at most, that so many times as high is too high."""
    return ceil(100.0 * (room - 1.0) - 1e-6)


def away(f: Finding) -> str:
    """Return how far and which way the work would have to move."""
    name = {"Z+": "higher (Z+)", "Z-": "lower (Z-)"}.get(f.way, f"towards {f.way}")
    return f"{number(f.shift or 0.0)} mm {name}"


def feed_word(f: Finding, feed: float | None, *, full: bool = True) -> str:
    """Return an advised feed as the F word to write, ``full`` with its units; nothing for none."""
    if feed is None:
        return ""
    speed, word = f"{number(feed)} {'deg' if f.turning else 'mm'}/min", f.f_word(feed)
    if word is None:
        return f"an F of at most {speed}"
    digits = f"{word:.9f}".rstrip("0")
    shown = f"F{digits if f.needs_point else digits.rstrip('.')}"
    if not full:
        return shown
    return f"{shown} ({f.f_unit})" if speed.endswith(f.f_unit) else f"{shown} ({f.f_unit}; {speed})"


def feed_words(f: Finding) -> str:
    """Return the F word to write, and that which keeps the margin of a policy, too."""
    word, margin = feed_word(f, f.feed), feed_word(f, f.margin_feed)
    if word and margin and word != margin:
        return f"{word}, or for the margin of the policy {margin} (not tried)"
    return word or margin or "a lower F"


def used(w: Worst) -> str:
    """Return the worst value of a limit."""
    return f"{owned(w.limit, w.strut)}: {compared(w.limit, w.value, w.allowed)} ({percent(w.ratio)})"


def nearest(n: Nearest) -> str:
    """Return how near two bodies come to each other."""
    w = n.worst
    return f"{w.limit.name} between {' and '.join(n.bodies)}: {compared(w.limit, w.value, w.allowed)}"


class NotLookedAt(Protocol):
    """A limit that was not looked at, as a whole or in one ``part``, and what is ``missing``."""

    @property
    def limit(self) -> str:
        """Return the name of the limit."""

    @property
    def part(self) -> str:
        """Return in which respect alone, or nothing."""

    @property
    def missing(self) -> str:
        """Return the key or the file that is missing."""


def not_looked_at(unseen: Iterable[NotLookedAt]) -> str:
    """Return the limits that were not looked at, with the keys that are missing; nothing for none."""
    of: dict[str, list[str]] = {}
    for x in unseen:
        of.setdefault(x.missing, []).append(f"{x.limit} ({x.part})" if x.part else x.limit)
    rows = [f"{', '.join(names)} need{'s' * (len(names) == 1)} {key}" for key, names in of.items()]
    return f"Not looked at: {'; '.join(rows)}." if rows else ""


def _filled(text: str, f: Finding) -> str:
    """Return a text of the table of limits with the numbers of a finding in it."""
    peak, allowed = reading(abs(f.peak), f.allowed, f.limit.unit)
    root = percent(floor(MOST_ROOT * sqrt(min(abs(f.allowed / f.peak), 1.0))) / MOST_ROOT) if f.peak else ""
    place = f"at least {away(f)}" if f.shift is not None else "to another place"
    move = f"Move the work {place} on the pallet (work offset)"
    return text.format(peak=peak, allowed=allowed, feed=feed_words(f), root=root, move=move)


def duration(seconds: float) -> str:
    """Return a time as ``0.25 s``, ``3.2 s``, ``2 min 03.2 s`` or ``1 h 02 min 03 s``."""
    if round(seconds, 1) < 60:
        return f"{seconds:.1f} s" if round(seconds, 3) >= 1.0 else f"{number(round(seconds, 3))} s"
    tenths = round(seconds * 10)
    if tenths < 36000:
        return f"{tenths // 600} min {tenths % 600 / 10:04.1f} s"
    whole = round(seconds)
    return f"{whole // 3600} h {whole // 60 % 60:02d} min {whole % 60:02d} s"


def plural(n: int, one: str, many: str = "") -> str:
    """Return ``n`` with its noun."""
    return f"{n:,} {one if n == 1 else many or one + 's'}"


def columns(rows: Sequence[Sequence[str]], right: Sequence[bool], indent: int = 2) -> list[str]:
    """Return rows laid out in columns, flush right where ``right`` says so."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    out = []
    for row in rows:
        cells = [c.rjust(w) if r else c.ljust(w) for c, w, r in zip(row, widths, right, strict=True)]
        out.append((" " * indent + "  ".join(cells)).rstrip())
    return out


def paragraph(text: str, width: int, indent: str = "", first: str | None = None) -> list[str]:
    """Return ``text`` broken into lines of at most ``width``; a word that is longer is cut."""
    return textwrap.wrap(
        text, width, initial_indent=indent if first is None else first, subsequent_indent=indent, break_on_hyphens=False
    ) or [""]  # fmt: skip
