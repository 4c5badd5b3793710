"""What each byte of a plain block means, as the grammar has it.

The tables are written out, because compiling the grammar and asking it takes longer than reading a short program; the
tests ask it, byte by byte and pair by pair.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache

DIGIT, POINT, MINUS, PLUS, LETTER, LABEL, BLANK, END = range(8)
OTHER, OPEN, SKIP = 16, 32, 48
"""Roles of bytes. The last three count as 0 in pairs (``role & 7``), which is never plain. Bit 8 is left free."""

BYTES = (
    (DIGIT, b"0123456789"), (POINT, b"."), (MINUS, b"-"), (PLUS, b"+"), (BLANK, b" \t"), (END, b"\r\n"),
    (LETTER, b"ABCDFGHIJKLMPQRSTUVWXYZabcdfghijklmpqrstuvwxyz"), (LABEL, b"NnOo:"), (OPEN, b"(;"), (SKIP, b"/"),
)  # fmt: skip
"""The bytes of each role; all others are ``OTHER``."""
_BEHIND = (LETTER, BLANK, END)
PLAIN = {
    POINT: (_BEHIND, _BEHIND),
    MINUS: ((POINT,), (POINT, *_BEHIND)),
    PLUS: ((POINT,), (POINT, *_BEHIND)),
    LETTER: ((POINT, MINUS, PLUS), (POINT, *_BEHIND)),
    LABEL: ((), _BEHIND),
    BLANK: (_BEHIND, ()),
    END: ((LABEL, *_BEHIND), ()),
}
"""Roles that may follow another in a plain block: without digits between, and with.

Blanks inside a word, and labels that are not the first byte of a line, are legal but left out: the scanner settles
those by other means.
"""
NUMBER = rb"[+-]?([0-9]{1,20}(\.[0-9]{0,20})?|\.[0-9]{1,20})"
SKIPPED = rb"/([ \t]*[1-9])?"
DEPTH = 4
"""Comments are nested so deep."""

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
    of, odd = bytearray([OTHER]) * 256, bytearray(b"\1" * 256)
    for role, those in BYTES:
        for byte in those:
            of[byte] = role
    for before, ways in PLAIN.items():
        for digits, those_after in enumerate(ways):
            for after in those_after:
                odd[pair(before, digits, after)] = 0
    inner, nested = rb"[^()\r\n]*", b""
    for _ in range(DEPTH):
        nested = rb"\(" + inner + (b"(?:" + nested + inner + b")*" if nested else b"") + rb"\)"
    comment = re.compile(nested + rb"|;([^\r\n]*[^ \t\r\n])?")
    return Roles(bytes(of), bytes(odd), comment.match, re.compile(SKIPPED).match, re.compile(NUMBER).fullmatch)
