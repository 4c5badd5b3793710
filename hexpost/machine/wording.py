"""How a machine reads programs, as frozen data: tables ``[words]``, ``[[dialect]]``, ``[reference_return]``."""

from collections.abc import Mapping
from dataclasses import dataclass, field, fields

from hexpost.arrays import Array


@dataclass(frozen=True, slots=True)
class Digits:
    """Digits ahead of and behind an implied point; whether zeros at the end, not at the head, may be left out."""

    whole: int
    fraction: int
    trailing: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Wording:
    """How words are read where the standard leaves it open (table ``[words]`` of the machine file)."""

    units: str | None = None
    """``"mm"`` or ``"inch"``: units of a program that states none; ``None`` refuses it."""
    dwell_p: str = "ms"
    """Unit of ``P`` in a dwell block: ``"ms"``, ``"s"``, or ``"none"``: it means no time."""
    dwell_x: str = "s"
    """Unit of ``X`` in a dwell block, as ``dwell_p``."""
    dwell_f: str = "s"
    """Unit of ``F`` in a dwell block, as ``dwell_p``."""
    arc_tolerance: float = 0.02
    """Largest difference of start and end radius of an arc, mm."""
    numbers: str = "decimal"
    """Numbers without a point: ``"decimal"`` (X10 is 10) or ``"implied"`` (the formats below place the point)."""
    format_mm: Mapping[str, Digits] = field(default_factory=dict)
    """Places of the implied point by address letter, in programs in mm."""
    format_inch: Mapping[str, Digits] = field(default_factory=dict)
    """Places of the implied point by address letter, in programs in inch."""
    arc_centre: str = "incremental"
    """I J K of arcs, until a word of the dialect table says otherwise: ``"incremental"`` (from the start point) or
    ``"absolute"`` (places, in the coordinates of X Y Z)."""
    first_motion: str | None = None
    """Motion word of blocks ahead of the first one: ``"G00"`` or ``"G01"``; ``"refuse"``; ``None`` refuses all but
    heights alone, ahead of any place and any F."""
    first_feed: float | None = None
    """Feed of a program without any F, mm/s; ``None`` refuses it."""
    inverse_time_arc: str = "time"
    """F of an arc under inverse time: ``"time"`` (1/F minutes) or ``"radius"`` (feed over radius of the arc)."""
    mixed_feed: str = "tip"
    """F where X Y Z and A B C move: ``"tip"`` (its speed; ``"linear"`` alike) or ``"root-sum-square"`` (of mm, or inch,
    and degrees)."""
    rotary: str = "absolute"
    """Absolute rotary words: ``"absolute"`` (as written) or ``"shortest"`` (at most half a turn from where it is)."""
    orientation: str = "angles"
    """Between blocks ``"angles"`` (A B C in proportion) or ``"great-circle"`` (of the tool axis)."""
    g28: str = "through-point"
    """G28 and G30: ``"through-point"`` (rapid to the point named, then to the pose) or ``"direct"`` (straight)."""
    bare_return: str = "all-axes"
    """G28 and G30 without axes: ``"all-axes"`` (straight to the pose, no point on the way) or ``"refuse"``."""
    g74: str | None = None
    """G74, as ``g28``; ``None`` refuses it, for some controls tap by it."""
    tilted_length: str = "tip-stays"
    """Tool length that changes while A B C are not 0, axes that the block does not name: ``"tip-stays"`` (they do not
    move) or ``"coordinates-stay"`` (they go to the coordinates they had)."""
    peck_clearance: float = 0.5
    """A peck begins so far above the bottom of the one before, mm."""
    manual_withdrawal: float | None = None
    """Seconds that a withdrawal by hand takes (G87, G88); ``None`` refuses these cycles."""


_UNITS = {"arc_tolerance": "_mm", "first_feed": "_mm_min", "peck_clearance": "_mm", "manual_withdrawal": "_s"}
OF_WORDS = {key: f"words.{key}" for key in (f.name + _UNITS.get(f.name, "") for f in fields(Wording))}
"""Keys of ``[words]`` with their path: a ``#`` taken away ahead of one alone leaves it in the table above."""


@dataclass(frozen=True, slots=True, kw_only=True)
class AskedUnits:
    """Units that somebody asked for, for programs that state none, and those of the machine file: mm or inch."""

    units: str
    file: str | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RotaryAxis:
    """A rotary axis of the machine that programs were posted for: word, ``"table"`` or ``"head"``, line, sense.

    ``direction`` (3,) is a unit vector and ``centre`` (3,) [mm] a point of the axis, both with all words 0: in the
    work frame, the centre of a head axis seen from the spindle gauge point. ``sense`` 1: the word counts right-handed
    how the tool turns about the part (ISO 841); -1: the other way.
    """

    word: str
    carries: str
    direction: Array
    sense: int
    centre: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ProgrammedAxes:
    """The rotary axes from the bed outwards; ``tip``: X Y Z are the tip in the part, else the machine's own axes.

    ``vector``: there are none, and these three letters are the axis of the tool, from the tip to the spindle.
    """

    axes: tuple[RotaryAxis, ...]
    tip: bool = True
    vector: str = ""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class ReferenceReturn:
    """Where reference returns lead: poses (6,) of the gauge point in the base frame, by G code."""

    g28: Array
    g30: Array
    g74: Array


UNDECIDED = "undecided"
"""Action of a row of the dialect table that somebody has yet to decide."""


CENTRES = {"incremental-centres": 0.0, "absolute-centres": 1.0}
"""Actions of the dialect table that say how arc centres are given, and what stands for them in a program."""


@dataclass(frozen=True, slots=True, kw_only=True)
class DialectWord:
    """One row of the dialect table: the word (``"M77"``, or a letter alone), what is done with it.

    ``action`` is ``"ignore"``, ``"same-as"`` (then ``same_as`` is the word meant), ``"absolute-centres"`` or
    ``"incremental-centres"`` (of arcs, from here on), ``"refuse"`` or ``"undecided"``, as
    if there were no such row. ``message`` is what the report says of it. ``along`` (key ``with``): letters of the words
    in its block that are ignored with it.
    """

    word: str
    action: str
    same_as: str = ""
    message: str = ""
    along: str = ""
