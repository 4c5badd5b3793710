"""Feeds that must not be passed in some lines of a program: for a clamp, or for a thin wall."""

import re
from collections.abc import Sequence
from dataclasses import dataclass

from hexpost.errors import HexpostError, digits
from hexpost.units import SECONDS_PER_MINUTE

_FORM = re.compile(r"([0-9]{1,8}):([0-9]{1,8})=([0-9]{1,9}(?:\.[0-9]{0,6})?)")
LEAST_F, MOST_F = 1e-3, 1e7
"""Range of a feed that is a cap, mm/min."""
MOST_CAPS = 1000
DECIMALS = 6
"""Most decimals of a cap."""


@dataclass(frozen=True, slots=True, kw_only=True)
class FeedCap:
    """The tip goes no faster than ``feed`` [mm/s] in feed moves of lines ``first`` to ``last``, both included."""

    first: int
    last: int
    feed: float

    @property
    def _word(self) -> str:
        return f"{self.feed * SECONDS_PER_MINUTE:.{DECIMALS}f}".rstrip("0").rstrip(".")

    @property
    def text(self) -> str:
        """Return it as it is typed."""
        return f"{self.first}:{self.last}={self._word}"

    @property
    def sentence(self) -> str:
        """Return it as a sentence."""
        lines = f"Lines {self.first} to {self.last}" if self.first != self.last else f"Line {self.first}"
        return f"{lines}: the tip goes at most {self._word} mm/min in feed moves (--at-most)."


def feed_cap(text: str) -> FeedCap:
    """Return what ``A:B=F`` says: lines of the file, from 1, and a feed in mm/min.

    Raises
    ------
    HexpostError
        It is not so written, or out of range.
    """
    found = _FORM.fullmatch(text.strip())
    shown = f"'{text[:60]}'" if text.isprintable() else ascii(text[:60])
    if found is None:
        raise HexpostError(f"{shown} is not A:B=F; write first line, last line, mm/min: 120:180=500")
    first, last, feed = int(found[1]), int(found[2]), float(found[3])
    if not 1 <= first <= last:
        raise HexpostError(f"{shown} names no lines; write them from 1, the first no later than the last")
    if not LEAST_F <= feed <= MOST_F:
        raise HexpostError(f"{shown} holds no feed; write {LEAST_F:g} to {digits(MOST_F)} mm/min")
    return FeedCap(first=first, last=last, feed=feed / SECONDS_PER_MINUTE)


def feed_caps(texts: Sequence[str]) -> tuple[FeedCap, ...]:
    """Return what several say; where they overlap, the least counts.

    Raises
    ------
    HexpostError
        One is not so written, or there are too many.
    """
    if len(texts) > MOST_CAPS:
        raise HexpostError(f"{len(texts):,} ranges of lines; at most {MOST_CAPS:,} are taken")
    return tuple(feed_cap(text) for text in texts)
