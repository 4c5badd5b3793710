"""What the settings of a job mean, by this proof's own equations: they are bounded, and nothing is believed of them.

Override: every feed, and the speeds of tip and tilt, times so many per cent. Lift: every work frame higher along the
pallet's z, machine coordinates where they were. Single block: rest after every block. Restart: see ``restart``. Yaw:
free only where the tool is round and nothing asks for an angle about its axis; then the axis counts, not the angle.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from math import isfinite, radians
from pathlib import Path
from typing import Any

import numpy as np

from hexpost.arrays import Flags
from hexpost.errors import Fault, HexpostError, InputError
from hexpost.machine.feed_caps import FeedCap, feed_caps
from hexpost.machine.load import load_machine, load_setup, load_tools, no_setup, no_tools
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.machine.reading import read_text
from hexpost.moves.interpret import interpret
from hexpost.moves.model import FEED_INVERSE, FEED_TIP, ORIENTED, Interpretation, Moves, Switches
from hexpost.moves.order.begin import Asked
from hexpost.moves.restart import restarted
from hexpost.program.model import Program
from hexpost.program.read import read
from hexpost.verify.plain import open_plain
from hexpost.verify.struts import Angles

MOST_PROGRAM = 500_000_000
"""Bytes of an input, at most."""
MOST_LIFT = 1e5
FEEDS, YAWS = ("as-programmed", "strut-limited"), ("fixed", "best", "follow")
_KNOWN = {
    "feed", "yaw", "yaw_deg", "period_us", "table", "rows_per_file", "stride", "skip", "stops", "override_percent",
    "lift_mm", "single_block", "from_line", "from_run", "restart", "units", "proof", "yaw_asked", "at_most",
    "knots_within_um",
    "calm_lowest", "effort",
}  # fmt: skip
_SAME = 1e-9
KNOTS_UM = (0.01, 1000.0)
"""Least and most that cubics may be off the rows, um."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JobSettings:
    """The settings of a job, within their bounds."""

    feed: str = "as-programmed"
    yaw: str = "fixed"
    yaw_angle: float = 0.0
    skip: bool = False
    stops: bool = True
    override: float = 1.0
    lift: float = 0.0
    single_block: bool = False
    from_line: int = 0
    from_run: int = 1
    units: str | None = None
    at_most: tuple[FeedCap, ...] = ()
    knots_within: float | None = None
    """How near the cubics between knots must stay to the rows, mm; ``None``: the job has no knots."""
    calm: bool = False
    effort: bool = False


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JobInputs:
    """What is to be proven: the machine and the moves as the settings mean them."""

    machine: Machine
    tools: Tools
    meaning: Interpretation
    settings: JobSettings


def settings_of(told: Mapping[str, Any]) -> JobSettings:
    """Return the settings that a manifest tells.

    Raises
    ------
    HexpostError
        One is not known, or beyond its bounds.
    """

    def number(name: str, usual: float, low: float, high: float) -> float:
        value = told.get(name, usual)
        sound = isinstance(value, int | float) and not isinstance(value, bool) and isfinite(value)
        if not sound or not low <= value <= high:
            raise HexpostError(f"manifest.json: settings.{name}: expected {low:g} to {high:g}, found {value!r:.40}")
        return float(value)

    def one_of(name: str, usual: Any, known: tuple[Any, ...]) -> Any:  # noqa: ANN401 - texts or flags
        value = told.get(name, usual)
        if not any(value is k or (isinstance(k, str) and value == k) for k in known):
            raise HexpostError(f"manifest.json: settings.{name}: expected one of {known}, found {value!r:.40}")
        return value

    one_of("proof", usual=True, known=(True, False))
    one_of("yaw_asked", "fixed", YAWS)
    if strange := sorted(set(told) - _KNOWN):
        raise HexpostError(f"manifest.json: settings: {strange[0]!r:.40} is not known")
    yaw = one_of("yaw", "fixed", YAWS)
    angle = radians(number("yaw_deg", 0.0, -180.0, 180.0))
    if yaw == "fixed" and angle:
        raise HexpostError("manifest.json: settings.yaw_deg: expected 0 where the yaw is fixed")
    line, run = number("from_line", 0, 0, 2**31 - 1), number("from_run", 1, 1, 2**31 - 1)
    if line != int(line) or run != int(run):
        raise HexpostError("manifest.json: settings.from_line, from_run: expected whole numbers")
    return JobSettings(
        feed=one_of("feed", None, FEEDS),
        yaw=yaw,
        yaw_angle=angle,
        skip=one_of("skip", usual=False, known=(True, False)),
        stops=one_of("stops", usual=True, known=(True, False)),
        override=number("override_percent", 100.0, 1e-9, 100.0) / 100.0,
        lift=number("lift_mm", 0.0, 0.0, MOST_LIFT),
        single_block=one_of("single_block", usual=False, known=(True, False)),
        from_line=int(line),
        from_run=int(run),
        units=one_of("units", None, (None, "mm", "inch")),
        at_most=_caps(told.get("at_most", [])),
        knots_within=number("knots_within_um", 0.0, *KNOTS_UM) / 1e3 if "knots_within_um" in told else None,
        calm=one_of("calm_lowest", usual=False, known=(True, False)),
        effort=one_of("effort", "usual", ("usual", "best") if told.get("feed") == FEEDS[1] else ("usual",)) == "best",
    )


def _caps(told: object) -> tuple[FeedCap, ...]:
    """Return the feeds that are not to be passed in some lines."""
    if not isinstance(told, list) or not all(isinstance(x, str) for x in told):
        raise HexpostError(f"manifest.json: settings.at_most: expected a list of texts, found {told!r:.40}")
    try:
        return feed_caps(told)
    except HexpostError as error:
        raise HexpostError(f"manifest.json: settings.at_most: {error}") from None


