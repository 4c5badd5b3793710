"""The order of a proof of a finished folder: files, settings, inputs, table, report."""

from collections.abc import Callable, Iterator
from pathlib import Path

from hexpost.errors import HexpostError
from hexpost.verify.beside import check_beside
from hexpost.verify.columns import layout, missing_columns
from hexpost.verify.commands import described
from hexpost.verify.equations import prove_equations
from hexpost.verify.folder import Folder, check_files, open_folder
from hexpost.verify.knots import KnotRows, musts
from hexpost.verify.lacking import check_lacking, lacking
from hexpost.verify.model import Check, Faults, Lack, Proof
from hexpost.verify.rows import Rows, TableFiles
from hexpost.verify.segments import told_segments
from hexpost.verify.settings import JobInputs, read_inputs, settings_of
from hexpost.voice import unseen

SHARED = (
    "shared with convert: how machine, tools, setup and program are read, and what the words of the program mean; "
    "all that follows is worked out by other equations"
)
HOLDS = "this counts for whoever trusts the files in inputs/: who writes those can have any program proven"
NARROW = "columns"
"""Check of a table that the equations cannot read alone: it is proven where the job is made again with them."""
LEFT_OUT = "convert left the proof out (--no-proof): the name of the table says so, whatever this proof says"
UNCHECKED = (
    "not checked: report.txt, report.html, tables for reading; of report.json all but verdict, findings, worst uses, "
    "limits not looked at, rows, times and what is beside the motion; of manifest.json versions and units; "
    "where files come from"
)


def verify(path: Path, total: Callable[[int], None] = unseen, tick: Callable[[int], None] = unseen) -> Proof:
    """Return what can be proven of the job folder at ``path`` from its files alone.

    ``total`` is told how many rows there are, ``tick`` how many more were read.

    Raises
    ------
    HexpostError
        It is not the folder of a job.
    """
    folder = open_folder(path)
    checks: list[Check] = []
    digests: dict[str, str] = {}
    unseen: tuple[Lack, ...] = ()
    try:
        total(sum(table["rows"] for table in folder.tables.values()))
        unseen = _prove(folder, checks, digests, tick)
    except (HexpostError, OSError) as error:
        what = f"{error.filename}: {error.strerror}" if isinstance(error, OSError) else str(error)
        checks.append(Check(name="readable", text="the files of the job can be read", faults=(what,)))
    except (KeyError, TypeError, AttributeError, IndexError, ValueError) as error:
        what = f"manifest or report are not laid out as those of a job: {type(error).__name__} {error}"
        checks.append(Check(name="readable", text="the files of the job can be read", faults=(what,)))
    return Proof(
        folder=str(path),
        checks=(check_files(folder, digests), *checks),
        broken=folder.report.get("verdict") != "clean",
        remarks=(SHARED, HOLDS, *([] if folder.manifest["settings"].get("proof", True) else [LEFT_OUT])),
        unchecked=(UNCHECKED,),
        unseen=unseen,
    )


def _prove(
    folder: Folder, checks: list[Check], digests: dict[str, str], tick: Callable[[int], None]
) -> tuple[Lack, ...]:
    """Add the checks of all but the files to ``checks``, and the digests of files that were read.

    Return the limits that nobody looked at.
    """
    files = {role: folder.path / name for role, name in folder.manifest["inputs"].items()}
    inputs = read_inputs(files, folder.path, settings_of(folder.manifest["settings"]))
    checks.append(_agreement(folder, inputs))
    unseen = lacking(inputs.machine, inputs.tools)
    checks.append(check_lacking(unseen, folder.report))
    checks.append(check_beside(inputs.meaning.events, inputs.machine.times, folder.report))
    columns = layout(folder.tables, geared=described(inputs.machine))
    if missing := missing_columns(columns):
        what = f"the table lacks {', '.join(missing[:5])}{' and more' * (len(missing) > 5)}, which the equations read"
        checks.append(Check(name=NARROW, text="the table has the columns that the equations read", faults=(what,)))
        return unseen
    table = TableFiles(folder.path, folder.tables, columns, digests)
    within, rows = inputs.settings.knots_within, sum(told["rows"] for told in folder.tables.values())
    knots = None if within is None else KnotRows(folder.path, rows, columns.micros, within, digests)
    found = prove_equations(
        _counted(table, tick, knots),
        inputs,
        columns.micros,
        report=folder.report,
        events=folder.path / "events.csv",
        segments=folder.path / "segments.json",
    )
    checks.append(_counts(folder, table, columns.micros))
    checks += found
    if knots is not None:
        must = musts(folder.path, told_segments(folder.path / "segments.json"))
        checks.append(knots.finish(sum(table.rows.values()), must))
    return unseen


def _counted(table: TableFiles, tick: Callable[[int], None], knots: KnotRows | None) -> Iterator[Rows]:
    """Yield the rows of a table, tell how many each batch has, and let ``knots`` go along."""
    for rows in table.batches():
        if knots is not None:
            knots.add(rows)
        yield rows
        tick(rows.count)


def _counts(folder: Folder, table: TableFiles, micros: int) -> Check:
    """Check that manifest and report tell as many rows and as much time as the table has."""
    faults = Faults()
    rows = sum(table.rows.values())
    for name, told in folder.tables.items():
        if table.rows[name] != told["rows"]:
            faults.add(f"{name}: {table.rows[name]:,} rows, the manifest says {told['rows']:,}")
    last, settings = max(rows - 1, 0) * micros / 1e6, folder.manifest["settings"]
    for name, said in (("report", folder.report.get("duration_s")), ("manifest", folder.manifest.get("duration_s"))):
        if not isinstance(said, int | float) or abs(said - last) > 1e-9 * max(said, 1.0):
            faults.add(f"the last row is at {last:.6f} s, the {name} says {said} s")
    if settings.get("period_us") != micros or folder.report.get("period_ms") != micros / 1e3:
        faults.add(f"a row every {micros / 1e3:g} ms, settings or report say otherwise")
    return Check(name="rows", text=f"{rows:,} rows in {len(table.rows)} files", faults=faults.told())


def _agreement(folder: Folder, inputs: JobInputs) -> Check:
    """Check that manifest, report and the names of the tables tell one story."""
    faults = Faults()
    manifest, report = folder.manifest, folder.report
    clean, proven = report.get("verdict") == "clean", manifest["settings"].get("proof", True)
    runnable = clean and proven
    pairs = (
        ("runnable", manifest["runnable"], runnable),
        ("runnable in the report", report.get("runnable"), runnable),
        ("machine", manifest.get("machine"), {"name": inputs.machine.name, "revision": inputs.machine.revision}),
        ("machine of the report", report.get("machine", {}).get("name"), inputs.machine.name),
        ("rows", sum(t["rows"] for t in folder.tables.values()), report.get("rows")),
    )
    for name, found, wanted in pairs:
        if found != wanted:
            faults.add(f"{name}: {found!r:.80}, expected {wanted!r:.80}")
    if not folder.tables:
        faults.add("the manifest lists no setpoint table")
    for name in folder.tables:
        if ("not-runnable" in name) == clean:
            faults.add(f"{name}: its name does not fit the verdict {report.get('verdict')!r:.40}")
        if ("not-proven" in name) == proven:
            faults.add(f"{name}: its name does not fit the settings, proof {proven!r:.40}")
    return Check(
        name="agreement", text=f"manifest, report and table names agree: {report.get('verdict')}", faults=faults.told()
    )
