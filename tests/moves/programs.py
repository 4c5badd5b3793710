"""Programs to meanings, for the tests of the interpreter."""

from dataclasses import replace

import numpy as np

from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.machine.model import Machine, Setup, Tool, Tools
from hexpost.machine.wording import Wording
from hexpost.moves.interpret import interpret
from hexpost.moves.model import Interpretation, Switches
from hexpost.program.read import read

DEG = np.pi / 180
MACHINE = demonstration_machine()
TOOLS = Tools(tools={n: Tool(number=n, length=100.0 + n, diameter=10.0) for n in (1, 2, 3)}, given=True, file="t.toml")
HEAD = "G21 G90 G17 G94\n"


def offsets(**poses) -> Setup:
    """Return a setup of work offsets from poses in mm and degrees."""
    found = {name: np.array(p, dtype=float) * [1, 1, 1, DEG, DEG, DEG] for name, p in poses.items()}
    return Setup(offsets=found, start=None, given=True, file="s.toml")


def reading(**words) -> Machine:
    """Return the demonstration machine with other readings of open words."""
    return replace(MACHINE, words=Wording(**words))


def faults(text: str, machine: Machine = MACHINE, tools: Tools | None = None, setup: Setup | None = None) -> list:
    """Return the faults of a program."""
    found = []
    program = read(text.encode(), "part.nc", found)
    interpret(program, machine, tools or no_tools(), setup or no_setup(), found)
    return found


def meaning(
    text: str, machine: Machine = MACHINE, tools: Tools | None = None, setup: Setup | None = None
) -> Interpretation:
    """Return the meaning of a program without a fault."""
    found = []
    program = read(text.encode(), "part.nc", found)
    out = interpret(program, machine, tools or no_tools(), setup or no_setup(), found)
    assert not found, "\n".join(map(str, found))
    return out


def platform(found: Interpretation, pose: np.ndarray, frame: int, machine: Machine = MACHINE) -> np.ndarray:
    """Return the platform frame in the base frame (4, 4) when the tool is at ``pose`` (6,) of a frame."""
    f = found.moves.frames[frame]
    out = f.base_from_work @ pose_matrix(pose, machine.tilt_order)
    out[:3, 3] -= out[:3, :3] @ f.tip
    return out


def same(a: Interpretation, b: Interpretation, tolerance: float = 1e-9) -> None:
    """Assert that two meanings move alike."""
    assert a.moves.count == b.moves.count
    for name in ("kind", "feed_mode", "stop", "frame"):
        assert np.array_equal(getattr(a.moves, name), getattr(b.moves, name)), name
    for name in ("start", "end", "feed"):
        np.testing.assert_allclose(getattr(a.moves, name), getattr(b.moves, name), rtol=1e-12, atol=tolerance)
    assert np.array_equal(a.moves.arcs.move, b.moves.arcs.move)
    assert np.array_equal(a.moves.arcs.axis, b.moves.arcs.axis)
    np.testing.assert_allclose(a.moves.arcs.centre, b.moves.arcs.centre, atol=tolerance)
    np.testing.assert_allclose(a.moves.arcs.turn, b.moves.arcs.turn, atol=1e-9)


def switched(text: str, **switches: bool) -> Interpretation:
    """Return the meaning of a program without a fault with the operator's switches set."""
    found = []
    program = read(text.encode(), "part.nc", found)
    out = interpret(program, MACHINE, no_tools(), no_setup(), found, switches=Switches(**switches))
    assert not found, "\n".join(map(str, found))
    return out


def alike(text: str, twin: str, **files) -> None:
    """Assert that a program and its twin mean the same, events included, lines apart."""
    a, b = meaning(text, **files), meaning(twin, **files)
    same(a, b, tolerance=0.0)
    for name in ("move", "rule", "letter", "value", "pause", "wait"):
        assert np.array_equal(getattr(a.events, name), getattr(b.events, name)), name
