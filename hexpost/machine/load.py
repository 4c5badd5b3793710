"""Load machine, tools and setup files; all faults of a file are raised together."""

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType

from hexpost.arrays import Array
from hexpost.errors import Fault, InputError
from hexpost.machine import language, loads, tables
from hexpost.machine.elastic import check_compensation, check_vibration, compensation
from hexpost.machine.geometry import check_geometry
from hexpost.machine.language import programmed_axes
from hexpost.machine.model import Machine, Setup, Tool, Tools
from hexpost.machine.reading import parse, read_bytes
from hexpost.machine.table import Table
from hexpost.machine.universals import check_limits, with_universals

KINDS = {
    "machine": ("strut", "tool_tip", "platform"), "tools": ("tool",), "setup": ("offset", "start"),
    "compare-with": ("axis",),
}  # fmt: skip
"""Kinds of file, as their options are called, and keys at the root by which each is known."""
OFFSETS = ("G54", "G55", "G56", "G57", "G58", "G59")
MOST_TOOL_NUMBER = 99_999_999
DEMONSTRATION = Path(__file__).with_name("demonstration.toml")


def load_machine(path: str | Path) -> Machine:
    """Return the machine of the file at ``path``.

    Raises
    ------
    InputError
        With every fault of the file: syntax, keys, types, ranges, and a geometry that cannot work.
    """
    return machine_from(read_bytes(path), str(path))


def demonstration_machine() -> Machine:
    """Return the built-in machine: invented, for trying the program out, never to be run."""
    return machine_from(read_bytes(DEMONSTRATION), DEMONSTRATION.name, demonstration=True)


def machine_from(source: bytes, name: str, *, demonstration: bool = False) -> Machine:
    """Return the machine of a TOML text; ``name`` is the file named in faults.

    Raises
    ------
    InputError
        As ``load_machine``.
    """
    root = root_of(source, name, "machine")
    struts = [tables.strut(t) for t in root.tables("strut", 6)]
    struts += [tables.strut(Table({}, "", name, []))] * (6 - len(struts))  # stand-ins: the count is a fault already
    zero = _pose_of(root.table("machine_zero"))
    machine = Machine(
        name=root.text("name"),
        revision=root.text("revision"),
        file=name,
        demonstration=demonstration,
        tilt_order=tables.tilt_order(root),
        period=tables.period(root),
        reference=_pose_of(root.table("reference")),
        pallet=tables.pallet(root.table("pallet")),
        machine_zero=zero,
        platform=tables.platform(root.table("platform")),
        tool_tip=tables.tool_tip(root.table("tool_tip")),
        struts=(struts[0], struts[1], struts[2], struts[3], struts[4], struts[5]),
        words=language.words(root.table("words", optional=True)),
        dialect=language.dialect(root),
        reference_return=language.reference_return(root.table("reference_return", optional=True), zero),
        tool_change=root.maybe("tool_change", _pose_of),
        programmed_axes=root.maybe("programmed_axes", programmed_axes),
        forces=loads.forces(root.table("forces", optional=True)),
        spindle=root.maybe("spindle", loads.spindle),
        keep_out=loads.keep_out(root),
        health=loads.health(root.table("health", optional=True)),
        times=tables.times(root.table("times", optional=True)),
        calibration=root.maybe("calibration", tables.calibration),
        compensation=root.maybe("compensation", compensation),
        source=source,
    )
    tables.check_screws(machine.struts, root)
    tables.check_servos(machine, root)
    check_compensation(machine, root)
    check_vibration(machine, root)
    tables.check_against_tip(machine, root)
    root.close()
    raise_faults(root)
    check_geometry(machine, root)
    raise_faults(root)
    machine = with_universals(machine, root)
    raise_faults(root)
    check_limits(machine, root)
    raise_faults(root)
    return machine


def load_tools(path: str | Path) -> Tools:
    """Return the tools of the file at ``path``.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    source = read_bytes(path)
    root = root_of(source, str(path), "tools")
    tools: dict[int, Tool] = {}
    for t in root.tables("tool"):
        tool = Tool(
            teeth=t.whole("teeth", 1, 1000) if t.has("teeth") else 1,
            force=loads.tool_force(t),
            number=t.whole("number", 1, MOST_TOOL_NUMBER),
            length=t.positive("length_mm", most=1e4),
            diameter=t.positive("diameter_mm", most=1e4),
            round=t.flag("round") if t.has("round") else True,
        )
        if tool.number in tools and t.has("number"):
            t.fault("number", f"is {tool.number} again; give each tool once", "repeated")
        tools[tool.number] = tool
        t.close()
    root.close()
    raise_faults(root)
    return Tools(tools=MappingProxyType(tools), given=True, file=str(path), source=source)


def load_setup(path: str | Path) -> Setup:
    """Return the setup of the file at ``path``: work offsets and, where given, the pose the job starts from.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    source = read_bytes(path)
    root = root_of(source, str(path), "setup")
    offsets = _offsets(root.table("offset", optional=True))
    start = _pose_of(root.table("start")) if root.has("start") else None
    root.close()
    raise_faults(root)
    return Setup(offsets=MappingProxyType(offsets), start=start, given=True, file=str(path), source=source)


def no_tools() -> Tools:
    """Return what stands for a missing tools file: every tool has length 0."""
    return Tools(tools=MappingProxyType({}), given=False)


def no_setup() -> Setup:
    """Return what stands for a missing setup file: every work offset is the pallet frame."""
    return Setup(offsets=MappingProxyType({}), start=None, given=False)


def _offsets(t: Table) -> Mapping[str, Array]:
    """Return the work offsets by name."""
    out = {name: _pose_of(t.table(name)) for name in OFFSETS if t.has(name)}
    t.close()
    return out


def _pose_of(t: Table) -> Array:
    """Return the pose (6,) of a table that holds nothing else."""
    out = t.pose()
    t.close()
    return out


def called(kind: str) -> str:
    """Return what a kind of file is called."""
    return "comparison" if kind == "compare-with" else kind


def root_of(source: bytes, name: str, expected: str) -> Table:
    """Return the table of a TOML text; a file of another kind, given with the wrong option, has a fault of its own."""
    root = parse(source, name)
    if root.any_of(KINDS[expected]):
        return root
    for kind, keys in KINDS.items():
        if root.any_of(keys):
            what = f"this is a {called(kind)} file, not a {called(expected)} file"
            hint = f"give it with --{kind}; were two options mixed up?"
            raise InputError([Fault(file=root.file, what=what, code="other-file", hint=hint)])
    return root


def raise_faults(root: Table) -> None:
    """Raise the faults found so far, if any."""
    if root.faults:
        raise InputError(root.faults)
