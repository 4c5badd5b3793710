"""Files that commands write: tried before the work, never an input, and what fails loses nothing of the others."""

import re
from collections.abc import Callable, Iterable, Mapping
from pathlib import Path
from typing import TYPE_CHECKING

import click
from click.shell_completion import CompletionItem

from hexpost.errors import OutputError

if TYPE_CHECKING:
    from hexpost.shelf import Text

HEAD = 65_536
"""So many bytes of a file are looked at to see of which kind it is."""
_WORDS = re.compile(r"\s*/?\s*(?:%.*|(?:[A-Za-z:]\s*[-+]?[\d.]+\s*)*)\s*")


def _is_program(head: str) -> bool:
    """Return whether a text is made of blocks of words, as a part program is."""
    lines = re.sub(r"\([^()\n]*\)|;[^\n]*", "", head).splitlines()
    return "\0" not in head and all(_WORDS.fullmatch(line) for line in (lines[:-1] if len(head) >= HEAD else lines))


KINDS: Mapping[str, Callable[[str], object]] = {
    "part program": _is_program,
    "setup file": lambda head: re.search(r"^\s*\[\s*(offset\.|start\s*\])", head, re.MULTILINE),
    "machine file": lambda head: re.search(r"^\s*\[\[\s*strut\s*\]\]", head, re.MULTILINE),
    "list of poses": lambda head: head.startswith("x_mm,y_mm,z_mm,a_deg,b_deg,c_deg,length_1_mm,"),
    "map of places": lambda head: head.startswith("x_mm,y_mm,z_mm,turn_deg,"),
    "table of reach": lambda head: head.startswith("x_mm,y_mm,z_mm,tilt_deg,"),
    "page of reach": lambda head: "<title>Reach</title>" in head,
    "picture of a machine": lambda head: "<svg" in head[:1000],
    "page of a library": lambda head: "<title>Program library: " in head,
    "page of both schedules": lambda head: "<title>Both schedules: " in head,
    "page of a survey": lambda head: "<title>Survey of a library: " in head,
    "summary of a library": lambda head: head.startswith("## Program library: "),
    "SARIF file": lambda head: head.lstrip().startswith("{") and "sarif" in head[:1000].lower(),
    "JUnit file": lambda head: "<testsuite" in head[:1000],
    "baseline": lambda head: '"accepted"' in head[:1000],
}
"""What may be replaced by a file of each kind: one of the same kind, known by its head."""


FAILED = "hexpost.output-failed"
_REPLACES, _KINDS = "hexpost.replaces", "hexpost.kinds"


def _may_replace(ctx: click.Context, _: click.Parameter, value: bool) -> None:  # noqa: FBT001 - click's own signature
    ctx.meta[_REPLACES] = value


OVERWRITE = (
    click.option(
        "--overwrite", is_flag=True, expose_value=False, callback=_may_replace, help="Replace files that are there."
    ),
)


class OutFile(click.Path):
    """A file to be written, of one of ``KINDS``; ``only_with`` names the flag without which it is only read."""

    def __init__(self, *kinds: str, only_with: str = "") -> None:
        super().__init__()
        self.kinds, self.only_with = kinds, only_with


class FolderPath(click.Path):
    """A folder; a shell completes it as one."""

    def shell_complete(self, ctx: click.Context, param: click.Parameter, incomplete: str) -> list[CompletionItem]:  # noqa: ARG002
        """Ask the shell for the folders that begin so."""
        return [CompletionItem(incomplete, type="dir")]


class DraftFolder(FolderPath):
    """A folder of drafts that keep every byte of what is there; the command itself tries them before its work."""


class OutFolder(FolderPath):
    """A folder in which files of these names and kinds are written, among others that stay; none: a job folder."""

    def __init__(self, files: Mapping[str, str] | None = None) -> None:
        super().__init__()
        self.files = files or {}


def job_folder(program: str, out: str | None) -> Path:
    """Return the folder of a job: the one asked for, else named after the program, here."""
    return Path(out) if out else Path(f"{Path(program).stem}-job")


