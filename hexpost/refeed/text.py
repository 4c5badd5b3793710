"""The text of a program with other F words, everything else byte for byte."""

import re
from collections.abc import Mapping
from math import floor

import numpy as np

from hexpost.arrays import Ints
from hexpost.audit.model import rounded_word
from hexpost.machine.model import Machine
from hexpost.program.model import Program
from hexpost.refeed.feeds import LineFeeds

NUMBER = re.compile(rb"[A-Za-z][ \t]*([+-]?[0-9.]+)")
COARSE = 0.9
"""A feed that rounding down to the program's decimals would lower below this share gets more decimals."""
MOST_DECIMALS = 6
BOM = b"\xef\xbb\xbf"
SIGN = "FEEDS LOWERED FOR THE STRUTS"
"""First words of the head comment, by which an older one is found."""


class FeedStyle:
    """How a program writes its F words: decimals, and whether whole numbers carry a point.

    They do where the machine places the point of a number without one (``implied``), for that would be another feed.
    """

    def __init__(self, program: Program, *, implied: bool) -> None:
        self.decimals, pointed = 0, 0
        at = program.places("F").tolist()
        for i in at:
            text = word_at(program, i)[1]
            _, point, rest = text.partition(b".")
            self.decimals = max(self.decimals, len(rest))
            pointed += bool(point)
        self.with_point = implied or 2 * pointed > len(at)

    def rounded(self, feed: float) -> float:
        """Return a feed rounded down to a few digits and the program's decimals; to more where that would lose much."""
        feed = rounded_word(feed)
        for decimals in range(self.decimals, MOST_DECIMALS + 1):
            unit = 10.0**decimals
            down = floor(feed * unit * (1 + 1e-12)) / unit
            if down > COARSE * feed:
                return down
        return feed

    def written(self, feed: float) -> bytes:
        """Return a feed as digits."""
        text = f"{feed:.{MOST_DECIMALS}f}".rstrip("0")
        whole, _, rest = text.partition(".")
        return (whole if not rest and not self.with_point else f"{whole}.{rest}").encode()


def style_of(program: Program, machine: Machine) -> FeedStyle:
    """Return how a program of a machine writes its F words."""
    return FeedStyle(program, implied=machine.words.numbers == "implied")


def word_at(program: Program, i: int) -> tuple[tuple[int, int], bytes]:
    """Return where in the line the number of word ``i`` stands, and its digits."""
    raw = program.raw(int(program.line[i]))
    found = NUMBER.match(raw, int(program.column[i]) - 1)
    assert found is not None
    return found.span(1), found.group(1)


def rewritten(program: Program, old: LineFeeds, new: Mapping[int, float], style: FeedStyle) -> dict[int, bytes]:
    """Return the lines that change, so that each feed block runs at ``new`` [line], or at its old feed."""
    at = program.places("F")
    there, own = program.line[at], set(old.line[old.own].tolist())
    out = {}
    for line, feed in old.words(new).items():
        word = int(at[np.searchsorted(there, line)]) if line in own else None
        digits = style.written(feed)
        out[line] = _inserted(program, line, digits) if word is None else _replaced(program, word, digits)
    return out


def joined(program: Program, lines: Mapping[int, bytes]) -> bytes:
    """Return the program with some lines replaced; line ends stay as they are."""
    out, at = [], 0
    for line in sorted(lines):
        start, end = int(program.line_start[line - 1]), int(program.line_start[line - 1]) + len(program.raw(line))
        out += [program.source[at:start], lines[line]]
        at = end
    return b"".join([*out, program.source[at:]])


def headed(source: bytes, comment: str) -> tuple[bytes, Ints]:
    """Return a program with a comment at its head, once, and the new numbers (n,) of its lines.

    The comment stands behind the program start and program number. An older one goes; its line has number 0.
    """
    mark = BOM if source.startswith(BOM) else b""
    lines = source[len(mark) :].split(b"\n")
    older = np.array([x.startswith(b"(" + SIGN.encode()) for x in lines])
    lines = [x for x, gone in zip(lines, older.tolist(), strict=True) if not gone]
    end = b"\r" if lines[0].endswith(b"\r") else b""
    at = 0
    while at < len(lines) - 1 and (lines[at].lstrip().startswith(b"%") or re.match(rb"\s*[Oo:]\s*[0-9]", lines[at])):
        at += 1
    plain = comment.encode("ascii", "replace").decode().replace("(", "[").replace(")", "]")
    lines.insert(at, f"({SIGN}: {plain})".encode() + end)
    place = np.cumsum(~older)
    return mark + b"\n".join(lines), np.where(older, 0, place + (place > at))


def _replaced(program: Program, i: int, digits: bytes) -> bytes:
    (start, end), _ = word_at(program, i)
    raw = program.raw(int(program.line[i]))
    return raw[:start] + digits + raw[end:]


def _inserted(program: Program, line: int, digits: bytes) -> bytes:
    """Return a line with an F word behind its last word."""
    raw = program.raw(line)
    (_, end), _ = word_at(program, int(program.first[line]) - 1)
    blank = b" " if b" " in raw[:end].strip() or int(program.first[line] - program.first[line - 1]) == 1 else b""
    return raw[:end] + blank + b"F" + digits + raw[end:]
