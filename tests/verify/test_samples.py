"""audit proves path, singular poses and stops on the samples as they stream, and says what it did not prove."""

import json

import pytest
from verify.folders import PROGRAM, SETUP, TOOLS, run

from hexpost.verify.samples import SampleProof

WORDS = ("--setup", "s.toml", "--tools", "t.toml", "--period-ms", "4")
ALL = ["path", "singular poses", "stops"]
LEFT = ["feeds", "other limits", "events"]


@pytest.fixture
def folder(tmp_path, monkeypatch):
    for name, text in (("p.nc", PROGRAM), ("s.toml", SETUP), ("t.toml", TOOLS)):
        (tmp_path / name).write_text(text)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.mark.parametrize("more", [(), ("--feed", "strut-limited"), ("--jobs", "2")])
def test_an_audit_says_what_it_proved_and_what_not(folder, more):
    code, said = run("audit", "p.nc", *WORDS, "--json", *more)
    assert code in (0, 1)
    assert json.loads(said)["proof"] == {"proven": ALL, "not_proven": LEFT}


def test_both_forms_of_its_text_say_so(folder):
    for more in ((), ("--full",)):
        said = " ".join(run("audit", "p.nc", *WORDS, *more)[1].split())
        assert "proven: path, singular poses, stops (not feeds, other limits, events)" in said


def test_no_report_of_a_table_says_so(folder):
    """There the whole proof counts, and no report stands without it."""
    run("convert", "p.nc", *WORDS, "--out", "job")
    assert "proof" not in json.loads((folder / "job" / "report.json").read_text())


def test_samples_that_are_not_those_of_the_program_are_no_audit(folder, monkeypatch):
    add = SampleProof.add

    def longer(self, length, *more):
        length = length.copy()
        length[2] += 1e-3
        add(self, length, *more)

    monkeypatch.setattr(SampleProof, "add", longer)
    code, said = run("audit", "p.nc", *WORDS)
    assert code == 2 and "the samples are not proven:" in said and "path: " in said and "--no-proof" not in said


def test_a_way_through_a_singular_pose_is_told_as_a_finding_and_not_proven(folder):
    (folder / "p.nc").write_text("G21 G90 G94\nG00 X0 Y0 Z150\nG01 C120. F6000\nM30\n")
    code, said = run("audit", "p.nc", *WORDS, "--json")
    document = json.loads(said)
    assert code == 1 and any(f["limit"] == "singular-pose" for f in document["findings"])
    assert document["proof"]["not_proven"][-3:] == LEFT and len(document["proof"]["not_proven"]) > 3


@pytest.mark.parametrize("columns", ["time,line,length,speed,acceleration", "length_1_mm,length_2_mm"])
def test_a_table_through_a_singular_pose_is_refused_however_few_columns_it_has(folder, columns):
    (folder / "p.nc").write_text("G21 G90 G94\nG00 X0 Y0 Z150\nG01 C120. F6000\nM30\n")
    assert run("convert", "p.nc", *WORDS, "--columns", columns, "--out", "job")[0] == 1
    code, said = run("verify", "job")
    assert code == 2 and "NOT PROVEN" in said and "singular poses" in said
