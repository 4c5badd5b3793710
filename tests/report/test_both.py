"""Two schedules of one program on one page, against the rows of both and their lines, counted one by one."""

import re
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from report.test_accessible import CHECKER, violations
from report.test_page import BROWSER, Ids, browse

from hexpost import pipeline
from hexpost.cli import main
from hexpost.convert import report_of
from hexpost.report.both import both_page
from hexpost.report.page import MOST_BYTES
from hexpost.side_by_side import side_by_side

pytestmark = pytest.mark.usefixtures("untried")

SAMPLES = Path(__file__).parent.parent.parent / "samples"


@pytest.fixture(scope="module")
def both():
    """Return both schedules of a program that breaks limits as programmed, and the rows of each."""
    files = pipeline.Files(
        program=SAMPLES / "overdriven.nc", tools=SAMPLES / "tools.toml", setup=SAMPLES / "setup.toml"
    )
    inputs = pipeline.load(files)
    rows = []

    def follow(job, see):
        found = []

        def keep(setpoints):
            see(setpoints)
            found.append(setpoints)

        report = report_of(job, see=keep)
        line = np.concatenate([s.poses.line for s in found])
        feed = np.concatenate([np.linalg.norm(s.poses.rate[:3], axis=0) for s in found])
        rows.append((line, feed))
        return report

    jobs = [pipeline.schedule(inputs, feed) for feed in ("as-programmed", "strut-limited")]
    return side_by_side(*jobs, follow), rows


def test_a_block_takes_as_long_as_its_rows_say(both):
    found, rows = both
    for side, (line, _) in zip(found.sides, rows, strict=True):
        counted = np.array([(line == n).sum() for n in side.lines]) * 1e-3
        assert np.abs(counted - side.seconds).max() < 0.0035
        assert side.seconds.sum() == pytest.approx(side.report.duration, abs=0.0015)


def test_charts_hold_every_row(both):
    found, rows = both
    last = max(len(line) for line, _ in rows) - 1
    for side, (_, feed) in zip(found.sides, rows, strict=True):
        column = np.arange(len(feed)) * len(side.time.high) // (last + 1)
        assert (feed <= side.time.high[column]).all() and (feed >= side.time.low[column]).all()
        assert side.path.high.max() == feed.max()


def test_one_is_ahead_by_the_difference_of_the_times(both):
    found, _ = both
    one, other = found.sides
    assert (np.diff(one.reached) >= 0.0).all() and (np.diff(other.reached) >= 0.0).all()
    assert found.gained[0] == 0.0
    assert found.gained[-1] == pytest.approx(one.report.duration - other.report.duration, abs=0.02)
    assert (one.line == other.line).mean() > 0.97, "both are at the same place in the same block"
    assert (one.report.clean, other.report.clean) == (False, True)


def test_the_page_says_what_each_block_gains_and_why(both):
    found, _ = both
    text = both_page(found).decode()
    page = Ids()
    page.feed(text)
    assert not page.open and {link[1:] for link in page.links} <= set(page.ids)
    assert len(text) < MOST_BYTES and "http" not in text.replace("http://www.w3.org/2000/svg", "").replace(
        "http-equiv", ""
    )
    gain = found.sides[0].seconds - found.sides[1].seconds
    k = int(np.abs(gain).argmax())
    cells = re.search(rf"<tr><th scope=row>{found.sides[0].lines[k]}</th>(.*?)</tr>", text)[1]
    assert f"<td>{gain[k]:+.3f}</td>" in cells and "tool-tip acceleration" in cells


@pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine: .ci/run installs one where it can")
def test_a_browser_shows_one_place_in_all_charts(both, tmp_path):
    got = browse(tmp_path, both_page(both[0]).decode(), "--dump-dom", "--window-size=768,900")
    assert "CONSOLE" not in got.log, got.log
    assert "0.0 mm, line 9: as programmed at 0.000 s" in got.document
    assert got.document.count('class="x" d="M') == 9


@pytest.mark.skipif(BROWSER is None or not CHECKER.is_file(), reason="no Chromium or no axe-core on this machine")
@pytest.mark.parametrize(("width", "theme"), [(390, "dark"), pytest.param(1280, "light", marks=pytest.mark.long)])
def test_the_page_has_no_violation(both, tmp_path, width, theme):
    assert violations(tmp_path, both_page(both[0]).decode(), width, theme) == []


def test_one_schedule_has_no_such_page(tmp_path):
    done = CliRunner().invoke(main, ["audit", str(SAMPLES / "limits.nc"), "--html", str(tmp_path / "b.html")])
    assert done.exit_code == 2 and "--feed both" in done.output
