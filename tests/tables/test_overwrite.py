"""A job takes the place of another whole, or not at all, whatever happens at any file operation on the way."""

import hashlib
import json
import os
import shutil

import pytest
from attack import faults
from attack.jobs import content

from hexpost.errors import OutputError
from hexpost.tables import job as jobs
from hexpost.tables.exchange import Claim, exchange
from hexpost.tables.job import MANIFEST, UNFINISHED, JobFolder
from hexpost.tables.ours import sides

OLD = {"setpoints.csv": b"old rows", "inputs/program.nc": b"G0 X1", "events.csv": b"old"}
NEW = {
    "setpoints.not-runnable.csv": b"new",
    "inputs/program.nc": b"G0 X2",
    "inputs/tools.toml": b"t",
    "report.txt": b"n",
}


def make(path, files, **more):
    with JobFolder(path, **more) as folder:
        for name, data in files.items():
            if name.startswith("setpoints"):
                part = folder.part("setpoints")
                part.write(data)
                folder.keep(part, name)
            else:
                folder.put(name, data)
        folder.finish({})


def is_job(path, files):
    """Return whether a folder is the job of these files, whole: those of the manifest, and no other."""
    there = content(path)
    told = json.loads(there.pop(MANIFEST, b'{"files": {}}'))["files"]
    sums = {name: {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()} for name, data in files.items()}
    return there == files and told == sums and faults.left_over(path) == []


def chosen(names):
    """Return numbers of operations to strike: all at the end, a twelfth of the others (the bench takes all)."""
    return [at for at in range(1, len(names) + 1) if at % 12 == 1 or at > len(names) - 26]


def one_step(monkeypatch, steps):
    monkeypatch.setattr(os, "fsync", lambda number: None)  # counts all the same, and costs nothing
    if steps == 2:
        monkeypatch.setattr(jobs, "exchange", lambda one, other: False)  # as on a system that cannot
        monkeypatch.setattr("hexpost.tables.exchange.exchange", lambda one, other: False)


@pytest.mark.parametrize("steps", [1, 2])
@pytest.mark.parametrize("kind", faults.HOW)
def test_at_every_operation_a_whole_job_stays_and_another_run_can_follow(tmp_path, monkeypatch, kind, steps):
    one_step(monkeypatch, steps)
    first = tmp_path / "first"
    make(first / "job", OLD)
    place = tmp_path / "place"
    path = place / "job"
    new, old = sides(path)
    shutil.copytree(first, place)
    code, names = faults.struck(lambda: make(path, NEW, overwrite=True), place)
    assert code == 0
    assert len(names) > 40, names
    for at in chosen(names):
        shutil.rmtree(place)
        shutil.copytree(first, place)
        code, _ = faults.struck(lambda: make(path, NEW, overwrite=True), place, kind, at)
        where = f"{kind} at {at}, {names[at - 1]}: {code}"
        assert code in {"kill": (-9,), "interrupt": (0, 130)}.get(kind, (0, 2)), where
        whole = [is_job(path, OLD), is_job(path, NEW), not path.exists() and (is_job(new, NEW) or is_job(old, OLD))]
        assert any(whole), where
        assert code != 0 or whole[1], where
        assert code != 2 or whole[0] or whole[1] or (steps == 2 and kind == "read-only"), where
        make(path, NEW, overwrite=True)
        assert is_job(path, NEW), where
        assert faults.left_over(place) == [], where


@pytest.mark.parametrize("kind", faults.HOW)
def test_at_every_operation_of_a_fresh_job_another_run_can_follow_without_a_word(tmp_path, monkeypatch, kind):
    one_step(monkeypatch, 1)
    place = tmp_path / "place"
    path = place / "deep" / "job"
    place.mkdir()
    code, names = faults.struck(lambda: make(path, NEW), place)
    for at in chosen(names):
        shutil.rmtree(place)
        place.mkdir()
        code, _ = faults.struck(lambda: make(path, NEW), place, kind, at)
        where = f"{kind} at {at}, {names[at - 1]}: {code}"
        assert is_job(path, NEW) or not (path / MANIFEST).exists(), where
        assert code != 0 or is_job(path, NEW), where
        assert code not in (2, 130) or kind == "read-only" or content(place) == {} or is_job(path, NEW), where
        if not is_job(path, NEW):
            make(path, NEW)
        assert is_job(path, NEW), where
        assert faults.left_over(place) == [], where


def test_the_manifest_of_somebody_else_lists_nothing(tmp_path):
    """As a document system keeps one; none of its files may go."""
    thesis = b"five years"
    told = {"files": {"thesis.docx": {"bytes": len(thesis), "sha256": hashlib.sha256(thesis).hexdigest()}}}
    for text in (told, {"job": "print", **told}, {"job": ["hexpost"], **told}, [told], "hexpost", None):
        (tmp_path / MANIFEST).write_text(json.dumps(text))
        (tmp_path / "thesis.docx").write_bytes(thesis)
        with pytest.raises(OutputError, match="holds other files than a job"):
            JobFolder(tmp_path, overwrite=True)
        assert (tmp_path / "thesis.docx").read_bytes() == thesis


@pytest.mark.parametrize("name", ["report.txt", "inputs/program.nc", "inputs/notes.txt", "thesis.docx", ".hidden.part"])
def test_a_file_that_was_changed_or_added_keeps_the_old_job(tmp_path, name):
    path = tmp_path / "job"
    make(path, NEW)
    (path / name).write_bytes(b"mine")
    before = content(tmp_path), faults.left_over(tmp_path)
    with pytest.raises(OutputError, match=f"{name}: (has changed since|is not listed).*\n.*hint: move it away"):
        JobFolder(path, overwrite=True)
    assert (content(tmp_path), faults.left_over(tmp_path)) == before


