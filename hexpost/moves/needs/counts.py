"""What a program uses, counted from its words: words that nothing reads, tools, rows and offsets, units."""

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from hexpost.arrays import Flags, Ints, among, distinct
from hexpost.errors import Fault
from hexpost.machine.model import Setup, Tools
from hexpost.machine.words import CALL, LABELS, group_of, groups, known
from hexpost.moves.needs.columns import LONGEST, WordColumns
from hexpost.moves.needs.model import MOST_WORDS, NumberUse, WordUse
from hexpost.moves.reading.checks import unread
from hexpost.moves.reading.dialect import KEPT, OF_AN_M_WORD, OWNERS, PARAMETERS
from hexpost.moves.reading.tolerances import TOO_SMALL

MOST_LOOKED_AT = 20_000
"""In so many blocks of a word what is beside it is counted."""
MOST_COMMENTS = 400
"""So many comments of a program are searched for what they say of its tools."""
MOST_ROW = 99_999
INCH, MM = (20, 70), (21, 71)
OF_LENGTH = "XYZIJKRF"
"""Letters whose words need a unit."""
OFFSET_GROUP = "work offset"


def unknown(words: WordColumns, faults: Iterable[Fault]) -> tuple[WordUse, ...]:
    """Return the words that nothing reads, most blocks first; ``faults`` name those of blocks that were not read."""
    takers = _takers(words, OWNERS), _takers(words, ("cycle", "dwell")) | words.coded("M", CALL)
    found = np.flatnonzero(unread(words.letter, words.value))
    out = [_use(words, name, at, takers) for name, at in _by_name(words, found)]
    seen = {use.word for use in out}
    spoilt: dict[str, list[Fault]] = {}
    for fault in faults:
        if fault.code == "unknown-word" and fault.word and fault.line and not _readable(words, fault.line):
            spoilt.setdefault(fault.word, []).append(fault)
    for name, those in spoilt.items():
        if name not in seen:
            lines = np.array(sorted({f.line for f in those if f.line}), dtype=np.int64)
            places = words.places(lines)
            out.append(WordUse(word=name, blocks=len(lines), beside={}, left={}, places=places))
    return tuple(sorted(out, key=lambda use: (-use.blocks, use.word)))[:MOST_WORDS]


def with_parameters(words: WordColumns, faults: Iterable[Fault]) -> tuple[WordUse, ...]:
    """Return known words ahead of words that belong to nothing: likely parameters of theirs.

    Whose they are is a guess, by the nearest G or M word ahead of them in the block; a person decides.
    """
    lines: dict[str, dict[int, set[str]]] = {}
    for fault in faults:
        if fault.code in ("word-out-of-place", TOO_SMALL) and fault.line is not None:
            for owner, letter in _owners(words, fault.line):
                lines.setdefault(owner, {}).setdefault(fault.line, set()).add(letter)
    out = []
    for name, found in sorted(lines.items()):
        left = dict(sorted(Counter(x for letters in found.values() for x in letters).items()))
        places = words.places(np.array(sorted(found), dtype=np.int64))
        out.append(WordUse(word=name, blocks=len(found), beside=left, left=left, places=places))
    return tuple(out[:MOST_WORDS])


def is_known(word: str) -> bool:
    """Return whether a word is in the table of words."""
    return len(word) > 1 and known(word)


def parameters_of(word: str, left: Iterable[str]) -> str:
    """Return which of the letters ``left`` over in the blocks of a word can be its parameters."""
    return "".join(x for x in left if x in (PARAMETERS if word[0] == "G" else OF_AN_M_WORD if word[0] == "M" else ""))


def units(words: WordColumns) -> str:
    """Return the units that a program states; nothing where a length comes before any of them."""
    codes = words.coded("G", *INCH, *MM)
    lengths = np.flatnonzero(words.named(OF_LENGTH))
    if not codes.any():
        return ""
    first = words.program.line[np.flatnonzero(codes)[0]]
    if lengths.size and words.program.line[lengths[0]] < first:
        return ""
    found = [name for name, wanted in (("mm", MM), ("inch", INCH)) if words.coded("G", *wanted).any()]
    return " and ".join(found)


def numbers(words: WordColumns, tools: Tools, setup: Setup, frames: Sequence[str]) -> tuple[NumberUse, ...]:
    """Return the tools, rows and offsets that a program uses, with those of ``frames`` that no word names."""
    out: list[NumberUse] = []
    for letter in "THD":
        for number, at in _by_number(words, words.named(letter) & (words.value > 0)):
            said = _said(words, number) if letter == "T" else ""
            out.append(_number(words, letter, number, at, given=number in tools.tools, said=said))
    offset = _in_group(words, OFFSET_GROUP)
    for number, at in _by_number(words, offset):
        out.append(_number(words, "G", number, at, given=f"G{number}" in setup.offsets))
    named = {f"G{use.number}" for use in out if use.kind == "G"}
    moving = words.lines(words.named("XYZABC"))
    for name in dict.fromkeys(frames):
        if name != "G53" and name not in named and moving.size:
            place = words.place(int(moving[0]))
            use = NumberUse(kind="G", number=int(name[1:]), blocks=0, place=place, given=name in setup.offsets)
            out.append(use)
    return tuple(out)


