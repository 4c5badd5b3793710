"""Readings that matter: words whose meaning the machine file settles, who holds them, what each would mean."""

from collections.abc import Mapping
from dataclasses import dataclass, fields

from hexpost.machine.model import Machine
from hexpost.machine.wording import Wording
from hexpost.units import SECONDS_PER_MINUTE
from hexpost.voice import number


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """A reading: its name, the key that settles it, what it is about, and each answer with what it would mean.

    In answers ``{range}`` is between which values the words lie, ``{range_ms}`` the same over a thousand, ``{high}``
    the greatest. ``needed``: without the key programs are refused.
    """

    name: str
    key: str
    about: str
    answers: Mapping[str, str]
    needed: bool = False


def _dwell(letter: str) -> Matter:
    answers = {"ms": "{range_ms} s", "s": "{range} s", "none": "the letter means no time"}
    about = f"dwell times (G04) by {letter}, {{range}} as written"
    return Matter(name=f"dwell-{letter.lower()}", key=f"dwell_{letter.lower()}", about=about, answers=answers)


READINGS: tuple[Matter, ...] = (
    Matter(
        name="units", key="units", needed=True,
        about="a length comes before any word for its unit (by path: gate.toml)",
        answers={"mm": "lengths are millimetres", "inch": "lengths are inches"},
    ),
    *(_dwell(letter) for letter in "PXF"),
    Matter(
        name="arc-tolerance", key="arc_tolerance_mm", needed=True,
        about="start and end radius of arcs differ by up to {high} mm, more than is allowed",
        answers={"{high}": "all of these arcs are read, each with a radius that changes evenly"},
    ),
    Matter(
        name="arc-centres", key="arc_centre", about="arcs that close only if I J K are read the other way", needed=True,
        answers={"incremental": "I J K count from the start point of the arc", "absolute": "I J K are places"},
    ),
    Matter(
        name="first-feed", key="first_feed_mm_min", about="feed moves in programs that hold no F at all", needed=True,
        answers={"": "your feed, in mm/min, for every program without any F"},
    ),
    Matter(
        name="first-motion", key="first_motion", about="axis words ahead of the first motion word", needed=True,
        answers={"G00": "these blocks are rapids", "G01": "these blocks are lines at a feed"},
    ),
    Matter(
        name="first-heights", key="first_motion",
        about="heights alone ahead of the first motion word, of any place and of any F",
        answers={"G00": "rapids, as without the key", "G01": "lines at a feed", "refuse": "refused"},
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
        name="pecks", key="peck_clearance_mm", about="deep holes (G73, G83) by pecks",
        answers={"0.5": "a peck begins so many mm above the bottom of the one before; G73 goes back no further"},
    ),
    Matter(
        name="withdrawal", key="manual_withdrawal_s", about="bores that end with a withdrawal by hand (G87, G88)",
        needed=True, answers={"20": "it takes so many seconds"},
    ),
    Matter(
        name="cycles", key="", about="fixed cycles (G73, G81 to G89)",
        answers={"": "`hexpost words G81` says how each is read; a tap (G84) needs a floating holder"},
    ),
    Matter(
        name="points", key="numbers", about="lengths of {range} without a decimal point",
        answers={"decimal": "X1000 is 1000", "implied": "the point is where format_mm or format_inch puts it"},
    ),
    Matter(
        name="inverse-time-arcs", key="inverse_time_arc", about="F of arcs under inverse time (G93)",
        answers={"time": "the arc lasts 1/F minutes", "radius": "F is the feed over the radius"},
    ),
    Matter(
        name="tool-vector", key="", about="I J K of length 1 on G00 and G01 blocks",
        answers={"": "with tool_vector in [programmed_axes] they are the axis of the tool; refused without"},
    ),
    Matter(
        name="turns", key="", about="A B C words above 360 degrees, {range}",
        answers={"": "[programmed_axes] says for which rotary axes they were posted; refused without"},
    ),
    Matter(
        name="rotary", key="rotary", about="A B C words, {range} degrees",
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
    found |= {
        "arc_tolerance_mm": found["arc_tolerance"], "peck_clearance_mm": found["peck_clearance"],
        "manual_withdrawal_s": found["manual_withdrawal"],
        "first_feed_mm_min": machine.words.first_feed and machine.words.first_feed * SECONDS_PER_MINUTE,
    }  # fmt: skip
    return {key: number(x) if isinstance(x, float) else x for key, x in found.items() if isinstance(x, str | float)}


def about(name: str, low: float, high: float) -> str:
    """Return what a reading is about."""
    return _filled(MATTERS[name].about, low, high)


def answers(name: str, low: float, high: float) -> dict[str, str]:
    """Return the answers of a reading, each with what it would mean."""
    return {_filled(key, low, high): _filled(says, low, high) for key, says in MATTERS[name].answers.items()}


def _filled(text: str, low: float, high: float) -> str:
    shown = {"high": number(high), "range": _range(low, high), "range_ms": _range(low / 1e3, high / 1e3)}
    return text.format(**shown)


def _range(low: float, high: float) -> str:
    return number(low) if low == high else f"{number(low)} to {number(high)}"
