"""The table of limits: one row for each. Reports, charts, gate, policy, advice, refeed and place read rows, not names.

To add a limit, add one row and one check; nothing else has to be touched. The row goes to the end of ``LIMITS``:
findings hold its place in the table, and those that are equal in all else come in its order. The check names its row.
If it looks at samples it goes into ``CHECKS`` of ``audit/checks.py``: a function of the ``Context`` that returns a
``LimitCheck``. If it looks at moves it goes into ``RULES`` of ``audit/program_rules.py``: a function that returns
``Breaches``.
"""

from typing import Final

from hexpost.audit.limit import Advice, Chart, Law, Limit, Limits, Of, Place, Sense


def _by_feed(key: str) -> Advice:
    """Return the advice where a lower feed helps; ``key`` of the machine file decides how hard rapids and ramps are."""
    return Advice(
        feed="Write {feed}.",
        rapid=f"A rapid has no F: write G01 with F, or lower {key} in the machine file.",
        ramp_feed=f"The start or stop is too hard: write {{feed}}, or lower {key} in the machine file.",
        ramp=f"The start or stop is too hard at any feed: lower {key} in the machine file.",
    )


_MOVE = "{move}, tilt less, or change the stick-out of the tool."
_FIXED = (
    "The place is in machine coordinates: name another one in this block, or in [reference_return] of the machine file."
)
_MILDER = Advice(
    "Lower F where the path bends, or lower the accelerations of tool_tip in the machine file. "
    "Another place on the pallet may share the load more evenly."
)
_SPEED = "tool_tip.speed_mm_s (tilt_speed_deg_s where the tool turns)"
_ACCELERATION = "tool_tip.acceleration_mm_s2 (tilt_acceleration_deg_s2 where the tool turns)"
_DECELERATION = "tool_tip.deceleration_mm_s2 (tilt_deceleration_deg_s2 where the tool turns)"
_JERK = "tool_tip.jerk_mm_s3 (tilt_jerk_deg_s3 where the tool turns)"

_CUTTING = "[forces] force_n"

