"use strict";
const ints = text => {                     // differences, signs at the end, seven bits a byte, low ones first
  const raw = atob(text), out = [];
  let sum = 0, value = 0, size = 1;
  for (let i = 0; i < raw.length; i++) {
    const byte = raw.charCodeAt(i);
    value += (byte & 127) * size;
    if (byte & 128) { size *= 128; continue; }
    sum += value % 2 ? -(value + 1) / 2 : value / 2;
    out.push(sum); value = 0; size = 1;
  }
  return out;
};
// The rows of the job, and the cursor: a place among them. Whoever shows the moment listens; whoever moves it calls go.
const job = (() => {
  const at = document.getElementById("job");
  if (!at) return null;
  const held = JSON.parse(at.dataset.held), s = held.scale;
  const all = texts => texts.map(ints);
  const way = held.way;
  const rows = {
    tick: ints(held.tick), line: ints(held.line), frame: ints(held.frame), pose: all(held.pose), length: all(held.length),
    feed: ints(held.feed), asked: ints(held.asked), kind: ints(held.kind), use: all(held.use), worst: ints(held.worst),
    what: ints(held.what), way: {tick: ints(way.tick), tip: all(way.tip), level: ints(way.level), rapid: ints(way.rapid)},
  };
  const hear = [], n = rows.tick.length;
  let now = -1;
  const nearest = tick => {                  // the row at a tick, or the nearest one
    let a = 0, b = n - 1;
    while (b - a > 1) { const m = (a + b) >> 1; if (rows.tick[m] <= tick) a = m; else b = m; }
    return tick - rows.tick[a] <= rows.tick[b] - tick ? a : b;
  };
  const go = i => {
    i = Math.max(0, Math.min(n - 1, i));
    if (i === now) return;
    now = i;
    hear.forEach(f => f(i));
  };
  const fingers = (part, {pinch}) => {       // two fingers on a part: how much further apart, about where, moved by what
    const down = new Map();
    const spread = () => {
      const [a, b] = [...down.values()];
      return {far: Math.hypot(a[0] - b[0], a[1] - b[1]), x: (a[0] + b[0]) / 2, y: (a[1] + b[1]) / 2};
    };
    part.addEventListener("pointerdown", e => { down.set(e.pointerId, [e.clientX, e.clientY]); part.setPointerCapture(e.pointerId); });
    for (const end of ["pointerup", "pointercancel"]) part.addEventListener(end, e => down.delete(e.pointerId));
    part.addEventListener("pointermove", e => {
      if (!down.has(e.pointerId)) return;
      const was = down.size === 2 ? spread() : null;
      down.set(e.pointerId, [e.clientX, e.clientY]);
      if (!was) return;
      const is = spread();
      pinch(is.far / Math.max(was.far, 1), is.x, is.y, is.x - was.x, is.y - was.y);
    });
    return {get count() { return down.size; }};
  };
  return {
    held, rows, n, fingers, moving: false, halt: () => {}, nearest, go, scale: s, last: rows.tick[n - 1],
    get now() { return now; },
    onMove: f => { hear.push(f); if (now >= 0) f(now); },
    toTick: tick => go(nearest(tick)),
    toTime: seconds => go(nearest(seconds * 1e6 / held.micros)),
    seconds: tick => tick * held.micros / 1e6,
    fixed: (whole, scale, decimals) => (whole / scale).toFixed(decimals),
    percent: share => {                      // the wrong side of 100 is never shown
      const x = 100 * share;
      if (x < 100) return (x > 99.9 ? Math.floor(x * 10) / 10 : x).toFixed(1) + " %";
      return share > 1 && x.toFixed(0) === "100" ? "> 100 %" : x.toFixed(0) + " %";
    },
  };
})();
