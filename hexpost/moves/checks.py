"""What can be said of a block by itself: words that do not exist, repeats, two words of one group, bad numbers."""

import numpy as np

from hexpost.arrays import Codes, Flags, Ints
from hexpost.moves.complaints import Complaints
from hexpost.moves.sheet import Sheet, Words, arrange
from hexpost.moves.state import State
from hexpost.moves.words import ENDING, LABELS, LETTERS, group_of, groups
from hexpost.program.model import Program

LARGEST_NUMBER = 99_999
"""Largest number of a tool or of a row of the tools file."""
LARGEST_VALUE = 1e7
"""Largest size of any other value: ten kilometres, or three hours of dwell."""


def read_sheet(program: Program, state: State, complaints: Complaints) -> Sheet:
    """Return the words up to the end of the program laid out; what is wrong with a block by itself is reported."""
    rows = _executed(program, state, complaints)
    words = int(program.first[rows])
    letters = arrange(program, rows)
    labels = sum(np.count_nonzero(program.letter[:words] == ord(letter)) for letter in LABELS)
    if labels + sum(found.count for found in letters.values()) < words:
        _refuse_letters(program.letter[:words], complaints)
    if words and max(program.value[:words].max(), -program.value[:words].min()) > LARGEST_VALUE:
        _refuse_large(letters, complaints)
    coded: dict[str, Words] = {}
    for letter in ("G", "M"):
        if letter in letters:
            coded |= _by_group(letter, letters.pop(letter), complaints)
    for letter, found in letters.items():
        letters[letter] = _unrepeated(found, complaints, f"{letter} twice in one block")
    _check_numbers(letters, complaints)
    return Sheet(rows, letters, coded)


def _executed(program: Program, state: State, complaints: Complaints) -> int:
    """Return how many lines run, the one with the end word included; words after it are refused."""
    rows = 0
    if not state.end:
        miscellaneous = np.flatnonzero(program.letter == ord("M"))
        ends = miscellaneous[np.isin(program.value[miscellaneous], ENDING)]
        if ends.size == 0:
            return program.lines
        line = int(program.line[ends[0]])
        state.end = f"{complaints.written(int(ends[0]))} in line {line}"
        rows = line - program.line0
    after = int(program.first[rows])
    said = after + np.flatnonzero(~np.isin(program.letter[after:], [ord(x) for x in LABELS]))
    if said.size and "words-after-end" not in complaints.ledger.told:
        complaints.ledger.told.add("words-after-end")
        complaints.word(
            int(said[0]),
            "words-after-end",
            f"expected nothing after the end of the program ({state.end}), found {complaints.written(int(said[0]))}",
            "these blocks would never run: take them out, or take the end word away",
        )
    return rows


def _refuse_letters(letters: Codes, complaints: Complaints) -> None:
    """Report the words whose address letter has no meaning."""
    at = np.flatnonzero(~np.isin(letters, [ord(x) for x in LETTERS]))
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
                words if here.all() else words.pick(here),
                complaints,
                f"two {letter} words of one group ({name}) in one block",
            )
    return out


def _unrepeated(words: Words, complaints: Complaints, what: str) -> Words:
    """Return the first word of each block; further ones are reported."""
    repeat = words.row[1:] == words.row[:-1]
    if not repeat.any():
        return words
    again = np.concatenate(([False], repeat))
    complaints.words(words.at[again], "repeated-word", lambda word: f"{what}: found {word} as well")
    return words.pick(~again)


def _check_numbers(letters: dict[str, Words], complaints: Complaints) -> None:
    """Report tool and row numbers that are no whole numbers, and negative speeds; such words are left out."""
    for letter, code in (("T", "tool-number-bad"), ("H", "row-number-bad")):
        if letter in letters:
            value = letters[letter].value
            good = (value >= 0) & (value <= LARGEST_NUMBER) & (value == np.floor(value))
            expected = f"a whole number of 0 to {LARGEST_NUMBER}"
            letters[letter] = _without(letters[letter], ~good, complaints, (code, expected))
    if "S" in letters:
        bad = letters["S"].value < 0
        letters["S"] = _without(letters["S"], bad, complaints, ("spindle-speed-bad", "a spindle speed of 0 or more"))


def _without(words: Words, bad: Flags, complaints: Complaints, say: tuple[str, str]) -> Words:
    """Return the words that are not ``bad`` (k,); report the others with a code and what was expected."""
    if not bad.any():
        return words
    complaints.words(words.at[bad], say[0], lambda word: f"expected {say[1]}, found {word}")
    return words.pick(~bad)


def first_rows(*words: Words) -> Ints:
    """Return the rows (rising, unique) in which any of the given words stands."""
    return np.unique(np.concatenate([w.row for w in words])).astype(np.int64)
