"""convert proves its own table, beside the writing or after it, before a manifest stands."""

import json
import os
import signal
from multiprocessing import active_children

import numpy as np
import pytest
from verify.folders import BROKEN, PROGRAM, convert, copied, run, sign, tried

from hexpost.tables.quantise import Quantiser
from hexpost.verify import growing
from hexpost.verify.equations import Equations

pytestmark = pytest.mark.usefixtures("untried")

HOW = [
    (),
    ("--jobs", "2"),
    ("--jobs", "2", "--rows-per-file", "3000"),
    ("--table", "npy", "--rows-per-file", "3000"),
    ("--jobs", "2", "--table", "npy"),
    ("--jobs", "2", "--columns", "length"),
    ("--columns", "time,length_2_mm", "--table", "npy"),
]


def bump(monkeypatch, size=20.0):
    """Have a smooth bump of so many millionths of a mm in the first strut, from row 5000 to 5100."""
    rows = Quantiser.rows

    def bumped(self, setpoints, first, end):
        out = rows(self, setpoints, first, end)
        for chosen, whole in zip(self._columns.chosen, out.whole, strict=True):
            tick = setpoints.poses.tick[first:end] - 5000.0
            wave = size * np.sin(np.pi * np.clip(tick / 100.0, 0.0, 1.0)) ** 2
            if chosen.group.name == "length":
                whole[0] += np.rint(wave)
        return out

    monkeypatch.setattr(Quantiser, "rows", bumped)


@pytest.mark.parametrize("options", HOW)
def test_a_bump_of_a_few_hundred_thousandths_of_a_mm_leaves_no_job(tmp_path, monkeypatch, options):
    bump(monkeypatch, 200.0)
    code, said, job = tried(tmp_path, PROGRAM, *options)
    assert code == 2
    assert "the job is not proven" in said and "path: row 50" in said and "--no-proof" in said
    assert not job.exists()
    assert not active_children()


@pytest.mark.parametrize("options", HOW)
def test_all_ways_of_proving_find_an_honest_job_proven(tmp_path, monkeypatch, options):
    added = []
    add = Equations.add
    monkeypatch.setattr(Equations, "add", lambda self, rows: (added.append(rows.count), add(self, rows))[1])
    job = convert(tmp_path, PROGRAM, *options)
    rows = json.loads((job / "report.json").read_text())["rows"]
    assert sum(added) == (0 if "--jobs" in options else rows)  # in this process, or in another one
    assert run("verify", job)[0] == 0
    assert not active_children()
    hidden = [f.name for f in job.iterdir() if f.name.startswith(".")]
    assert hidden == []


def test_the_same_bytes_with_and_without_a_process_beside(tmp_path):
    jobs = []
    for k in (1, 2):
        (tmp_path / f"{k}").mkdir()
        jobs.append(convert(tmp_path / f"{k}", PROGRAM, "--jobs", k))
    files = [{f.relative_to(j): f.read_bytes() for f in j.rglob("*") if f.is_file()} for j in jobs]
    other = json.loads(files[0].pop(next(f for f in files[0] if f.name == "manifest.json")))
    same = json.loads(files[1].pop(next(f for f in files[1] if f.name == "manifest.json")))
    reports = [{f for f in some if f.name.startswith("report")} for some in files]
    assert {f: b for f, b in files[0].items() if f not in reports[0]} == {
        f: b for f, b in files[1].items() if f not in reports[1]
    }  # the reports name the place of the program
    assert other["tables"] == same["tables"]


