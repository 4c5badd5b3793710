"""A file is there whole or not at all; a folder is a job only with its manifest, which comes last."""

import errno
import hashlib
import json
import os
import signal
import subprocess
import sys
import textwrap
from contextlib import suppress
from pathlib import Path

import pytest

from hexpost.errors import OutputError
from hexpost.tables import exchange
from hexpost.tables.job import MANIFEST, UNFINISHED, JobFolder
from hexpost.tables.whole import PartFile, try_place, write_whole


def names(folder):
    return sorted(str(p.relative_to(folder)) for p in folder.rglob("*") if p.is_file() or p.is_symlink())


def make_job(path, data=b"rows", **more):
    with JobFolder(path, **more) as job:
        part = job.part("setpoints")
        part.write(data)
        job.put("inputs/a.nc", b"G0 X1")
        job.keep(part, "setpoints.csv")
        job.finish({"runnable": True})


def test_a_whole_file_replaces_what_stood_there(tmp_path):
    target = tmp_path / "a.nc"
    write_whole(target, b"old")
    written = write_whole(target, b"new")
    assert (target.read_bytes(), names(tmp_path)) == (b"new", ["a.nc"])
    assert (written.size, written.sha256) == (3, hashlib.sha256(b"new").hexdigest())


def test_an_error_while_writing_leaves_nothing(tmp_path):
    with suppress(KeyboardInterrupt), PartFile(tmp_path, "a") as part:
        part.write(b"half")
        raise KeyboardInterrupt
    assert names(tmp_path) == []


@pytest.mark.parametrize("number", range(1, 4))
def test_an_interruption_right_after_a_file_got_its_name_leaves_nothing(tmp_path, monkeypatch, number):
    """Also after the manifest, the third: it must not stay behind without its files."""
    commit, done = PartFile.commit, []

    def interrupted(part, name):
        written = commit(part, name)
        done.append(name)
        if len(done) == number:
            raise KeyboardInterrupt
        return written

    monkeypatch.setattr(PartFile, "commit", interrupted)
    with pytest.raises(KeyboardInterrupt):
        make_job(tmp_path / "job")
    assert len(done) == number
    assert not (tmp_path / "job").exists()


def test_links_and_special_files_are_not_written_through(tmp_path):
    (tmp_path / "link").symlink_to(tmp_path / "elsewhere")
    for target in (tmp_path / "link", tmp_path):
        with pytest.raises(OutputError, match="is a link, a folder or a special file; name a plain file"):
            write_whole(target, b"x")


def test_a_place_that_cannot_be_written_is_named_with_its_reason(tmp_path):
    with pytest.raises(OutputError) as e:
        write_whole(tmp_path / "none" / "a", b"x")
    assert "none" in str(e.value)
    assert "cannot be written: no such file or directory" in str(e.value)
    assert "hint: choose another place" in str(e.value)


def test_a_job_holds_its_files_and_their_hashes(tmp_path):
    make_job(tmp_path / "deep" / "job")
    folder = tmp_path / "deep" / "job"
    assert names(folder) == ["inputs/a.nc", "manifest.json", "setpoints.csv"]
    manifest = json.loads((folder / MANIFEST).read_text())
    assert manifest["runnable"] is True
    assert manifest["files"] == {
        name: {"bytes": len(data), "sha256": hashlib.sha256(data).hexdigest()}
        for name, data in (("inputs/a.nc", b"G0 X1"), ("setpoints.csv", b"rows"))
    }


@pytest.mark.parametrize("existed", [False, True])
def test_a_failed_job_leaves_nothing(tmp_path, existed):
    folder = tmp_path / "jobs" / "one"
    if existed:
        folder.mkdir(parents=True)
    with suppress(KeyboardInterrupt), JobFolder(folder) as job:
        job.part("setpoints").write(b"half")
        job.put("report.txt", b"r")
        job.put("inputs/a.nc", b"r")
        raise KeyboardInterrupt
    assert names(tmp_path) == []
    assert folder.exists() == existed
    assert folder.parent.exists() == existed


def test_a_job_is_written_over_only_when_asked(tmp_path):
    """Until the new one is whole, the old one is there as it was."""
    make_job(tmp_path / "job", b"old")
    with pytest.raises(OutputError, match="already holds a job"):
        JobFolder(tmp_path / "job")
    with JobFolder(tmp_path / "job", overwrite=True) as job:
        job.put("setpoints.not-runnable.csv", b"new")
        assert names(tmp_path / "job") == ["inputs/a.nc", "manifest.json", "setpoints.csv"]
        job.finish({})
    assert names(tmp_path) == ["job/manifest.json", "job/setpoints.not-runnable.csv"]


def test_an_unfinished_job_is_no_job(tmp_path):
    """As a kill leaves it: no manifest, a mark, a part and a whole file. The next run needs no word for it."""
    folder = tmp_path / "job"
    folder.mkdir()
    mark = f"-  .setpoints.77.part\n{hashlib.sha256(b'e').hexdigest()}  events.csv\n"
    for name, text in ((UNFINISHED, mark), ("events.csv", "e"), (".setpoints.77.part", "half")):
        (folder / name).write_text(text)
    make_job(folder)
    assert names(folder) == ["inputs/a.nc", "manifest.json", "setpoints.csv"]


