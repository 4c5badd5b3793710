"""What can be said of a block by itself: words that do not exist, repeats, two words of one group, bad numbers."""

import re
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from hexpost.arrays import Array, Codes, Flags, among
from hexpost.errors import Fault
from hexpost.machine.wording import DialectWord
from hexpost.machine.words import ARC_MODE, ENDING, LABELS, LETTERS, OPTIONAL_STOP, READ, group_of, groups
from hexpost.moves.model import Switches
from hexpost.moves.reading.dialect import decided
from hexpost.moves.window.complaints import UNSAID, Complaints
from hexpost.moves.window.extract import Extract
from hexpost.moves.window.sheet import Sheet, Words, arrange
from hexpost.moves.window.state import State
from hexpost.program.model import WHOLE_BLOCK, Program

LARGEST_NUMBER = 99_999
"""Largest number of a tool or of a row of the tools file."""
PRESET = "XYZABCIJKRSPQL"
"""Letters beside which the word that ends scaling may mean something else."""
LARGEST_VALUE = 1e7
"""Largest size of any other value: ten kilometres, or three hours of dwell."""
NOT_READ = re.compile(rb"\([^()]*\)|[;(].*")
"""Comments."""
WORD = re.compile(
    rb"(?<![A-Za-z])([A-Za-z])[ \t]*([+-]?(?:[0-9]{1,20}\.?[0-9]{0,20}|\.[0-9]{1,20}))(?=$|\s|[A-DF-KM-Za-z])"
)
"""A word that something else may stand beside."""


def read_sheet(extract: Extract, state: State, switches: Switches, complaints: Complaints) -> Sheet:
    """Return the words up to the end of the program laid out; what is wrong with a block by itself is reported.

    Where the switch for optional stops is off their words are left out.
    """
    rows = _executed(extract, state)
    words = int(extract.first[rows])
    letters = arrange(extract, rows)
    unsaid = sum(np.count_nonzero(extract.letter[:words] == code) for code in UNSAID)
    if unsaid + sum(found.count for found in letters.values()) < words:
        _refuse_letters(extract.letter[:words], complaints)
    if words and max(extract.value[:words].max(), -extract.value[:words].min()) > LARGEST_VALUE:
        _refuse_large(letters, complaints)
    coded: dict[str, Words] = {}
    for letter in ("G", "M"):
        if letter in letters:
            coded |= _by_group(letter, letters.pop(letter), complaints)
    _refuse_presets(coded, letters, complaints)
    for letter, found in letters.items():
        twice = "two words for arc centres in one block" if letter == ARC_MODE else f"{letter} twice in one block"
        letters[letter] = _unrepeated(found, complaints, twice)
    if not switches.stops and "stop" in coded:
        coded["stop"] = coded["stop"].take(coded["stop"].value != OPTIONAL_STOP)
    _check_numbers(letters, complaints)
    return Sheet(rows, letters, coded)


def _executed(extract: Extract, state: State) -> int:
    """Return how many rows run, the one with the end word included."""
    if state.ended:
        return 0
    miscellaneous = np.flatnonzero(extract.letter == ord("M"))
    ends = miscellaneous[among(extract.value[miscellaneous], ENDING)]
    if ends.size == 0:
        return extract.rows
    state.ended = True
    return int(extract.row(ends[:1])[0]) + 1


def _refuse_letters(letters: Codes, complaints: Complaints) -> None:
    """Report the words whose address letter has no meaning."""
    at = np.flatnonzero(~among(letters, [0, *(ord(x) for x in READ)]))
    complaints.words(at, "unknown-word", lambda word: f"unknown word {word}: the letter {word[0]} is not read")


def _refuse_large(letters: dict[str, Words], complaints: Complaints) -> None:
    """Report values that no machine can mean and that would spoil the arithmetic; take them out."""
    for letter, words in letters.items():
        if letter not in ("G", "M"):
            huge = np.abs(words.value) > LARGEST_VALUE
            say = ("value-too-large", f"a value of at most {LARGEST_VALUE:g}")
            letters[letter] = _without(words, huge, complaints, say)


def _by_group(letter: str, words: Words, complaints: Complaints) -> dict[str, Words]:
    """Return G or M words by modal group; unknown ones, and a second one of a group in a block, are reported."""
    group = group_of(letter, words.value)
    unknown = group == 0
    if unknown.any():
        complaints.words(words.at[unknown], "unknown-word", lambda word: f"unknown word {word}")
    out = {}
    for index, name in enumerate(groups(letter), 1):
        here = group == index
        if np.count_nonzero(here):
            out[name] = _unrepeated(
                words if here.all() else words.take(here),
                complaints,
                f"two {letter} words of one group ({name}) in one block",
            )
    return out


