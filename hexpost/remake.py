"""A job made again from the copies of its inputs, and every file compared: what equations cannot see is seen here.

Where code, Python, numpy, scipy and the processor's instructions are those that made the job, every file is the same
byte for byte. Elsewhere numbers with decimals may differ by one unit of the last one, and words, counts and lines may
not; of two worst values that are equal any may be told, whose place the equations look at; what pictures show, and
checksums of numbers, are then left to the equations.
"""

import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from decimal import Decimal
from itertools import zip_longest
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any, cast

from hexpost.audit.model import Worst
from hexpost.convert import Output, convert
from hexpost.documents import DIGITS, measured
from hexpost.errors import HexpostError
from hexpost.machine.load import demonstration_machine
from hexpost.machine.ordinary import load_ordinary
from hexpost.moves.model import Switches
from hexpost.ownproof import NotProvenError
from hexpost.pipeline import Files, Job, Progress, load, schedule
from hexpost.proving import Proving
from hexpost.report.document import to_json
from hexpost.report.model import Report
from hexpost.report.text import text
from hexpost.setup.yaw import free_yaw
from hexpost.verify.folder import MANIFEST, Folder, open_folder
from hexpost.verify.model import Check, Faults
from hexpost.verify.places import LIMITS
from hexpost.verify.settings import settings_of
from hexpost.verify.told import Told

NAME = "remake"
LEAST_ROOM = 100_000
"""Rows that trials of another yaw may take beyond twice those of the job."""
_PIECE = 1 << 20
_NUMBER = re.compile(rb"-?[0-9]+(?:\.[0-9]+)?(?:e[+-]?[0-9]+)?")
_BINARY = (".npy", ".parquet")
_PICTURES = ("report.html", "segments.json")
"""Files that hold pictures or checksums of numbers: compared where the same tools made them."""
_TOOLS = {"versions", "made_by"}
"""Keys of the manifest that say what made the job."""
_DIGEST, _VERSION = re.compile(r"[0-9a-f]{64}"), re.compile(r"[0-9A-Za-z.+_-]{1,40}")
_SIX_DIGITS = 100_000
_SENSELESS = (KeyError, TypeError, AttributeError, IndexError, ValueError)
"""What a manifest or a report raises that lacks something, or holds something else."""


def remade(path: Path, *, narrow: bool = False, tick: Progress | None = None) -> Check:
    """Return whether the job folder at ``path`` is what its inputs and settings make, file by file.

    ``tick`` is told how many more of its rows were made.
    ``narrow``: its table lacks columns that the equations read; then they run on one that has them, made beside.

    Raises
    ------
    HexpostError
        It is not the folder of a job.
    """
    folder = open_folder(path)
    try:
        return _compared(folder, tick, narrow=narrow)
    except NotProvenError as error:
        return Check(name=NAME, text="made again from its inputs", faults=error.faults)
    except (HexpostError, *_SENSELESS) as error:
        return Check(name=NAME, text="made again from its inputs", faults=(f"the job cannot be made again: {error}",))


