"""The audit: every check on every batch of samples, findings at the end."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, distinct
from hexpost.audit.advice import Adviser, settle
from hexpost.audit.band import Apart, Context, Figures, LimitCheck, Meetings, Movable, Shares
from hexpost.audit.behaviour import Behaving
from hexpost.audit.breaches import Breaches
from hexpost.audit.checks import ALL_LIMITS, Checking
from hexpost.audit.f_words import add_f_words
from hexpost.audit.forecast import Followed
from hexpost.audit.model import AuditResult, Chart, Charted, Limit, Nearest, Runs, Unseen, names_of
from hexpost.audit.move_ticks import MoveTicks
from hexpost.audit.program_remarks import sentence
from hexpost.audit.program_rules import tool_warnings
from hexpost.audit.runs import find_runs, just_over, new_runs
from hexpost.audit.store import Store
from hexpost.audit.strut_limits import StrutLimit
from hexpost.audit.within import Schedule, Within
from hexpost.audit.worst import WorstUse
from hexpost.machine.model import Machine, Tools
from hexpost.moves.model import Interpretation
from hexpost.program.model import Program
from hexpost.setpoints.attitudes import Attitudes
from hexpost.setpoints.cutting import cutting_of
from hexpost.setpoints.loads import Loads
from hexpost.setpoints.model import Setpoints


@dataclass(frozen=True, slots=True, eq=False)
class _Also:
    """What else a check is: asked once, because protocols answer slowly."""

    meetings: Meetings | None
    shares: Shares | None
    movable: Movable | None
    apart: bool

    @classmethod
    def of(cls, check: LimitCheck) -> "_Also":
        """Return what a check is beside a check."""
        return cls(
            meetings=check if isinstance(check, Meetings) else None,
            shares=check if isinstance(check, Shares) else None,
            movable=check if isinstance(check, Movable) else None,
            apart=isinstance(check, Apart),
        )


class Audit:
    """A running audit of one job: batches of consecutive samples in, findings out.

    Memory: the findings, one open run for each limit and strut, and the worst of each; nothing per sample.
    """

    def __init__(
        self, machine: Machine, tools: Tools, interpretation: Interpretation, program: Program,
        checking: Checking = ALL_LIMITS, *, schedule: Schedule | None = None,
    ) -> None:  # fmt: skip
        moves = interpretation.moves
        poses = Attitudes(machine, moves.frames)
        self.loads = loads = Loads(machine, poses, cutting_of(machine, interpretation, tools))
        self._limits, self._margins = checking.limits, dict(checking.margins)
        self._behaving = Behaving(machine, moves, poses, loads)
        context = Context(
            machine=machine, tools=tools, program=program, meaning=interpretation, poses=poses, loads=loads,
            forecasting=self._behaving.forecasting, shaking=self._behaving.shaking,
            margins=self._margins, within=None if schedule is None else Within(schedule, machine, poses),
        )  # fmt: skip
        self._machine, self._meaning, self._program = machine, interpretation, program
        self._period = machine.period
        self._lines = moves.line
        made = (make(context) for make in checking.checks)
        checks = [(check, _Also.of(check)) for check in made if check]
        self._checks = tuple(
            (check, WorstUse(also.meetings.each if also.meetings else check.band, also.shares))
            for check, also in checks
        )
        self._also = tuple(also for _, also in checks)
        self._boxes = tuple(box.name for box in machine.keep_out)
        self._adviser = Adviser(context)
        self._store = Store()
        ruled = tuple(rule(context) for rule in checking.rules) if moves.count else ()
        known = [b for b in ruled if b]
        self._remarks, self._breaches = (
            tuple(b for b in known if self._limits.of(b.limit).remark is remark) for remark in (True, False)
        )
        seen = {check.band.limit: check.band.unseen for check, _ in self._checks} | {b.limit: () for b in known}
        self.unseen = tuple(x for row in checking.limits for x in _unseen(row, seen.get(row.name)))
        chosen = np.concatenate([np.zeros(0, dtype=np.int64), *(x for b in known for x in (b.first, b.last))])
        self._ticks = MoveTicks(distinct(chosen))
        self._warnings = tool_warnings(moves, tools, lambda line: program.text(line).strip()) if moves.count else []
        self._between: dict[str, int] = {}
        self._samples = 0
        self._last_tick = 0
        self._shortest, self._longest = np.full(6, np.inf), np.full(6, -np.inf)

    @property
    def charted(self) -> tuple[Charted, ...]:
        """Return the limits that have a chart."""
        rows = [(self._limits.of(check.band.limit), check) for check, _ in self._checks]
        return tuple(
            Charted(limit=limit, measure=check.measure, low=check.band.low, high=check.band.high)
            for limit, check in rows
            if limit.chart is not Chart.NONE
        )

    @property
    def followed(self) -> tuple[Followed, ...]:
        """Return what is forecast along the job."""
        return self._behaving.followed

    def measure(self, setpoints: Setpoints) -> list[Array | None]:
        """Return the values of a batch that can be had from it alone, in any process and any order, check by check."""
        return [
            check.measure(setpoints) if also.apart else None
            for (check, _), also in zip(self._checks, self._also, strict=True)
        ]

    def add(self, setpoints: Setpoints, measured: Sequence[Array | None] = ()) -> None:
        """Check the next batch of samples, and what was ``measured``; batches come in order and without gaps."""
        poses = setpoints.poses
        if not len(poses.tick):
            return
        self._samples += len(poses.tick)
        self._last_tick = int(poses.tick[-1])
        np.minimum(self._shortest, setpoints.length.min(axis=1), out=self._shortest)
        np.maximum(self._longest, setpoints.length.max(axis=1), out=self._longest)
        self._ticks.add(poses)
        given = measured or self.measure(setpoints)
        for (check, worst), also, known in zip(self._checks, self._also, given, strict=True):
            values = check.measure(setpoints) if known is None else known
            if values is not None:
                self._judge(check, also, worst, values, setpoints)
        self._behaving.add(setpoints)
        self._adviser.remember(setpoints)

    def finish(self) -> AuditResult:
        """Return the findings, worst first, and the worst use of every limit."""
        for breaches in self._breaches:
            self._store.put(self._rule_runs(breaches))
        seen = self._samples > 0
        uses = [(self._limits.of(check.band.limit), use) for check, use in self._checks]
        worst = tuple(w for limit, use in uses if limit.share for w in use.rows(limit, self._period))
        shown = {w.limit.name for w in worst if w.ratio > 1.0}
        found = self._store.findings(self._period, self._limits)
        findings = replace(found, needs_point=self._machine.words.numbers == "implied", boxes=self._boxes)
        settle(findings.runs)
        add_f_words(findings.runs, self._meaning, self._machine)
        remarked = np.concatenate([new_runs(0, 0), *(self._rule_runs(breaches) for breaches in self._remarks)])
        behaviour = self._behaving.result(seen=seen)
        return AuditResult(
            findings=findings,
            worst=worst,
            samples=self._samples,
            duration=self._last_tick * self._period,
            shortest=self._shortest if seen else np.full(6, np.nan),
            longest=self._longest if seen else np.full(6, np.nan),
            warnings=(
                *self._warnings,
                *(() if behaviour.duty is None else behaviour.duty.warnings),
                *(
                    sentence(self._program, int(run["line"]), self._limits[run["limit"]].fault, int(run["peak"]))
                    for run in remarked
                ),
                *(_between(name, line) for name, line in self._between.items() if name not in shown),
            ),
            dropped=self._store.dropped(self._limits),
            unseen=self.unseen,
            nearest=self._nearest(),
            remarks=replace(findings, runs=remarked),
            behaviour=behaviour,
        )

    def _nearest(self) -> tuple[Nearest, ...]:
        """Return the smallest distance of each pair of bodies, the nearest pair first."""
        out = [
            Nearest(bodies=names_of(int(pair), self._boxes), worst=w)
            for (check, use), also in zip(self._checks, self._also, strict=True)
            if also.meetings
            for pair, w in zip(
                also.meetings.pairs, use.rows(self._limits.of(check.band.limit), self._period), strict=False
            )
        ]
        return tuple(sorted(out, key=lambda x: x.worst.value))

    def _judge(self, check: LimitCheck, also: _Also, worst: WorstUse, values: Array, setpoints: Setpoints) -> None:
        """Take the worst of a batch's ``values`` (k, n) and the runs that leave the band."""
        poses, band, meetings = setpoints.poses, check.band, also.meetings
        least, most = values.min(axis=1), values.max(axis=1)
        worst.update(values, least, most, setpoints)
        pairs = values
        if meetings:
            values = values.min(axis=0)[None]
            least, most = values.min(axis=1), values.max(axis=1)
        margin = self._margins.get(band.limit, 1.0)
        if isinstance(check, StrutLimit):
            judged = check.judged(setpoints, values, margin)
            if judged is not values:
                self._between.setdefault(band.limit, int(poses.line[(judged != values).any(axis=0).argmax()]))
                values, least, most = judged, judged.min(axis=1), judged.max(axis=1)
        if band.left(least, most, margin):
            code = self._limits.index(band.limit)
            runs, row, at = find_runs(band, code, values, poses.line, poses.tick, margin=margin)
            if also.shares:
                _show(runs, also.shares.figures(row, at, setpoints), margin)
            if meetings:
                runs["bodies"] = meetings.pairs[pairs[:, at].argmin(axis=0)]
            if also.movable:
                runs["shift"], runs["way"] = also.movable.shift(row, at, setpoints, margin)
            self._adviser.advise(self._limits[code], runs, row, at, setpoints, values=values, margin=margin)
            self._store.add(runs, self._last_tick)

    def _rule_runs(self, breaches: Breaches) -> Runs:
        """Return the breaches of a rule as runs, with the times of their moves."""
        runs = new_runs(len(breaches.first), self._limits.index(breaches.limit))
        runs["line"] = self._lines[breaches.first]
        runs["start"] = self._ticks.of(breaches.first)[0]
        runs["end"] = self._ticks.of(breaches.last)[1]
        runs["peak"], runs["allowed"], runs["ratio"] = breaches.peak, breaches.allowed, breaches.ratio
        return runs


def _between(limit: str, line: int) -> str:
    """Return the remark that a limit is broken where no setpoint shows it."""
    return (
        f"Between two setpoints a strut breaks its limit of {limit}, first in line {line}. "
        "The worst uses are those at the setpoints."
    )


def _unseen(limit: Limit, parts: Sequence[tuple[str, int]] | None) -> list[Unseen]:
    """Return what was not looked at of a limit: all of it without a check, else ``parts`` with places of keys."""
    left = [("", 0)] if parts is None and limit.keys else parts or ()
    return [Unseen(limit=limit.name, part=part, missing=limit.keys[key]) for part, key in left]


def _show(runs: Runs, figures: Figures, margin: float) -> None:
    """Put into ``runs`` (m,) what a report shows of shares of a limit."""
    runs["peak"], runs["allowed"], runs["joint"] = figures.value, figures.allowed, figures.joint
    runs["ratio"] = np.maximum(figures.use, just_over(margin))