def _refuse_presets(coded: dict[str, Words], letters: dict[str, Words], complaints: Complaints) -> None:
    """Report words that end scaling beside places, speeds or parameters: on some controls they preset these."""
    if "scale factors" not in coded:
        return
    beside = np.concatenate([letters[x].row for x in PRESET if x in letters] or [np.empty(0, np.int32)])
    words = coded["scale factors"]
    bad = among(words.row, beside)
    complaints.words(
        words.at[bad],
        "scale-off-with-words",
        lambda word: f"{word} beside a place or a speed: on some controls that is a preset or a limit of the spindle",
        "take it out, or write it into a block of its own if it is to end scaling",
    )
    coded["scale factors"] = words.take(~bad)


def _unrepeated(words: Words, complaints: Complaints, what: str) -> Words:
    """Return the first word of each block; further ones are reported."""
    repeat = words.row[1:] == words.row[:-1]
    if not repeat.any():
        return words
    again = np.concatenate(([False], repeat))
    complaints.words(words.at[again], "repeated-word", lambda word: f"{what}: found {word} as well")
    return words.take(~again)


def _check_numbers(letters: dict[str, Words], complaints: Complaints) -> None:
    """Report tool and row numbers that are no whole numbers, and negative speeds; such words are left out."""
    for letter, code in (("T", "tool-number-bad"), ("H", "row-number-bad"), ("D", "row-number-bad")):
        if letter in letters:
            value = letters[letter].value
            good = (value >= 0) & (value <= LARGEST_NUMBER) & (value == np.floor(value))
            wanted = f"a whole number from 0 to {LARGEST_NUMBER}"
            letters[letter] = _without(letters[letter], ~good, complaints, (code, wanted))
    if "S" in letters:
        bad = letters["S"].value < 0
        letters["S"] = _without(letters["S"], bad, complaints, ("spindle-speed-bad", "0 or more"))


def _without(words: Words, bad: Flags, complaints: Complaints, say: tuple[str, str]) -> Words:
    """Return the words that are not ``bad`` (k,); report the others with a code and what to write."""
    if not bad.any():
        return words
    complaints.words(words.at[bad], say[0], lambda word: f"{word} cannot be read; write {say[1]}")
    return words.take(~bad)


def unread(letter: Codes, value: Array) -> Flags:
    """Return which words (w,) nothing reads: letters without a meaning, and codes that no word of the table has."""
    out: Flags = ~among(letter, [0, *(ord(x) for x in READ)])
    for code in ("G", "M"):
        at = np.flatnonzero(letter == ord(code))
        out[at] = group_of(code, value[at]) == 0
    return out


def unknown_words(program: Program, before: Sequence[Fault], dialect: Sequence[DialectWord]) -> list[Fault]:
    """Return the unknown and repeated words of blocks whose faults of syntax (among ``before``) leave the rest whole.

    Words that touch such a fault are left out: nobody knows what they are.
    """
    own = [f for f in before if f.file == program.name and f.line is not None]
    spoilt = {f.line for f in own if f.code in WHOLE_BLOCK}
    named = {word.word for word in decided(dialect)}
    out: list[Fault] = []
    for line in sorted({f.line for f in own if f.line is not None} - spoilt):
        raw = NOT_READ.sub(lambda comment: b" " * len(comment[0]), program.raw(line))
        columns = [f.column or 1 for f in own if f.line == line]
        seen: set[str] = set()
        for found in WORD.finditer(raw):
            if any(found.start() < column <= found.end() + 1 for column in columns):
                continue
            letter, value = found[1].decode().upper(), float(found[2])
            if letter in LABELS or not named.isdisjoint({letter, f"{letter}{value:.15g}"}):
                continue
            code, what = _by_itself(letter, value, found[0].decode().upper(), seen)
            if code:
                fault = program.fault(line, found.start() + 1, code, what)
                out.append(replace(fault, word=f"{letter}{value:.15g}"))
    return out


def _by_itself(letter: str, value: float, written: str, seen: set[str]) -> tuple[str, str]:
    """Return code and text of what is wrong with a word beside those ``seen`` in its block; nothing where it is not."""
    group = int(group_of(letter, np.array([value]))[0]) if letter in "GM" else 0
    if letter not in LETTERS:
        return "unknown-word", f"unknown word {written}: the letter {letter} is not read"
    if letter in "GM" and not group:
        return "unknown-word", f"unknown word {written}"
    key = f"{letter} words of one group ({groups(letter)[group - 1]})" if group else letter
    if key in seen:
        what = f"two {key} in one block" if group else f"{letter} twice in one block"
        return "repeated-word", f"{what}: found {written} as well"
    seen.add(key)
    return "", ""
