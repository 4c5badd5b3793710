"""The event table: spindle, coolant, tools, stops and dwells on the clock of the setpoints."""

from collections.abc import Callable

from hexpost.arrays import Ints
from hexpost.moves.model import WITH, Events
from hexpost.tables.decimals import exact
from hexpost.tables.quantise import MICROS

HEADER = "time_s,sample,line,word,rule,wait,pause_s"
"""``sample`` is the row of the setpoint table (from 0) at which the word takes effect, ``time_s`` its time; ``rule``
is ``with`` (the start of a motion) or ``after`` (its end); ``wait`` is 1 where the controller must wait until it is
told to go on (program stops, tool change, end); ``pause_s`` is the length of a dwell, else 0."""


def events_csv(events: Events, ticks: Ints, period: float, knot: Callable[[int], int] | None = None) -> bytes:
    """Return the event table as CSV, in the order of the program; ``ticks`` (e,) as the feed stage gives them.

    ``knot`` says the number of the knot at a row, where there are knots.
    """
    micros = round(period * MICROS)
    lines = [HEADER if knot is None else f"{HEADER},knot"]
    for i, tick in enumerate(ticks.tolist()):
        rule = "with" if events.rule[i] == WITH else "after"
        pause = exact(round(float(events.pause[i]) * MICROS), 6)
        lines.append(
            f"{exact(tick * micros, 6)},{tick},{events.line[i]},{events.word(i)},{rule},{events.wait[i]:d},{pause}"
            + ("" if knot is None else f",{knot(tick)}")
        )
    return ("\n".join(lines) + "\n").encode()
