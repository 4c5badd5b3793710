"""Feeds that a policy does not let pass in some lines: a limit of its own, told with its line and the F."""

import json

import pytest
from verify.folders import run

PROGRAM = "G21 G90\nG00 X0 Y0 Z300\nG01 X60 F6000\nY40 F900\nG93 X0 F60\nG94 G00 Z320\nM30\n"


def gate(folder, policy, *options, program=PROGRAM):
    (folder / "part.nc").write_text(program)
    (folder / "gate.toml").write_text(policy)
    words = ("--policy", folder / "gate.toml", "--serial", "--json", *options)
    code, output = run("gate", folder / "part.nc", *words)
    return code, output


def found(output):
    case = json.loads(output)["cases"][0]
    return [(f["limit"], f["line"], f["peak"], f["allowed"]) for f in case["findings"] if f["limit"] == "feed-cap"]


def test_blocks_that_are_programmed_faster_fail_with_their_lines(tmp_path):
    """F6000 is 6000 mm/min; under G93 the 60 mm of X take a second: 3600 mm/min."""
    code, output = gate(tmp_path, 'all.at_most = ["3:5=1000"]\n', "--no-cache")
    assert code == 1
    assert sorted(found(output)) == [("feed-cap", 3, 6000.0, 1000.0), ("feed-cap", 5, 3600.0, 1000.0)]


def test_what_is_programmed_no_faster_passes_also_from_the_cache(tmp_path):
    for _ in range(2):
        code, output = gate(tmp_path, 'all.at_most = ["3:5=6000"]\n', "--cache", tmp_path / "cache")
        assert (code, found(output)) == (0, [])
    code, output = gate(tmp_path, 'all.at_most = ["4:4=800"]\n', "--cache", tmp_path / "cache")
    assert (code, found(output)) == (1, [("feed-cap", 4, 900.0, 800.0)])
    code, output = gate(tmp_path, 'all.at_most = ["4:4=800"]\n', "--cache", tmp_path / "cache")
    assert (code, found(output)) == (1, [("feed-cap", 4, 900.0, 800.0)])


def test_a_policy_may_only_warn_of_it(tmp_path):
    policy = 'all.at_most = ["4:4=800"]\n[all.limit.feed-cap]\nlevel = "warn"\n'
    assert gate(tmp_path, policy, "--no-cache")[0] == 0


def test_lines_that_are_no_longer_there_are_an_error(tmp_path):
    code, output = gate(tmp_path, 'all.at_most = ["1:2=800"]\n', "--no-cache")
    assert code == 2
    assert "no feed move in these lines (at_most of the policy: 1:2=800)" in output


@pytest.mark.parametrize("told", ['["4-4=800"]', '["4:4=0"]', "[]", '"4:4=800"', "[4]"])
def test_what_is_no_cap_is_refused_with_its_key(tmp_path, told):
    code, output = gate(tmp_path, f"all.at_most = {told}\n", "--no-cache")
    assert code == 2
    assert "all.at_most" in output