def check(ctx: click.Context) -> None:
    """Try every output of a command line, before its work.

    Raises
    ------
    OutputError
        With all that is wrong: an output that is an input, two that are one, a file of another kind or one that may
        not be replaced without ``--overwrite``, a place that cannot be written.
    """
    outputs: list[tuple[str, Path, tuple[str, ...]]] = []
    folders: list[tuple[str, Path, bool]] = []
    inputs: list[Path] = []
    for param in ctx.command.params:
        value, name = ctx.params.get(param.name or ""), max(param.opts, key=len)
        if isinstance(param.type, OutFolder) and not param.type.files:
            value = job_folder(ctx.params["program"], value)
        if not value or isinstance(value, tuple) or not isinstance(param.type, click.Path):
            inputs += [Path(v) for v in value if isinstance(v, str)] if isinstance(value, tuple) else []
        elif isinstance(param.type, OutFolder):
            folders.append((name, Path(value), not param.type.files))
            outputs += [(name, Path(value) / file, (kind,)) for file, kind in param.type.files.items()]
        elif isinstance(param.type, OutFile) and ctx.params.get(param.type.only_with, True):
            outputs.append((name, Path(value), param.type.kinds))
        else:
            inputs.append(Path(value))
    if outputs or folders:
        Path.cwd()  # a folder that is gone takes no file
    replaces = bool(ctx.params.get("overwrite", ctx.meta.get(_REPLACES, True)))
    ctx.meta[_KINDS] = {path: kinds for _, path, kinds in outputs}
    faults = []
    for i, (name, path, kinds) in enumerate(outputs):
        others = [(n, p) for n, p, _ in outputs[:i]]
        made = any(path.parent == folder for _, folder, _ in folders)
        faults += [f"{name} {f}" for f in _faults(path, kinds, inputs, others, replaces=replaces, tried=not made)]
    for name, path, job in folders:
        faults += [f"{name} {fault}" for fault in _of_folder(path, inputs, job=job, replaces=replaces)]
    if faults:
        raise OutputError("\n".join(faults))


def _faults(
    path: Path,
    kinds: Iterable[str],
    inputs: Iterable[Path],
    others: Iterable[tuple[str, Path]],
    *,
    replaces: bool,
    tried: bool,
) -> Iterable[str]:
    """Yield what is wrong with one output."""
    from hexpost.tables.whole import refuse_special, try_place

    if any(_same(path, other) for other in inputs):
        yield f"{path}: is an input, too\n    hint: name a new file"
        return
    if twins := [name for name, other in others if _same(path, other)]:
        yield f"{path}: is written by {twins[0]}, too; name another file"
        return
    try:
        refuse_special(path)
        if path.exists():
            if not replaces:
                yield f"{path}: exists already\n    hint: --overwrite replaces it"
                return
            if not _is_of(path, kinds):
                wanted = " or ".join(kinds)
                yield (
                    f"{path}: is a file of another kind; only a {wanted} is replaced\n"
                    "    hint: name a new file, or move this one away"
                )
                return
        if tried:
            try_place(path.parent, path.name)
    except OutputError as error:
        yield str(error)


def _of_folder(path: Path, inputs: Iterable[Path], *, job: bool, replaces: bool) -> Iterable[str]:
    """Yield what is wrong with a folder that is an output."""
    from hexpost.tables.ours import look
    from hexpost.tables.whole import try_place

    for file in inputs:
        if path.is_dir() and file.resolve().is_relative_to(path.resolve()) and file.exists():
            yield f"{path}: holds the input {file}\n    hint: choose another folder"
            return
    try:
        if job:
            look(path, overwrite=replaces)
        try_place(next(p for p in path.absolute().parents if p.exists()), path.name)
    except OutputError as error:
        yield str(error)


def _same(one: Path, other: Path) -> bool:
    """Return whether two paths are one file, or will be."""
    try:
        return one.samefile(other)
    except OSError:
        return one.absolute() == other.absolute()


def _is_of(path: Path, kinds: Iterable[str]) -> bool:
    """Return whether a file is of one of the kinds; an empty one is of every kind."""
    try:
        with path.open("rb") as file:
            head = file.read(HEAD).decode("utf-8-sig", "replace")
    except OSError:
        return False
    return not head or any(KINDS[kind](head) for kind in kinds)


def write_all(*files: tuple[str | None, Callable[[], "Text"]]) -> list[str]:
    """Write each file that has a name, whole; return the names of those that are written.

    What fails is said on standard error, and the exit code is then 2 whatever else the command finds.
    """
    from hexpost.tables.whole import write_whole

    meta, written = click.get_current_context().meta, []
    for name, content in files:
        if not name:
            continue
        path, fault = Path(name), f"{name}: exists already: somebody wrote it meanwhile"
        other = path.is_file() and not _is_of(path, meta.get(_KINDS, {}).get(path, KINDS))
        if not other and (meta.get(_REPLACES, True) or not path.exists()):
            try:
                write_whole(path, content())
                written.append(name)
                continue
            except OutputError as error:
                fault = str(error)
        click.echo(fault, err=True)
        meta[FAILED] = True
    return written


def lines_of(written: Iterable[str]) -> str:
    """Return a line for each file that was written."""
    return "".join(f"written: {click.format_filename(name)}\n" for name in written)
