"""Damage to the folder itself: links, special files, folders in place of files, files too many or too few."""

import json
import os
import shutil

from attack.forging.kinds import NotHereError, kind


def _after(name):
    """Enter a function of the folder, the forgery and a place beside it that runs when all is written."""

    def enter(change):
        def make(forgery, rng, size):
            forgery.after.append(lambda folder: change(folder, forgery))

        kind(name, "folder")(make)
        return change

    return enter


def _beside(folder, name):
    place = folder.with_name(f"{folder.name}-elsewhere")
    place.mkdir(exist_ok=True)
    out = place / name
    (folder / name).rename(out)
    return out


@_after("inputs a link to elsewhere")
def inputs_link(folder, forgery):
    """Link the folder of the inputs."""
    (folder / "inputs").symlink_to(_beside(folder, "inputs"), target_is_directory=True)


def _link(name):
    def change(folder, forgery):
        own = forgery.table if name == "table" else name
        there = folder.with_name(f"{folder.name}-elsewhere")
        there.mkdir(exist_ok=True)
        moved = there / own.replace("/", "-")
        (folder / own).rename(moved)
        (folder / own).symlink_to(moved)

    _after(f"{name.removeprefix('inputs/')} a link to elsewhere")(change)


for name in (
    "table",
    "report.json",
    "report.html",
    "events.csv",
    "segments.json",
    "manifest.json",
    "inputs/program.nc",
):
    _link(name)


def _special(name, make):
    def change(folder, forgery):
        own = forgery.table if name == "table" else name
        (folder / own).unlink()
        make(folder / own)

    return change


for name in (
    "table",
    "report.json",
    "report.txt",
    "events.csv",
    "segments.json",
    "manifest.json",
    "inputs/machine.toml",
):
    short = name.removeprefix("inputs/")
    _after(f"{short} a pipe")(_special(name, os.mkfifo))
    _after(f"{short} a folder")(_special(name, os.mkdir))


@_after("table a link to an endless device")
def endless(folder, forgery):
    """Link the table to a device that never ends."""
    (folder / forgery.table).unlink()
    (folder / forgery.table).symlink_to("/dev/zero")


@_after("further file")
def further(folder, forgery):
    """Put a file into the folder."""
    (folder / "notes.txt").write_text("use this one")


@_after("hidden file")
def hidden(folder, forgery):
    """Put a hidden file into the folder."""
    (folder / ".setpoints.csv").write_text("use this one")


@_after("further folder")
def empty(folder, forgery):
    """Put an empty folder into the folder."""
    (folder / "more").mkdir()


@_after("further pipe")
def pipe(folder, forgery):
    """Put a pipe into the folder."""
    os.mkfifo(folder / "inputs" / "x")


@_after("file left out")
def left_out(folder, forgery):
    """Take a file away that the manifest lists."""
    (folder / "report.txt").unlink()


@_after("second name of a file")
def second(folder, forgery):
    """Give the table a second name, listed."""
    os.link(folder / forgery.table, folder / "copy.csv")


def _listed(name, put):
    """Enter a kind that puts a file into the folder and the manifest."""

    def make(forgery, rng, size):
        put(forgery)
        forgery.manifest["files"][name] = {"bytes": 0, "sha256": ""}

    kind(f"further file, listed: {name}", "folder")(make)


def _put(name, text):
    return lambda forgery: forgery.before.append(lambda folder: (folder / name).write_text(text))


_listed("notes.txt", _put("notes.txt", "use this one"))
_listed("inputs/other.nc", _put("inputs/other.nc", "M30\n"))
_listed("reading-every-10.csv", _put("reading-every-10.csv", "time_s\n"))
_listed("setpoints.other.csv", lambda f: f.before.append(lambda d: shutil.copy(d / f.table, d / "setpoints.other.csv")))


@kind("file not listed any more", "folder")
def unlisted(forgery, rng, size):
    """Take a report out of the folder and the manifest."""
    del forgery.manifest["files"]["report.txt"]
    forgery.before.append(lambda folder: (folder / "report.txt").unlink())


@kind("events not listed any more", "folder")
def no_events(forgery, rng, size):
    """Take the hash of the events out of the manifest."""
    del forgery.manifest["files"]["events.csv"]


@kind("tools left out of the inputs", "folder")
def no_tools(forgery, rng, size):
    """Let the manifest name no tools file, and take it away."""
    name = forgery.manifest["inputs"].pop("tools", None)
    if name is None:
        raise NotHereError
    del forgery.manifest["files"][name]
    forgery.before.append(lambda folder: (folder / name).unlink())


def _manifest(name, change):
    def edit(folder, forgery):
        path = folder / "manifest.json"
        path.write_text(change(path.read_text()))

    _after(name)(edit)


_manifest("manifest with a key twice", lambda t: t.replace('"job"', '"runnable": true,\n  "job"', 1).replace(
    '"schema_version"', '"runnable": true, "schema_version"', 1))  # fmt: skip
_manifest("manifest cut off", lambda t: t[: len(t) // 2])
_manifest("manifest a list", lambda t: json.dumps([json.loads(t)]))
_manifest("manifest nested too deep", lambda t: "[" * 100_000 + "]" * 100_000)
_manifest("manifest of another version", lambda t: t.replace('"schema_version": 1', '"schema_version": 2'))
_manifest("manifest with a name outside", lambda t: t.replace('"inputs/program.nc"', '"../program.nc"'))
_manifest("manifest empty", lambda t: "")
