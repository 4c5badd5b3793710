"""What programs need, as counted: words that nothing reads, numbers of tools and offsets, readings that matter."""

from collections.abc import Mapping
from dataclasses import dataclass

AXES = "XYZABC"
MOST_PLACES = 3
"""So many places of a word are shown."""
MOST_WORDS = 100
"""So many unknown words of one program are looked at, and so many numbers of each kind."""


@dataclass(frozen=True, slots=True)
class Quote:
    """A block: its line, from 1, and its text."""

    line: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class WordUse:
    """A word that one program holds and nothing reads, as short as it goes (``"M77"``; a letter for all its values).

    ``blocks`` hold it. ``beside``: blocks by the letter of the other words in them; ``left``: the same for words that
    would have no meaning without it.
    """

    word: str
    blocks: int
    beside: Mapping[str, int]
    left: Mapping[str, int]
    places: tuple[Quote, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class NumberUse:
    """A number that one program uses: of a tool (``kind`` T), a row (H, D) or a work offset (G); and a comment.

    ``given``: the tools or the setup file has it. ``said``: what a comment of the program says of a tool.
    """

    kind: str
    number: int
    blocks: int
    place: Quote
    given: bool
    said: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingUse:
    """A reading that matters in one program: ``low`` to ``high`` are the values of its words, where it has some."""

    name: str
    blocks: int
    place: Quote
    low: float = 0.0
    high: float = 0.0
