"""Readings that matter: words whose meaning the machine file settles, who holds them, what each would mean."""

from collections.abc import Mapping
from dataclasses import dataclass, fields

from hexpost.machine.model import Machine
from hexpost.machine.wording import Wording
from hexpost.voice import number


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """A reading: its name, the key that settles it, what it is about, and each answer with what it would mean.

    In answers ``{low}`` and ``{high}`` are the least and the greatest value of the words, ``{low_ms}`` and
    ``{high_ms}`` the same over a thousand. ``needed``: without the key programs are refused.
    """

    name: str
    key: str
    about: str
    answers: Mapping[str, str]
    needed: bool = False
    least: str = ""
    """The answer to propose where it is a number: a text with ``{high}``."""


def _dwell(letter: str) -> Matter:
    answers = {"ms": "{low_ms} to {high_ms} s", "s": "{low} to {high} s", "none": "the letter means no time"}
    about = f"dwell times (G04) by {letter}, {{low}} to {{high}} as written"
    return Matter(name=f"dwell-{letter.lower()}", key=f"dwell_{letter.lower()}", about=about, answers=answers)


READINGS: tuple[Matter, ...] = (
    Matter(
        name="units", key="units", about="a length comes before any word for its unit", needed=True,
        answers={"mm": "lengths are millimetres", "inch": "lengths are inches"},
    ),
    *(_dwell(letter) for letter in "PXF"),
    Matter(
        name="arc-tolerance", key="arc_tolerance_mm", needed=True, least="{high}",
        about="start and end radius of arcs differ by up to {high} mm, more than is allowed",
        answers={"{high}": "all of these arcs are read, each with a radius that changes evenly"},
    ),
    Matter(
        name="returns", key="g28", about="G28 or G30 with a point on the way",
        answers={"through-point": "rapid to the point, then home", "direct": "straight home, whatever the numbers"},
    ),
    Matter(
        name="bare-returns", key="bare_return", about="G28 or G30 without axes",
        answers={"all-axes": "all axes go straight home, with no point on the way", "refuse": "refused"},
    ),
    Matter(
        name="home-or-tap", key="g74", about="G74, which leads home on some controls and taps on others", needed=True,
        answers={"through-point": "home by the point named", "direct": "straight home"},
    ),
    Matter(
        name="pecks", key="peck_clearance_mm", about="deep holes (G83) by pecks",
        answers={"0.5": "a peck begins so many mm above the bottom of the one before"},
    ),
    Matter(
        name="withdrawal", key="manual_withdrawal_s", about="bores that end with a withdrawal by hand (G87, G88)",
        needed=True, answers={"20": "it takes so many seconds"},
    ),
    Matter(
        name="cycles", key="", about="fixed cycles (G81 to G89)",
        answers={"": "`hexpost words G81` says how each is read; a tap (G84) needs a floating holder"},
    ),
    Matter(
        name="points", key="numbers", about="lengths of {low} to {high} without a decimal point",
        answers={"decimal": "X1000 is 1000", "implied": "the point is where format_mm or format_inch puts it"},
    ),
    Matter(
        name="inverse-time-arcs", key="inverse_time_arc", about="F of arcs under inverse time (G93)",
        answers={"time": "the arc lasts 1/F minutes", "radius": "F is the feed over the radius"},
    ),
    Matter(
        name="rotary", key="rotary", about="A B C words, {low} to {high} degrees",
        answers={
            "absolute": "turns as written; without [programmed_axes] A B C turn the tool about its tip",
            "shortest": "each turns at most half a turn",
        },
    ),
)  # fmt: skip
MATTERS = {row.name: row for row in READINGS}


def wording(machine: Machine) -> dict[str, str]:
    """Return how programs are read now, by key of ``[words]`` (or of its name in ``Wording``)."""
    found = {f.name: getattr(machine.words, f.name) for f in fields(Wording)}
    found |= {"arc_tolerance_mm": found["arc_tolerance"], "peck_clearance_mm": found["peck_clearance"]}
    return {key: number(x) if isinstance(x, float) else x for key, x in found.items() if isinstance(x, str | float)}


def about(name: str, low: float, high: float) -> str:
    """Return what a reading is about."""
    return _filled(MATTERS[name].about, low, high)


def answers(name: str, low: float, high: float) -> dict[str, str]:
    """Return the answers of a reading, each with what it would mean."""
    return {_filled(key, low, high): _filled(says, low, high) for key, says in MATTERS[name].answers.items()}


def _filled(text: str, low: float, high: float) -> str:
    shown = {"low": number(low), "high": number(high), "low_ms": number(low / 1e3), "high_ms": number(high / 1e3)}
    return text.format(**shown)