LIMITS: Final = Limits((
    Limit(
        name="stroke", unit="mm", of=Of.STRUT, sense=Sense.RANGE, meaning="A strut runs out of its stroke.",
        advice=Advice(
            f"The strut cannot extend so far. {_MOVE}", below=f"The strut cannot retract so far. {_MOVE}", fixed=_FIXED
        ),
        place=Place.SEARCH, margin=True, chart=Chart.OWN, quantity="length",
        note="stroke: 0 % in the middle of its range, 100 % at either end.",
    ),
    Limit(
        name="speed", unit="mm/s", of=Of.STRUT, sense=Sense.MOST, meaning="A strut moves faster than it can.",
        advice=_by_feed(_SPEED), law=Law.LINEAR, margin=True, chart=Chart.OWN,
    ),
    Limit(
        name="acceleration", unit="mm/s2", of=Of.STRUT, sense=Sense.MOST,
        meaning="A strut speeds up or slows down harder than it can.",
        advice=_by_feed(_ACCELERATION), law=Law.SECOND, margin=True, chart=Chart.OWN,
    ),
    Limit(
        name="jerk", unit="mm/s3", of=Of.STRUT, sense=Sense.MOST,
        meaning="The acceleration of a strut changes faster than it may.",
        advice=_by_feed(_JERK), law=Law.THIRD, margin=True, chart=Chart.ALL,
    ),
    Limit(
        name="joint-angle", unit="deg", of=Of.STRUT, sense=Sense.MOST, meaning="A joint turns beyond its range.",
        advice=Advice(f"The joint cannot turn that far. {_MOVE}", fixed=_FIXED), place=Place.SEARCH,
        keys=("[strut.joint] base_cone_deg", "[strut.joint] platform_cone_deg"),
    ),
    Limit(
        name="thrust", unit="N", of=Of.STRUT, sense=Sense.MOST, meaning="A strut pushes or pulls harder than it may.",
        advice=_MILDER, keys=("[strut.screw] thrust_n", _CUTTING),
    ),
    Limit(
        name="torque", unit="N m", of=Of.STRUT, sense=Sense.MOST, meaning="A motor turns harder than it may.",
        advice=_MILDER, keys=("[strut.screw] torque_nm", _CUTTING),
    ),
    Limit(
        name="critical-speed", unit="1/min", of=Of.STRUT, sense=Sense.MOST,
        meaning="A screw turns too fast for its length and may whirl.",
        advice=_by_feed(_SPEED), law=Law.LINEAR, keys=("[strut.screw] root_diameter_mm",),
    ),
    Limit(
        name="buckling", unit="N", of=Of.STRUT, sense=Sense.MOST,
        meaning="A screw may buckle under the thrust at its length.",
        advice=Advice("Move the work so that the strut is shorter, lower the load, or lower the accelerations of "
                       "tool_tip in the machine file."),
        place=Place.SEARCH, keys=("[strut.screw] root_diameter_mm", _CUTTING),
    ),
    Limit(
        name="singular-pose", unit="1", of=Of.TOOL, sense=Sense.LEAST, ambiguous=True,
        meaning="The struts cannot hold the platform: the pose is near a singular one, or beyond it.",
        advice=Advice(f"No feed helps near a singular pose. {_MOVE}", fixed=_FIXED), place=Place.SEARCH,
        note="singular-pose: the least conditioning over what it is (1 at best, 0 singular, negative beyond that).",
    ),
    Limit(
        name="clearance", unit="mm", of=Of.PAIR, sense=Sense.LEAST, meaning="Two bodies come too near to each other.",
        advice=Advice(_MOVE, fixed=_FIXED), place=Place.SEARCH, share=False,
        keys=("[strut.body] radius_mm", "[spindle] radius_mm"),
    ),
    Limit(
        name="deviation", unit="mm", of=Of.TOOL, sense=Sense.MOST,
        meaning="The tool leaves its path between two setpoints by more than is allowed.",
        advice=Advice(feed="Write {feed}, or make the control period shorter (period_ms): {root} of what it is."),
        law=Law.SQUARE, margin=True, sampled=True,
        note="deviation: how far the tool strays from its path between two setpoints, in feed moves.",
    ),
    Limit(
        name="tool-length", unit="mm", of=Of.PROGRAM, sense=Sense.RULE,
        meaning="A cutting move has no tool length active.",
        fault="no tool length is active, the tool has {peak} mm",
        advice=Advice("Write G43 with the tool's H before this block."), share=False, keys=("a tools file (--tools)",),
    ),
    Limit(
        name="tool-number", unit="1", of=Of.PROGRAM, sense=Sense.RULE,
        meaning="The tool length is not that of the tool in the spindle.",
        fault="the length of tool {peak} is active, tool {allowed} is in the spindle",
        advice=Advice("Write G43 with H{allowed} here, or G49 before the tool change."), share=False,
    ),
    Limit(
        name="pallet", unit="mm", of=Of.PROGRAM, sense=Sense.RULE,
        meaning="The tool tip goes below the top of the pallet.",
        fault="the tool tip goes {peak} mm below the top of the pallet",
        advice=Advice("Check Z, the work offset and the tool length."), place=Place.OFFSET, share=False,
    ),
    Limit(
        name="retract", unit="mm", of=Of.PROGRAM, sense=Sense.RULE,
        meaning="A retract in machine coordinates goes down.",
        fault="goes {peak} mm down in machine coordinates",
        advice=Advice("Check the Z of this block, or leave the tool where it is."), share=False,
    ),
    Limit(
        name="thrust-continuous", unit="N", of=Of.STRUT, sense=Sense.MOST,
        meaning="A strut pushes or pulls harder than it may for long.", advice=_MILDER,
        keys=("[strut.screw] thrust_continuous_n", _CUTTING),
    ),
    Limit(
        name="torque-continuous", unit="N m", of=Of.STRUT, sense=Sense.MOST,
        meaning="A motor turns harder than it may for long.", advice=_MILDER,
        keys=("[strut.screw] torque_continuous_nm", _CUTTING),
    ),
    Limit(
        name="power", unit="W", of=Of.STRUT, sense=Sense.MOST, meaning="A motor gives more power than it has.",
        advice=_MILDER, keys=("[strut.screw] power_w", _CUTTING),
    ),
    Limit(
        name="return-path", unit="mm", of=Of.PROGRAM, sense=Sense.RULE,
        meaning="A reference return goes through the work at rapid.",
        fault="a rapid of a reference return is {peak} mm below the zero plane of the work, where the program cuts",
        advice=Advice("Write G91 G28 Z0 first, so that the tool goes straight up."), place=Place.OFFSET, share=False,
    ),
    Limit(
        name="tool-call", unit="1", of=Of.PROGRAM, sense=Sense.RULE,
        meaning="A tool is used before it is called.",
        fault="the tool is used, and the first M06 comes after it",
        advice=Advice("Write T and M06 before this block."), share=False,
    ),
    Limit(
        name="tapping", unit="1", of=Of.PROGRAM, sense=Sense.RULE,
        meaning="A tap goes in while the spindle is at rest or turns the wrong way.",
        fault="the tap goes in after M0{peak}, this thread needs M0{allowed}",
        advice=Advice("Write M0{allowed} before the cycle."), share=False,
    ),
    Limit(
        name="spindle-off", unit="1", of=Of.PROGRAM, sense=Sense.RULE,
        meaning="A feed move with the spindle at rest.",
        fault="cuts, and the spindle has not been started (M03 or M04, with S)",
        advice=Advice("Write S and M03 before this block."), share=False, remark=True,
    ),
    Limit(
        name="rapid-below-zero", unit="1", of=Of.PROGRAM, sense=Sense.RULE,
        meaning="A rapid below the zero plane of the work; beside the part that is as it should be.",
        fault="is a rapid below the zero plane of the work",
        advice=Advice("Write G01 with F where the part is in the way."), share=False, remark=True,
    ),
    Limit(
        name="contour", unit="mm", of=Of.TOOL, sense=Sense.MOST,
        meaning="The tool leaves its path by more than is allowed, because its struts lag.",
        advice=Advice(
            "Tune the position loops, and write their figures into [strut.servo].",
            feed="Write {feed}; or tune the position loops, and write their figures into [strut.servo].",
        ),
        law=Law.SQUARE, margin=True,
        note="contour: how far lags of the struts take the tool off its path in feed moves, at the time of that line.",
    ),
    Limit(
        name="vibration", unit="mm", of=Of.TOOL, sense=Sense.MOST,
        meaning="The tool swings on its elastic struts by more than is allowed once it rests.",
        advice=Advice(
            "Convert with --calm-lowest, or lower the jerks of tool_tip in the machine file."
        ),
        margin=True,
        note="vibration: how far the tip swings after a rest, within one period of the lowest natural frequency.",
    ),
    Limit(
        name="deceleration", unit="mm/s2", of=Of.STRUT, sense=Sense.MOST,
        meaning="A strut slows down harder than it can.",
        advice=_by_feed(_DECELERATION), law=Law.SECOND, margin=True, chart=Chart.ALL,
        note="acceleration and deceleration: of struts that speed up, and that slow down; one at rest keeps both.",
    ),
))  # fmt: skip
"""All limits of the audit."""

FEED_CAP = Limit(
    name="feed-cap", unit="mm/min", of=Of.PROGRAM, sense=Sense.MOST,
    meaning="A block is programmed faster than the policy allows in its lines.",
    advice=Advice("Write an F that takes the tip along at {allowed} mm/min at most; refeed --at-most does."),
)  # fmt: skip
"""A limit of a policy, for lines of a program: peak and allowed are feeds of the tip."""
