"""The commands that work side by side: the same bytes in this process, on any number of others, and on a cluster."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from workers.local_cluster import two_workers

from hexpost.cli import main
from hexpost.errors import HexpostError
from hexpost.pipeline import Files, load
from hexpost.setup.trial import Trial, digest_of, inputs_of

SAMPLES = Path(__file__).parent.parent.parent / "samples"
PLACE = ["place", "samples/frustum.nc", "--tools", "samples/tools.toml", "--setup", "samples/setup_corner.toml",
         "--turn-deg", "-45", "-45", "--x-mm", "-50", "50", "--y-mm", "0", "0", "--step-mm", "50"]  # fmt: skip
REACH = ["machine", "reach", "samples/described.toml", "--step-mm", "300"]
LOCAL = (["--serial"], ["--jobs", "1"], ["--jobs", "3"])


@pytest.fixture
def shop(tmp_path, monkeypatch):
    """Return a folder in which the samples have relative paths."""
    (tmp_path / "samples").symlink_to(SAMPLES)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def outputs(shop, how):
    """Return what is printed and written by both commands."""
    out = []
    for words in ([*PLACE, "-o", "placed.toml", "--map", "map.csv"], [*REACH, "--out", "reach"]):
        done = CliRunner().invoke(main, [*words, "--overwrite", *how])
        assert done.exit_code == 0, done.output
        out.append(done.stdout)
    return out + [
        (shop / name).read_bytes() for name in ("placed.toml", "map.csv", "reach/reach.csv", "reach/reach.html")
    ]


def test_place_and_reach_write_the_same_on_any_number_of_workers(shop):
    first, *others = (outputs(shop, how) for how in LOCAL)
    assert all(other == first for other in others)


@pytest.mark.long
@pytest.mark.filterwarnings("default")
def test_place_and_reach_write_the_same_on_a_cluster(shop):
    with two_workers(shop) as address:
        assert outputs(shop, ["--cluster", address]) == outputs(shop, ["--serial"])


@pytest.mark.parametrize("words", [PLACE, [*REACH, "--out", "reach"], ["gate", "samples/pocket.nc", "--no-cache"]])
def test_two_ways_at_once_are_refused(shop, words):
    done = CliRunner().invoke(main, [*words, "--serial", "--jobs", "2"])
    assert done.exit_code == 2 and "give one of --serial, --jobs, --cluster" in done.output


def test_a_worker_refuses_files_that_are_not_those_of_the_search(tmp_path):
    program = tmp_path / "p.nc"
    program.write_text("G21\nG00 X0 Y0 Z300\nM30\n")
    files = Files(program=program)
    trial = Trial(files=files, feed="as-programmed", coarse=1.0, folder=str(tmp_path), digest=digest_of(load(files)))
    assert inputs_of(trial).program.name == str(program)
    inputs_of.cache_clear()
    program.write_text("G21\nG00 X0 Y0 Z301\nM30\n")
    with pytest.raises(HexpostError, match="one of its files has changed since the search began"):
        inputs_of(trial)
