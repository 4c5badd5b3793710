"""A whole grid of places, layer by layer, side by side."""

from collections.abc import Callable
from functools import lru_cache, partial

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.load import machine_from
from hexpost.machine.model import Machine
from hexpost.reach.model import Places
from hexpost.reach.places import grid, places
from hexpost.workers.engines import Engine
from hexpost.workers.run import Runner


def all_places(machine: Machine, step: float, engine: Engine, progress: Callable[[int], None]) -> Places:
    """Return what holds on a grid of ``step`` mm, sorted by z, y, x; ``progress`` is called with 1 after each layer."""
    x, y, z = grid(machine, step)
    layers = [_layer(x, y, float(height)) for height in z]
    with Runner(engine) as runner:
        parts = runner.in_order(layers, partial(_work, machine.source, machine.file), progress)
    return Places.joined(parts)


def layer_count(machine: Machine, step: float) -> int:
    """Return the number of layers of a grid."""
    return len(grid(machine, step)[2])


def _layer(x: Array, y: Array, z: float) -> Array:
    """Return the places (3, n) of one height."""
    a, b = np.meshgrid(x, y)
    return np.stack([a.ravel(), b.ravel(), np.full(a.size, z)])


def _work(source: bytes, name: str, position: Array) -> Places:
    """Return what holds at places; in a worker, from the text of the machine file."""
    return places(_machine(source, name), position)


@lru_cache(maxsize=1)
def _machine(source: bytes, name: str) -> Machine:
    """Return the machine of a text; a worker reads it once."""
    return machine_from(source, name)
