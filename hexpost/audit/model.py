"""What the audit hands on: findings as columns, and the worst use of each limit."""

from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from math import floor, isfinite, log10
from typing import Any

import numpy as np
import numpy.typing as npt

from hexpost.arrays import Array, distinct
from hexpost.audit.banding import TipBand, TipBands
from hexpost.audit.behaviour import NOT_DESCRIBED, Behaviour
from hexpost.audit.duty import DriveDuty, Duty
from hexpost.audit.forecast import Followed, Forecast
from hexpost.audit.limit import RAMP, Advice, Chart, Law, Limit, Limits, Of, Place, Sense
from hexpost.audit.limits import FEED_CAP, LIMITS
from hexpost.audit.sagging import Sag
from hexpost.audit.shaking import Calmed, Shaken
from hexpost.audit.spots import WorstSpot
from hexpost.moves.model import SAME_WORD
from hexpost.program.model import Program
from hexpost.setpoints.model import Setpoints

__all__ = [
    "BODIES", "FEED_CAP", "F_UNITS", "JOINTS", "LIMITS", "NOT_DESCRIBED", "RAMP", "RUN", "WAYS", "Advice",
    "AuditResult", "Behaviour", "Calmed", "Chart", "Charted", "DriveDuty", "Dropped", "Duty", "Finding", "Findings",
    "Followed", "Forecast", "Law", "Limit", "Limits", "Nearest", "Of", "Place", "Runs", "Sag", "Sense", "Shaken",
    "TipBand", "TipBands", "Unseen", "Worst", "WorstSpot", "names_of", "quoted",
]  # fmt: skip

JOINTS = ("", "base", "platform")
"""Names of the ends of a strut, by the number that a finding holds; 0 where no joint is meant."""

BODIES = 128
"""Struts are bodies 0 to 5, the spindle 6, keep-out boxes 7 and on; bodies i and j are told as 1 + i ``BODIES`` + j."""

WAYS = ("", "X+", "X-", "Y+", "Y-", "Z+", "Z-")
"""Ways along the axes of the pallet, by the number that a finding holds; 0 where none is meant."""

F_UNITS = ("", "mm/min", "inch/min", "deg/min", "mm/rev", "inch/rev", "1/min")
"""Units of F words, by the number that a finding holds."""

F_DIGITS = 4
"""Digits of an advised F word."""

MOST_TEXT = 200
"""Characters of a block that are quoted."""

RUN = np.dtype(
    [
        ("limit", np.uint8), ("strut", np.uint8), ("line", np.int32), ("start", np.int64), ("end", np.int64),
        ("peak", np.float64), ("allowed", np.float64), ("ratio", np.float64), ("own_feed", np.float64),
        ("feed", np.float64), ("margin_feed", np.float64), ("room", np.float64), ("tried", np.bool_),
        ("turning", np.bool_), ("f_share", np.float64), ("f_unit", np.uint8), ("case", np.uint8),
        ("joint", np.uint8), ("bodies", np.uint16), ("shift", np.float64), ("way", np.uint8),
    ]
)  # fmt: skip
"""The columns of findings. ``limit``: place in the table; ``strut`` 1-6, 0 where none is meant; ``line`` from 1;
``start`` and ``end``: first and last tick; ``peak`` and ``allowed`` in the unit of the limit, ``ratio`` peak over
allowed in its sense; ``own_feed``: feed in mm/min, in deg/min where ``turning``, that keeps this limit, nan where a
lower one does not help; ``feed``: the one of the line that is advised, and ``margin_feed`` the one that keeps the
margins of a policy, too; ``tried``: the program was planned and audited with the advised feeds; ``room``: with every
advised feed so many times as high, but none above the programmed one, the line breaks a limit; ``f_share``: F word of
the line, in ``F_UNITS``, over advised feed, nan where there is no such word; ``case`` of advice; ``joint`` by
``JOINTS``; ``bodies``: the two that meet, 0 where none are meant. ``shift``: so many mm the work would have to move for
this limit at the worst sample, in the ``way`` of ``WAYS``; meant only where there is one."""

