"""What a row of the table of limits says of a limit."""

from collections.abc import Iterator
from dataclasses import dataclass, fields
from enum import Enum


class Of(Enum):
    """What a limit is a limit of."""

    STRUT = "strut"
    TOOL = "tool"
    PAIR = "pair"
    PROGRAM = "program"


class Sense(Enum):
    """How a value is compared: at most or at least what is allowed, between two ends, or a rule that is kept or not."""

    MOST = "most"
    LEAST = "least"
    RANGE = "range"
    RULE = "rule"


class Law(Enum):
    """How a value grows with the feed: not at all, with the power 1 or 2 of it, or so beside ramps at starts and stops.

    The ramps of a ``SECOND`` derivative become milder with the feed, those of a ``THIRD`` one do not.
    """

    NONE = 0
    LINEAR = 1
    SQUARE = 2
    SECOND = 3
    THIRD = 4


class Place(Enum):
    """What place on the pallet has to do with a limit: nothing; the work offset may be wrong; another may mend it."""

    NONE = 0
    OFFSET = 1
    SEARCH = 2


class Chart(Enum):
    """Which charts of a page show the use of a limit: none; that of all limits; that and one of its own."""

    NONE = 0
    ALL = 1
    OWN = 2


@dataclass(frozen=True, slots=True)
class Advice:
    """What to do, by case; ``usual`` where a case has no text of its own.

    ``{feed}`` is the F to write, ``{peak}`` and ``{allowed}`` are the numbers of the finding, ``{root}`` is the root of
    allowed over peak.
    ``below``: the value is below its range. ``feed``: a lower F helps. ``rapid``: there is no F. ``ramp_feed``: a start
    or stop is too hard, and a lower F makes it milder; ``ramp``: it does not. ``fixed``: the block is in machine
    coordinates, so the place of the work has no part in it. ``{move}``: move the work, how far, where that is known.
    """

    usual: str = ""
    below: str = ""
    feed: str = ""
    rapid: str = ""
    ramp_feed: str = ""
    ramp: str = ""
    fixed: str = ""

    def words(self, case: int) -> str:
        """Return the text of a case."""
        return str(getattr(self, CASES[case])) or self.usual


CASES = tuple(f.name for f in fields(Advice))
USUAL, BELOW, FEED, RAPID, RAMP_FEED, RAMP, FIXED = range(len(CASES))
"""Cases of advice as findings hold them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """One limit; ``unit`` is that of value and allowed value (``"1"`` for a plain number).

    ``meaning`` says in a sentence what it means to break it, ``fault`` of a rule what the block does (``{peak}`` and
    ``{allowed}`` are numbers), ``note`` what the figures of a report mean. ``law``: how a lower feed helps.
    ``share``: a use in per cent makes sense. ``margin``: a policy may ask for less than all of it. A limit with a chart
    has a check that measures six struts at every sample; ``quantity`` is what its own chart shows. ``keys`` of the
    machine file: without the first it is not looked at, without another not in one respect (``Band.unseen``).
    ``ambiguous``: lengths beyond it mean more than one pose, so a table that breaks it cannot be proven.
    ``sampled``: its value grows with the square of the control period.
    ``remark``: what breaks it is a remark, until a policy raises it; its rule names the first move alone, and in its
    peak how many blocks there are.
    """

    name: str
    unit: str
    of: Of
    sense: Sense
    meaning: str
    advice: Advice = Advice()
    law: Law = Law.NONE
    place: Place = Place.NONE
    share: bool = True
    margin: bool = False
    chart: Chart = Chart.NONE
    quantity: str = ""
    fault: str = ""
    note: str = ""
    keys: tuple[str, ...] = ()
    ambiguous: bool = False
    sampled: bool = False
    remark: bool = False


@dataclass(frozen=True, slots=True)
class Limits:
    """A table of limits: rows by place and by name. It never changes; ``and_more`` makes another one."""

    rows: tuple[Limit, ...]

    def __iter__(self) -> Iterator[Limit]:
        """Return the rows in order."""
        return iter(self.rows)

    def __len__(self) -> int:
        """Return the number of rows."""
        return len(self.rows)

    def __getitem__(self, place: int) -> Limit:
        """Return the row at a place."""
        return self.rows[place]

    def index(self, name: str) -> int:
        """Return the place of the row of a name."""
        return next(i for i, row in enumerate(self.rows) if row.name == name)

    def of(self, name: str) -> Limit:
        """Return the row of a name."""
        return next(row for row in self.rows if row.name == name)

    def and_more(self, *rows: Limit) -> "Limits":
        """Return a table with more rows at its end."""
        return Limits((*self.rows, *rows))
