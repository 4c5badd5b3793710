"""The cursor of the page, in a browser: exact at the rows that are kept, one for all parts, drawn as the table says."""

import csv
import json
import re
from base64 import b64decode
from dataclasses import replace
from html import unescape
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from report.test_page import BROWSER, MACHINE, browse, drawing, moves, program
from report.test_reports import BROKEN, report

from hexpost import pipeline, writers
from hexpost.cli import main
from hexpost.pages.packed import packed
from hexpost.report.moment import MOST_DATA
from hexpost.report.page import MOST_BYTES, page
from hexpost.report.picture import FINE
from hexpost.report.track import DrawnWay, Track

pytestmark = pytest.mark.usefixtures("untried")

SAMPLES = Path(__file__).parent.parent.parent / "samples"
EVIL = "(<script>document.title='hit'</script><img>)"
ASKS = """
(async () => {
const out = {slid: [], found: [], drawn: []}, one = id => document.getElementById(id);
const seen = () => ({time: one("r-time").textContent, line: one("r-line").textContent, tick: +one("slide").value,
  lengths: [1, 2, 3, 4, 5, 6].map(k => one("r-length-" + k).textContent),
  said: one("slide").getAttribute("aria-valuetext")});
for (const tick of job.rows.tick) {
  one("slide").value = tick; one("slide").dispatchEvent(new Event("input"));
  out.slid.push(seen());
}
one("slide").value = 1; one("slide").dispatchEvent(new Event("input")); out.between = seen();
for (const item of document.querySelectorAll(".found>li")) {
  item.querySelector("p").click();
  const cut = x => x.getAttribute("d").match(/^M([\\d.]+)/)[1] / 420;
  out.found.push({...seen(), block: one("r-block").textContent, worst: one("r-worst").textContent,
    start: +item.dataset.time, on: +item.dataset.line, marked: document.querySelector("pre span.now").id,
    charts: [...document.querySelectorAll("path.x")].map(cut), rows: job.last + 1});
}
let drawn;
document.addEventListener("moment", e => { drawn = e.detail; });
for (let i = 1; i < job.n; i += 40) {
  job.go(i);
  const strut = (a, k) => Math.hypot(...a.map((x, j) => x - drawn.platform[k][j]));
  out.drawn.push([job.rows.tick[drawn.row], drawn.base.map(strut)]);
}
job.go(0); one("finding-next").click(); out.next = seen(); one("block-next").click(); out.block = seen();
out.looks = [...document.querySelectorAll("[data-look]")].map(b => b.click()).length;
const chart = document.querySelector("#s3-speed svg"), frames = () => new Promise(f => setTimeout(f, 200));
const path = chart.querySelector(".e"), text = () => document.querySelector(".zoomed").textContent;
const view = () => chart.getAttribute("viewBox").split(" ").map(Number);
const shown = () => ({view: view(), said: text(), d: path.getAttribute("d")});
const press = (key, shiftKey) => chart.dispatchEvent(new KeyboardEvent("keydown", {key, shiftKey, bubbles: true}));
const wheel = () => {
  const clientX = chart.getBoundingClientRect().left + 9;
  chart.focus(); chart.dispatchEvent(new WheelEvent("wheel", {deltaY: -1, clientX, cancelable: true}));
};
chart.scrollIntoView({behavior: "instant"}); await frames(); out.zoomed = [shown()];
for (const act of [
  () => document.querySelector("[data-zoom=in]").click(), () => press("+"), wheel,
  () => document.querySelector("[data-zoom=later]").click(), () => press("ArrowLeft", true), () => press("-"),
  () => { for (let k = 0; k < 30; k++) press("+"); }, () => press("ArrowRight", true), () => press("0"),
]) { act(); await frames(); out.zoomed.push(shown()); }
Element.prototype.setPointerCapture = () => {};   // which knows no fingers of a test
const pinched = [], canvas = one("view"), touch = (part, kind, pointerId, clientX, clientY) =>
  part.dispatchEvent(new PointerEvent(kind, {pointerId, clientX, clientY, buttons: 1, bubbles: true}));
job.fingers(canvas, {pinch: (...all) => pinched.push(all)});
const before = canvas.toDataURL();
touch(canvas, "pointerdown", 1, 100, 100); touch(canvas, "pointerdown", 2, 200, 100);
touch(canvas, "pointermove", 2, 300, 120); touch(canvas, "pointerup", 1, 0, 0); touch(canvas, "pointermove", 2, 9, 9);
touch(canvas, "pointerup", 2, 0, 0);
for (let k = 0; k < 20 && canvas.toDataURL() === before; k++) await frames();
const wide = view()[2];
touch(chart, "pointerdown", 1, 300, 10); touch(chart, "pointerdown", 2, 400, 10);
touch(chart, "pointermove", 2, 500, 10);
out.pinch = {pinched, drawn: canvas.toDataURL() !== before, chart: wide / view()[2]};
out.asked = performance.getEntriesByType("resource").length; out.title = document.title;
document.body.dataset.out = JSON.stringify(out);
})();
"""


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """Return the folder of a job that breaks limits, with comments that would like to act."""
    place = tmp_path_factory.mktemp("moment")
    text = (SAMPLES / "overdriven.nc").read_text().replace("F72000", f"F72000 {EVIL}")
    (place / "part.nc").write_text(text)
    words = ["convert", place / "part.nc", "--out", place / "job"]
    words += ["--tools", SAMPLES / "tools.toml", "--setup", SAMPLES / "setup.toml"]
    done = CliRunner().invoke(main, [str(word) for word in words])
    assert done.exit_code == 1, done.output
    return place / "job"


