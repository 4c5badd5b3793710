"""What refeed hands on: the new program, what was changed in it, and what lower feeds do not mend."""

from dataclasses import dataclass

from hexpost.audit.model import AuditResult


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A block whose feed was lowered: F in force before and now, as F words say it.

    ``line`` counts without the head comment, and in a split program with the parts.
    """

    line: int
    before: float
    now: float


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Refed:
    """The new program as bytes (the old ones where nothing had to change), and the audit of both.

    ``split``: blocks that were cut into shorter ones, by line of the old program.
    """

    source: bytes
    changes: tuple[Change, ...]
    split: tuple[int, ...]
    before: AuditResult
    after: AuditResult
