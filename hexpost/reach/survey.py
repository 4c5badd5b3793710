"""A whole grid of places, layer by layer on all cores."""

from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor, as_completed
from dataclasses import fields

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.load import machine_from
from hexpost.machine.model import Machine
from hexpost.reach.model import Places
from hexpost.reach.places import grid, places


def survey(machine: Machine, step: float, progress: Callable[[int], None] | None = None, workers: int = 1) -> Places:
    """Return what holds on a grid of ``step`` mm, sorted by z, y, x; ``progress`` is told the layers that are done."""
    x, y, z = grid(machine, step)
    layers: dict[int, Places] = {}
    if workers <= 1:
        for k, height in enumerate(z):
            layers[k] = places(machine, _layer(x, y, float(height)))
            if progress is not None:
                progress(1)
    else:
        with ProcessPoolExecutor(workers) as pool:
            jobs = {
                pool.submit(_work, machine.source, machine.file, _layer(x, y, float(h))): k for k, h in enumerate(z)
            }
            for job in as_completed(jobs):
                layers[jobs[job]] = job.result()
                if progress is not None:
                    progress(1)
    parts = [layers[k] for k in range(len(z))]
    return Places(**{f.name: np.concatenate([getattr(p, f.name) for p in parts], axis=-1) for f in fields(Places)})


def layer_count(machine: Machine, step: float) -> int:
    """Return the number of layers of a survey."""
    return len(grid(machine, step)[2])


def _layer(x: Array, y: Array, z: float) -> Array:
    """Return the places (3, n) of one height."""
    a, b = np.meshgrid(x, y)
    return np.stack([a.ravel(), b.ravel(), np.full(a.size, z)])


def _work(source: bytes, name: str, position: Array) -> Places:
    """Return what holds at places; in a worker, from the text of the machine file."""
    return places(machine_from(source, name), position)