@pytest.mark.parametrize(
    ("program", "options", "name", "code"),
    [
        (PROGRAM, (), "setpoints.not-proven.csv", 0),
        (PROGRAM, ("--table", "npy", "--rows-per-file", "20000"), "setpoints.0001.not-proven.npy", 0),
        (BROKEN, (), "setpoints.not-proven.not-runnable.csv", 1),
    ],
)
def test_without_its_proof_a_job_says_so_everywhere(tmp_path, program, options, name, code):
    found, said, job = tried(tmp_path, program, "--no-proof", *options)
    assert found == code
    assert "NOT PROVEN: the proof was left out" in " ".join(said.split())
    assert name in {f.name for f in job.iterdir()}
    manifest, report = (json.loads((job / n).read_text()) for n in ("manifest.json", "report.json"))
    assert manifest["settings"]["proof"] is False
    assert not manifest["runnable"] and not report["runnable"]
    assert report["verdict"] == ("broken" if code else "clean")
    assert "NOT PROVEN" in (job / "report.txt").read_text()
    page = (job / "report.html").read_text()
    assert "NOT PROVEN" in page and f"({name.replace('.0001', '').rpartition('.')[0]}, CSV" in page
    proof, words = run("verify", job)
    assert proof == code and "convert left the proof out (--no-proof)" in words
    assert run("convert", tmp_path / "p.nc", "--out", job)[0] == 2
    assert tried(tmp_path, PROGRAM, "--overwrite", *options)[0] == 0
    assert name not in {f.name for f in job.iterdir()}


def test_a_table_that_is_called_proven_and_is_not_is_refused(tmp_path):
    job = convert(tmp_path, PROGRAM, "--no-proof")
    (job / "setpoints.not-proven.csv").rename(job / "setpoints.csv")
    path = job / "manifest.json"
    path.write_text(path.read_text().replace("setpoints.not-proven.csv", "setpoints.csv"))
    sign(job)
    code, said = run("verify", job)
    assert code == 2 and "its name does not fit the settings" in said


def test_a_table_with_few_columns_is_proven_by_one_with_all(tmp_path):
    job = convert(tmp_path, PROGRAM, "--columns", "length")
    code, said = run("verify", job)
    assert code == 0 and "proven with the columns that its table lacks" in said
    code, said = run("verify", job, "--without-remake")
    assert code == 2 and "the table lacks time_s, speed_1_mm_s" in said
    forged = copied(job, tmp_path)
    table = forged / "setpoints.csv"
    rows = table.read_text().splitlines()
    first, _, rest = rows[5000].partition(",")
    rows[5000] = f"{float(first) + 1e-6:.6f},{rest}"
    table.write_text("\n".join(rows) + "\n")
    sign(forged)
    code, said = run("verify", forged)
    assert code == 2 and "setpoints.csv: is not what the inputs and settings make" in said


@pytest.mark.parametrize("kind", ["csv", "npy"])
def test_a_table_with_few_columns_that_differ_from_those_proven_leaves_no_job(tmp_path, monkeypatch, kind):
    made = Quantiser.rows

    def wrong(self, setpoints, first, end):
        out = made(self, setpoints, first, end)
        if len(out.whole) == 1:  # the narrow table
            out.whole[0][0, 0] += 1.0
        return out

    monkeypatch.setattr(Quantiser, "rows", wrong)
    code, said, job = tried(tmp_path, PROGRAM, "--columns", "length", "--table", kind)
    assert code == 2 and "rows: the columns that were asked for are not those of the whole table" in said
    assert not job.exists()


def test_a_file_that_changes_after_it_was_proven_leaves_no_job(tmp_path, monkeypatch):
    proven = growing.GrowingTable.whole

    def whole(self):
        yield from proven(self)
        self.digests[-1] = "0" * 64

    monkeypatch.setattr(growing.GrowingTable, "whole", whole)
    code, said, job = tried(tmp_path, PROGRAM)
    assert code == 2 and "the table that was read is not the one that was written" in said
    assert not job.exists()


@pytest.mark.parametrize("how", ["killed", "fault"])
def test_a_proof_that_ends_early_is_no_proof(tmp_path, monkeypatch, how):
    def ends(self, rows):
        if how == "killed":
            os.kill(os.getpid(), signal.SIGKILL)
        raise ZeroDivisionError("by zero")

    monkeypatch.setattr(Equations, "add", ends)
    code, said, job = tried(tmp_path, PROGRAM, "--jobs", "2")
    assert code == 2
    wanted = {"killed": "ended before its work was done", "fault": "the proof cannot go on: ZeroDivisionError: by zero"}
    assert wanted[how] in said
    assert not job.exists()
    assert not active_children()
