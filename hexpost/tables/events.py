"""The event table: spindle, coolant, tools, stops and dwells on the clock of the setpoints."""

from collections.abc import Callable

import numpy as np

from hexpost.arrays import Ints
from hexpost.documents import filled
from hexpost.moves.model import WITH, Events
from hexpost.tables.quantise import MICROS

HEADER = "time_s,sample,line,word,rule,wait,pause_s"
"""``sample`` is the row of the setpoint table (from 0) at which the word takes effect, ``time_s`` its time; ``rule``
is ``with`` (the start of a motion) or ``after`` (its end); ``wait`` is 1 where the controller must wait until it is
told to go on (program stops, tool change, end); ``pause_s`` is the length of a dwell, else 0."""


def events_csv(events: Events, ticks: Ints, period: float, knot: Callable[[Ints], Ints] | None = None) -> bytes:
    """Return the event table as CSV, in the order of the program; ``ticks`` (e,) as the feed stage gives them.

    ``knot`` says the numbers of the knots at rows, where there are knots.
    """
    micros, head = round(period * MICROS), HEADER if knot is None else f"{HEADER},knot"
    time, pause = ticks * micros, np.rint(events.pause * MICROS).astype(np.int64)
    columns = [
        *_parted(time), ticks.tolist(), events.line.tolist(), _words(events),
        np.where(events.rule == WITH, "with", "after").tolist(), events.wait.tolist(), *_parted(pause),
        *([] if knot is None else [knot(ticks).tolist()]),
    ]  # fmt: skip
    form = "%d.%06d,%d,%d,%s,%s,%d,%d.%06d" + ("" if knot is None else ",%d") + "\n"
    return f"{head}\n{filled(form, columns)}".encode()


def _parted(micros: Ints) -> list[list[int]]:
    """Return the whole seconds and the millionths of times (e,)."""
    return [x.tolist() for x in divmod(micros, MICROS)]


def _words(events: Events) -> list[str]:
    """Return the words of all events; each of its kind is written once."""
    _, first, back = np.unique(events.kinds, axis=1, return_index=True, return_inverse=True)
    words = [events.word(i) for i in first.tolist()]
    return [words[i] for i in back.tolist()]
