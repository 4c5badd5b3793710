"""Setup and machine files as text: what was found, with where it comes from."""

import hashlib
import re
from collections.abc import Mapping, Sequence

from hexpost.arrays import Array
from hexpost.errors import HexpostError
from hexpost.machine.model import Setup
from hexpost.shelf import Text
from hexpost.units import DEG_PER_RAD
from hexpost.version import VERSION


def pose_text(pose: Array) -> str:
    """Return a pose (6,) as the value of a ``pose_mm_deg`` key, to 1e-9 mm and 1e-11 degrees."""
    return (
        "["
        + ", ".join([number(float(x), 9) for x in pose[:3]] + [number(float(x) * DEG_PER_RAD, 11) for x in pose[3:]])
        + "]"
    )


def setup_text(offsets: Mapping[str, Array], kept: Setup, notes: Sequence[str], noted: Sequence[str]) -> str:
    """Return the text of a setup file: ``offsets`` over those that ``kept`` holds, ``notes`` as comments on top.

    ``noted`` are the names of the offsets that the notes speak of.
    """
    lines = [f"# {note}" if note else "#" for note in notes]
    for name in sorted({**kept.offsets, **offsets}):
        pose = offsets.get(name, kept.offsets.get(name))
        assert pose is not None
        lines += ["", f"[offset.{name}]" + (" " * 16 + "# see above" if name in noted else "")]
        lines.append(f"pose_mm_deg = {pose_text(pose)}")
    if kept.start is not None:
        lines += ["", "[start]", f"pose_mm_deg = {pose_text(kept.start)}"]
    return "\n".join(lines) + "\n"


def provenance(command: str, sources: Mapping[str, Text]) -> list[str]:
    """Return lines that say what made a file, from which files: their names and SHA-256."""
    out = [f"Made by hexpost {VERSION}: {command}"]
    for name, source in sources.items():
        shown = "".join(c if c.isprintable() else " " for c in name)
        out.append(f"from {shown}, SHA-256 {hashlib.sha256(source).hexdigest()}")
    return out


def with_struts(source: bytes, values: Sequence[Mapping[str, str]], notes: Sequence[str]) -> str:
    """Return a machine file with keys of its six ``[[strut]]`` tables replaced or added, the rest as it was.

    A key such as ``screw.zero_mm`` stands in the table ``[strut.screw]`` below its strut.

    Raises
    ------
    HexpostError
        When the file is not laid out as one key a line under ``[[strut]]`` heads.
    """
    lines = source.decode("utf-8-sig").splitlines()
    heads = [i for i, line in enumerate(lines) if re.match(r"\s*\[\[\s*strut\s*\]\]", line)]
    if len(heads) != len(values):
        what = f"it has {len(heads)} heads [[strut]] on lines of their own; it must have {len(values)}"
        raise HexpostError(f"the machine file cannot be edited: {what}")
    out = [f"# {note}" for note in notes] + [""] + lines[: heads[0]]
    for k, head in enumerate(heads):
        last = heads[k + 1] if k + 1 < len(heads) else len(lines)
        out += _edited(lines[head:last], values[k])
    return "\n".join(out) + "\n"


def with_table(text: str, name: str, lines: Sequence[str]) -> str:
    """Return a machine file with a table of its own, ``name``, at the end; one that it had goes."""
    kept, skipping = [], False
    for line in text.splitlines():
        if head := re.match(r"\s*\[+\s*([A-Za-z_][\w.-]*)\s*\]", line):
            skipping = head[1] == name
        if not skipping:
            kept.append(line)
    return "\n".join([*kept, "", f"[{name}]", *lines]) + "\n"


def _edited(lines: Sequence[str], values: Mapping[str, str]) -> list[str]:
    """Return the lines of one strut with its keys replaced; a new key goes below the head of its table."""
    left = dict(values)
    out: list[str] = []
    table = ""
    for line in lines:
        head = re.match(r"\s*\[+\s*strut\s*(?:\.\s*([\w.-]+)\s*)?\]", line)
        if head:
            table = f"{head[1]}." if head[1] else ""
        elif line.lstrip().startswith("["):
            table = "another table "
        key = table + line.split("=")[0].strip()
        if "=" in line and not head and key in left:
            if line.count("[") != line.count("]"):
                raise HexpostError(f"the machine file cannot be edited: {key} is on several lines; write it on one")
            line = f"{line.split('=')[0].rstrip()} = {left.pop(key)}"  # noqa: PLW2901 - the line as it is written
        out.append(line)
    for key, value in left.items():
        table, _, name = key.rpartition(".")
        at = next((i for i, line in enumerate(out) if f"strut.{table}]" in line.replace(" ", "")), 0) if table else 0
        out.insert(at + 1, f"{name} = {value}")
    return out


def number(x: float, digits: int) -> str:
    """Return a number with at most so many decimals, no trailing zeros."""
    shown = f"{x:.{digits}f}".rstrip("0").rstrip(".")
    return "0" if shown in ("-0", "") else shown
