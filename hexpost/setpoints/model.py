"""What the solver hands on: a block of consecutive samples at the control period."""

from dataclasses import dataclass

from hexpost.arrays import Array, Ints, Lines
from hexpost.kinematics.links import Links


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Poses:
    """Consecutive samples on the path, shape (n,) or (6, n); all in one frame.

    ``tick``: sample number from 0, time = tick * period. ``move``: the move the tool is on (-1 before the first).
    ``span``: the stop-to-stop span. ``frame`` indexes the frames of the moves. ``pose`` x y z a b c in the work
    frame; ``rate`` and ``acceleration`` its time derivatives. ``corner``: true on a corner piece.
    """

    tick: Ints
    move: Ints
    line: Lines
    span: Ints
    frame: int
    pose: Array
    rate: Array
    acceleration: Array
    corner: Ints


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Gearing:
    """Motor turns and encoder counts (6,) for a mm of command; ``None`` where encoders are not described."""

    turns: Array
    counts: Array | None


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Setpoints:
    """The same samples solved into struts, shape (6, n), strut 1 first.

    ``jerk``: change of acceleration since the sample before, over the period (the mean jerk of that tick).
    ``command``: what the drives follow, where the machine file describes its screws, with ``gearing``.
    ``links``: the struts in space, where they were needed on the way.
    """

    poses: Poses
    period: float
    length: Array
    speed: Array
    acceleration: Array
    jerk: Array
    command: Array | None = None
    gearing: Gearing | None = None
    links: Links | None = None
