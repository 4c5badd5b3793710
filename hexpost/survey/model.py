"""What a survey hands on: what was seen of each program, and what the library needs as a whole."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from hexpost.moves.needs.model import NumberUse, ReadingUse, WordUse

State = Literal["read", "open", "text"]
"""Of a program: it is read now; once the questions are answered; or by no setting, for its text is at fault."""


@dataclass(frozen=True, slots=True)
class Trouble:
    """What keeps a program from being read: class, code of the fault, line (0: the file as a whole), what is wrong."""

    name: str
    code: str
    line: int
    what: str
    text: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """What was seen of one program.

    ``faults``: of the program as the files read it now, how many. ``troubles``: one for each class of them.
    ``units``: ``"mm"``, ``"inch"``, ``"mm and inch"``, or nothing where a length comes before any unit.
    ``extents``: least and most place of each axis that moves, X Y Z in mm, A B C in degrees; of a program without
    units its own numbers.
    """

    name: str
    state: State = "text"
    lines: int = 0
    faults: int = 0
    units: str = ""
    words: tuple[WordUse, ...] = ()
    numbers: tuple[NumberUse, ...] = ()
    readings: tuple[ReadingUse, ...] = ()
    troubles: tuple[Trouble, ...] = ()
    extents: Mapping[str, tuple[float, float]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Mention:
    """A place in the library: program, line, text of the block."""

    program: str
    line: int
    text: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LibraryWord:
    """A word that nothing reads, over the library; ``undecided``: the machine file has a row for it already."""

    word: str
    programs: int
    blocks: int
    beside: Mapping[str, int]
    left: Mapping[str, int]
    spots: tuple[Mention, ...]
    undecided: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class LibraryNumber:
    """A tool, row or offset, over the library; ``missing``: programs whose file does not have it."""

    kind: str
    number: int
    programs: int
    missing: int
    spot: Mention
    said: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LibraryReading:
    """A reading that matters, over the library."""

    name: str
    programs: int
    blocks: int
    low: float
    high: float
    spots: tuple[Mention, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Survey:
    """The survey of a library, in order of path. ``wordings``: how programs are read now, by key of ``[words]``."""

    sights: tuple[Sight, ...]
    words: tuple[LibraryWord, ...]
    numbers: tuple[LibraryNumber, ...]
    readings: tuple[LibraryReading, ...]
    wording: Mapping[str, str]

    def of(self, state: State) -> tuple[Sight, ...]:
        """Return the programs of a state."""
        return tuple(s for s in self.sights if s.state == state)