def read_inputs(files: Mapping[str, Path], root: Path, settings: JobSettings) -> JobInputs:
    """Return what files by role (``program``, ``machine``, ``tools``, ``setup``; no other is read) and settings mean.

    Raises
    ------
    HexpostError
        A file is not there, no plain file, or has faults; or the settings are not those that the inputs allow.
    """
    for role in ("program", "machine"):
        if role not in files:
            raise HexpostError(f"manifest.json: inputs: expected a {role}")
    for file in files.values():
        open_plain(file, MOST_PROGRAM, root=root).close()
    machine = load_machine(files["machine"])
    tools = load_tools(files["tools"]) if "tools" in files else no_tools()
    setup = load_setup(files["setup"]) if "setup" in files else no_setup()
    faults: list[Fault] = []
    program = read(read_text(files["program"], MOST_PROGRAM), files["program"].name, faults)
    if faults:
        raise InputError(faults)
    return meant(program, machine, tools, setup, settings)


def meant(program: Program, machine: Machine, tools: Tools, setup: Setup, settings: JobSettings) -> JobInputs:
    """Return what a program means under settings."""
    machine = machine.with_units(settings.units)
    placed = replace(setup, yaw=settings.yaw_angle, lift=settings.lift)
    switches = Switches(stops=settings.stops, skip=settings.skip)
    faults: list[Fault] = []
    begin = Asked(settings.from_line, settings.from_run) if settings.from_line else None
    meaning = interpret(program, machine, tools, placed, faults, switches=switches, begin=begin)
    if faults:
        raise InputError(faults)
    meaning = replace(meaning, moves=_held(meaning.moves, settings.at_most))
    if settings.lift:
        plain = interpret(program, machine, tools, replace(placed, lift=0.0), faults, switches=switches, begin=begin)
        _check_lift(meaning, plain, machine, settings.lift)
    if settings.yaw != "fixed":
        _check_yaw(meaning, machine, tools)
    if begin is not None:
        meaning, _ = restarted(meaning, machine, tools, placed)
    moves = meaning.moves
    if settings.single_block:
        stop: Flags = moves.stop | np.append(moves.line[1:] != moves.line[:-1], True)[: moves.count]
        moves = replace(moves, stop=stop)
    if settings.override != 1.0:
        moves = replace(moves, feed=moves.feed * settings.override)
        tip = machine.tool_tip
        slow = replace(tip, speed=tip.speed * settings.override, tilt_speed=tip.tilt_speed * settings.override)
        machine = replace(machine, tool_tip=slow)
    return JobInputs(machine=machine, tools=tools, meaning=replace(meaning, moves=moves), settings=settings)


def _held(moves: Moves, caps: tuple[FeedCap, ...]) -> Moves:
    """Return moves none of which is faster than the caps of its line: at a feed, or by the time that it must last."""
    if not caps:
        return moves
    feed, way = moves.feed.copy(), np.linalg.norm(moves.end[:3] - moves.start[:3], axis=0)
    arcs = moves.arcs
    along = np.eye(3)[:, arcs.axis]
    out = moves.start[:3, arcs.move] - arcs.centre
    radius = np.linalg.norm(out - (out * along).sum(axis=0) * along, axis=0)
    rise = ((moves.end - moves.start)[:3, arcs.move] * along).sum(axis=0)
    way[arcs.move] = np.sqrt((radius * arcs.turn) ** 2 + rise**2)
    for cap in caps:
        inside = (cap.first <= moves.line) & (moves.line <= cap.last) & (way > 0.0)
        tip, timed = (inside & (moves.feed_mode == mode) for mode in (FEED_TIP, FEED_INVERSE))
        feed[tip] = np.minimum(feed[tip], cap.feed)
        feed[timed] = 1.0 / np.maximum(1.0 / feed[timed], way[timed] / cap.feed)
    return replace(moves, feed=feed)


def _check_lift(meaning: Interpretation, plain: Interpretation, machine: Machine, lift: float) -> None:
    """Check that work frames are higher along the pallet's z by the lift, and machine coordinates where they were."""
    up = Angles(machine.tilt_order).matrices(machine.pallet.pose[3:, None])[0][:, 2] * lift
    frames = meaning.moves.frames, plain.moves.frames
    same = len(frames[0]) == len(frames[1])
    for high, low in zip(*frames, strict=False):
        want = low.base_from_work.copy()
        want[:3, 3] += 0.0 if low.offset == "G53" else up
        same &= high.offset == low.offset and bool(np.abs(high.base_from_work - want).max() <= _SAME)
    if not same:
        raise HexpostError("settings.lift_mm: the work frames of the program are not that much higher")


def _check_yaw(meaning: Interpretation, machine: Machine, tools: Tools) -> None:
    """Check that nothing asks for an angle of the tool about its axis."""
    moves = meaning.moves
    work = np.array([f.offset != "G53" for f in moves.frames], dtype=bool)[moves.frame]
    oriented = meaning.events.spindle == ORIENTED
    used = {n for f in moves.frames for n in (f.tool, f.length_row)}
    not_round = [n for n in used if n in tools.tools and not tools.tools[n].round]
    vector = machine.programmed_axes is not None and bool(machine.programmed_axes.vector)
    turned = meaning.c_line or (not vector and (moves.end[5] * work).any())
    if turned or oriented.any() or meaning.written.tapping.value.any() or not_round:
        raise HexpostError("settings.yaw: the program, or a tool, asks for an angle about the axis of the tool")
