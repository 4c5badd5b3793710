"use strict";
// Two jobs at one place of the path: a stroke in every chart, and what both are at there.
(() => {
  const at = document.getElementById("both");
  if (!at) return;
  const held = JSON.parse(at.dataset.held), line = ints(held.line), reached = held.reached.map(ints);
  const slide = document.getElementById("slide"), said = document.getElementById("now"), n = line.length;
  const blocks = new Map(held.known.map((k, i) => [k, held.texts[i]]));
  const charts = [...document.querySelectorAll("figure svg[data-low]")].map(svg => {
    const stroke = document.createElementNS("http://www.w3.org/2000/svg", "path");
    stroke.setAttribute("class", "x"); svg.append(stroke);
    const name = svg.closest("figure").id, side = +name.slice(-1) || 0, timed = name.startsWith("time");
    const wide = svg.viewBox.baseVal.width, h = svg.viewBox.baseVal.height;
    const place = i => timed ? reached[side][i] / 1e6 / Math.max(held.until, 1e-9) : (i + .5) / n;
    svg.addEventListener("pointerdown", e => { svg.setPointerCapture(e.pointerId); lead(e); });
    svg.addEventListener("pointermove", e => { if (e.buttons) lead(e); });
    const lead = e => {
      const r = svg.getBoundingClientRect(), share = (e.clientX - r.left) / r.width;
      let i = Math.floor(share * n);
      if (timed) { const t = share * held.until * 1e6; i = reached[side].findLastIndex(x => x <= t); }
      go(i);
    };
    return {draw: i => stroke.setAttribute("d", `M${(place(i) * wide).toFixed(2)} 0v${h}`)};
  });
  const go = i => {
    i = Math.max(0, Math.min(n - 1, i));
    const [a, b] = reached.map(x => x[i] / 1e6), ahead = a - b;
    const where = `${(held.length * i / n).toFixed(1)} mm, ${line[i] ? "line " + line[i] : "the approach"}`;
    const text = `${where}: as programmed at ${a.toFixed(3)} s, strut-limited `
      + (ahead ? `at ${b.toFixed(3)} s, ${Math.abs(ahead).toFixed(3)} s ${ahead < 0 ? "later" : "earlier"}` : "too");
    slide.value = i; slide.setAttribute("aria-valuetext", text);
    said.textContent = `${text} · ${blocks.get(line[i])}`;
    charts.forEach(c => c.draw(i));
  };
  slide.max = n - 1;
  slide.addEventListener("input", () => go(+slide.value));
  document.querySelectorAll(".live").forEach(part => { part.hidden = false; });
  go(0);
})();
