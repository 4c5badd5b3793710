"""What refeed hands on: the new program, what was changed in it, and what lower feeds do not mend."""

from dataclasses import dataclass

from hexpost.arrays import Ints
from hexpost.audit.model import AuditResult


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedChange:
    """A block whose feed was lowered: its line in the old and in the new program, F before and now, as F words say."""

    old_line: int
    line: int
    before: float
    now: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refed:
    """The new program as bytes (the old ones where nothing had to change), and the audit of both.

    By line of the old program: ``split`` are blocks that were cut into shorter ones, ``alone`` blocks left as they are
    although a lower feed would mend them, for their runs need different F words (a subprogram called in inch and in
    millimetre). ``after`` was made without the head comment: ``old_lines`` and ``new_lines`` (n,) hold, for each of its
    lines from 1, the number in the old program and in the new one.
    """

    source: bytes
    changes: tuple[FeedChange, ...]
    split: tuple[int, ...]
    before: AuditResult
    after: AuditResult
    alone: tuple[int, ...]
    old_lines: Ints
    new_lines: Ints
    periods: tuple[float, float]
    """Shortest and longest control period at which the new feeds were tried, s."""
