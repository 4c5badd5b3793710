"""The words of advice: one text for each limit and case. The advised feed stands beside them as a number."""

from typing import Final

import numpy as np

from hexpost.arrays import Ints

FEED, INVERSE, TILT, RAPID, RAMP_FEED, RAMP, BELOW, ABOVE, RULE = range(9)
"""Cases: lower the feed of a feed move, of an inverse-time move, of a pure rotation; a rapid; a ramp that a lower
feed makes milder; a ramp that it does not; a length under or over its range; a rule about the program."""

_KEYS: Final = {
    "speed": "tool_tip.speed_mm_s (tilt_speed_deg_s where the tool turns)",
    "acceleration": "tool_tip.acceleration_mm_s2 (tilt_acceleration_deg_s2 where the tool turns)",
    "jerk": "tool_tip.jerk_mm_s3 (tilt_jerk_deg_s3 where the tool turns)",
    "critical-speed": "tool_tip.speed_mm_s (or tilt_speed_deg_s) until the screw turns slowly enough",
}
"""The machine-file values that decide how hard a rapid or a ramp is on the struts."""

_HOLDS: Final = {
    "speed": "the strut holds its speed limit",
    "acceleration": "the strut holds its acceleration limit",
    "jerk": "the strut holds its jerk limit",
    "critical-speed": "the screw stays below its critical speed",
    "deviation": "the tool stays near enough to the path between setpoints",
}

_STROKE: Final = (
    "A lower feed does not help: move the work to another place on the pallet (work offset), "
    "tilt less, or change how far the tool sticks out."
)

_MILDER: Final = (
    "Lower F where the path bends, lower the accelerations of the tool tip in the machine file, "
    "or move the work to where the struts bear the load more evenly."
)

_RULES: Final = {
    "joint-angle": f"The joint would have to turn further than it can. {_STROKE}",
    "thrust": f"The strut would have to push or pull harder than it may. {_MILDER}",
    "thrust-continuous": f"The strut would have to push or pull harder than it may for long. {_MILDER}",
    "torque": f"The motor would have to turn harder than it may. {_MILDER}",
    "torque-continuous": f"The motor would have to turn harder than it may for long. {_MILDER}",
    "power": f"The motor would have to give more power than it has. {_MILDER}",
    "buckling": "The screw could buckle under this thrust at this length: move the work so that the strut is shorter, "
    "lower the load, or lower the accelerations of the tool tip in the machine file.",
    "conditioning": f"The struts hold the platform badly here. {_STROKE}",
    "clearance": f"Two bodies come too near to each other. {_STROKE}",
    "tool-length": "Call the length of the tool in the spindle (G43 and its H) before this block.",
    "tool-number": "Cancel the length before the tool change (G49), or call that of the new tool here (G43 and its H).",
    "pallet": "The tool tip would cut into the pallet: check Z, the work offset and the tool length.",
    "retract": "A retract in machine coordinates must go up: check the Z of this block, or leave the tool where it is.",
}


def _texts() -> dict[tuple[str, int], str]:
    """Return all texts by limit and case."""
    out = {
        ("stroke", BELOW): f"The strut would have to be shorter than it can get. {_STROKE}",
        ("stroke", ABOVE): f"The strut would have to be longer than it can get. {_STROKE}",
    }
    for limit, holds in _HOLDS.items():
        out[limit, FEED] = f"Lower F: at the advised feed {holds}."
        out[limit, INVERSE] = (
            "Lower the inverse-time F of this block until the tool moves no faster than the advised feed (degrees per "
            f"minute in a pure rotation): then {holds}."
        )
        out[limit, TILT] = f"Lower F: at the advised figure, degrees per minute in this pure rotation, {holds}."
    for limit, key in _KEYS.items():
        out[limit, RAPID] = (
            f"A rapid has no feed word: make it a feed move (G01 with F), or lower {key} in the machine file."
        )
        out[limit, RAMP] = (
            f"Starting or stopping is too hard for this strut at any feed: lower {key} in the machine file."
        )
    out["acceleration", RAMP_FEED] = (
        f"Starting or stopping is too hard for this strut: lower F to the advised feed, or {_KEYS['acceleration']} "
        "in the machine file."
    )
    return out | {(limit, RULE): text for limit, text in _RULES.items()}


_BY_CASE: Final = _texts()
_INDEX: Final = {key: i for i, key in enumerate(_BY_CASE)}

ADVICES: Final = tuple(_BY_CASE.values())
"""All advice texts."""


def has_rule(limit: str) -> bool:
    """Return whether no feed is advised for a ``limit``: there is one text for all its cases."""
    return (limit, RULE) in _INDEX


def text_index(limit: str, case: int) -> int:
    """Return the index in ``ADVICES`` of the words for a ``limit`` in a ``case``."""
    return _INDEX[limit, case]


def text_indices(limit: str, cases: Ints) -> Ints:
    """Return the indices (m,) in ``ADVICES`` of the words for a ``limit`` in ``cases`` (m,)."""
    table = np.array([_INDEX.get((limit, case), -1) for case in range(RULE + 1)], dtype=np.int64)
    return table[cases]