def test_a_mark_lists_nothing_that_it_does_not_know_by_its_bytes(tmp_path):
    """Old marks listed names alone, and a part is one by its name and by the mark."""
    mine = hashlib.sha256(b"mine").hexdigest()
    for mark in ("thesis.docx\n", "-  thesis.docx\n", f"{mine}  thesis.docx", f"{'0' * 64}  thesis.docx\n", ""):
        (tmp_path / UNFINISHED).write_text(mark)
        (tmp_path / "thesis.docx").write_bytes(b"mine")
        for overwrite in (False, True):
            why = "has changed since" if mark.startswith("0") else "is not listed by the old job"
            with pytest.raises(OutputError, match=f"thesis.docx: {why}"):
                JobFolder(tmp_path, overwrite=overwrite)
        assert (tmp_path / "thesis.docx").read_bytes() == b"mine"


def test_what_was_deleted_from_an_old_job_is_no_reason_to_keep_it(tmp_path):
    make(tmp_path / "job", OLD)
    (tmp_path / "job" / "setpoints.csv").unlink()
    shutil.rmtree(tmp_path / "job" / "inputs")
    make(tmp_path / "job", NEW, overwrite=True)
    assert is_job(tmp_path / "job", NEW)


def test_somebody_who_writes_to_the_old_job_meanwhile_keeps_it(tmp_path):
    path = tmp_path / "job"
    make(path, OLD)
    with JobFolder(path, overwrite=True) as folder:
        folder.put("report.txt", b"new")
        (path / "notes.txt").write_text("mine")
        with pytest.raises(OutputError, match="somebody wrote to it meanwhile"):
            folder.finish({})
    assert content(tmp_path) == {f"job/{n}": d for n, d in {**OLD, "notes.txt": b"mine"}.items()} | {
        "job/manifest.json": (path / MANIFEST).read_bytes()
    }
    assert faults.left_over(tmp_path) == []


def test_what_is_beside_a_job_and_not_ours_is_named(tmp_path):
    path = tmp_path / "job"
    make(path, OLD)
    for side in sides(path):
        side.mkdir()
        (side / "mine.txt").write_text("mine")
        with pytest.raises(OutputError, match=r"mine.txt: is not listed by the old job"):
            JobFolder(path, overwrite=True)
        shutil.rmtree(side)
        side.symlink_to(path)
        with pytest.raises(OutputError, match="is a link or a file in the way; move it away"):
            JobFolder(path, overwrite=True)
        side.unlink()
    assert is_job(path, OLD)


def test_a_job_that_waits_beside_its_place_is_put_back(tmp_path):
    """Also by a run that may not overwrite it, which then says so."""
    path = tmp_path / "job"
    for side in sides(path):
        make(side, OLD)
        with pytest.raises(OutputError, match="already holds a job"):
            JobFolder(path)
        assert is_job(path, OLD)
        assert not side.exists()
        shutil.rmtree(path)


def test_two_at_once_are_one_and_a_refusal(tmp_path):
    for overwrite in (False, True):
        with JobFolder(tmp_path / "job", overwrite=overwrite) as first:
            first.put("report.txt", b"first")
            for also in (False, True):
                with pytest.raises(OutputError, match="another run is at work here"):
                    JobFolder(tmp_path / "job", overwrite=also)
            first.finish({})
        assert is_job(tmp_path / "job", {"report.txt": b"first"})
        assert faults.left_over(tmp_path) == []


def test_a_folder_that_cannot_be_exchanged_is_refused_before_the_work(tmp_path, monkeypatch):
    path = tmp_path / "job"
    make(path, OLD)
    for here in (path, path / "inputs"):
        monkeypatch.chdir(here)
        with pytest.raises(OutputError, match="or hexpost was started in it"):
            JobFolder(path, overwrite=True)
    assert is_job(path, OLD)


def test_an_empty_folder_is_filled_where_it_is(tmp_path, monkeypatch):
    """A mounted disk cannot be exchanged, and whoever stands in a folder wants to see the job in it."""
    (tmp_path / "job").mkdir()
    number = (tmp_path / "job").stat().st_ino
    monkeypatch.chdir(tmp_path / "job")
    from pathlib import Path

    make(Path(), NEW)
    assert is_job(tmp_path / "job", NEW)
    assert (tmp_path / "job").stat().st_ino == number


def test_rights_of_the_folder_stay(tmp_path):
    path = tmp_path / "job"
    make(path, OLD)
    path.chmod(0o2750)
    make(path, NEW, overwrite=True)
    assert path.stat().st_mode & 0o7777 == 0o2750


def test_folders_are_exchanged_in_one_step_where_the_system_can(tmp_path):
    for name in "ab":
        (tmp_path / name).mkdir()
        (tmp_path / name / name).touch()
    if exchange(tmp_path / "a", tmp_path / "b"):
        assert sorted(p.name for p in tmp_path.rglob("*/*")) == ["a", "b"]
        assert (tmp_path / "a" / "b").exists()
    assert not exchange(tmp_path / "a", tmp_path / "none")


@pytest.mark.skipif(os.name != "posix", reason="folders are locked on POSIX")
def test_a_claim_goes_with_its_process(tmp_path):
    code, _ = faults.struck(lambda: Claim(tmp_path) and os._exit(0), tmp_path)
    assert code == 0
    Claim(tmp_path).close()
