"""The self-check of every run: some rows derived again by plain scalar formulas that share nothing with the solver."""

from collections.abc import Sequence
from math import cos, sin, sqrt

from hexpost.errors import HexpostError
from hexpost.machine.model import Machine, Strut
from hexpost.moves.model import Frame
from hexpost.setpoints.model import Setpoints

STEP = 1e-3
"""Half-width in s of the differences; the motion between is the Taylor polynomial of the pose."""
LENGTH, SPEED, ACCELERATION = 1e-8, 1e-5, 1e-2
"""Largest difference of the two ways in mm, mm/s, mm/s2: rounding of a metre over the step, with room."""
GOLDEN = 0.6180339887498949
"""Share of a batch by which the place of the row moves on from batch to batch, so that no pattern hides."""

Point = list[float]


class SelfCheckError(HexpostError):
    """Two independent ways of solving a row disagree: nothing of the run can be trusted."""


class SelfCheck:
    """Takes batches of setpoints in the order of time, and solves one row of each again (four of the first)."""

    def __init__(self, machine: Machine, frames: Sequence[Frame]) -> None:
        self._machine = machine
        self._frames = frames
        self._share = 0.0
        self._next = 0
        self._rows = 0

    def add(self, setpoints: Setpoints) -> None:
        """Check the next batch.

        Raises
        ------
        SelfCheckError
            A length, a speed or an acceleration differs, or a row is missing or doubled.
        """
        n = setpoints.length.shape[1]
        if not n:
            return
        first, last = int(setpoints.poses.tick[0]), int(setpoints.poses.tick[-1])
        if (first, last) != (self._next, self._next + n - 1):
            raise _failed(f"rows {first} to {last} ({n} of them) come where row {self._next} is due")
        self._next = last + 1
        self._share = (self._share + GOLDEN) % 1.0
        chosen = {int(self._share * n)} if self._rows else {0, n // 3, int(self._share * n), n - 1}
        for row in sorted(chosen):
            self._check(setpoints, row)
            self._rows += 1

    def finish(self, ticks: int) -> None:
        """Check that all rows came, 0 to ``ticks``, which is what the planned feed takes.

        Raises
        ------
        SelfCheckError
            Rows are missing at the end, or there are more.
        """
        if self._next != ticks + 1:
            raise _failed(f"{ticks + 1} rows are due, {self._next} came")

    def _check(self, setpoints: Setpoints, row: int) -> None:
        poses = setpoints.poses
        frame = self._frames[poses.frame]
        q, v, a = (x[:, row].tolist() for x in (poses.pose, poses.rate, poses.acceleration))
        near = [[q[i] + t * (v[i] + 0.5 * t * a[i]) for i in range(6)] for t in (k * STEP for k in (-2, -1, 0, 1, 2))]
        for k, strut in enumerate(self._machine.struts):
            below, low, here, high, above = (length(p, strut, frame, self._machine.tilt_order) for p in near)
            found = (
                here,
                (below - 8.0 * low + 8.0 * high - above) / (12.0 * STEP),
                (-below + 16.0 * low - 30.0 * here + 16.0 * high - above) / (12.0 * STEP * STEP),
            )
            named = zip(
                ("length", "speed", "acceleration"),
                (setpoints.length, setpoints.speed, setpoints.acceleration),
                (LENGTH, SPEED, ACCELERATION),
                strict=True,
            )
            for other, (name, column, most) in zip(found, named, strict=True):
                ours = float(column[k, row])
                if not abs(ours - other) <= most:
                    place = f"row {int(poses.tick[row])} (line {int(poses.line[row])})"
                    raise _failed(
                        f"{name} of strut {k + 1} in {place}: two independent ways do not agree: {ours!r} and {other!r}"
                    )


def _failed(what: str) -> SelfCheckError:
    """Return the error of a run in which ``what`` was found."""
    more = "nothing of this run can be trusted, and none of it was written; please report it"
    return SelfCheckError(f"self-check: {what}\n    {more}")


def length(pose: Point, strut: Strut, frame: Frame, order: str) -> float:
    """Return the length in mm of a strut at a pose (x y z a b c) in a frame, joint centre to joint centre.

    ``pose`` is that of the platform: a free yaw is in it. The platform joint seen from the tip is turned about the
    fixed axes one after the other, moved to the tip, and seen from the base: the length is the distance to the base
    joint.
    """
    x, y, z = (float(b) - float(t) for b, t in zip(strut.platform_joint, frame.tip, strict=True))
    for letter in order:
        angle = pose[3 + "ABC".index(letter)]
        c, s = cos(angle), sin(angle)
        if letter == "A":
            y, z = c * y - s * z, s * y + c * z
        elif letter == "B":
            z, x = c * z - s * x, s * z + c * x
        else:
            x, y = c * x - s * y, s * x + c * y
    joint = (x + pose[0], y + pose[1], z + pose[2])
    total = 0.0
    for row, foot in zip(frame.base_from_work.tolist()[:3], strut.base_joint.tolist(), strict=True):
        d = row[0] * joint[0] + row[1] * joint[1] + row[2] * joint[2] + row[3] - foot
        total += d * d
    return sqrt(total)
