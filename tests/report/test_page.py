"""The page: links that land, peaks that show, text that does nothing, a size that does not grow; then in a browser."""

import re
import shutil
import subprocess
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from audit.jobs import audit
from report.test_reports import BROKEN, CASES, program, report

from hexpost.machine.load import demonstration_machine
from hexpost.moves.model import Arcs, Frame, Moves
from hexpost.report.page import MOST_BYTES, page
from hexpost.report.picture import COLUMNS, EDGES, GROUP, Picture
from hexpost.report.terminal import summary
from hexpost.report.text import text
from hexpost.setpoints.model import Poses, Setpoints

BROWSER = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
MACHINE = demonstration_machine()
TOTAL = 200_003


def moves(machine=MACHINE):
    """Return two lines in one frame: a feed move to the right, and one up."""
    start = np.array([[0.0, 100.0], [0.0, 0.0], [10.0, 10.0], *[[0.0, 0.0]] * 3])
    end = np.array([[100.0, 100.0], [0.0, 0.0], [10.0, 60.0], *[[0.0, 0.0]] * 3])
    base = np.eye(4)
    base[2, 3] = 300.0
    frame = Frame(base_from_work=base, tip=np.zeros(3), offset="G54", tool=0, length_row=0, length=0.0)
    none = np.zeros(0, dtype=np.int64)
    return Moves(
        kind=np.zeros(2, np.uint8), start=start, end=end, feed=np.full(2, 50.0), feed_mode=np.zeros(2, np.uint8),
        stop=np.ones(2, bool), frame=np.zeros(2, np.int32), line=np.array([3, 4], np.int32),
        arcs=Arcs(move=none, centre=np.zeros((3, 0)), axis=np.zeros(0, np.uint8), turn=np.zeros(0)), frames=(frame,),
    )  # fmt: skip


def blocks(total, size=4096, peak=None):
    """Yield blocks of quiet samples along both lines; ``peak`` = (tick, strut, speed) puts one loud sample in."""
    middle = np.array([sum(s.stroke) / 2 for s in MACHINE.struts])[:, None]
    for first in range(0, total, size):
        tick = np.arange(first, min(first + size, total))
        n = len(tick)
        share = 2.0 * tick / total
        pose = np.zeros((6, n))
        pose[0], pose[2] = 100.0 * np.minimum(share, 1.0), 10.0 + 50.0 * np.maximum(share - 1.0, 0.0)
        still, ones = np.zeros((6, n)), np.ones((6, n))
        speed = still.copy()
        if peak is not None and first <= peak[0] < first + n:
            speed[peak[1] - 1, peak[0] - first] = peak[2]
        poses = Poses(
            tick=tick, move=tick * 0, line=np.full(n, 3, np.int32), span=tick * 0, frame=0, pose=pose, rate=still,
            acceleration=still, corner=tick * 0,
        )  # fmt: skip
        yield Setpoints(poses=poses, period=1e-3, length=middle * ones, speed=speed, acceleration=still, jerk=still)


def drawing(total=TOTAL, peak=None, size=4096):
    picture = Picture(total, moves(), MACHINE, audit(moves()).charted)
    for block in blocks(total, size, peak):
        picture.add(block)
    return picture.finish()


def shown(**words):
    return page(report(**words), drawing(), program(), MACHINE).decode()


class Ids(HTMLParser):
    """Addresses and links of a page; every tag must be closed."""

    def __init__(self):
        super().__init__()
        self.ids, self.links, self.open = [], [], []

    def handle_starttag(self, tag, attrs):
        found = dict(attrs)
        if "id" in found:
            self.ids.append(found["id"])
        if tag == "a":
            self.links.append(found["href"])
        for name in ("src", "href"):
            assert not re.match(r"\w+:(?!image/png)", found.get(name) or ""), f"an address outside: {found[name]}"
        if tag not in {"meta", "input", "img", "br"}:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag


def heights(text, name):
    """Return the upper and lower heights of the columns of a chart, from its path."""
    figure = re.search(rf'<figure id="{name}">.*?</figure>', text, re.DOTALL)[0]
    path = re.search(r'class="e" d="([^"]+)"', figure)[1]
    low, high = (float(re.search(rf'data-{x}="([^"]+)"', figure)[1]) for x in ("low", "high"))
    tall = float(re.search(r'viewBox="0 0 \d+ (\d+)"', figure)[1])
    y, out = 0.0, []
    for word, value in re.findall(r"([Mhv])(-?\d+(?: \d+)?)", path):
        if word == "M":
            y = float(value.split()[1])
        elif word == "v":
            y += float(value)
        else:
            out += [high - (high - low) * y / tall] * abs(int(value))
    half = len(out) // 2
    return np.array(out[:half]), np.array(out[half:][::-1]), (high - low) / tall


def test_every_link_lands_and_every_address_is_one():
    found = Ids()
    found.feed(shown(rows=BROKEN))
    assert not found.open
    assert len(found.ids) == len(set(found.ids))
    assert {link[1:] for link in found.links} <= set(found.ids)
    assert {"#L3", "#u1", "#m1", "#f1"} <= set(found.links)


