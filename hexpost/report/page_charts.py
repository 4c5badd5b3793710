"""Charts of the page: the use of all limits, the six struts, the feed, and curves of the whole tool."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.audit.model import Chart, Finding, Limit
from hexpost.report.charts import Mark, Plot, Scale, chart, scale
from hexpost.report.curves import Drawn
from hexpost.report.picture import Drawing
from hexpost.units import SECONDS_PER_MINUTE
from hexpost.voice import amount, figure, number, percent, reading, unit_of

FLAT = 1e-9
"""What varies by less is no chart."""
_READ = (
    "<p>Each column of a chart spans the smallest and the largest value in its share of the time, so a peak of one "
    "sample shows. Dashed: the limits, with their numbers; shaded: what is beyond them. Upright bands: findings.</p>"
)
_BUTTONS = "".join(
    f'<button type="button" data-zoom="{key}">{name}</button>'
    for key, name in (
        ("in", "Zoom in"), ("out", "Zoom out"), ("earlier", "Earlier"), ("later", "Later"), ("all", "Whole job"),
    )
)  # fmt: skip
_KEYS = (
    '<p id="zoom-keys" class="soft live" hidden>All charts share one stretch of time. Keys on a chart: arrows lead the '
    "cursor, + and - zoom, Shift and arrows move, 0 shows all. Drag leads the cursor, with Shift it moves the stretch; "
    "the wheel zooms with Ctrl, or in the chart that has the focus; two fingers zoom.</p>"
)


def zoom_bar() -> str:
    """Return the buttons that zoom all charts, hidden until the script runs."""
    held = f'{_BUTTONS}<span class="zoomed"></span>'
    return f'<div class="tools live zoom" role="group" aria-label="Zoom" hidden>{held}</div>'


@dataclass(frozen=True, slots=True, kw_only=True)
class PageCharts:
    """The charts of a drawing, with the findings that are ``shown``, and ``fine`` columns for the script at most."""

    drawing: Drawing
    shown: Sequence[Finding]
    fine: int

    def use(self) -> str:
        """Return how much any strut uses of its most used limit."""
        drawing = self.drawing
        most, use = float(drawing.use.max()), 100.0 * drawing.use
        plot = Plot(
            name="use",
            title=f"The most used limit of any strut, in per cent: at most {percent(most)} (dashed: all of a limit)",
            low=np.zeros_like(use),
            high=use,
            bounds=(100.0,),
            unit=" %",
            scale=Scale(low=0.0, high=1.08 * max(100.0, 100.0 * most)),
            marks=self._marks(),
            prefix="u",
            times=self._times(),
        )
        return zoom_bar() + chart(plot, self.fine) + _KEYS

    def feed(self) -> str:
        """Return the feed of the tip beside the one that is programmed for it."""
        drawing = self.drawing
        low, high = (SECONDS_PER_MINUTE * x for x in drawing.feed)
        asked, most = SECONDS_PER_MINUTE * drawing.asked, float(high.max())
        top = max(most, float(np.nanmax(asked, initial=0.0)), 1.0)
        plot = Plot(
            name="feed",
            title=f"Feed of the tool tip: real, at most {amount(most, 'mm/min')}; line: programmed (none in rapids)",
            low=low,
            high=high,
            bounds=(),
            scale=Scale(low=0.0, high=1.08 * top),
            marks=(),
            prefix="v",
            times=self._times(),
            asked=asked,
        )
        return zoom_bar() + chart(plot, self.fine)

    def struts(self) -> str:
        """Return the charts of the struts that have their own."""
        drawing = self.drawing
        own = [q for q, one in enumerate(drawing.charted) if one.limit.chart is Chart.OWN]
        each = (f"<h3>Strut {k + 1}</h3>{''.join(self._strut(q, k) for q in own)}" for k in range(drawing.low.shape[1]))
        return _READ + zoom_bar() + "".join(each)

    def curves(self, *, forecast: bool) -> str:
        """Return the curves of the whole tool: those of a forecast, or those of the pose."""
        found = [c for c in self.drawing.curves if c.curve.forecast == forecast]
        return zoom_bar() + "".join(self._curve(c) for c in found) if found else ""

    def _strut(self, q: int, k: int) -> str:
        one = self.drawing.charted[q]
        limit, a, b = one.limit, float(one.low[k]), float(one.high[k])
        low, high = self.drawing.low[q, k], self.drawing.high[q, k]
        least, most = float(low.min()), float(high.max())
        name = limit.quantity or limit.name
        allowed = f"±{number(b)} allowed" if a == -b else f"{number(a)} to {number(b)} allowed"
        plot = Plot(
            name=f"s{k + 1}-{name}",
            title=f"Strut {k + 1} {name}: {_span((least, most), (a, b), limit.unit)}, {allowed}",
            low=low,
            high=high,
            bounds=(a, b),
            scale=scale(a, b, least, most),
            marks=self._marks(limit, k + 1),
            prefix="m",
            times=(0.0, self.drawing.until),
        )
        return chart(plot, self.fine)

    def _curve(self, drawn: Drawn) -> str:
        curve, low, high = drawn.curve, drawn.low, drawn.high
        least, most = float(low.min()), float(high.max())
        bounds = [x for x in (curve.least, curve.most) if x is not None]
        if most - least < FLAT:
            return f"<p>{curve.title}: {amount(round(most, 9), curve.unit)} all along.</p>"
        told = _span((least, most), (curve.least, curve.most), curve.unit)
        top = max(most, *bounds, 1e-9)
        plot = Plot(
            name=curve.name,
            title=f"{curve.title}: {told}{'' if curve.most is None else f', {amount(curve.most, curve.unit)} allowed'}",
            low=low,
            high=high,
            bounds=bounds,
            scale=Scale(low=min(0.0 if curve.least is None else -0.1 * top, least), high=1.08 * top),
            marks=(),
            prefix="c",
            times=self._times(),
            least=curve.least is not None,
        )
        return chart(plot, self.fine)

    def _times(self) -> tuple[float, ...]:
        return tuple(self.drawing.until * k / 4 for k in range(5))

    def _marks(self, limit: Limit | None = None, strut: int = 0) -> list[Mark]:
        """Return the marks of the findings of one limit of one strut (all findings, without a limit)."""
        until = max(self.drawing.until, 1e-9)
        out = []
        for i, f in enumerate(self.shown):
            if limit is None or (f.limit == limit and f.strut == strut):
                start, end = (min(max(t / until, 0.0), 1.0) for t in (f.time, f.until))
                out.append(Mark(number=i + 1, share=start, until=end))
        return out


def _span(ends: tuple[float, float], allowed: tuple[float | None, float | None], unit: str) -> str:
    """Return the least and the largest value, with as many digits as tell them from what is allowed."""
    least, most = (figure(v, unit) if a is None else reading(v, a, unit)[0] for v, a in zip(ends, allowed, strict=True))
    return f"{least} to {most}{unit_of(unit)}"
