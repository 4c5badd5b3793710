"""Kinds of damage: what each does to a forged folder, how much of it must be found, and where it can be tried."""

from collections.abc import Callable
from dataclasses import dataclass


class NotHereError(Exception):
    """This job has nothing that the damage could be done to."""


@dataclass(frozen=True)
class Kind:
    """One kind of damage.

    ``make(forgery, rng, size)`` damages a folder; ``size`` is 1.0 where there is no more and less of it. ``judged`` is
    the size that a proof must find, ``floor`` the smallest that is tried, ``unit`` that of both.
    """

    name: str
    group: str
    make: Callable
    judged: float = 1.0
    floor: float = 1.0
    unit: str = ""

    @property
    def sized(self):
        """Return whether there is more and less of it."""
        return self.floor < self.judged


KINDS: dict[str, Kind] = {}


def kind(name, group, judged=1.0, floor=None, unit=""):
    """Enter a function that does damage of a kind."""

    def enter(make):
        assert name not in KINDS, name
        KINDS[name] = Kind(name, group, make, judged, judged if floor is None else floor, unit)
        return make

    return enter
