"""Damage to what is written beside the table: report, events, segments, manifest."""

import hashlib
import json

from attack.forging.kinds import NotHereError, kind


def _event(name, change):
    """Enter a kind that changes one event: ``change(cells, forgery)``."""

    def make(forgery, rng, size):
        rows = list(range(1, len(forgery.events)))
        at = rng.choice(rows)
        cells = forgery.events[at].split(",")
        new = change(list(cells), forgery)
        if new == cells:
            raise NotHereError
        forgery.events[at : at + 1] = [] if new is None else [",".join(new)]

    kind(name, "events")(make)


def _row(cells, by, forgery):
    row = int(cells[1]) + by
    if not 0 <= row < forgery.values.shape[1]:
        raise NotHereError
    return [f"{row * forgery.period:.6f}", str(row), *cells[2:]]


_event("event a row late", lambda c, f: _row(c, 1, f))
_event("event a row early", lambda c, f: _row(c, -1, f))
_event("event a hundred rows late", lambda c, f: _row(c, 100, f))
_event("event left out", lambda c, f: None)
_event("event's word changed", lambda c, f: [*c[:3], "M7", *c[4:]])
_event("event's rule changed", lambda c, f: [*c[:4], {"with": "after"}.get(c[4], "with"), *c[5:]])
_event("event that no longer waits", lambda c, f: [*c[:5], "0", c[6]])
_event("event's pause changed", lambda c, f: [*c[:6], "1.000000"])
_event("event's time as another text", lambda c, f: [c[0] + "0", *c[1:]])
_event("event's line changed", lambda c, f: [*c[:2], str(int(c[2]) + 1), *c[3:]])


def _segment(name, change):
    """Enter a kind that changes a segment: ``change(segment, segments, forgery)``."""

    def make(forgery, rng, size):
        told = forgery.segments["segments"]
        before = json.dumps(forgery.segments)
        change(rng.choice(told), told, forgery)
        if json.dumps(forgery.segments) == before:
            raise NotHereError

    kind(name, "segments")(make)


def _merged(segment, told, forgery):
    if len(told) < 2:
        raise NotHereError
    a, b = told[0], told[1]
    a.update(last_row=b["last_row"], waits_for=b["waits_for"], until_s=b["until_s"],
             lengths_after_mm=b["lengths_after_mm"])  # fmt: skip
    del told[1]
    forgery.mend()


def _waited_again(segment, told, forgery):
    again = {**segment, "first_row": segment["last_row"] + 1, "rows": 0, "time_s": segment["until_s"],
             "lengths_before_mm": segment["lengths_after_mm"], "sha256": hashlib.sha256().hexdigest(),
             "waits_for": {"word": "M0", "line": 1}}  # fmt: skip
    told.insert(told.index(segment) + 1, again)
    for i, s in enumerate(told, 1):
        s["segment"] = i


_segment("segment without rows made up", _waited_again)
_segment("segment's start changed", lambda s, t, f: s.update(time_s=s["time_s"] + 0.5))
_segment("segment's end changed", lambda s, t, f: s.update(until_s=s["until_s"] + 0.5))
_segment("segment's count changed", lambda s, t, f: s.update(rows=s["rows"] + 1))
_segment("segment's number changed", lambda s, t, f: s.update(segment=s["segment"] + 5))
_segment("segment's lengths changed", lambda s, t, f: s["lengths_before_mm"].__setitem__(0, 1000.0))
_segment("segment's checksum changed", lambda s, t, f: s.update(sha256="0" * 64))
_segment("segment waits for another word", lambda s, t, f: s.update(waits_for={"word": "M6", "line": 1}))
_segment("segment no longer waits", lambda s, t, f: s.update(waits_for=None))
_segment("segments made one", _merged)
_segment("segment with a further word", lambda s, t, f: s.update(hurry=True))


def report_kind(name, change):
    """Enter a kind that changes the report: ``change(report, forgery)``."""

    def make(forgery, rng, size):
        before = json.dumps([forgery.report, forgery.manifest])
        change(forgery.report, forgery)
        if json.dumps([forgery.report, forgery.manifest]) == before:
            raise NotHereError

    kind(name, "report")(make)


def _called_clean(report, forgery):
    """Call a broken job clean: findings gone, worst values below their limits, the table under its runnable name."""
    if report["verdict"] != "broken":
        raise NotHereError
    report.update(verdict="clean", runnable=True, findings_total=0, findings_listed=0, findings=[])
    forgery.manifest["runnable"] = True
    new = forgery.table.replace(".not-runnable", "")
    for part in ("tables", "files"):
        told = forgery.manifest[part]
        forgery.manifest[part] = {k.replace(".not-runnable", ""): v for k, v in told.items()}
    (forgery.folder / forgery.table).rename(forgery.folder / new)
    forgery.table = new


def _called_broken(report, forgery):
    """Take only the verdict of a clean job away."""
    if report["verdict"] != "clean":
        raise NotHereError
    report.update(verdict="broken", runnable=False)


def _one_finding_less(report, forgery):
    if report["findings_total"] < 2:
        raise NotHereError
    del report["findings"][-1]
    report["findings_total"] -= 1
    report["findings_listed"] -= 1


def _finding(report, forgery, **new):
    if not report["findings"]:
        raise NotHereError
    report["findings"][0].update(new)


