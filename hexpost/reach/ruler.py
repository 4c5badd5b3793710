"""Round coordinates along the edge of a drawing."""

from math import ceil, floor, log10

_ROUND = (1.0, 2.0, 5.0, 10.0)
_PARTS = 6.0


def marks(low: float, high: float) -> list[float]:
    """Return round coordinates between two, about five of them."""
    least = (high - low) / _PARTS
    power = 10.0 ** floor(log10(least))
    step = power * next((r for r in _ROUND if r * power >= least), _ROUND[-1])
    return [k * step for k in range(ceil(low / step), floor(high / step) + 1)]
