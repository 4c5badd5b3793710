"""What each byte of a plain block means, asked of the compiled grammar."""

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import product

from lark import UnexpectedInput

from hexpost.program.grammar import part_programs, terminal

DIGIT, POINT, MINUS, PLUS, LETTER, LABEL, BLANK, END = range(8)
OTHER, OPEN, SKIP = 16, 32, 48
"""Roles of bytes. The last three count as 0 in pairs (``role & 7``), which is never plain. Bit 8 is left free."""

Match = Callable[..., re.Match[bytes] | None]


@dataclass(frozen=True, slots=True)
class Roles:
    """The grammar as the scanner needs it.

    ``of`` translates a byte to its role. ``odd`` translates a pair ``previous << 4 | digits between << 3 | next``
    to 1 where the pair is not part of a plain block. ``comment``, ``skip``: matchers of those terminals at an
    offset; ``number``: matcher of a whole text.
    """

    of: bytes
    odd: bytes
    comment: Match
    skip: Match
    number: Match


def pair(before: int, digits: int, after: int) -> int:
    """Return the index of a pair of events in ``Roles.odd``."""
    return (before & 7) << 4 | digits << 3 | (after & 7)


def skip_level(text: str) -> int:
    """Return the level (1 to 9) of a block skip as written: ``/`` alone is level 1."""
    return int(text[1:].strip(" \t") or 1)


@lru_cache(maxsize=1)
def roles() -> Roles:
    """Return the roles of bytes and of pairs of bytes."""

    def pattern(name: str) -> re.Pattern[bytes]:
        return re.compile(terminal(name).encode("latin-1"))

    number, label, comment = pattern("NUMBER"), pattern("LABEL"), pattern("COMMENT")
    skip, address, blank, end = pattern("SKIP"), pattern("ADDRESS"), pattern("BLANK"), pattern("_NL")

    def role(c: bytes) -> int:
        tests: Iterable[tuple[bool, int]] = (
            (number.fullmatch(c) is not None, DIGIT),
            (number.fullmatch(b"1" + c + b"1") is not None, POINT),
            (number.fullmatch(c + b"1") is not None, MINUS if c == b"-" else PLUS),
            (address.fullmatch(c) is not None, LETTER),
            (label.fullmatch(c + b"1") is not None, LABEL),
            (blank.fullmatch(c) is not None, BLANK),
            (end.fullmatch(c) is not None, END),
            (comment.fullmatch(c) is not None or comment.fullmatch(c + b")") is not None, OPEN),
            (skip.fullmatch(c) is not None, SKIP),
        )
        return next((r for true, r in tests if true), OTHER)

    of = bytes(role(bytes([i])) for i in range(256))
    return Roles(of, plain_pairs(), comment.match, skip.match, number.fullmatch)


def plain_pairs() -> bytes:
    """Return the pair table: a pair is plain when the parser accepts it in one of a few surroundings.

    Blanks inside a word, and labels that are not the first byte of a line, are legal but left out: the scanner
    settles those by other means.
    """
    samples = {POINT: ".", MINUS: "-", PLUS: "+", LETTER: "X", LABEL: "N", BLANK: " ", END: ""}
    before, after = ["", "X", "X1", "X-", "N", "N1"], ["", "1", "1 ", ".5", "-1"]

    @cache
    def legal(text: str) -> bool:
        try:
            part_programs().parse(text, start="block")
        except UnexpectedInput:
            return False
        return True

    odd = bytearray(b"\1" * 256)
    for a, digits, b in product(samples, (0, 1), samples):
        opened = a in (LETTER, LABEL) and b == BLANK and not digits
        resumed = a == BLANK and (digits or b in (POINT, MINUS, PLUS))
        if opened or resumed or (b == LABEL and a != END):
            continue
        heads, tails = ([""] if a == END else before), ([""] if b == END else after)
        middle = samples[a] + "7" * digits + samples[b]
        odd[pair(a, digits, b)] = not any(legal(h + middle + t) for h in heads for t in tails)
    return bytes(odd)
