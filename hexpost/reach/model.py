"""What is known of a grid of places."""

from dataclasses import dataclass

from hexpost.arrays import Array, Columns, Flags


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places(Columns):
    """Places of the gauge point (3, n) in the base frame, tool axis as at the reference pose, and what holds there.

    ``reachable`` (n,): within strokes and joint limits and not singular. ``tilt`` [rad]: up to which the tool tilts in
    every direction about the gauge point. In the worst direction: ``feed`` [mm/s], ``tilt_speed`` [rad/s],
    ``acceleration`` [mm/s2] of a pure translation from rest. ``stiffness`` [N/mm] of the gauge point in its softest
    direction (nan where struts have none); ``conditioning`` of the Jacobian, 1 at best. nan where out of reach.
    """

    position: Array
    reachable: Flags
    tilt: Array
    feed: Array
    tilt_speed: Array
    acceleration: Array
    stiffness: Array
    conditioning: Array
