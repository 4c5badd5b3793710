"""Numbers without a decimal point, where the machine file says that its place is implied.

A format of n digits ahead of the point and m behind it is that of the classification sheet of EIA RS-274-D: with zeros
at the head left out the last digit is the m-th behind the point; with zeros at the end left out the first digit is the
n-th ahead of it.
"""

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Flags, Ints, among
from hexpost.machine.wording import Digits, Wording
from hexpost.machine.words import NONE, group_of, groups
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.extract import Extract
from hexpost.moves.window.modes import INCH, SAME_AS
from hexpost.moves.window.sheet import fill

LONGEST = 20
"""Digits that a number without a point may have."""


def placed(extract: Extract, reading: Wording, units: int, complaints: Complaints) -> Extract:
    """Return the extract with the implied points put in; ``units`` is the G code in force ahead of it.

    A point that is written stays where it is. Letters that the format does not name are left as they are.
    """
    if reading.numbers == "decimal":
        return extract
    inch = _inches(extract, reading, units)
    value = extract.value.copy()
    for formats, which in ((reading.format_mm, ~inch), (reading.format_inch, inch)):
        pointless = which & ~extract.pointed
        if not formats:
            _refuse(np.flatnonzero(pointless & among(extract.letter, [ord(x) for x in "XYZ"])), complaints)
        for at, digits in _named(extract, formats, pointless):
            value[at] = value[at] / 10.0**digits.fraction if not digits.trailing else _headed(extract, at, digits)
    return replace(extract, value=value)


def _named(extract: Extract, formats: Mapping[str, Digits], which: Flags) -> list[tuple[Ints, Digits]]:
    """Return the words (k,) among ``which`` of each letter that a format names."""
    return [(np.flatnonzero(which & (extract.letter == ord(x))), digits) for x, digits in formats.items()]


def _inches(extract: Extract, reading: Wording, units: int) -> Flags:
    """Return which words (w,) stand in blocks whose lengths are inches."""
    g = np.flatnonzero(extract.letter == ord("G"))
    here = g[group_of("G", extract.value[g]) == 1 + groups("G").index("units")]
    codes = np.array([SAME_AS.get(int(code), int(code)) for code in extract.value[here]], dtype=np.uint8)
    row = extract.row(here)
    last = np.append(row[1:] != row[:-1], True)[: len(row)]
    before = INCH if units == NONE and reading.units == "inch" else units
    in_force = fill(row[last], codes[last], extract.rows, before)
    out: Flags = (in_force == INCH)[extract.row(np.arange(len(extract.value)))]
    return out


def _headed(extract: Extract, at: Ints, digits: Digits) -> Array:
    """Return the values of words (k,) whose zeros at the end are left out: digits count from the head."""
    source = np.frombuffer(extract.program.source, dtype=np.uint8)
    word = np.array([extract.word(i) for i in at.tolist()], dtype=np.int64)
    program = extract.program
    offset = program.line_start[program.line[word] - 1 - program.line0] + program.column[word]
    padded = np.concatenate((source, np.zeros(4 * LONGEST, dtype=np.uint8)))
    blank = np.ones(len(at), dtype=np.bool_)
    while blank.any():
        blank = among(padded[offset], [ord(x) for x in " \t+-"])
        offset = offset + blank
    window = padded[offset[:, None] + np.arange(LONGEST + 1)]
    count = np.argmin((window >= ord("0")) & (window <= ord("9")), axis=1)
    shift = count - digits.whole
    out: Array = extract.value[at] * 10.0 ** np.maximum(-shift, 0) / 10.0 ** np.maximum(shift, 0)
    return out


def _refuse(at: Ints, complaints: Complaints) -> None:
    """Report the first length whose format the machine file does not state."""
    if at.size and "format-missing" not in complaints.ledger.told:
        complaints.ledger.told.add("format-missing")
        complaints.words(
            at[:1],
            "format-missing",
            "a number without a point, and the machine file states no format for the unit of this program",
            "set words.format_mm or words.format_inch, or write the point",
        )