Runs = npt.NDArray[np.void]


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One broken limit and its block: a row of ``Findings`` as all outputs show it, times in s.

    ``tried``, ``room``, ``shift`` and ``way`` are as in ``RUN``. ``needs_point``: an F word needs a decimal point.
    ``bodies`` are names; ``margin`` is the share of the limit that a policy asks for. ``blocks`` is more than 1 where
    too many lines are alike and only the worst of them is named; ``fingerprint`` stays the same when lines are inserted
    above or blocks renumbered.
    """

    limit: Limit
    line: int
    until: float
    peak: float
    allowed: float
    ratio: float
    strut: int = 0
    time: float = 0.0
    feed: float | None = None
    margin_feed: float | None = None
    tried: bool = False
    room: float | None = None
    turning: bool = False
    f_share: float | None = None
    f_unit: str = ""
    needs_point: bool = False
    case: int = 0
    joint: str = ""
    shift: float | None = None
    way: str = ""
    bodies: tuple[str, ...] = ()
    block: str = ""
    text: str = ""
    margin: float = 1.0
    blocks: int = 1
    fingerprint: str = ""

    @property
    def advises_feed(self) -> bool:
        """Return whether a feed is advised, for the limit or for the margin of a policy."""
        return self.feed is not None or self.margin_feed is not None

    def f_word(self, feed: float | None) -> float | None:
        """Return an advised feed as an F word of the line, rounded down; ``None`` where none is known."""
        if feed is None or self.f_share is None:
            return None
        return rounded_word(feed * self.f_share)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Findings:
    """Broken limits, worst ratio first: one per block, limit and strut for consecutive samples.

    ``runs`` (f,) are rows of ``RUN``, whose columns are attributes of this, too; ``limits`` is the table that they
    index, ``period`` that of the ticks, s. ``needs_point``: F words need a decimal point. ``boxes``: names of keep-out
    boxes.
    """

    runs: Runs
    limits: Limits
    period: float
    needs_point: bool = False
    boxes: tuple[str, ...] = ()

    def __getattr__(self, name: str) -> npt.NDArray[Any]:
        """Return a column of ``RUN``."""
        if name in (RUN.names or ()):
            column: npt.NDArray[Any] = self.runs[name]
            return column
        raise AttributeError(name)

    @property
    def count(self) -> int:
        """Return the number of findings."""
        return len(self.runs)

    @property
    def time(self) -> Array:
        """Return when each begins, s."""
        return self.start * self.period

    @property
    def until(self) -> Array:
        """Return when each ends, s."""
        return self.end * self.period

    def row(self, i: int, program: Program | None = None) -> Finding:
        """Return finding ``i``, with its block if the ``program`` is given."""
        run = dict(zip(RUN.names or (), self.runs[i].item(), strict=True))
        del run["own_feed"]
        line = run["line"]
        known = program if program is not None and 1 <= line <= program.lines else None
        seen = {
            "limit": self.limits[run["limit"]],
            "time": run.pop("start") * self.period,
            "until": run.pop("end") * self.period,
            "feed": run["feed"] if isfinite(run["feed"]) else None,
            "margin_feed": run["margin_feed"] if isfinite(run["margin_feed"]) else None,
            "room": run["room"] if isfinite(run["room"]) else None,
            "f_share": run["f_share"] if isfinite(run["f_share"]) else None,
            "f_unit": F_UNITS[run["f_unit"]],
            "needs_point": self.needs_point,
            "joint": JOINTS[run["joint"]],
            "shift": run["shift"] if run["way"] else None,
            "way": WAYS[run["way"]],
            "bodies": names_of(run["bodies"], self.boxes),
            "block": known.block(line) if known else "",
            "text": quoted(known.text(line)) if known else "",
        }
        return Finding(**run | seen)


def rounded_word(feed: float) -> float:
    """Return a feed rounded down to ``F_DIGITS`` digits."""
    word = float(f"{feed:.9g}")
    step = 10.0 ** (floor(log10(word)) + 1 - F_DIGITS)
    return float(f"{floor(word / step * (1.0 + SAME_WORD)) * step:.9g}")


def names_of(bodies: int, boxes: Sequence[str]) -> tuple[str, ...]:
    """Return the names of two bodies, given as in ``RUN``, none for 0; ``boxes`` have names of their own."""
    if not bodies:
        return ()
    names = [*(f"strut {k}" for k in range(1, 7)), "spindle", *boxes]
    first, second = divmod(bodies - 1, BODIES)
    return names[first], names[second]


def quoted(text: str) -> str:
    """Return the text of a block as a report quotes it: UTF-8 where it is that, and cut where it is endless."""
    text = text.strip()
    with suppress(UnicodeError):
        text = text.encode("latin-1").decode("utf-8")
    return text if len(text) <= MOST_TEXT else text[: MOST_TEXT - 4] + " ..."


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Charted:
    """A limit with a chart: what measures values (6, n) of setpoints, and the ends (6,) of what is allowed."""

    limit: Limit
    measure: Callable[[Setpoints], Array | None]
    low: Array
    high: Array


@dataclass(frozen=True, slots=True, kw_only=True)
class Worst:
    """The worst value of one limit on one strut (0: the whole tool) over a job: its use of the limit, where, when."""

    limit: Limit
    strut: int
    value: float
    allowed: float
    ratio: float
    line: int
    time: float
    joint: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class Nearest:
    """The smallest distance of two bodies over a job: their names, and the distance in mm with its line and time."""

    bodies: tuple[str, ...]
    worst: Worst


@dataclass(frozen=True, slots=True, kw_only=True)
class Unseen:
    """A limit that was not looked at, as a whole or in one respect, and what is ``missing``: a key, a file."""

    limit: str
    part: str
    missing: str

    @property
    def plain(self) -> dict[str, object]:
        """Return it as JSON outputs have it; ``part`` is null where all of the limit is meant."""
        return {"limit": self.limit, "part": self.part or None, "missing": self.missing}


@dataclass(frozen=True, slots=True, kw_only=True)
class Dropped:
    """Findings of one limit that found no room: how many, none with a greater ratio than ``most_ratio``."""

    limit: str
    count: int
    most_ratio: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class AuditResult:
    """Findings, the worst of everything, extent of the job, and remarks that are not findings."""

    findings: Findings
    worst: tuple[Worst, ...]
    samples: int
    duration: float
    shortest: Array
    longest: Array
    warnings: tuple[str, ...]
    dropped: tuple[Dropped, ...] = ()
    """Findings beyond the most that are kept of a limit (the mildest are dropped)."""
    unseen: tuple[Unseen, ...] = ()
    nearest: tuple[Nearest, ...] = ()
    """The smallest distance of each pair of bodies, the nearest pair first."""
    behaviour: Behaviour = NOT_DESCRIBED
    remarks: Findings | None = None
    """What breaks limits that are remarks; ``warnings`` has their sentences, too."""

    @property
    def total(self) -> int:
        """Return the number of all findings."""
        return self.findings.count + sum(x.count for x in self.dropped)

    @property
    def ambiguous(self) -> bool:
        """Return whether lengths of the job mean more than one pose somewhere: nobody can prove its table."""
        return any(self.findings.limits[i].ambiguous for i in distinct(self.findings.limit))
