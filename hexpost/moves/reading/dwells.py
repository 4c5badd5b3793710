"""Dwell blocks: how long the tool rests, by the reading of the machine file."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints, Lines, among
from hexpost.machine.wording import Wording
from hexpost.machine.words import CALL
from hexpost.moves.window.complaints import Complaints
from hexpost.moves.window.sheet import NO_WORDS, Sheet, Words

SECONDS = {"s": 1.0, "ms": 1e-3}
OTHERS = ("X", "Y", "Z", "A", "B", "C", "I", "J", "K", "R")
PLACED = {
    "P": "means a time or a subprogram, and this block is no dwell (G04), no cycle and no call (M98)",
    "Q": "means a peck, and no cycle that pecks (G73, G83) is in force",
    "L": "means how often, and this block is no cycle and no call (M98)",
}
"""What words mean that have a meaning only in some blocks."""
OF_A_CALL = "PL"
"""Those of them that a call takes."""
HINT = "write the time as X or F in seconds or P in milliseconds (the machine file may say otherwise)"


@dataclass(frozen=True, slots=True, eq=False)
class Dwells:
    """Dwell blocks (k,): index of the G04 word, row, seconds; and the letters their times were written with."""

    at: Ints
    row: Lines
    seconds: Array
    letters: tuple[str, ...]


def take_dwells(sheet: Sheet, reading: Wording, complaints: Complaints) -> tuple[Sheet, Dwells]:
    """Return the sheet without the words of dwell blocks that give the time, and the dwells."""
    dwell = sheet.group("dwell")
    if dwell.count == 0:
        return _without_times(sheet, complaints), Dwells(dwell.at, dwell.row, np.empty(0), ())
    resting = np.zeros(sheet.rows, dtype=np.bool_)
    resting[dwell.row] = True
    letters = dict(sheet.letters)
    units = {"X": reading.dwell_x, "F": reading.dwell_f, "P": reading.dwell_p}
    units = {letter: unit for letter, unit in units.items() if unit != "none"}
    found: dict[str, Words] = {}
    for letter in units:
        words = sheet.letter(letter)
        inside = resting[words.row]
        if inside.any():
            found[letter] = words.take(inside)
            letters[letter] = words.take(~inside)
            _refuse_calls(found[letter], sheet, complaints)
    _refuse_strays(letters, resting, complaints)
    _refuse_motion(sheet, resting, complaints)
    seconds = np.zeros(dwell.count)
    times = np.zeros(dwell.count, dtype=np.int64)
    for letter, words in found.items():
        place = np.searchsorted(dwell.row, words.row)
        seconds[place] = words.value * SECONDS[units[letter]]
        times[place] += 1
        negative = words.value < 0
        complaints.words(words.at[negative], "dwell-time-bad", lambda w: f"{w} is below 0: a dwell takes 0 or more")
    complaints.words(dwell.at[times == 0], "dwell-time-missing", "the dwell has no time", HINT)
    complaints.words(dwell.at[times > 1], "dwell-time-twice", "more than one time in a dwell", HINT)
    used = tuple(f"{letter} in {'milliseconds' if units[letter] == 'ms' else 'seconds'}" for letter in found)
    rest = _without_times(Sheet(sheet.rows, letters, sheet.groups), complaints)
    return rest, Dwells(dwell.at, dwell.row, np.maximum(seconds, 0.0), used)


def _refuse_calls(times: Words, sheet: Sheet, complaints: Complaints) -> None:
    """Report times of dwells that could be words of a call, too."""
    complaints.words(
        times.at[among(times.row, sheet.group("subprogram").row)],
        "dwell-with-call",
        lambda w: f"{w} in a block with a dwell and a subprogram word: it could belong to either",
        "write the dwell into a block of its own",
    )


def _refuse_strays(letters: dict[str, Words], resting: Flags, complaints: Complaints) -> None:
    """Report words in dwell blocks that are no time; take them away."""
    for letter in OTHERS:
        words = letters.get(letter, NO_WORDS)
        inside = resting[words.row]
        if inside.any():
            complaints.words(
                words.at[inside], "dwell-with-motion", lambda w: f"{w} is no time, and this block is a dwell", HINT
            )
            letters[letter] = words.take(~inside)


def _refuse_motion(sheet: Sheet, resting: Flags, complaints: Complaints) -> None:
    """Report motion words in dwell blocks."""
    motion = sheet.group("motion")
    complaints.words(
        motion.at[resting[motion.row]],
        "dwell-with-motion",
        lambda w: f"{w} and a dwell in one block: X could be a place or a time",
        "write the motion into a block of its own",
    )


def _without_times(sheet: Sheet, complaints: Complaints) -> Sheet:
    """Return the sheet without words of P, Q and L; where they mean nothing they are reported."""
    if not PLACED.keys() & sheet.letters.keys():
        return sheet
    called = sheet.group("subprogram")
    calls = called.row[called.value == CALL]
    for letter in PLACED:
        words = sheet.letter(letter)
        stray = words.at[~among(words.row, calls) | (letter not in OF_A_CALL)]
        complaints.sequels(stray, "word-out-of-place", lambda w: f"{w} {PLACED[w[0]]}")
    return Sheet(sheet.rows, {k: w for k, w in sheet.letters.items() if k not in PLACED}, sheet.groups)