def _compared(folder: Folder, tick: Progress | None, *, narrow: bool) -> Check:
    """Return what comes of making a job again and comparing every file."""
    path = folder.path
    with TemporaryDirectory(prefix="hexpost-") as place:
        again = Path(place) / "job"
        report = _make(folder, again, tick, prove=narrow)
        new: Mapping[str, Any] = json.loads((again / MANIFEST).read_bytes())
        same = new["made_by"] == folder.manifest.get("made_by")
        faults = Faults()
        if not same:
            _tell_as(folder, again, report)
        for name in dict.fromkeys([*new["files"], *folder.manifest["files"]]):
            if name not in folder.manifest["files"]:
                faults.add(f"{name}: is missing: the inputs and settings make it")
            elif name not in new["files"]:
                faults.add(f"{name}: does not belong to the job: the inputs and settings do not make it")
            elif not _alike(path / name, again / name, same=same, counts=name in folder.tables):
                faults.add(f"{name}: is not what the inputs and settings make")
        for key in sorted({*new, *folder.manifest} - {"files"}):
            said = folder.manifest.get(key)
            if not (new.get(key) == said or (not same and key in _TOOLS and _names_tools(said, new[key]))):
                faults.add(f"{MANIFEST}: {key}: is not what the inputs and settings make")
        if narrow and not same and any(Path(name).suffix in _BINARY for name in folder.tables):
            faults.add("other versions made it: its binary table cannot be compared, and the equations cannot read it")
    how = "byte for byte"
    if not same:
        how = "to one unit of the last decimal (other versions made it); not report.html, segments.json, binary tables"
    proven = ", proven with the columns that its table lacks" if narrow else ""
    return Check(name=NAME, text=f"made again from its inputs{proven}, compared {how}", faults=faults.told())


def _tell_as(folder: Folder, again: Path, report: Report) -> None:
    """Write the report of a job made ``again`` once more, with places as the folder tells them, where any is right."""
    report = _as_told(report, Told(folder.report))
    (again / "report.json").write_bytes(to_json(report).encode())
    (again / "report.txt").write_bytes(text(report).encode())


def _as_told(report: Report, told: Told) -> Report:
    """Return a report that tells places of equal worst values of struts as another does, where the values are near.

    Only of limits whose places the equations look at (``verify.places``).
    """

    def moved(w: Worst) -> Worst:
        said = told.worst.get((w.limit.name, w.strut))
        if w.limit.name not in LIMITS or said is None or not isinstance(said["line"] or 0, int):
            return w
        value = measured(w.value, w.limit.unit, w.allowed)
        near = value is not None and _one_unit(Decimal(repr(value)), Decimal(repr(float(said["value"]))))
        return replace(w, line=said["line"] or 0, time=float(said["time_s"])) if near else w

    struts = tuple(replace(s, worst=tuple(moved(w) for w in s.worst)) for s in report.struts)
    return replace(report, struts=struts)


def _names_tools(old: object, new: object) -> bool:
    """Return whether something is of the form in which a manifest says what made a job."""
    if isinstance(new, str) or not isinstance(new, Mapping):
        return isinstance(old, str) and _DIGEST.fullmatch(old) is not None
    fits = isinstance(old, Mapping) and old.keys() == new.keys()
    return fits and all(
        isinstance(v, str) and _VERSION.fullmatch(v) for v in cast("Mapping[str, object]", old).values()
    )


def job_in(path: Path) -> Job:
    """Return the scheduled job that the inputs and settings of the job folder at ``path`` make.

    Raises
    ------
    HexpostError
        It is not the folder of a job, or its inputs and settings make none.
    """
    try:
        return job_again(open_folder(path))
    except _SENSELESS as error:
        raise HexpostError(f"{path}: the job cannot be made again: {error}") from None


def job_again(folder: Folder) -> Job:
    """Return the scheduled job of a folder's inputs and settings, called as its report calls it."""
    told, report, files = folder.manifest["settings"], folder.report, _files(folder)
    inputs = load(files, told["period_us"] / 1e6)
    inputs = replace(
        inputs,
        machine=replace(inputs.machine, file=str(report["machine"]["file"])),
        program=replace(inputs.program, name=str(report.get("program"))),
        tools=replace(inputs.tools, file=str(report.get("tools_file"))),
        setup=replace(inputs.setup, file=str(report.get("setup_file"))),
    )
    job, yaw = schedule(inputs, told["feed"]), told.get("yaw_asked", settings_of(told).yaw)
    return job if yaw == "fixed" else free_yaw(job, yaw, files.switches).job


