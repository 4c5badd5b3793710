"""How far long work is, and how long it takes yet: in place on a terminal, else a line a minute."""

import signal
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from threading import current_thread, main_thread
from time import monotonic

import click

from hexpost.cli.terminal import columns_of, is_quiet

PATIENCE_S, EVERY_S, ELSEWHERE_S = 1.0, 0.2, 60.0
"""Work that is shorter shows nothing; seconds between two looks of a terminal, and between two lines elsewhere."""


class ShownProgress:
    """Counts parts of a work and says so on standard error."""

    def __init__(self, parts: str, total: int = 0) -> None:
        self._parts, self._total, self._done = parts, total, 0
        self._start = monotonic()
        self._terminal = sys.stderr.isatty()
        self._next = self._start + (PATIENCE_S if self._terminal else ELSEWHERE_S)
        self._shown = False

    def expect(self, total: int) -> None:
        """Set how many parts there are."""
        self._total = total

    def follow(self, parts: str, total: int) -> "ShownProgress":
        """Begin with the next work of the same run, of which there are ``total`` parts."""
        self._parts, self._total, self._done, self._start = parts, total, 0, monotonic()
        return self

    def step(self, parts: int) -> None:
        """Count so many more parts."""
        self.reach(self._done + parts)

    def reach(self, done: int) -> None:
        """Set how many parts are done."""
        self._done = done
        self._look(lambda seconds: said(self._parts, done, self._total, seconds))

    def go_on(self) -> None:
        """Say how long a work takes already whose parts nobody counts."""
        self._look(lambda seconds: f"{self._parts}: {_time(seconds)} so far")

    def end(self) -> None:
        """Take what stands on a terminal away."""
        if self._shown and self._terminal:
            click.echo("\r\x1b[K", err=True, nl=False, color=True)

    def _look(self, text: Callable[[float], str]) -> None:
        now = monotonic()
        if now >= self._next and not is_quiet():
            self._next = now + (EVERY_S if self._terminal else ELSEWHERE_S)
            self._show(text(now - self._start))

    def _show(self, text: str) -> None:
        self._shown = True
        if self._terminal:
            click.echo(f"\r{text[: (columns_of(sys.stderr) or len(text)) - 1]}\x1b[K", err=True, nl=False, color=True)
        else:
            click.echo(text, err=True)


@contextmanager
def watched(parts: str, total: int = 0) -> Iterator[ShownProgress]:
    """Yield what counts ``parts`` of a work, of which there are ``total``."""
    progress = ShownProgress(parts, total)
    try:
        yield progress
    finally:
        progress.end()


@contextmanager
def waited(work: str) -> Iterator[None]:
    """Say how long ``work`` takes already, where nobody counts its parts, by the system's alarm clock if it is free."""
    free = hasattr(signal, "setitimer") and signal.getsignal(signal.SIGALRM) is signal.SIG_DFL
    if not free or current_thread() is not main_thread():
        yield
        return
    progress = ShownProgress(work)
    before = signal.signal(signal.SIGALRM, lambda *_: progress.go_on())
    signal.setitimer(signal.ITIMER_REAL, PATIENCE_S, EVERY_S)
    try:
        yield
    finally:
        signal.setitimer(signal.ITIMER_REAL, 0.0)
        signal.signal(signal.SIGALRM, before)
        progress.end()


def said(parts: str, done: int, total: int, seconds: float) -> str:
    """Return how far a work is, and how long it takes yet if it goes on as it did for ``seconds``."""
    text = f"{parts}: {done:,} of {total:,}"
    return f"{text}, {_time(seconds * (total - done) / done)} left" if 0 < done < total else text


def _time(seconds: float) -> str:
    """Return a time in whole seconds, minutes and hours."""
    whole = max(round(seconds), 1)
    if whole < 60:
        return f"{whole} s"
    return f"{whole // 60} min {whole % 60:02d} s" if whole < 3600 else f"{whole // 3600} h {whole // 60 % 60:02d} min"
