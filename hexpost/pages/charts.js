"use strict";
// Charts: the cursor as a stroke, and one stretch of time that all of them show, down to the columns that are kept.
(() => {
  if (!job) return;
  const $ = (q, e = document) => [...e.querySelectorAll(q)], ns = "http://www.w3.org/2000/svg";
  const {rows, held} = job, total = job.last + 1, STEPS = 1000, FEWEST = 24;
  const heights = d => {                     // the steps of an envelope, as the height of each column
    const out = []; let y = 0;
    for (const [, k, v] of d.matchAll(/([Mhvz])(-?\d+(?: \d+)?)?/g)) {
      if (k === "M") y = +v.split(" ")[1];
      else if (k === "h") for (let i = 0; i < Math.abs(+v); i++) out.push(y);
      else if (k === "v") y += +v;
    }
    const n = out.length / 2;
    return [out.slice(0, n), out.slice(n).reverse()];
  };
  const stretch = {from: 0, to: 1};          // what is shown, as shares of the job
  const steps = (ys, first, wide, from) => ys.map((y, k) => `${k ? "V" : from}${y}H${((first + k + 1) * wide).toFixed(3)}`).join("");
  const envelope = (c, first, last) => {     // the kept columns of a stretch
    const top = c.top.slice(first, last), bottom = c.bottom.slice(first, last).reverse(), n = last - first;
    const back = bottom.map((y, k) => `${k ? "V" + y : "V" + y}H${((last - k - 1) * c.wide).toFixed(3)}`).join("");
    return `${steps(top, first, c.wide, `M${(first * c.wide).toFixed(3)} `)}${n ? back : ""}z`;
  };
  const asked = (c, first, last) => {
    let d = "", before = -1;
    for (let k = first; k < last; k++) {
      const y = c.asked[k];
      if (y >= 0) d += `${before === y ? "" : `M${(k * c.wide).toFixed(3)} ${y}`}H${((k + 1) * c.wide).toFixed(3)}`;
      before = y;
    }
    return d;
  };
  const watched = new Map();
  const watch = new IntersectionObserver(found => found.forEach(x => {
    const c = watched.get(x.target);
    c.seen = x.isIntersecting;
    if (c.seen) { show(c); at(c, job.now); }
  }), {rootMargin: "200px"});
  const charts = $("figure svg[data-low]").map(svg => {
    const path = svg.querySelector(".e"), h = svg.viewBox.baseVal.height, scale = x => x * h / STEPS;
    const drawn = heights(path.getAttribute("d")), wide = svg.viewBox.baseVal.width;
    let [top, bottom] = drawn, line = null;
    if (svg.dataset.top) {
      const rest = ints(svg.dataset.rest);
      top = ints(svg.dataset.top); bottom = top.map((y, k) => scale(y + rest[k])); top = top.map(scale);
      if (svg.dataset.asked) line = ints(svg.dataset.asked).map(y => y < 0 ? y : scale(y));
    }
    const stroke = document.createElementNS(ns, "path"); stroke.setAttribute("class", "x"); svg.append(stroke);
    const figure = svg.closest("figure"), here = document.createElement("span");
    here.className = "here"; figure.querySelector("figcaption").append(here);
    const a = +svg.dataset.low, b = +svg.dataset.high;
    const marks = $(".m", svg).map(mark => {
      const {time, until} = document.getElementById("f" + mark.id.slice(1)).dataset;
      return {mark, start: time * 1e6 / held.micros / total * wide, end: (until * 1e6 / held.micros + 1) / total * wide};
    });
    const one = {svg, path, top, bottom, asked: line, line: svg.querySelector(".a"), stroke, here, h, marks, across: wide,
      wide: wide / top.length, seen: false, shown: "", value: y => b - (b - a) * y / h,
      digits: Math.max(0, Math.ceil(-Math.log10((b - a) / STEPS))),
      first: path.getAttribute("d"), firstAsked: svg.querySelector(".a")?.getAttribute("d"),
      times: $(".axis span", figure), said: $(".axis span", figure).map(x => x.textContent)};
    svg.setAttribute("tabindex", "0"); svg.setAttribute("aria-describedby", "zoom-keys");
    watch.observe(svg); watched.set(svg, one);
    return one;
  });
  if (!charts.length) return;
  const kept = Math.max(...charts.map(c => c.top.length)), least = Math.min(1, FEWEST / kept);
  const seconds = share => (Math.min(share * total, job.last) * held.micros / 1e6).toFixed(held.decimals);
  const show = c => {                        // draw the stretch, unless it is drawn
    const {from, to} = stretch, key = from + " " + to;
    if (c.shown === key || !c.shown && to - from === 1) return;
    c.shown = key;
    const n = c.top.length, first = Math.floor(from * n), last = Math.min(n, Math.ceil(to * n)), whole = to - from === 1;
    c.svg.setAttribute("viewBox", `${from * c.across} 0 ${(to - from) * c.across} ${c.h}`);
    c.path.setAttribute("d", whole ? c.first : envelope(c, first, last));
    if (c.line && c.asked) c.line.setAttribute("d", whole ? c.firstAsked : asked(c, first, last));
    const slim = (to - from) * c.across / 420;
    c.marks.forEach(x => { x.mark.setAttribute("x", x.start); x.mark.setAttribute("width", Math.max(x.end - x.start, slim)); });
    c.times.forEach((x, k) => {
      x.textContent = whole ? c.said[k] : seconds(from + (to - from) * k / (c.times.length - 1)) + " s";
    });
  };
  const lines = $(".zoomed"), buttons = $("[data-zoom]");
  const write = () => {
    const {from, to} = stretch, ends = to - from <= least * (1 + 1e-9), step = total / kept;
    const each = step > 1 ? `one step is ${step.toFixed(1)} rows (${(step * held.micros / 1e6).toPrecision(3)} s)` : "one step is a row of the table";
    const text = `${seconds(from)} s to ${seconds(to)} s of ${seconds(1)} s; ${each}${ends ? ": the page stores no finer ones" : ""}`;
    lines.forEach(x => { x.textContent = text; });
    buttons.forEach(b => {
      const none = {in: ends, out: to - from === 1, all: to - from === 1, earlier: from === 0, later: to === 1}[b.dataset.zoom];
      b.setAttribute("aria-disabled", String(none));
    });
  };
  const to = (from, size) => {
    size = Math.max(least, Math.min(1, size));
    from = Math.max(0, Math.min(1 - size, from));
    if (size === 1) from = 0;
    if (from === stretch.from && from + size === stretch.to) return;
    stretch.from = from; stretch.to = size === 1 ? 1 : from + size;
    write();
    charts.forEach(c => {
      const r = c.svg.getBoundingClientRect();
      if (r.bottom > 0 && r.top < innerHeight) show(c);   // others once they come into sight
    });
  };
  const size = () => stretch.to - stretch.from;
  const cursor = () => {
    const share = (rows.tick[job.now] + .5) / total;
    return share >= stretch.from && share <= stretch.to ? share : (stretch.from + stretch.to) / 2;
  };
  const zoom = (by, about = cursor()) => to(about - (about - stretch.from) / by, size() / by);
  const acts = {in: () => zoom(2), out: () => zoom(.5), earlier: () => to(stretch.from - size() / 4, size()),
    later: () => to(stretch.from + size() / 4, size()), all: () => to(0, 1)};
  buttons.forEach(b => b.addEventListener("click", () => acts[b.dataset.zoom]()));
  charts.forEach(({svg}) => {
    const share = x => { const r = svg.getBoundingClientRect(); return stretch.from + size() * (x - r.left) / r.width; };
    const lead = e => { job.halt(); job.toTick(Math.min(job.last, Math.max(0, Math.floor(share(e.clientX) * total)))); };
    const fingers = job.fingers(svg, {
      pinch: (by, x, y, dx) => { zoom(by, share(x)); to(stretch.from - size() * dx / svg.clientWidth, size()); },
    });
    svg.addEventListener("pointerdown", e => { if (fingers.count < 2 && !e.shiftKey) lead(e); });
    svg.addEventListener("pointermove", e => {
      if (!e.buttons || fingers.count > 1) return;
      if (e.shiftKey) to(stretch.from - size() * e.movementX / svg.clientWidth, size()); else lead(e);
    });
    svg.addEventListener("wheel", e => {
      if (document.activeElement !== svg && !e.ctrlKey) return;
      const along = Math.abs(e.deltaX) > Math.abs(e.deltaY) || e.shiftKey;
      if (along) to(stretch.from + size() * (e.deltaX || e.deltaY) / svg.clientWidth, size());
      else zoom(e.deltaY < 0 ? 1.25 : .8, share(e.clientX));
      e.preventDefault();
    }, {passive: false});
    svg.addEventListener("keydown", e => {
      if (e.ctrlKey || e.metaKey || e.altKey) return;
      const way = {ArrowLeft: -1, ArrowRight: 1}[e.key];
      const key = {"+": "in", "=": "in", "-": "out", 0: "all"}[e.key];
      if (way && e.shiftKey) acts[way < 0 ? "earlier" : "later"]();
      else if (way) { job.halt(); job.go(job.now + way); }
      else if (key) acts[key]();
      else return;
      e.preventDefault();
    });
  });
  const said = (c, y) => c.value(y).toFixed(c.digits).replace(/^-(?=[0.]*$)/, "");   // 0 has no sign
  const at = (c, i) => {
    const share = rows.tick[i] / total, n = c.top.length, k = Math.min(n - 1, Math.floor(rows.tick[i] * n / total));
    c.stroke.setAttribute("d", `M${(share * c.across).toFixed(3)} 0v${c.h}`);
    c.here.textContent = ` · here ${said(c, c.bottom[k])} to ${said(c, c.top[k])}`;
  };
  job.onMove(i => {
    const share = rows.tick[i] / total;
    if (share < stretch.from || share > stretch.to) to(share - size() / 2, size());
    charts.forEach(c => { if (c.seen || !job.moving) at(c, i); });   // in motion those in sight alone
  });
  write();
  job.stretch = stretch;
})();