@pytest.fixture(scope="module")
def table(job):
    """Return the rows of the table, as text."""
    with next(job.glob("setpoints*.csv")).open() as file:
        return list(csv.DictReader(file))


@pytest.fixture(scope="module")
def seen(job, tmp_path_factory):
    """Return what the page shows when somebody uses it."""
    if BROWSER is None:
        pytest.skip("no Chromium on this machine: .ci/run installs one where it can")
    text = re.sub(r'<meta http-equiv="Content-Security-Policy"[^>]*>', "", (job / "report.html").read_text())
    text = text.replace("</body>", f"<script>{ASKS}</script></body>")
    got = browse(tmp_path_factory.mktemp("seen"), text, "--dump-dom", "--virtual-time-budget=20000")
    assert "CONSOLE" not in got.log, got.log
    return json.loads(unescape(re.search(r'<body[^>]*data-out="([^"]*)"', got.document)[1]))


@pytest.mark.skipif(BROWSER is None, reason="no Chromium on this machine: .ci/run installs one where it can")
def test_the_policy_of_the_page_lets_its_own_scripts_run(job, tmp_path):
    got = browse(tmp_path, (job / "report.html").read_text(), "--dump-dom", "--window-size=390,800")
    assert "CONSOLE" not in got.log, got.log
    assert re.search(r'id="walk"(?![^>]*hidden)', got.document)
    assert re.search(r'id="r-time">0.000 s<', got.document)


def lengths(row):
    return [row[f"length_{k}_mm"] for k in range(1, 7)]


def test_the_readout_is_the_table_digit_for_digit(seen, table):
    assert len(seen["slid"]) > 600
    for shown in seen["slid"]:
        row = table[shown["tick"]]
        assert (shown["time"], shown["line"], shown["lengths"]) == (f"{row['time_s']} s", row["line"], lengths(row))
        assert shown["said"].startswith(f"{row['time_s']} s, line {row['line']}, ")


def test_between_rows_the_cursor_goes_to_a_kept_one(seen):
    assert seen["between"]["tick"] in {shown["tick"] for shown in seen["slid"]}


def test_a_finding_leads_cursor_program_and_charts_to_its_row(seen, job, table):
    found = json.loads((job / "report.json").read_text())["findings"]
    assert len(seen["found"]) == len(found) > 5
    for shown in seen["found"]:
        tick = round(shown["start"] / 1e-3)
        assert (shown["tick"], shown["line"], shown["lengths"]) == (tick, table[tick]["line"], lengths(table[tick]))
        assert (int(shown["line"]), shown["marked"]) == (shown["on"], f"L{shown['on']}")
        assert np.allclose(shown["charts"], tick / shown["rows"], atol=1e-4)
        assert float(shown["worst"].split(" ")[0].replace(">", "100.")) >= 100.0


