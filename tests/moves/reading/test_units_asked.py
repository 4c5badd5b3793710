"""Units that somebody asks for beside the machine file: a program's own word counts first, and conflicts are told."""

import json

import pytest
from click.testing import CliRunner
from moves.programs import MACHINE, faults, meaning, reading, same

from hexpost.cli import main
from hexpost.errors import HexpostError, InputError
from hexpost.library.policy import load_policy
from hexpost.library.settings import Settings

HERE = ["--turn-deg", 0, 0, "--x-mm", 0, 50, "--y-mm", 0, 0, "--step-mm", 100, "--serial"]
"""Of place: hardly anywhere else."""
BODY = "G90 G17 G00 X1 Y2 Z3\nG01 X2 F30 M03 S100\nG02 X3 Y1 I0 J-1\nM30\n"


def run(*arguments, code=0):
    done = CliRunner().invoke(main, [str(a) for a in arguments])
    assert done.exit_code == code, done.output
    return done.output


@pytest.mark.parametrize(("units", "word"), [("inch", "G20"), ("mm", "G21")])
@pytest.mark.parametrize("file", [None, "mm", "inch"])
def test_a_program_without_units_is_read_in_those_that_were_asked_for(units, word, file):
    found = meaning(BODY, machine=reading(units=file).with_units(units))
    same(found, meaning(f"{word} {BODY}"))
    said = [r for r in found.readings if r.startswith("units:")]
    assert len(said) == 1 and f"{units} by what was asked for" in said[0]
    assert (f"the machine file says {file}" in said[0]) == (file not in (None, units))
    assert not found.remarks


@pytest.mark.parametrize("word", ["G20", "G70", "G21", "G71"])
@pytest.mark.parametrize("asked", ["mm", "inch"])
def test_the_word_of_a_program_counts_and_a_conflict_is_told(word, asked):
    text = f"(PLATE)\n{word} {BODY}"
    found = meaning(text, machine=MACHINE.with_units(asked))
    same(found, meaning(text))
    stated = "inch" if word in ("G20", "G70") else "mm"
    told = [(r.line, r.text) for r in found.remarks]
    assert told == ([] if stated == asked else [(2, told[0][1])])
    assert all(f"states {stated}, and {asked} was asked for" in text for _, text in told)


def test_nobody_asked_and_nothing_stated_is_refused_still():
    assert [f.code for f in faults(BODY, machine=MACHINE.with_units(None))] == ["units-missing"]


@pytest.fixture
def part(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "part.nc").write_text(BODY)
    (tmp_path / "stated.nc").write_text(f"G20 {BODY}")
    return tmp_path


def test_every_command_that_reads_programs_takes_units(part):
    for command in ("audit", "explain", "refeed", "place", "convert"):
        more = {"refeed": ["-o", "new.nc"], "place": HERE, "convert": ["--out", "job"]}
        arguments = [command, "part.nc", *more.get(command, [])]
        done = CliRunner().invoke(main, [str(a) for a in arguments])
        assert done.exit_code == 2 and "--units" in done.output, command
        done = CliRunner().invoke(main, [str(a) for a in (*arguments, "--units", "inch")])
        assert done.exit_code in (0, 1), (command, done.output)
    assert "0 moves alike" not in run("diff", "part.nc", "stated.nc", "--units", "inch")
    run("diff", "part.nc", "stated.nc", "--units", "mm", code=1)


def test_a_job_keeps_what_was_asked_for_and_is_proven_with_it(part):
    run("convert", "part.nc", "--units", "inch", "--out", "job")
    told = json.loads((part / "job" / "manifest.json").read_bytes())
    assert told["settings"]["units"] == "inch"
    assert "PROVEN, CLEAN" in run("verify", "job")
    told["settings"]["units"] = "mm"
    (part / "job" / "manifest.json").write_text(json.dumps(told))
    run("verify", "job", code=2)
    told["settings"]["units"] = "cubit"
    (part / "job" / "manifest.json").write_text(json.dumps(told))
    assert "settings.units" in run("verify", "job", code=2)


def test_a_policy_says_units_by_path(part):
    (part / "gate.toml").write_text('[all]\nunits = "mm"\n[[where]]\npath = ["old/*.nc"]\nunits = "inch"\n')
    (part / "old").mkdir()
    (part / "old" / "part.nc").write_text(BODY)
    policy = load_policy(part / "gate.toml", Settings())
    assert [policy.settings(str(part / n)).units for n in ("part.nc", "old/part.nc")] == ["mm", "inch"]
    found = json.loads(run("gate", "part.nc", "old/part.nc", "stated.nc", "--no-cache", "--serial", "--json"))
    times = {p["program"]: p["duration_s"] for p in found["cases"]}
    assert times["part.nc"] != times["old/part.nc"] == times["stated.nc"]
    warned = {p["program"]: " ".join(p["warnings"]) for p in found["cases"]}
    assert "states inch, and mm was asked for" in warned["stated.nc"] and "asked for" not in warned["part.nc"]
    again = json.loads(run("gate", "part.nc", "--units", "inch", "--no-cache", "--serial", "--json"))
    assert again["cases"][0]["duration_s"] == times["stated.nc"]
    (part / "gate.toml").write_text('[all]\nunits = "cm"\n')
    with pytest.raises(InputError) as caught:
        load_policy(part / "gate.toml", Settings())
    assert [f.key for f in caught.value.faults] == ["all.units"]


def test_kept_results_of_other_units_are_others(part):
    where = ["--cache", "kept", "--cache-key", "key", "--recheck", "0", "--serial", "--json"]
    one, two, three = (
        json.loads(run("gate", "part.nc", "--units", units, *where))["cases"][0]["duration_s"]
        for units in ("mm", "inch", "mm")
    )
    assert one == three != two


def test_the_door_takes_units(part):
    import hexpost

    assert hexpost.load_job("part.nc", units="inch").timing.ticks == hexpost.load_job("stated.nc").timing.ticks
    with pytest.raises(HexpostError, match="units"):
        hexpost.load_job("part.nc", units="foot")
