"""Struts as springs: how much shorter each is under its thrust.

Body, joints and screw of a strut lie in series, so that their compliances add. A screw gives way as a bar over its free
length L: F L / (E A) (R. Hooke, 1678). A strut that is f / k shorter than its command is as long as it should be when
f / k is added to the command: what that changes of the thrust itself is some 1e-5 of the sag.
"""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Springs:
    """Six struts, (6, 1) each: what gives way whatever their length [mm/N], and for a mm of the screw [1/N].

    The free length of the screw is the length of the strut less ``supported`` [mm].
    """

    fixed: Array
    growing: Array
    supported: Array

    def compliance(self, length: Array) -> Array:
        """Return mm/N at lengths (6, n)."""
        out: Array = self.fixed + self.growing * np.maximum(length - self.supported, 0.0)
        return out

    def shorter(self, thrust: Array, length: Array) -> Array:
        """Return how much shorter (6, n) [mm] struts of ``length`` are under thrusts (6, n) that push."""
        if not self.growing.any():
            return thrust * self.fixed
        return thrust * self.compliance(length)