def test_buttons_lead_to_the_next_finding_and_block(seen, job):
    first = min(f["time_s"] for f in json.loads((job / "report.json").read_text())["findings"])
    assert seen["next"]["tick"] == round(first / 1e-3)
    assert int(seen["block"]["line"]) > int(seen["next"]["line"])


def test_drawn_struts_are_as_long_as_the_table_says(seen, table):
    assert len(seen["drawn"]) > 20
    for tick, drawn in seen["drawn"]:
        assert np.allclose(drawn, [float(x) for x in lengths(table[tick])], rtol=0.0, atol=1e-3)


def drawn(shown, svg):
    """Return the columns of a chart that is zoomed into: numbers, least and most values, from its path."""
    low, high = (float(re.search(rf'data-{x}="([^"]+)"', svg)[1]) for x in ("low", "high"))
    value = [high - (high - low) * float(y) / 90 for y in re.findall(r"(?:M[\d.]+ |V)([\d.]+)", shown["d"])]
    edge = [float(x) for x in re.findall(r"[MH]([\d.]+)", shown["d"])]
    half = len(value) // 2
    return edge[: half + 1], value[half:][::-1], value[:half], (high - low) / 1000


def test_the_envelope_holds_the_extremes_of_the_table_at_every_zoom(seen, job, table):
    text = (job / "report.html").read_text()
    svg = re.search(r'<figure id="s3-speed">.*?<svg[^>]*>', text, re.DOTALL)[0]
    speed, kept = np.array([float(row["speed_3_mm_s"]) for row in table]), min(FINE, len(table))
    first, *zoomed, last = seen["zoomed"]
    assert (first["view"], last["view"], first["d"]) == ([0, 0, 420, 90], [0, 0, 420, 90], last["d"])
    assert all(one["view"] != other["view"] for one, other in zip(seen["zoomed"], zoomed, strict=False))
    for shown in zoomed:
        edge, low, high, step = drawn(shown, svg)
        column = np.round(np.array(edge) * kept / 420).astype(int)
        assert (np.diff(column) == 1).all() and column[0] * 420 / kept <= shown["view"][0] + 1e-3
        ticks = -(-column * len(table) // kept)
        for a, b, least, most in zip(ticks, ticks[1:], low, high, strict=False):
            here = speed[a:b]
            assert least - 1e-6 <= here.min() <= least + 1.01 * step
            assert most - 1.01 * step <= here.max() <= most + 1e-6
    assert "the page stores no finer ones" in zoomed[-2]["said"] and "finer" not in zoomed[0]["said"]
    assert zoomed[-2]["view"][2] == pytest.approx(420 * 24 / kept)


def test_two_fingers_zoom_the_machine_and_the_charts(seen):
    ((by, x, y, along, up),) = seen["pinch"]["pinched"]
    assert by == pytest.approx(np.hypot(200, 20) / 100)
    assert (x, y, along, up) == (200, 110, 50, 10)
    assert seen["pinch"]["drawn"]
    assert seen["pinch"]["chart"] == pytest.approx(2.0)


def test_comments_do_nothing_and_nothing_leaves_the_page(seen):
    assert (seen["asked"], seen["title"]) == (0, "BROKEN: part.nc")
    assert any(EVIL in shown["block"] for shown in seen["found"])


def test_the_drawn_path_is_as_near_as_it_says(monkeypatch):
    """Hold what was gathered on the way against every sample, one by one, and its nearest piece in time."""
    monkeypatch.setattr("hexpost.report.track.WAY", 40)
    monkeypatch.setattr("hexpost.writers.ENDS", 0)
    inputs = pipeline.load(pipeline.Files(program=SAMPLES / "contour.nc", tools=SAMPLES / "tools.toml"))
    job = pipeline.schedule(inputs)
    track = writers._kept_rows(job, pipeline.audit_of(job).charted)
    way = writers._way(track, job)
    ticks, tips = track.tick[track.way], track.tip[:, track.way]
    worst = 0.0
    for s in job.setpoints():
        way.add(s, np.zeros(-(-len(s.poses.tick) // 16)), 16)
        m = inputs.meaning.moves.frames[s.poses.frame].base_from_work
        place = m[:3, :3] @ s.poses.pose[:3] + m[:3, 3:]
        for tick, p in zip(s.poses.tick[::7], place.T[::7], strict=True):
            k = max(int(np.searchsorted(ticks, tick)), 1)
            a, b = tips[:, k - 1], tips[:, k]
            share = np.clip((p - a) @ (b - a) / max((b - a) @ (b - a), 1e-30), 0.0, 1.0)
            worst = max(worst, float(np.linalg.norm(p - a - share * (b - a))))
    assert 1.0 < worst <= way.off <= 1.2 * worst


def test_whole_numbers_come_back():
    values = np.array([0, 5, -3, 2**40, -(2**41), 7, 7, 127, 128, 64, -64])
    sums, value, size = [], 0, 1
    for byte in b64decode(packed(values)):
        value += (byte & 127) * size
        size *= 128
        if byte < 128:
            sums.append((value >> 1) ^ -(value & 1))
            value, size = 0, 1
    assert np.cumsum(sums).tolist() == values.tolist()


def test_the_page_stays_small_with_any_rows():
    noise = np.random.default_rng(3)
    n, d = 6000, drawing()
    rows = Track(
        tick=np.sort(noise.choice(10**9, n, replace=False)), line=noise.integers(1, 2**31, n).astype(np.int32),
        frame=np.zeros(n, np.int64), pose=noise.uniform(-1e3, 1e3, (6, n)), tip=noise.uniform(-1e3, 1e3, (3, n)),
        length=noise.uniform(1e3, 2e3, (6, n)), feed=noise.uniform(0, 1e5, n), asked=noise.uniform(0, 1e5, n),
        kind=noise.integers(0, 4, n).astype(np.uint8), use=noise.uniform(0, 2, (6, n)),
        what=noise.integers(0, 3, (6, n)).astype(np.uint8), full=np.arange(n) < 3000, way=np.arange(n) >= 2700,
        frames=moves().frames,
    )  # fmt: skip
    d = replace(d, track=rows, way=DrawnWay(rows.tick[rows.way], rows.tip[:, rows.way], []))
    d.low[:] -= noise.uniform(0, 500, d.low.shape)
    d.high[:] += noise.uniform(0, 500, d.high.shape)
    d.views[0][:] = noise.integers(0, 6, d.views[0].shape)
    text = page(report(rows=BROKEN), d, program(), MACHINE)
    assert len(text) <= MOST_BYTES
    assert len(re.search(rb'data-held="[^"]*"', text)[0]) < MOST_DATA + 100


def test_rows_worked_out_alone_are_those_of_the_whole_job():
    """Through six frames, dwells and changes of the tool: lengths and lines digit for digit, uses but for rounding."""
    files = pipeline.Files(program=SAMPLES / "flange.nc", tools=SAMPLES / "tools.toml", setup=SAMPLES / "setup.toml")
    job = pipeline.schedule(pipeline.load(files))
    charted = pipeline.audit_of(job).charted
    track, last, seen = writers._kept_rows(job, charted), job.timing.ticks, 0
    for s in job.setpoints():
        at = np.flatnonzero(np.isin(track.tick, s.poses.tick))
        rows = track.tick[at] - s.poses.tick[0]
        assert (np.round(s.length[:, rows], 6) == np.round(track.length[:, at], 6)).all()
        assert (s.poses.line[rows] == track.line[at]).all()
        uses = [np.abs(2 * one.measure(s)[:, rows].T - one.high - one.low) / (one.high - one.low) for one in charted]
        assert np.allclose(np.max(uses, axis=0).T, track.use[:, at], rtol=0.0, atol=1e-8)
        seen += len(at)
    assert len(np.unique(track.frame)) > 3 and (track.tick[0], track.tick[-1], seen) == (0, last, len(track.tick))
