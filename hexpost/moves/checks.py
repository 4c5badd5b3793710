"""What can be said of a block by itself: words that do not exist, repeats, two words of one group, bad numbers."""

import numpy as np

from hexpost.arrays import Flags, Ints
from hexpost.moves.complaints import LABELS, Complaints
from hexpost.moves.sheet import Sheet, Words, arrange
from hexpost.moves.words import ENDING, LETTERS, group_of, groups
from hexpost.program.model import Program

LARGEST_NUMBER = 99_999
"""Largest number of a tool or of a row of the tools file."""
LARGEST_VALUE = 1e7
"""Largest size of any other value: ten kilometres, or three hours of dwell."""
LABELLED = ("N", "O", ":")
KNOWN = LETTERS.encode()


def read_sheet(program: Program, complaints: Complaints) -> Sheet:
    """Return the words up to the end of the program laid out; what is wrong with a block by itself is reported."""
    rows = _executed(program, complaints)
    _refuse_letters(program, int(program.first[rows]), complaints)
    letters = arrange(program, rows)
    coded: dict[str, Words] = {}
    for letter in ("G", "M"):
        if letter in letters:
            coded |= _by_group(letter, letters.pop(letter), complaints)
    for letter, words in letters.items():
        letters[letter] = _unrepeated(words, complaints, f"{letter} twice in one block")
    _check_numbers(letters, complaints)
    return Sheet(rows, letters, coded)


def _executed(program: Program, complaints: Complaints) -> int:
    """Return how many lines run, the one with the end word included; words after it are refused."""
    ends = np.flatnonzero((program.letter == ord("M")) & np.isin(program.value, ENDING))
    if ends.size == 0:
        return program.lines
    rows = int(program.line[ends[0]])
    after = int(program.first[rows])
    said = after + np.flatnonzero(~np.isin(program.letter[after:], LABELS))
    if said.size:
        complaints.word(
            int(said[0]),
            "words-after-end",
            f"expected nothing after the end of the program ({complaints.written(int(ends[0]))} in line {rows}), "
            f"found {complaints.written(int(said[0]))}",
            "these blocks would never run: take them out, or take the end word away",
        )
    return rows


def _refuse_letters(program: Program, words: int, complaints: Complaints) -> None:
    """Report the words whose address letter has no meaning."""
    if program.letter[:words].tobytes().translate(None, KNOWN):
        known = np.frombuffer(KNOWN, dtype=np.uint8)
        at = np.flatnonzero(~np.isin(program.letter[:words], known))
        complaints.words(at, "unknown-word", lambda word: f"unknown word {word}: the letter {word[0]} is not read")


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
    for letter, words in letters.items():
        if letter not in LABELLED and words.count and np.abs(words.value).max() > LARGEST_VALUE:
            huge = np.abs(words.value) > LARGEST_VALUE
            letters[letter] = _without(
                words, huge, complaints, ("value-too-large", f"a value of at most {LARGEST_VALUE:g}")
            )


def _without(words: Words, bad: Flags, complaints: Complaints, say: tuple[str, str]) -> Words:
    """Return the words that are not ``bad`` (k,); report the others with a code and what was expected."""
    if not bad.any():
        return words
    complaints.words(words.at[bad], say[0], lambda word: f"expected {say[1]}, found {word}")
    return words.pick(~bad)


def first_rows(*words: Words) -> Ints:
    """Return the rows (rising, unique) in which any of the given words stands."""
    return np.unique(np.concatenate([w.row for w in words])).astype(np.int64)
