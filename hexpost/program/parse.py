"""The authority: one line read by the parser that Lark makes of the grammar."""

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from hexpost.program.grammar import part_programs
from hexpost.program.roles import skip_level

if TYPE_CHECKING:
    from lark import Token


@dataclass(frozen=True, slots=True)
class Line:
    """What one line holds.

    ``words``: (letter, value, pointed, column from 1). ``comments``: (start, end) in the line, from 0; the name
    behind a program start is one. ``skip``: level of the block skip, 0 for none. ``percent``: a program start or end.
    """

    words: list[tuple[int, float, bool, int]] = field(default_factory=list)
    comments: list[tuple[int, int]] = field(default_factory=list)
    skip: int = 0
    percent: bool = False


def parse(text: str) -> Line:
    """Return what the line ``text`` (one character a byte, no line end) holds.

    Raises
    ------
    lark.UnexpectedInput
        When the line is not a block.
    """
    from lark import Token, Tree

    words: list[tuple[int, float, bool, int]] = []
    comments: list[tuple[int, int]] = []
    skip, percent = 0, False
    for part in part_programs().parse(text, start="block").children:
        if isinstance(part, Tree):
            address, number = part.children
            assert isinstance(address, Token)
            words.append((ord(address.upper()), float(str(number)), "." in str(number), column(address)))
        elif part.type in ("LABEL", "NAMED"):
            words.append((ord(part[0].upper()), float(part[1:]), False, column(part)))
        elif part.type == "SKIP":
            skip = skip_level(part)
        elif part.type == "PERCENT":
            percent = True
            if name := part[1:].strip(" \t"):
                start = column(part) - 1 + part.index(name[0], 1)
                comments.append((start, start + len(name)))
        else:
            comments.append((column(part) - 1, column(part) - 1 + len(part)))
    return Line(words, comments, skip, percent)


def column(token: "Token") -> int:
    """Return the column of a token, from 1."""
    assert token.column is not None
    return token.column
