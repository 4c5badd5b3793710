"""Words and numbers as people read them, and text laid out in columns and paragraphs."""

import textwrap
import unicodedata
from collections.abc import Sequence
from math import isfinite


def clean(text: str) -> str:
    """Return ``text`` with everything that could act on a terminal or mislead the eye replaced by a blank.

    That is every control, format (right-to-left marks too), surrogate and unassigned character, every line end and
    every unusual blank.
    """
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
    """Return a use of a limit in per cent; a broken limit never reads 100 per cent."""
    if not isfinite(ratio):
        return "none"
    shown = f"{100 * ratio:,.0f} %"
    return "> 100 %" if ratio > 1 and shown == "100 %" else shown


def duration(seconds: float) -> str:
    """Return a time as ``3.250 s``, ``2 min 03.2 s`` or ``1 h 02 min 03 s``."""
    if round(seconds, 3) < 60:
        return f"{seconds:.3f} s"
    tenths = round(seconds * 10)
    if tenths < 36000:
        return f"{tenths // 600} min {tenths % 600 / 10:04.1f} s"
    whole = round(seconds)
    return f"{whole // 3600} h {whole // 60 % 60:02d} min {whole % 60:02d} s"


def plural(n: int, one: str, many: str = "") -> str:
    """Return ``n`` with its noun."""
    return f"{n:,} {one if n == 1 else many or one + 's'}"


def columns(rows: Sequence[Sequence[str]], right: Sequence[bool], gap: int = 2, indent: int = 2) -> list[str]:
    """Return rows laid out in columns, flush right where ``right`` says so."""
    widths = [max(len(cell) for cell in column) for column in zip(*rows, strict=True)]
    out = []
    for row in rows:
        cells = [c.rjust(w) if r else c.ljust(w) for c, w, r in zip(row, widths, right, strict=True)]
        out.append((" " * indent + (" " * gap).join(cells)).rstrip())
    return out


def paragraph(text: str, width: int, indent: str = "", first: str | None = None) -> list[str]:
    """Return ``text`` broken into lines of at most ``width``; a word that is longer is cut."""
    return textwrap.wrap(
        text, width, initial_indent=indent if first is None else first, subsequent_indent=indent, break_on_hyphens=False
    ) or [""]  # fmt: skip
