"""The moves of one hole: the table of fixed cycles, and its rows."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

from hexpost.machine.wording import Wording
from hexpost.moves.expanding.draft import Row
from hexpost.moves.model import PECK
from hexpost.moves.reading.dwells import SECONDS


@dataclass(frozen=True, slots=True, kw_only=True)
class Recipe:
    """What a cycle does; ``dwell`` at the bottom is ``""``, ``"may"`` or ``"must"``.

    ``stays``: after a peck the tool goes back by the clearance alone, to break the chip, and not to R.
    """

    dwell: str = ""
    pecks: bool = False
    stays: bool = False
    tap: bool = False
    spindle_stops: bool = False
    by_hand: bool = False
    feeds_out: bool = False


USES = {"P": "a dwell at the bottom of a hole", "Q": "the depth of a peck"}
"""What words of a cycle are for."""
RECIPES = {
    73: Recipe(pecks=True, stays=True),
    81: Recipe(),
    82: Recipe(dwell="must"),
    83: Recipe(dwell="may", pecks=True),
    84: Recipe(tap=True, feeds_out=True),
    85: Recipe(feeds_out=True),
    86: Recipe(spindle_stops=True),
    87: Recipe(spindle_stops=True, by_hand=True),
    88: Recipe(dwell="must", spindle_stops=True, by_hand=True),
    89: Recipe(dwell="must", feeds_out=True),
}
"""The cycles by G code."""


@dataclass(slots=True, kw_only=True)
class Bore:
    """One hole, levels in mm along the axis: R plane, bottom, and where the tool is afterwards.

    ``up`` is 1 where the tool withdraws to the positive side, else -1; ``dwell`` the word P; ``peck`` the depth of one.
    ``spindle`` is the M code that turns the spindle as in the hole, ``start``: it must be started. ``hand``: 1 where
    a tap is right-hand, -1 where it is left-hand.
    """

    recipe: Recipe
    r: float
    bottom: float
    back: float
    up: float
    peck: float = 0.0
    dwell: tuple[int, float] | None = None
    spindle: int = 3
    start: bool = False
    hand: int = 1

    def mover(self, axis: str, at: int, scale: float) -> Callable[..., Row]:
        """Return a function from a level to the row that moves there, rapid or at feed."""

        def to(level: float, *, rapid: bool = False, exact: bool = False) -> Row:
            row: Row = {axis: (at, level / scale), "motion once": (at, 0 if rapid else 1), "distance once": (at, 90)}
            if self.recipe.tap and not rapid:
                row["tapping"] = (at, self.hand)
            return {**row, "exact stop once": (at, 9)} if exact else row

        return to


def bore(hole: Bore, axis: str, at: int, scale: float, reading: Wording) -> Iterator[Row]:
    """Yield the rows of one hole, from above R to where the tool is afterwards."""
    recipe, to = hole.recipe, hole.mover(axis, at, scale)
    yield to(hole.r, rapid=True)
    if hole.start:
        yield {"spindle": (at, hole.spindle)}
    if recipe.pecks:
        yield from _pecks(hole, to, reading.peck_clearance)
    yield to(hole.bottom, exact=True)
    if hole.dwell:
        yield {"dwell": (at, 4), "P": hole.dwell}
    if recipe.spindle_stops:
        yield {"spindle": (at, 5)}
    if recipe.by_hand and reading.manual_withdrawal is not None:
        yield {"dwell": (at, 4), "P": (at, reading.manual_withdrawal / SECONDS[reading.dwell_p])}
    if recipe.tap:
        yield {"spindle": (at, 7 - hole.spindle)}
    if recipe.feeds_out:
        yield to(hole.r, exact=True)
    if recipe.tap:
        yield {"spindle": (at, hole.spindle)}
    yield to(hole.back, rapid=True)
    if recipe.spindle_stops:
        yield {"spindle": (at, hole.spindle)}


def _pecks(hole: Bore, to: Callable[..., Row], clearance: float) -> Iterator[Row]:
    """Yield the rows of all pecks but the last; after each the tool is back just above its bottom."""
    depth = abs(hole.r - hole.bottom)
    count = 1
    while count * hole.peck < depth * (1.0 - 1e-12):
        level = hole.r - hole.up * count * hole.peck
        yield to(level, exact=True)
        if not hole.recipe.stays:
            yield to(hole.r, rapid=True)
        into = to(level + hole.up * min(clearance, count * hole.peck), rapid=True)
        yield {**into, "led": (into["motion once"][0], PECK)}
        count += 1
