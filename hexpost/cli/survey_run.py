"""What ``hexpost survey`` does with its options: programs found and looked at; text, page and drafts written."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import click

from hexpost.cli.library import LibraryOptions, policy_of, programs_of
from hexpost.cli.outputs import lines_of, write_all
from hexpost.cli.progress import watched
from hexpost.cli.terminal import note, say
from hexpost.errors import InputError, OutputError
from hexpost.library.policy import Policy
from hexpost.library.programs import Found
from hexpost.library.settings import Settings
from hexpost.library.texts import passed_over
from hexpost.machine.load import demonstration_machine, load_machine, load_setup, load_tools
from hexpost.machine.model import Machine
from hexpost.machine.reading import read_bytes
from hexpost.survey.document import to_json
from hexpost.survey.drafts import FILES, MACHINE, SETUP, TOOLS, DraftFile, drafts
from hexpost.survey.gather import survey
from hexpost.survey.model import Survey
from hexpost.survey.page import to_page
from hexpost.survey.text import WIDTH, text
from hexpost.tables.whole import refuse_special, try_place, writing
from hexpost.voice import paragraph, plural

MOST_PATHS = 3
"""So many paths are typed again; of more the first stands for all."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SurveyOptions(LibraryOptions):
    """The command line of a survey."""

    propose: str | None


def main(o: SurveyOptions) -> None:
    """Make the survey, show it, and write what was asked for."""
    folder = None if o.propose is None else Path(o.propose)
    before = {} if folder is None else _there(folder)
    policy = _policy(o, folder if MACHINE in before else None, before)
    _, there = programs_of(o.paths, policy)
    names = [n for n in there.names if not policy.settings(n).skip]
    if not names:
        raise click.UsageError("no program found; folders are searched for " + ", ".join(policy.programs))
    machine = _machine(policy)
    with o.engine("hexpost.survey.look") as engine, watched("programs", len(names)) as progress:
        found = survey(names, policy, machine, engine, progress=progress.reach)
    made = [] if folder is None else drafts(found, machine.source, before, folder)
    written = write_all((o.html, lambda: to_page(found).encode("utf-8", "replace")))
    if o.as_json:
        click.echo(to_json(found), nl=False)
    else:
        say(_of_machine(machine) + _passed_over(there) + text(found))
    if folder is not None:
        (note if o.as_json else say)("\n" + _write(o, folder, made, before))
    elif not o.as_json:
        say(_next(found, o))
    (note if o.as_json else say)(lines_of(written))


def _policy(o: SurveyOptions, drafted: Path | None, before: Mapping[str, bytes]) -> Policy:
    """Return the policy, the command line on top of it; a draft of the machine file counts as the machine file.

    Drafts of tools and setup count as those files once nothing in them is left open.
    """
    machine = o.machine if drafted is None else str(drafted / MACHINE)
    tools, setup = (
        given if given is not None or name not in before else _whole(Path(o.propose or "") / name, load)
        for given, name, load in ((o.tools, TOOLS, load_tools), (o.setup, SETUP, load_setup))
    )
    return policy_of(o.policy, Settings(machine=machine, tools=tools, setup=setup, units=o.units))


def _whole(file: Path, load: Callable[[Path], object]) -> str | None:
    """Return the name of a draft that can be read; none of one whose figures are not all there."""
    try:
        load(file)
    except InputError:
        return None
    return str(file)


def _machine(policy: Policy) -> Machine:
    """Return the machine that programs are read for, unless the policy says otherwise for some of them."""
    file = policy.over.machine or policy.everywhere.machine
    machine = demonstration_machine() if file is None else load_machine(file)
    return machine.with_units(policy.over.units or policy.everywhere.units)


def _of_machine(machine: Machine) -> str:
    """Return the line that says for which machine programs are read."""
    if machine.demonstration:
        return "read for the built-in demonstration machine, which is invented (--machine names yours)\n"
    return f"read for {click.format_filename(machine.file)}\n"


def _passed_over(there: Found) -> str:
    """Return the line on files in the folders that are no programs by their ending; nothing if there are none."""
    said = passed_over(there.others)
    return "\n".join(paragraph(said, WIDTH)) + "\n" if said else ""


def _there(folder: Path) -> dict[str, bytes]:
    """Return the drafts that are there, by name; a place that takes no file is refused before the work."""
    for name in FILES:
        refuse_special(folder / name)
    try_place(next(p for p in (folder, *folder.absolute().parents) if p.is_dir()), folder.name)
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder}: is no folder; name one for the drafts")
    return {name: read_bytes(folder / name) for name in FILES if (folder / name).exists()}


def _write(o: SurveyOptions, folder: Path, made: list[DraftFile], before: Mapping[str, bytes]) -> str:
    """Write the drafts that have something new; return what is said of each, and what to do next."""
    with writing(folder):
        folder.mkdir(parents=True, exist_ok=True)
    lines = []
    for draft in made:
        path = folder / draft.name
        if path.exists() and path.read_bytes() != before.get(draft.name):
            raise OutputError(f"{path}: somebody changed it meanwhile; run the survey again")
        new = draft.content != before.get(draft.name)
        if new and not write_all((str(path), lambda content=draft.content: content)):  # type: ignore[misc]
            continue
        kept = "kept as it is" if not new else f"{plural(draft.added, 'question')} added"
        lines.append(f"{click.format_filename(path)}: {kept}, {draft.left:,} open\n")
    shown = click.format_filename(folder)
    if any(draft.left for draft in made):
        return "".join(lines) + f"next: decide in {shown}, then run the same command again: what is decided is kept\n"
    files = {draft.name.removesuffix(".toml"): f"{shown}/{draft.name}" for draft in made}
    return "".join(lines) + f"next: {_gate(o, files)}\n"


def _next(found: Survey, o: SurveyOptions) -> str:
    """Return what to type next."""
    if found.words or found.of("open") or any(n.missing for n in found.numbers):
        return f"\nnext: hexpost survey {_paths(o.paths)} --propose DIR writes drafts of the files to decide in\n"
    return f"\nnext: {_gate(o, {})} checks what is read against the limits of the machine\n"


def _gate(o: SurveyOptions, drafted: Mapping[str, str]) -> str:
    """Return the command that checks the same programs with the same files, drafts (by option) first."""
    given = {"policy": o.policy, "machine": o.machine, "tools": o.tools, "setup": o.setup, "units": o.units}
    options = {name: click.format_filename(x) for name, x in given.items() if x is not None} | dict(drafted)
    return " ".join(["hexpost gate", _paths(o.paths), *(f"--{name} {x}" for name, x in options.items())])


def _paths(paths: Sequence[str]) -> str:
    """Return the paths as they are typed again; of many the first."""
    shown = [click.format_filename(p) for p in paths]
    return " ".join(shown if len(shown) <= MOST_PATHS else [shown[0], "..."])
