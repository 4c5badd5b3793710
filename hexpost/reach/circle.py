"""The circle test without the machine: what a telescoping bar between table and tool would trace, split by cause.

The tip goes round at a steady feed, both ways, as it does once run-in is over. Each cause changes six lengths, or the
machine; the place of the tip is then that of forward kinematics, and the bar shows its distance from the centre.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from math import isinf, pi

import numpy as np
import numpy.typing as npt

from hexpost.arrays import Array
from hexpost.errors import HexpostError
from hexpost.kinematics.elastic import Springs
from hexpost.kinematics.forward import forward
from hexpost.kinematics.frames import invert, pose_matrix
from hexpost.kinematics.servo import Loop
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.kinematics.thrusts import Cut, LoadedMotion
from hexpost.machine.elastic import springs
from hexpost.machine.model import Machine
from hexpost.machine.platform import thrusts_of

SAMPLES = 1440
"""Samples of a turn: four a degree."""
PLANES = {"XY": (0, 1), "YZ": (1, 2), "ZX": (2, 0)}
"""Planes by name: the axis at angle 0, and the one towards which the angle grows."""
Complex = npt.NDArray[np.complex128]
WAYS = ("counterclockwise", "clockwise")


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CircleTest:
    """What is to be run: ``radius`` [mm], ``feed`` [mm/s], ``plane`` of ``PLANES``; A B C ``tilt`` (3,) [rad].

    ``centre`` (3,) of the tip in the pallet frame, ``None``: where it is at the reference pose; ``tool``: length, mm.
    """

    radius: float
    feed: float
    plane: str
    tilt: Array
    tool: float
    centre: Array | None = None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class BarTrace:
    """What the bar shows, mm more than the radius: ``off`` (2, n) by ``WAYS`` at ``angle`` (n,) [rad], by one cause."""

    angle: Array
    off: Array

    @property
    def centred(self) -> Array:
        """Return ``off`` less what a centre somewhere else explains, of both ways together (least squares), (2, n)."""
        wave = np.stack([np.cos(self.angle), np.sin(self.angle), np.ones_like(self.angle)])
        both = np.concatenate([wave, wave], axis=1)
        shift = np.linalg.lstsq(both.T, self.off.ravel(), rcond=None)[0][:2]
        out: Array = self.off - shift @ wave[:2]
        return out

    @property
    def errors(self) -> tuple[float, float, float]:
        """Return the circular errors of both ways, and the bidirectional one (ISO 230-4; from memory), mm.

        The least distance of two concentric circles about the trace, or about both traces.
        """
        one, other = self.off
        both = np.concatenate([self.angle, self.angle])
        return zone(self.angle, one), zone(self.angle, other), zone(both, self.off.ravel())

    @property
    def mean(self) -> float:
        """Return the mean bidirectional radial error (ISO 230-4; from memory), mm: of the centred traces."""
        return float(self.centred.mean())


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class CircleForecast:
    """Traces by cause, and of ``whole``; ``lacking``: causes that the machine file says nothing of, with the key."""

    test: CircleTest
    causes: Mapping[str, BarTrace]
    whole: BarTrace
    lacking: Mapping[str, str]


def zone(angle: Array, off: Array) -> float:
    """Return the width of the narrowest ring about a trace, mm; deviations are small against the radius.

    Seen from a centre (x, y) a point is off by off - x cos - y sin. The least difference of two radii that hold all of
    these between them is a linear program in x, y and the radii.
    """
    from scipy.optimize import linprog

    size = float(np.abs(off).max()) or 1.0
    x, y, one, none = np.cos(angle), np.sin(angle), np.ones_like(angle), np.zeros_like(angle)
    inside, outside = np.stack([-x, -y, -one, none], axis=1), np.stack([x, y, none, one], axis=1)
    bound = np.concatenate([-off, off]) / size
    found = linprog(
        [0.0, 0.0, 1.0, -1.0], A_ub=np.concatenate([inside, outside]), b_ub=bound, bounds=[(None, None)] * 4,
        method="highs",
    )  # fmt: skip
    return float(found.fun or 0.0) * size


def forecast(machine: Machine, test: CircleTest, built: Machine | None = None) -> CircleForecast:
    """Return the forecast of a test; ``built`` is the machine as it was measured, which has the geometry.

    Raises
    ------
    HexpostError
        When the struts cannot hold the tool on the circle.
    """
    tip = machine.platform.gauge_point - np.array([0.0, 0.0, test.tool])
    frame = pose_matrix(machine.pallet.pose, machine.tilt_order)
    home = invert(frame) @ pose_matrix(machine.reference, machine.tilt_order)
    centre: Array = test.centre if test.centre is not None else home[:3, 3] + home[:3, :3] @ tip
    angle: Array = np.linspace(0.0, 2.0 * pi, SAMPLES, endpoint=False)
    own = StrutModel(machine).in_frame(frame, tip)
    real = own if built is None else StrutModel(built).in_frame(frame, tip)
    turns = [_Turn(machine, test, own, (centre, way * angle)) for way in (1.0, -1.0)]
    for turn in turns:
        turn.check(machine)
    known, lacking = _causes(machine, built)
    changes = {name: [make(t) for t in turns] for name, make in known.items()}
    traces = {name: _trace(angle, turns, real if name == "geometry" else own, changes[name]) for name in known}
    total = [sum((changes[name][k] for name in known), np.zeros((6, SAMPLES))) for k in range(2)]
    return CircleForecast(test=test, causes=traces, whole=_trace(angle, turns, real, total), lacking=lacking)


class _Turn:
    """One turn: poses (6, n) of the tip in the pallet frame, at a steady feed, and what the struts do."""

    def __init__(self, machine: Machine, test: CircleTest, struts: Struts, way: tuple[Array, Array]) -> None:
        self.centre, self.angle = way
        self.struts, self.radius = struts, test.radius
        i, j = PLANES[test.plane]
        self.rate_of_turn = test.feed / test.radius
        sense = 1.0 if self.angle[1] > 0.0 else -1.0
        self.pose = np.zeros((6, SAMPLES))
        self.pose[:3], self.pose[3:] = self.centre[:, None], test.tilt[:, None]
        self.pose[i] += test.radius * np.cos(self.angle)
        self.pose[j] += test.radius * np.sin(self.angle)
        self.rate, self.bend = np.zeros((6, SAMPLES)), np.zeros((6, SAMPLES))
        self.rate[i] = -test.feed * sense * np.sin(self.angle)
        self.rate[j] = test.feed * sense * np.cos(self.angle)
        self.bend[:3] = -((test.feed / test.radius) ** 2) * (self.pose[:3] - self.centre[:, None])
        self.length, self.speed = struts.derivatives([self.pose, self.rate])
        self.frame = pose_matrix(machine.pallet.pose, machine.tilt_order)
        self.tip = machine.platform.gauge_point - np.array([0.0, 0.0, test.tool])

    def check(self, machine: Machine) -> None:
        """Refuse a circle on which a strut runs out of its stroke or is too fast."""
        for k, strut in enumerate(machine.struts):
            low, high = float(self.length[k].min()), float(self.length[k].max())
            if low < strut.stroke[0] or high > strut.stroke[1]:
                allowed = f"{strut.stroke[0]:g} to {strut.stroke[1]:g} are allowed; write a smaller --radius-mm"
                what = f"strut {k + 1} would be {low:.0f} to {high:.0f} mm long"
                raise HexpostError(f"the circle is out of reach: {what}, {allowed}")
            fastest = float(np.abs(self.speed[k]).max())
            if fastest > strut.speed:
                what = f"strut {k + 1} would need {fastest:.0f} mm/s, {strut.speed:g} are allowed"
                raise HexpostError(f"the circle is too fast: {what}; write a lower --feed-mm-min")


def _causes(machine: Machine, built: Machine | None) -> tuple[dict[str, Callable[[_Turn], Array]], dict[str, str]]:
    """Return what makes changes of lengths (6, n) [mm] by cause, and the causes that are not known, with their key."""
    loops = [s.servo.loop for s in machine.struts if s.servo is not None]
    plays = np.array([0.0 if s.servo is None else s.servo.backlash for s in machine.struts])
    counts = [None if s.screw is None or not s.screw.counts else s.screw for s in machine.struts]
    steps = np.array([0.0 if c is None or not c.counts else c.lead / (c.gear * c.counts) for c in counts])
    known: dict[str, Callable[[_Turn], Array]] = {}
    lacking: dict[str, str] = {}

    def told(name: str, key: str, make: Callable[[_Turn], Array], *, there: bool) -> None:
        if there:
            known[name] = make
        else:
            lacking[name] = key

    told("geometry", "--as-built FILE, as calibrate writes it", lambda t: 0.0 * t.length, there=built is not None)
    found = springs(machine)
    told("sag", "[strut.body] stiffness_n_um", lambda t: _sags(machine, found, t), there=found is not None)
    told("servo", "[strut.servo] position_gain_1_s", lambda t: -_lags(loops, t), there=bool(loops))
    told("backlash", "[strut.servo] backlash_mm", lambda t: _played(plays, t), there=bool(plays.any()))
    told("quantisation", "[strut.screw] counts_per_turn", lambda t: _rounded(steps, t), there=bool(steps.all()))
    return known, lacking


def _sags(machine: Machine, found: Springs | None, t: _Turn) -> Array:
    """Return what struts that give way change (6, n) by gravity and acceleration; what commands make up for does not.

    Nothing is cut.
    """
    assert found is not None  # asked only where it is there
    asked, thrusts = machine.compensation, thrusts_of(machine, t.struts, t.frame, t.tip)
    motion = LoadedMotion(pose=t.pose, rate=t.rate, bend=t.bend, period=2.0 * pi / t.rate_of_turn / SAMPLES, cut=Cut())
    out = -found.shorter(thrusts.along(motion, t.length), t.length)
    if asked is not None and asked.sag:
        motion = replace(motion, still=not asked.inertia)
        out += found.shorter(thrusts.along(motion, t.length), t.length)
    return out


def _lags(loops: list[Loop], t: _Turn) -> Array:
    """Return the lags (6, n) once the turn repeats itself: each of its frequencies through the loop."""
    s = np.asarray(1j * np.fft.rfftfreq(SAMPLES, 1.0 / SAMPLES) * t.rate_of_turn, dtype=np.complex128)
    gain = np.stack([response(loop, s) for loop in loops])
    out: Array = np.fft.irfft(gain * np.fft.rfft(t.speed, axis=1), SAMPLES, axis=1)
    return out


def response(loop: Loop, s: Complex) -> Complex:
    """Return the lag for a unit of speed at complex frequencies ``s`` [rad/s], as ``kinematics.servo`` has it."""
    if isinf(loop.frequency):
        return np.asarray((1.0 - loop.speed_share) / (s + loop.gain), dtype=np.complex128)
    w, d = loop.frequency, 2.0 * loop.damping
    up = s**2 + d * w * (1.0 - loop.acceleration_share) * s + w * w * (1.0 - loop.speed_share)
    return np.asarray(up / (s**3 + d * w * s**2 + w * w * s + w * w * loop.gain), dtype=np.complex128)


def _played(plays: Array, t: _Turn) -> Array:
    """Return what lost motion changes (6, n): a strut that turns back waits until the play is taken up.

    Each is taken to move by more than its play between two turning points.
    """
    twice = np.concatenate([t.length, t.length], axis=1)
    rises = np.concatenate([t.speed, t.speed], axis=1) >= 0.0
    n = np.arange(2 * SAMPLES)
    turned = np.maximum.accumulate(np.where(np.diff(rises, axis=1, prepend=rises[:, :1]), n, 0), axis=1)
    near = [np.take_along_axis(twice, np.maximum(turned - k, 0), axis=1) for k in (0, 1)]
    end = np.where(rises, np.minimum(*near), np.maximum(*near))
    half = 0.5 * plays[:, None]
    there = np.where(rises, np.maximum(end + half, twice - half), np.minimum(end - half, twice + half))
    out: Array = (there - twice)[:, SAMPLES:]
    return out


def _rounded(steps: Array, t: _Turn) -> Array:
    """Return what whole counts of the encoders change (6, n)."""
    size = steps[:, None]
    return np.asarray(np.round(t.length / size) * size - t.length)


def _trace(angle: Array, turns: list[_Turn], struts: Struts, changes: list[Array]) -> BarTrace:
    """Return what the bar shows where the lengths are changed (6, n) on a machine with these ``struts``.

    Its ball on the table is where the tool was in the middle: the mean place of both ways.
    """
    places = []
    for turn, change in zip(turns, changes, strict=True):
        found = forward(struts, turn.length + change, turn.pose)
        if not found.converged.all():
            raise HexpostError("no pose has the lengths that the circle test would give; check the machine files")
        places.append(found.pose[:3] - turn.centre[:, None])
    both = np.stack(places)
    both = both - both.mean(axis=(0, 2))[None, :, None]
    off: Array = np.sqrt((both**2).sum(axis=1)) - turns[0].radius
    off[1] = np.roll(off[1, ::-1], 1)  # clockwise: the angles fall
    return BarTrace(angle=angle, off=off)