def _by_name(words: WordColumns, at: Ints) -> list[tuple[str, Ints]]:
    """Return words ``at`` (k,) by the name of the row that would decide them."""
    coded = among(words.letter[at], [ord("G"), ord("M")])
    key = np.stack((words.letter[at].astype(np.float64), np.where(coded, words.value[at], -1.0)))
    found, which, count = np.unique(key, axis=1, return_inverse=True, return_counts=True)
    out = []
    for k in np.argsort(-count, kind="stable")[:MOST_WORDS].tolist():
        letter, value = chr(int(found[0, k])), float(found[1, k])
        name = f"{letter}{value:.15g}" if letter in "GM" else letter
        out.append((name, at[which.ravel() == k]))
    return out


def _use(words: WordColumns, name: str, at: Ints, takers: tuple[Flags, Flags]) -> WordUse:
    """Return a word with its blocks and what is beside it.

    ``takers``: words (w,) with parameters of their own, and those of them that take P, Q and L.
    """
    program = words.program
    lines = distinct(program.line[at]).astype(np.int64)
    beside: Counter[str] = Counter()
    left: Counter[str] = Counter()
    mine = set(at[: 2 * MOST_LOOKED_AT].tolist())
    for line in lines[:MOST_LOOKED_AT].tolist():
        i = line - program.line0
        block = range(int(program.first[i - 1]), int(program.first[i]))
        others = [k for k in block if k not in mine]
        letters = {chr(words.letter[k]) for k in others if words.letter[k]} - set(LABELS)
        beside.update(letters)
        taken = not any(takers[0][k] for k in others), not any(takers[1][k] for k in others)
        left.update(x for x in letters & set(PARAMETERS + KEPT) if taken[x in "PQL"])
    return WordUse(
        word=name, blocks=len(lines), beside=dict(sorted(beside.items())), left=dict(sorted(left.items())),
        places=words.places(lines),
    )  # fmt: skip


def _takers(words: WordColumns, names: Iterable[str]) -> Flags:
    """Return which words (w,) are G words of some groups."""
    out = np.zeros(len(words.letter), dtype=np.bool_)
    for name in names:
        out |= _in_group(words, name)
    return out


def _in_group(words: WordColumns, name: str) -> Flags:
    """Return which words (w,) are G words of a group."""
    out = np.zeros(len(words.letter), dtype=np.bool_)
    at = np.flatnonzero(words.letter == ord("G"))
    out[at] = group_of("G", words.value[at]) == 1 + groups("G").index(name)
    return out


def _owners(words: WordColumns, line: int) -> Iterator[tuple[str, str]]:
    """Yield the words P Q L of a block, each with the nearest G or M word ahead of it."""
    i, owner = line - words.program.line0, ""
    for k in range(int(words.program.first[i - 1]), int(words.program.first[i])):
        letter = chr(words.letter[k])
        if letter in "GM":
            owner = f"{letter}{words.value[k]:.15g}"
        elif letter in "PQL" and owner:
            yield owner, letter


def _readable(words: WordColumns, line: int) -> bool:
    """Return whether the words of a line were read."""
    i = line - words.program.line0
    return bool(words.program.first[i - 1] < words.program.first[i])


def _by_number(words: WordColumns, chosen: Flags) -> list[tuple[int, Ints]]:
    """Return whole numbers with the words (k,) that hold them, rising."""
    at = np.flatnonzero(chosen)
    at = at[(words.value[at] <= MOST_ROW) & (words.value[at] == np.floor(words.value[at]))]
    found, which = np.unique(words.value[at], return_inverse=True)
    return [(int(number), at[which == k]) for k, number in enumerate(found[:MOST_WORDS].tolist())]


def _number(words: WordColumns, letter: str, number: int, at: Ints, *, given: bool, said: str = "") -> NumberUse:
    line = int(words.program.line[at[0]])
    return NumberUse(
        kind=letter, number=number, blocks=len(at), place=words.place(line), given=given, said=said
    )  # fmt: skip


def _said(words: WordColumns, number: int) -> str:
    """Return the first comment that begins with a tool, ``T5 ...``; nothing for none."""
    program = words.program
    wanted = re.compile(rb"[(;]\s*T(?:OOL)?\s*0*%d(?![0-9.])" % number, re.IGNORECASE)
    ends = zip(
        program.comment_start[:MOST_COMMENTS].tolist(), program.comment_end[:MOST_COMMENTS].tolist(), strict=True
    )
    for start, end in ends:
        text = bytes(program.source[start : min(end, start + 4 * LONGEST)])
        if wanted.match(text):
            return text.decode("utf-8", "replace").strip("();% \t")[:LONGEST]
    return ""
