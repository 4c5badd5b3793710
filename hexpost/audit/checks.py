"""What a job is checked for: the table of limits, and what looks for each. How to add one: ``audit/limits.py``."""

from dataclasses import dataclass, replace

from hexpost.audit.band import Maker
from hexpost.audit.deviation import Deviation
from hexpost.audit.feed_caps import FeedCapRule
from hexpost.audit.joint_angle import joint_angle
from hexpost.audit.limit import Limits
from hexpost.audit.limits import FEED_CAP, LIMITS
from hexpost.audit.load_limits import BEARINGS
from hexpost.audit.pallet import PalletCheck
from hexpost.audit.program_rules import RULES, Rule
from hexpost.audit.room import clearance
from hexpost.audit.singular_pose import SingularPose
from hexpost.audit.strut_limits import acceleration, deceleration, jerk, speed, stroke
from hexpost.audit.tip_limits import contour, vibration
from hexpost.machine.feed_caps import FeedCap

CHECKS: tuple[Maker, ...] = (
    stroke,
    speed,
    acceleration,
    jerk,
    joint_angle,
    *BEARINGS,
    SingularPose,
    clearance,
    Deviation,
    PalletCheck,
    contour,
    vibration,
    deceleration,
)
"""Checks of the samples, in the order of the report."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Checking:
    """What a job is checked for, handed down from its inputs: rows, checks of samples, rules about moves.

    ``margins``: shares of limits up to which use is no finding, by name, where they are not 1.
    """

    limits: Limits = LIMITS
    checks: tuple[Maker, ...] = CHECKS
    rules: tuple[Rule, ...] = RULES
    margins: tuple[tuple[str, float], ...] = ()

    def with_caps(self, caps: tuple[FeedCap, ...]) -> "Checking":
        """Return it with the rule that some lines are not programmed faster than ``caps``."""
        rules: tuple[Rule, ...] = (*self.rules, FeedCapRule(caps))
        return replace(self, limits=self.limits.and_more(FEED_CAP), rules=rules)


ALL_LIMITS = Checking()
"""All limits, all of each."""
