"""The forecast of a job on a machine whose struts lag: worst errors and worst blocks."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.lagging import Lagged, Lagging
from hexpost.audit.spots import WorstBlocks, WorstSpot, worse
from hexpost.last_answer import LastAnswer
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID, Moves
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.model import Setpoints


@dataclass(frozen=True, slots=True, kw_only=True)
class Forecast:
    """What the lags of the struts make of a job: mm at the tip, rad.

    ``late``: the tip behind its setpoint; ``across``: off its path in feed moves, ``rapid`` in rapids; ``turned``:
    the tool behind its attitude. ``blocks``: the worst ``across`` of lines, worst first. ``held``,
    ``straight``, ``cubic``: how far the tip is off half way between rows (before the next one, if held) by how
    the table is read: values held, straight lines, cubics through lengths and speeds.
    """

    late: WorstSpot
    across: WorstSpot
    rapid: WorstSpot
    turned: WorstSpot
    blocks: tuple[WorstSpot, ...]
    held: float
    straight: float
    cubic: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Followed:
    """What is worked out along a job, with or without a limit (``most``): ``measure`` gives values (n,) of a batch.

    Batches come in order; ``title`` says what it is, ``name`` is its address.
    """

    name: str
    title: str
    unit: str
    measure: Callable[[Setpoints], Array]
    most: float | None


class Forecasting:
    """Keeps the worst of what becomes of batches that come in order; memory does not grow with the job."""

    def __init__(self, machine: Machine, moves: Moves, poses: Attitudes) -> None:
        loops = [s.servo.loop for s in machine.struts if s.servo is not None]
        feeds = np.append(moves.feed_mode != FEED_RAPID, False)
        self._lagging = Lagging(loops, machine.period, poses, feeds)
        self._seen: LastAnswer[Setpoints, Lagged] = LastAnswer()
        self._worst = dict.fromkeys(("late", "across", "rapid", "turned"), WorstSpot())
        self._blocks = WorstBlocks()
        self._read: Array = np.zeros(3)

    def of(self, setpoints: Setpoints) -> Lagged:
        """Return what becomes of the next batch; asked again for the same one, the same answer."""
        return self._seen.of(setpoints, lambda: self._taken(setpoints))

    def off_path(self, setpoints: Setpoints) -> Array:
        """Return how far (n,) the tip is off its path, mm, 0 in rapids; a value belongs to the row at its time."""
        found = self.of(setpoints)
        return np.where(found.feeds, found.across, 0.0)

    def result(self) -> Forecast:
        """Return the worst of the whole job."""
        held, straight, cubic = self._read.tolist()
        return Forecast(**self._worst, blocks=self._blocks.ranked(), held=held, straight=straight, cubic=cubic)

    def _taken(self, setpoints: Setpoints) -> Lagged:
        found = self._lagging.of(setpoints)
        np.maximum(self._read, found.read, out=self._read)
        across, rapid = np.where(found.feeds, found.across, 0.0), np.where(found.feeds, 0.0, found.across)
        sides = (("late", found.late), ("across", across), ("rapid", rapid), ("turned", found.turned))
        time: Array = np.asarray(setpoints.poses.tick * setpoints.period, dtype=np.float64)
        for name, values in sides:
            self._worst[name] = worse(self._worst[name], values, found.line, time)
        self._blocks.add(across, found.line, time)
        return found
