"""Knots: cubics of another library stay beside all rows; what must be a knot is one; changed knots are found."""

import numpy as np
import pytest
from scipy.interpolate import CubicHermiteSpline
from verify.folders import PROGRAM, convert, copied, proof, run, sign, spoil, tried

from hexpost.tables.knots import KnotTable

pytestmark = pytest.mark.usefixtures("untried")


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return convert(tmp_path_factory.mktemp("knots"), PROGRAM, "--knots")


def table(path):
    return np.genfromtxt(path, delimiter=",", names=True)


def off(folder):
    """Return how far the cubics of scipy are off the rows at most, um."""
    rows, knots = table(next(folder.glob("setpoints*.csv"))), table(folder / "knots.csv")
    worst = 0.0
    for k in range(1, 7):
        curve = CubicHermiteSpline(knots["time_s"], knots[f"length_{k}_mm"], knots[f"speed_{k}_mm_s"])
        worst = max(worst, np.abs(curve(rows["time_s"]) - rows[f"length_{k}_mm"]).max())
    return worst * 1e3


def test_cubics_stay_beside_all_rows_and_knots_are_few(job):
    rows, knots = table(next(job.glob("setpoints*.csv"))), table(job / "knots.csv")
    assert off(job) <= 0.1 + 1e-5
    assert len(knots) < len(rows) / 10
    assert knots["sample"][0] == 0 and knots["sample"][-1] == len(rows) - 1
    code, said = run("verify", job)
    assert code in (0, 1) and "ok      knots " in said, said


def test_events_name_their_knots(job):
    events, knots = np.genfromtxt(job / "events.csv", delimiter=",", names=True, dtype=None), table(job / "knots.csv")
    assert (knots["sample"][events["knot"]] == events["sample"]).all() and len(events) > 5


def test_a_wider_tolerance_takes_fewer_knots_and_needs_the_other_option(job, tmp_path):
    wide = convert(tmp_path, PROGRAM, "--knots", "--within-um", "5")
    assert 0.1 < off(wide) <= 5.0 + 1e-5 and len(table(wide / "knots.csv")) < 0.6 * len(table(job / "knots.csv"))
    assert tried(tmp_path, PROGRAM, "--within-um", "5")[0] == 2


@pytest.mark.parametrize("written", ["nan", "-NaN", "0", "inf"])
def test_a_tolerance_that_is_no_number_or_no_length_is_refused(tmp_path, written):
    code, said, folder = tried(tmp_path, PROGRAM, "--knots", "--within-um", written)
    assert code == 2 and "--within-um" in said and not folder.exists()


def moved(rows):
    rows[9][3] = f"{float(rows[9][3]) + 0.001:.6f}"


def missing(rows):
    del rows[9:14]


def wrong(rows):
    rows[3][-1] = str(int(rows[3][-1]) + 1)


CHANGES = {
    "a length": ("knots.csv", moved),
    "knots left out": ("knots.csv", missing),
    "an event": ("events.csv", wrong),
}


@pytest.mark.parametrize("change", list(CHANGES))
def test_a_change_is_named(job, tmp_path, change):
    folder, (name, how) = copied(job, tmp_path), CHANGES[change]
    spoil(folder, how, name)
    sign(folder)
    assert proof(folder)[1]["knots"]


def test_a_writer_that_is_content_with_more_is_found(tmp_path, monkeypatch):
    before = KnotTable.__init__
    monkeypatch.setattr(KnotTable, "__init__", lambda self, p, t, within, must: before(self, p, t, 3 * within, must))
    assert "um off a row between rows" in proof(convert(tmp_path, PROGRAM, "--knots"))[1]["knots"][0]
