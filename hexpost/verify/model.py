"""What a proof hands on: one entry for each thing that was checked."""

from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from hexpost.arrays import Array, Ints

CLEAN, BROKEN, NOT_PROVEN = "clean", "broken", "not-proven"


@dataclass(frozen=True, slots=True, kw_only=True)
class Check:
    """One thing that was checked: ``proven`` or not, what was found, and the faults, at most ``MOST_FAULTS``."""

    name: str
    text: str
    faults: tuple[str, ...] = ()

    @property
    def proven(self) -> bool:
        """Return whether nothing speaks against it."""
        return not self.faults


class Lack(NamedTuple):
    """A limit that was not looked at, as a whole or in one ``part``, and what is ``missing``."""

    limit: str
    part: str
    missing: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Proof:
    """All checks of a job folder; ``broken``: its report says that a limit is broken; ``remarks`` on what it means.

    ``unchecked``: what the proof did not look at; ``unseen``: limits that the job was not checked for.
    """

    folder: str
    checks: tuple[Check, ...]
    broken: bool
    remarks: tuple[str, ...] = ()
    unchecked: tuple[str, ...] = ()
    unseen: tuple[Lack, ...] = ()

    def proven_but(self, name: str) -> bool:
        """Return whether the check ``name`` is the only one that speaks against the job."""
        return {c.name for c in self.checks if not c.proven} == {name}

    @property
    def verdict(self) -> str:
        """Return ``clean``, ``broken`` (proven, with limits broken as the report says) or ``not-proven``."""
        if not all(c.proven for c in self.checks):
            return NOT_PROVEN
        return BROKEN if self.broken else CLEAN


class Numbered(Protocol):
    """Rows of a table: the number of the first one, and their lines."""

    @property
    def first(self) -> int:
        """Return the number of the first row."""

    @property
    def line(self) -> Ints:
        """Return the lines (n,)."""


MOST_FAULTS = 5


@dataclass(slots=True)
class Faults:
    """Faults of one check as they are found: the first few in words, the rest counted."""

    texts: list[str] = field(default_factory=list)
    count: int = 0

    def add(self, text: str) -> None:
        """Take a fault."""
        self.count += 1
        if len(self.texts) < MOST_FAULTS:
            self.texts.append(text)

    def told(self) -> tuple[str, ...]:
        """Return the texts, with the number of those left out."""
        rest = self.count - len(self.texts)
        return (*self.texts, f"... and {rest:,} more") if rest else tuple(self.texts)


@dataclass(slots=True)
class Largest:
    """The largest of something so far: its size, the row, and the program line."""

    size: float = 0.0
    row: int = 0
    line: int = 0

    def take(self, sizes: Array, rows: Numbered, at: Ints) -> None:
        """Look at the sizes (n,) of the rows ``at`` of a batch."""
        if len(sizes):
            k = int(sizes.argmax())
            if sizes[k] > self.size:
                i = int(at[k])
                self.size, self.row, self.line = float(sizes[k]), rows.first + i, int(rows.line[i])