def _rescaled(report, forgery, key, share):
    if not report["findings"] or not report["findings"][0][key]:
        raise NotHereError
    _finding(report, forgery, **{key: share * report["findings"][0][key]})


def _worst(limit, **new):
    def change(report, forgery):
        where = report["tool"] if limit in ("deviation", "contour", "vibration") else report["struts"][2]
        if not where["worst"].get(limit, {}).get("value"):
            raise NotHereError
        worst = where["worst"][limit]
        worst.update({k: v(worst[k]) for k, v in new.items()})

    return change


def worst_less(limit):
    """Return a change that takes three tenths off the worst value of a limit."""
    return _worst(limit, value=lambda x: 0.7 * x, ratio=lambda x: 0.7 * x)


report_kind("broken job called clean", _called_clean)
report_kind("clean job called broken", _called_broken)
report_kind("a finding left out", _one_finding_less)
report_kind("a finding's line changed", lambda r, f: _finding(r, f, line=1))
report_kind("a finding's value changed", lambda r, f: _rescaled(r, f, "peak", 0.7))
report_kind("a finding's limit changed", lambda r, f: _rescaled(r, f, "allowed", 1.1))
report_kind("a finding's share changed", lambda r, f: _rescaled(r, f, "ratio", 1.1))
report_kind("a finding's words changed", lambda r, f: _finding(r, f, limit="temper"))
report_kind("a finding's advice changed", lambda r, f: _finding(r, f, advice_move_mm=1.0, advice_move_way="Y+"))
report_kind("findings more than there are", lambda r, f: r.update(findings_total=r["findings_total"] + 3))
for limit in ("stroke", "speed", "acceleration", "jerk", "deviation", "deceleration"):
    report_kind(f"worst {limit} smaller", worst_less(limit))
report_kind("worst jerk 1e30", _worst("jerk", value=lambda x: 1e30, ratio=lambda x: 1e24))
report_kind("worst speed in another line", _worst("speed", line=lambda x: x + 1))
report_kind("worst speed at another time", _worst("speed", time_s=lambda x: x + 0.3))
report_kind("worst speed's limit changed", _worst("speed", allowed=lambda x: 2.0 * x))
report_kind("worst speed's unit changed", _worst("speed", unit=lambda x: "in/s"))
report_kind("worst speed left out", lambda r, f: r["struts"][1]["worst"].pop("speed"))
report_kind("shortest strut changed", lambda r, f: r["struts"][0].update(shortest_mm=900.0))
report_kind("a strut left out", lambda r, f: r["struts"].pop())
report_kind("duration changed", lambda r, f: [x.update(duration_s=9.0) for x in (r, f.manifest)])
report_kind("duration of the manifest changed", lambda r, f: f.manifest.update(duration_s=9.0))
report_kind("rows of the report changed", lambda r, f: r.update(rows=r["rows"] + 1))
report_kind("period of the report changed", lambda r, f: r.update(period_ms=0.5))
report_kind("setup sheet changed", lambda r, f: r["setup_sheet"]["tools"][0].update(diameter_mm=99.0))
report_kind("time beside the motion changed", lambda r, f: r["beside"].update(known_s=r["beside"]["known_s"] + 1.0))
report_kind(
    "what is beside the motion changed",
    lambda r, f: [row.update(count=row["count"] + 7) for row in r["beside"]["rows"]],
)
report_kind("a feed of lines held in the settings", lambda r, f: f.manifest["settings"].update(at_most=["1:99999=60"]))
report_kind("feeds of the report changed", lambda r, f: r["feeds"][0].update(reached_mm_min=1.0))
report_kind("time lost changed", lambda r, f: r.update(time_lost_s={"a corner": 1.0}))
report_kind("warnings left out", lambda r, f: r.update(cautions=[], warnings=[], readings=[]))
report_kind("program's name changed", lambda r, f: r.update(program="other.nc"))
report_kind("units of the manifest changed", lambda r, f: f.manifest["units"].update(length="inch"))
report_kind("versions of the manifest changed", lambda r, f: f.manifest["versions"].update(hexpost="9.9.9"))
report_kind("demonstration denied", lambda r, f: f.manifest.update(demonstration=not f.manifest["demonstration"]))
report_kind("unit of a column changed", lambda r, f: f.manifest["tables"][f.table]["columns"][2].update(unit="inch"))
report_kind("period of the table changed", lambda r, f: f.manifest["tables"][f.table].update(period_us=500))
report_kind("machine of the manifest changed", lambda r, f: f.manifest.update(machine={"name": "x", "revision": "2"}))
report_kind("further word in the manifest", lambda r, f: f.manifest.update(hurry=True))
report_kind("further word in the report", lambda r, f: r.update(hurry=True))


def _page(name, file, change):
    def make(forgery, rng, size):
        path = forgery.folder / file
        before = path.read_text()
        after = change(before)
        if before == after:
            raise NotHereError
        forgery.before.append(lambda folder: path.write_text(after))

    kind(name, "report")(make)


_page("other page for people", "report.html", lambda t: t.replace("<body", "<body data-x='1'", 1))
_page("empty page for people", "report.html", lambda t: "")
_page("other text for people", "report.txt", lambda t: t.upper())
_page("empty text for people", "report.txt", lambda t: "")