def test_files_of_others_are_never_touched(tmp_path):
    (tmp_path / "notes.txt").write_text("mine")
    with pytest.raises(OutputError, match=r"holds other files than a job \(notes.txt\)"):
        JobFolder(tmp_path, overwrite=True)
    make_job(tmp_path / "job")
    (tmp_path / "job" / "notes.txt").write_text("mine")
    before = names(tmp_path)
    with pytest.raises(OutputError, match=r"notes.txt: is not listed by the old job"):
        JobFolder(tmp_path / "job", overwrite=True)
    assert names(tmp_path) == before


def test_links_and_files_are_no_job_folder(tmp_path):
    make_job(tmp_path / "job")
    (tmp_path / "link").symlink_to(tmp_path / "job")
    (tmp_path / "file").write_text("x")
    with pytest.raises(OutputError, match="is a symbolic link"):
        JobFolder(tmp_path / "link", overwrite=True)
    with pytest.raises(OutputError, match="is a file"):
        JobFolder(tmp_path / "file", overwrite=True)
    (tmp_path / "job" / "setpoints.csv").unlink()
    (tmp_path / "job" / "setpoints.csv").symlink_to(tmp_path / "file")
    with pytest.raises(OutputError, match="is a link or a special file"):
        JobFolder(tmp_path / "job", overwrite=True)
    with pytest.raises(OutputError, match="not a directory"):
        JobFolder(tmp_path / "file" / "job")
    assert (tmp_path / "file").read_text() == "x"


def test_a_manifest_that_is_none_makes_no_job(tmp_path):
    (tmp_path / MANIFEST).write_text('{"files": 3}')
    with pytest.raises(OutputError, match="holds other files than a job"):
        JobFolder(tmp_path, overwrite=True)


def test_two_runs_in_one_folder_do_not_mix(tmp_path, monkeypatch):
    """Also where a file system has no locks: the second takes over, and the first says so."""
    monkeypatch.setattr(exchange, "fcntl", None)
    with JobFolder(tmp_path / "job") as first:
        first.put("report.txt", b"first")
        with JobFolder(tmp_path / "job", overwrite=True) as second:
            second.put("report.txt", b"second")
            with pytest.raises(OutputError, match="another run has taken this folder over"):
                first.put("report.txt", b"first")
            with pytest.raises(OutputError, match="another run has taken this folder over"):
                first.finish({})
            second.finish({})
    assert names(tmp_path / "job") == ["manifest.json", "report.txt"]
    assert (tmp_path / "job" / "report.txt").read_bytes() == b"second"


@pytest.mark.skipif(os.name != "posix", reason="signals and file-size limits are POSIX")
@pytest.mark.parametrize("how", [signal.SIGKILL, signal.SIGINT, "full"])
def test_a_stopped_writer_leaves_nothing_under_a_final_name(tmp_path, how):
    """A file-size limit stands for a full disk."""
    script = textwrap.dedent("""
        import sys, resource, signal
        from pathlib import Path
        from hexpost.tables.job import JobFolder
        if sys.argv[2] == "full":
            signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
            resource.setrlimit(resource.RLIMIT_FSIZE, (100_000, 100_000))
        with JobFolder(Path(sys.argv[1])) as job:
            part = job.part("setpoints")
            print("go", flush=True)
            for _ in range(100_000):
                part.write(b"0" * 1000)
            job.keep(part, "setpoints.csv")
            job.finish({})
    """)
    child = subprocess.Popen(
        [sys.executable, "-c", script, str(tmp_path / "job"), str(how)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    child.stdout.readline()
    if how != "full":
        child.send_signal(how)
    _, said = child.communicate()
    if how == "full":
        assert b"OutputError" in said
        assert b"file too large" in said
    left = names(tmp_path)
    assert [n for n in left if not n.endswith(".part") and UNFINISHED not in n] == []
    assert left == [] or how == signal.SIGKILL
    make_job(tmp_path / "job")
    assert names(tmp_path / "job") == ["inputs/a.nc", "manifest.json", "setpoints.csv"]


@pytest.mark.parametrize("refusal", [None, errno.EOPNOTSUPP, errno.EISDIR, errno.EINVAL])
def test_a_place_is_tried_and_nothing_is_left_of_it(tmp_path, monkeypatch, refusal):
    """On a file system without nameless files, too (open(2)); where they are, no name is ever in the folder."""
    opened, names = os.open, []

    def open_(path, flags, *mode):
        names.append(Path(path).name)
        if refusal is not None and Path(path) == tmp_path:
            raise OSError(refusal, os.strerror(refusal))
        return opened(path, flags, *mode)

    monkeypatch.setattr(os, "open", open_)
    try_place(tmp_path, "job")
    assert not list(tmp_path.iterdir())
    assert any(name.endswith(".part") for name in names) == (refusal is not None or not hasattr(os, "O_TMPFILE"))


def test_a_place_that_takes_no_file_is_refused_by_its_name(tmp_path):
    with pytest.raises(OutputError, match=r"gone/job: "):
        try_place(tmp_path / "gone", "job")