def _files(folder: Folder) -> Files:
    """Return the copies of a folder's inputs, and the switches of its settings."""
    told, settings = folder.manifest["settings"], settings_of(folder.manifest["settings"])
    own = folder.manifest.get("demonstration") is True
    machine = folder.input("machine")
    if own and (machine is None or machine.read_bytes() != bytes(demonstration_machine().source)):
        raise HexpostError(f"{machine}: is not the demonstration machine that the manifest names")
    rows = sum(table["rows"] for table in folder.tables.values())
    return Files(
        program=folder.path / folder.manifest["inputs"]["program"],
        machine=None if own else machine,
        tools=folder.input("tools"),
        setup=folder.input("setup"),
        switches=Switches(
            stops=settings.stops,
            skip=settings.skip,
            at_most=settings.at_most,
            calm=settings.calm,
            effort=settings.effort,
        ),
        proving=Proving(
            override=float(told.get("override_percent", 100.0)),
            lift=settings.lift,
            single_block=settings.single_block,
            from_line=f"{settings.from_line}@{settings.from_run}" if settings.from_line else "",
        ),
        most_rows=2 * rows + LEAST_ROOM,
        units=settings.units,
    )


def _make(folder: Folder, again: Path, tick: Progress | None, *, prove: bool) -> Report:
    """Write the job that the inputs and settings of a folder make, and ``prove`` it if that is asked for."""
    other, compared = None, folder.input("compared")
    if compared is not None:
        other = replace(load_ordinary(compared), file=str(folder.report["compared_with"]["file"]))
    return convert(job_again(folder), _output(folder, again), tick, prove=prove, other=other)


def _output(folder: Folder, again: Path) -> Output:
    """Return what a job is written as ``again``, as the settings of a folder say."""
    told = folder.manifest["settings"]
    return Output(
        folder=again,
        table=str(told.get("table")),
        columns=tuple(c["name"] for table in folder.tables.values() for c in table["columns"]),
        rows_per_file=int(told.get("rows_per_file", 0)),
        stride=int(told.get("stride", 0)),
        knots_within=settings_of(told).knots_within,
        proof=bool(told.get("proof", True)),
    )


def _alike(old: Path, new: Path, *, same: bool, counts: bool) -> bool:
    """Return whether two files hold the same; where other tools made them, the same but for the last decimal.

    ``counts``: whole numbers may differ by one, too: in a table, whose lines and counts the equations read.
    """
    if not same and (old.name in _PICTURES or old.suffix in _BINARY):
        return True
    pieces = zip_longest(_pieces(old), _pieces(new))
    return all(
        a == b or (not same and a is not None and b is not None and _near(a, b, counts=counts)) for a, b in pieces
    )


def _pieces(path: Path) -> Iterator[bytes]:
    """Yield a file in pieces of whole lines."""
    with path.open("rb") as file:
        while lines := file.readlines(_PIECE):
            yield b"".join(lines)


def _near(old: bytes, new: bytes, *, counts: bool) -> bool:
    """Return whether two texts have the same words, and numbers that differ by one unit of the last decimal at most."""
    if _NUMBER.split(old) != _NUMBER.split(new):
        return False
    pairs = zip(_NUMBER.findall(old), _NUMBER.findall(new), strict=True)
    return all(
        a == b or ((counts or _decimal(a) or _decimal(b)) and _one_unit(Decimal(a.decode()), Decimal(b.decode())))
        for a, b in pairs
    )


def _decimal(number: bytes) -> bool:
    return b"." in number or b"e" in number


def _one_unit(a: Decimal, b: Decimal) -> bool:
    """Return whether two numbers differ by one unit of the last decimal of the one with fewer.

    Six digits are all that a report has of a measured value: those before the point may be the last ones.
    """
    last = max(int(x.as_tuple().exponent) for x in (a, b))
    if last == -1 and all(x == x.to_integral_value() and abs(x) >= _SIX_DIGITS for x in (a, b)):
        last = min(a.adjusted(), b.adjusted()) - DIGITS + 1
    return abs(a - b) <= Decimal(1).scaleb(last)