def test_lines_that_the_tables_name_can_be_read_in_a_long_program():
    long = program("".join(f"N{k} X{k}.\n" for k in range(1, 2001)))
    worst = tuple(replace(w, line=1000 * w.strut // 4) for w in CASES["clean"].struts[4].worst)
    struts = (
        replace(CASES["clean"].struts[0], worst=(replace(worst[0], line=0),)),
        replace(CASES["clean"].struts[4], worst=worst),
    )
    found = Ids()
    found.feed(page(replace(CASES["clean"], struts=struts), drawing(), long, MACHINE).decode())
    assert "#L1250" in found.links
    assert "#L0" not in found.links
    assert {link[1:] for link in found.links} <= set(found.ids)


def test_limits_are_written_beside_their_lines():
    figure = re.search(r'<figure id="s1-speed">.*?</figure>', shown(), re.DOTALL)[0]
    beside = [float(x) for x in re.findall(r'<span style="top:[\d.]+%">(-?[\d,.]+)</span>', figure)]
    assert beside == [-MACHINE.struts[0].speed, MACHINE.struts[0].speed]


@pytest.mark.parametrize("form", [page, summary, text])
def test_a_job_for_proving_out_says_so_on_top(form):
    sentence = "This job is for proving out: all work 30 mm higher."
    marked = replace(CASES["clean"], warnings=(sentence,))
    made = form(marked, drawing(), program(), MACHINE).decode() if form is page else form(marked)
    assert sentence in made[: made.index("</header>" if form is page else "strut")]


@pytest.mark.parametrize("tick", [0, 1, 777, 4095, 4096, 100_001, TOTAL - 1])
@pytest.mark.parametrize("sign", [1, -1])
def test_a_peak_of_one_sample_never_disappears(tick, sign):
    most = sign * 2.0 * MACHINE.struts[3].speed
    text = page(report(), drawing(peak=(tick, 4, most)), program(), MACHINE).decode()
    top, bottom, unit = heights(text, "s4-speed")
    edge, other = (top, bottom) if sign > 0 else (bottom, top)
    assert len(top) == COLUMNS
    at = tick * COLUMNS // TOTAL
    assert edge[at] == pytest.approx(most, abs=unit)
    group = tick // GROUP * GROUP
    near = np.unique(np.array([group, min(group + GROUP, TOTAL) - 1]) * COLUMNS // TOTAL)
    assert np.abs(np.delete(edge, near)).max() < 2 * unit, "a group counts in both columns that it lies in, in no other"
    assert np.abs(other).max() < 2 * unit
    use, _, _ = heights(text, "use")
    assert use[at] == pytest.approx(200.0, rel=0.02)


def test_envelopes_do_not_depend_on_the_blocks():
    one, other = drawing(9000, size=4096), drawing(9000, size=1600)
    for name in ("low", "high", "use"):
        assert np.array_equal(getattr(one, name), getattr(other, name))


def test_views_hold_the_way_of_the_tip_and_its_worst_use():
    above, front = drawing(peak=(50_000, 1, 2.0 * MACHINE.struts[0].speed)).views
    assert (above == len(EDGES) + 1).any()
    rows, columns = np.nonzero(front)
    assert np.ptp(columns) > 0.8 * front.shape[1]
    assert np.ptp(rows) > 0.4 * front.shape[0]
    assert len(np.unique(np.nonzero(above)[0])) <= 2, "seen from above both lines lie on one"


def test_a_program_without_motion_has_a_page():
    assert b"CLEAN" in page(report(), None, program(), MACHINE)


def test_text_of_the_program_does_nothing():
    text = shown(rows=BROKEN)
    assert "<script>alert" not in text
    assert "&lt;script&gt;alert" in text
    assert not re.search(r"[\x00-\x08\x0b-\x1f\x7f-\x9f]", text)


def test_the_page_stays_small_whatever_the_job():
    long = (
        '%\nN10 G1 X1 (\u00e9<&"' + "&" * 300 + ")\n" * 1 + "\n".join(f"N{i} G1 X{i} ({'<' * 200})" for i in range(500))
    )
    rows = [("speed", 1 + i % 6, 2 + i % 400, i * 100, i * 100 + 1000, 2e3, 1e3, 2.0, 5.0) for i in range(400)]
    noise = np.random.default_rng(1)
    d = drawing()
    d.low[:] -= noise.uniform(0, 500, d.low.shape)
    d.high[:] += noise.uniform(0, 500, d.high.shape)
    d.views[0][:] = noise.integers(0, 6, d.views[0].shape)
    data = page(report(rows=rows), d, program(long), MACHINE)
    assert len(data) <= MOST_BYTES


def test_the_clean_page_says_so_first():
    text = shown()
    assert re.search(r"<h1><b>CLEAN</b>", text)
    assert "None: no limit" in text


def browse(tmp_path, text, *options):
    """Return what the browser's document holds after the script ran, and what it logged."""
    file = tmp_path / "report.html"
    file.write_text(text)
    quiet = (
        "--headless", "--no-sandbox", "--disable-gpu", "--no-first-run", "--disable-background-networking",
        "--disable-component-update", "--disable-sync", "--enable-logging=stderr",
        f"--user-data-dir={tmp_path / 'user'}",
    )  # fmt: skip
    done = subprocess.run(
        [BROWSER, *quiet, *options, file.as_uri()], capture_output=True, text=True, timeout=120, check=False
    )
    return SimpleNamespace(document=done.stdout, log=done.stderr)


@pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine: .ci/run installs one where it can")
def test_a_browser_shows_it_without_a_fault(tmp_path):
    got = browse(tmp_path, shown(rows=BROKEN), "--dump-dom", "--window-size=1280,900")
    assert "CONSOLE" not in got.log, got.log
    found = got.document
    assert '<output id="shown" for="search"></output>' in found and "hidden" not in found.partition('id="find"')[2][:9]
    searching = shown(rows=BROKEN).replace('id="search"', 'id="search" value="strut"', 1)
    assert re.search(r'<output id="shown"[^>]*>\d of 3<', browse(tmp_path, searching, "--dump-dom").document)


def test_the_page_needs_no_network():
    text = shown(rows=BROKEN)
    assert set(re.findall(r"https?://[^\s\"'<)]+", text)) <= {"http://www.w3.org/2000/svg"}
    assert "default-src 'none'" in text
    assert not Path("report.html").exists()
