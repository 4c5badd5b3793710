"""What an attack hands back, and the table of what was tried."""

import os
import signal
from contextlib import contextmanager
from dataclasses import dataclass, field

HANG_S = 120
"""A trial in this process that takes longer counts as hung; trials in processes of their own say their own bound."""
KEPT = 20


BUSIEST = 10.0
"""A bound is at most so many times longer on a computer that has too much to do."""


def patience(seconds):
    """Return a bound in s for this computer as it is now: longer by what waits for each of its cores."""
    return seconds * min(max(1.0, 2.0 * os.getloadavg()[0] / (os.cpu_count() or 1)), BUSIEST)


class HungError(Exception):
    """Something went on beyond the bound."""


@dataclass
class Outcome:
    """One trial or many: how often tried, how many ended in a result or in a refusal, what went wrong, the slowest.

    ``lost``: a traceback, an exit code that is none, a partial file, a manifest without its files, a changed input, a
    hang. ``wrong``: a result that is not proven, or not the same as without the attack.
    """

    tried: int = 1
    clean: int = 0
    refused: int = 0
    lost: list[str] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)
    slowest_s: float | None = None
    note: str = ""


@dataclass
class Tally:
    """All outcomes of one kind."""

    kind: str
    tried: int = 0
    clean: int = 0
    refused: int = 0
    lost: int = 0
    wrong: int = 0
    slowest_s: float = 0.0
    spent_s: float = 0.0
    note: str = ""
    examples: list[str] = field(default_factory=list)

    def add(self, outcome, seconds):
        """Count one outcome that took ``seconds``."""
        self.tried += outcome.tried
        self.clean += outcome.clean
        self.refused += outcome.refused
        self.lost += len(outcome.lost)
        self.wrong += len(outcome.wrong)
        self.slowest_s = max(self.slowest_s, seconds if outcome.slowest_s is None else outcome.slowest_s)
        self.spent_s += seconds
        self.note = outcome.note or self.note
        for name in ("lost", "wrong"):
            self.examples += [f"{name}: {text}" for text in getattr(outcome, name)]
        del self.examples[KEPT:]


HEADS = ("kind", "tried", "clean", "refused", "lost", "wrong", "slowest s", "spent s")


def table(tallies):
    """Return the table, one kind a row, what went wrong below it."""
    rows = [HEADS]
    rows += [
        (t.kind, *(f"{n:,}" for n in (t.tried, t.clean, t.refused, t.lost, t.wrong)), f"{t.slowest_s:.1f}",
         f"{t.spent_s:.0f}")
        for t in tallies
    ]  # fmt: skip
    widths = [max(len(row[i]) for row in rows) for i in range(len(HEADS))]
    lines = ["  ".join(c.ljust(w) if i == 0 else c.rjust(w) for i, (c, w) in enumerate(zip(row, widths, strict=True)))
             for row in rows]  # fmt: skip
    lines += [f"note  {t.kind}: {t.note}" for t in tallies if t.note]
    lines += [f"FOUND {t.kind}: {text}" for t in tallies for text in t.examples]
    return "\n".join(lines)


@contextmanager
def bounded(seconds=HANG_S):
    """Raise HungError in this (main) thread when the block takes longer."""

    def ring(number, frame):
        raise HungError(f"took more than {seconds} s")

    before = signal.signal(signal.SIGALRM, ring)
    signal.alarm(seconds)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.signal(signal.SIGALRM, before)
