"""Shapes that several parts of a report share: where something is worst, its worst blocks, sentences under a title."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from hexpost.audit.model import WorstSpot
from hexpost.documents import measured, seconds
from hexpost.pages.html import safe
from hexpost.voice import amount, clean, paragraph, plural


def where(spot: WorstSpot) -> dict[str, object]:
    """Return a place as plain values."""
    return {"line": spot.line or None, "time_s": seconds(spot.time)}


def spot_document(spot: WorstSpot, name: str = "worst_mm") -> dict[str, object]:
    """Return a place and its value, under a name with the unit, as plain values."""
    return {**where(spot), name: measured(spot.value)}


def millimetres(value: float) -> str:
    """Return a length [mm] in words."""
    return amount(value, "mm")


def worst_blocks(
    spots: Sequence[WorstSpot], *, first: str = "The worst", after: str = "", said: Callable[[float], str] = millimetres
) -> list[str]:
    """Return the sentence that names the worst blocks, values as ``said``; none for a single one."""
    if len(spots) < 2:
        return []
    blocks = ", ".join(f"{said(x.value)} in line {x.line}" for x in spots)
    return [f"{first} {plural(len(spots), 'block')}{after}: {blocks}."]


@dataclass(frozen=True, slots=True)
class Spoken:
    """A part of a report: a title and sentences, each an item; without sentences there is no part."""

    title: str
    sentences: Sequence[str]

    def text(self, width: int) -> list[str]:
        """Return title and items as lines."""
        return ["", self.title, "", *self.items(width)] if self.sentences else []

    def items(self, width: int) -> list[str]:
        """Return the items as lines."""
        return [line for item in self.sentences for line in paragraph(clean(item), width, "    ", "  - ")]

    def page(self) -> str:
        """Return the items for the page, which has a title of its own."""
        return "".join(f"<p>{safe(item)}</p>" for item in self.sentences)
