"use strict";
// The machine at the cursor: a parallel projection on a canvas, in mm of the base frame, z up.
(() => {
  const canvas = document.getElementById("view");
  if (!job || !canvas) return;
  const {held, rows} = job, front = canvas.getContext("2d");
  const back = document.createElement("canvas"), under = back.getContext("2d");   // what does not move with the cursor
  let pen = front, drawn = "";
  const turnAbout = (axis, angle) => {
    const c = Math.cos(angle), s = Math.sin(angle), out = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];
    const j = (axis + 1) % 3, k = (axis + 2) % 3;
    out[j][j] = out[k][k] = c; out[k][j] = s; out[j][k] = -s;
    return out;
  };
  const product = (a, b) => a.map(row => [0, 1, 2].map(k => row[0] * b[0][k] + row[1] * b[1][k] + row[2] * b[2][k]));
  const moved = (m, v) => m.map(row => row[0] * v[0] + row[1] * v[1] + row[2] * v[2]);
  const plus = (a, b) => a.map((x, k) => x + b[k]);
  const frames = held.frames.map(({base, tip}) => ({
    turn: [base.slice(0, 3), base.slice(4, 7), base.slice(8, 11)], place: [base[3], base[7], base[11]], tip,
  }));

  // Joints, spindle and tool of a row, from its pose
  const at = i => {
    const f = frames[rows.frame[i]], p = rows.pose.map(x => x[i]);
    const angles = p.slice(3).map(x => x / job.scale.deg * Math.PI / 180);
    let turn = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];
    for (const letter of held.order) { const k = "ABC".indexOf(letter); turn = product(turnAbout(k, angles[k]), turn); }
    turn = product(f.turn, turn);
    const tip = plus(moved(f.turn, p.slice(0, 3).map(x => x / job.scale.mm)), f.place);
    const middle = plus(tip, moved(turn, f.tip).map(x => -x));
    const of = v => plus(middle, moved(turn, v));
    return {tip, middle, gauge: of(held.gauge), platform: held.platform.map(of), base: held.base};
  };

  const around = points => {                 // the order of points of a plate about its middle
    const mean = [0, 1].map(k => points.reduce((sum, p) => sum + p[k], 0) / points.length);
    return points.map((p, i) => [Math.atan2(p[1] - mean[1], p[0] - mean[0]), i]).sort((a, b) => a[0] - b[0]).map(x => x[1]);
  };
  const baseOrder = around(held.base), plateOrder = around(held.platform);
  const m = held.pallet_at.frame, [wide, deep] = held.pallet_at.size.map(x => x / 2);
  const onPallet = (x, y) => [0, 1, 2].map(k => m[4 * k] * x + m[4 * k + 1] * y + m[4 * k + 3]);
  const pallet = [onPallet(-wide, -deep), onPallet(wide, -deep), onPallet(wide, deep), onPallet(-wide, deep)];
  const boxes = held.boxes.map(([a, b]) => {
    const corner = n => [0, 1, 2].map(k => n >> k & 1 ? b[k] : a[k]);
    return [[0, 1], [0, 2], [0, 4], [1, 3], [1, 5], [2, 3], [2, 6], [3, 7], [4, 5], [4, 6], [5, 7], [6, 7]]
      .map(([x, y]) => [corner(x), corner(y)]);
  });
  const way = rows.way.tick.map((_, i) => rows.way.tip.map(x => x[i] / job.scale.way));

  // The look: turned by two angles, moved and scaled
  const LOOKS = {front: [0, 0], side: [-90, 0], above: [0, 90], aslant: [-32, 24]};
  const look = {yaw: -32, tilt: 24, scale: 1, x: 0, y: 0};
  let axes = [];
  const orient = () => {
    const a = look.yaw * Math.PI / 180, b = look.tilt * Math.PI / 180;
    const ca = Math.cos(a), sa = Math.sin(a), cb = Math.cos(b), sb = Math.sin(b);
    axes = [[ca, -sa, 0], [sa * sb, ca * sb, cb], [-sa * cb, -ca * cb, sb]];   // right, up, towards the eye
  };
  const flat = p => {
    const r = axes[0], u = axes[1];
    return [look.x + look.scale * (r[0] * p[0] + r[1] * p[1] + r[2] * p[2]),
      look.y - look.scale * (u[0] * p[0] + u[1] * p[1] + u[2] * p[2])];
  };
  const fit = points => {
    look.x = look.y = 0; look.scale = 1;
    const seen = points.map(flat), xs = seen.map(p => p[0]), ys = seen.map(p => p[1]);
    const low = [xs, ys].map(v => v.reduce((a, b) => Math.min(a, b))), high = [xs, ys].map(v => v.reduce((a, b) => Math.max(a, b)));
    const w = canvas.clientWidth, h = canvas.clientHeight, room = 34;
    const scale = Math.min((w - 2 * room) / Math.max(high[0] - low[0], 1), (h - 2 * room) / Math.max(high[1] - low[1], 1));
    look.scale = scale;
    look.x = w / 2 - scale * (low[0] + high[0]) / 2; look.y = h / 2 - scale * (low[1] + high[1]) / 2;
  };
  const showAll = () => fit([...held.base, ...shown.platform, ...pallet, ...way]);
  const cuts = way.filter((_, i) => !rows.way.rapid[i] || i + 1 < way.length && !rows.way.rapid[i + 1]);
  const showPath = () => fit(cuts.length > 1 ? cuts : way);
  let fitted = showAll;

  // Drawing
  let ink = {}, shown = null;
  const inks = () => {
    const style = getComputedStyle(document.documentElement), of = name => style.getPropertyValue(name).trim();
    ink = Object.fromEntries(["ink", "soft", "line", "edge", "paper", "hand", "wash", "mark"].map(k => [k, of("--" + k)]));
    ink.use = [0, 1, 2, 3, 4].map(k => of("--u" + k));
  };
  const level = share => share > 1 ? 4 : share > .9 ? 3 : share > .75 ? 2 : share > .5 ? 1 : 0;
  const stroke = (points, colour, width, dash = [], closed = false) => {
    pen.beginPath();
    points.forEach((p, k) => { const [x, y] = flat(p); if (k) pen.lineTo(x, y); else pen.moveTo(x, y); });
    if (closed) pen.closePath();
    pen.setLineDash(dash); pen.lineWidth = width; pen.strokeStyle = colour; pen.stroke();
  };
  const plate = (points, colour, share) => {
    const before = pen.globalAlpha;
    stroke(points, colour, 1.5, [], true);
    pen.globalAlpha = share * before; pen.fillStyle = colour; pen.fill(); pen.globalAlpha = before;
  };
  const path = () => {
    const seen = way.map(flat);
    for (let l = -1; l < 5; l++) {           // rapids first, the worst last
      pen.beginPath();
      for (let i = 1; i < seen.length; i++) {
        if ((rows.way.rapid[i] && rows.way.level[i] < 4 ? -1 : rows.way.level[i]) !== l) continue;
        pen.moveTo(seen[i - 1][0], seen[i - 1][1]); pen.lineTo(seen[i][0], seen[i][1]);
      }
      pen.setLineDash(l < 0 ? [5, 4] : []); pen.lineWidth = l < 0 ? 1 : l === 4 ? 3 : 1.6;
      pen.strokeStyle = l < 0 ? ink.edge : ink.use[l]; pen.stroke();
    }
  };
  const dot = (p, radius, colour) => {
    const [x, y] = flat(p);
    pen.beginPath(); pen.arc(x, y, radius, 0, 7); pen.fillStyle = colour; pen.fill();
  };
  const word = (text, [x, y], colour) => {
    pen.font = "600 12px system-ui,sans-serif"; pen.textAlign = "center"; pen.lineWidth = 3;
    pen.setLineDash([]); pen.strokeStyle = ink.wash; pen.strokeText(text, x, y); pen.fillStyle = colour; pen.fillText(text, x, y);
  };
  const cross = () => {                      // the directions of the base frame, in a corner
    const o = [34, canvas.clientHeight - 34];
    [["x", 0], ["y", 1], ["z", 2]].forEach(([name, k]) => {
      const e = [o[0] + 22 * axes[0][k], o[1] - 22 * axes[1][k]];
      pen.beginPath(); pen.moveTo(...o); pen.lineTo(...e); pen.lineWidth = 1.5; pen.setLineDash([]); pen.strokeStyle = ink.soft; pen.stroke();
      word(name, [o[0] + 30 * axes[0][k], o[1] - 30 * axes[1][k] + 4], ink.soft);
    });
  };
  const draw = () => {
    const now = shown, w = canvas.clientWidth, h = canvas.clientHeight, dense = devicePixelRatio || 1;
    const wanted = JSON.stringify([w, h, dense, look, ink]);
    if (wanted !== drawn) {
      for (const c of [canvas, back]) { c.width = Math.round(w * dense); c.height = Math.round(h * dense); }
      for (const c of [front, under]) { c.setTransform(dense, 0, 0, dense, 0, 0); c.lineJoin = c.lineCap = "round"; }
      pen = under;
      plate(pallet, ink.soft, .12);
      boxes.forEach(edges => edges.forEach(edge => stroke(edge, ink.soft, 1, [3, 3])));
      path();
      pen = front; drawn = wanted;
    }
    pen.clearRect(0, 0, w, h);
    if (back.width && back.height) pen.drawImage(back, 0, 0, w, h);
    const faint = fitted === showPath;       // the machine, where the path is what is looked at
    pen.globalAlpha = faint ? .3 : 1;
    plate(baseOrder.map(k => now.base[k]), ink.edge, .06);
    const order = now.base.map((a, k) => [k, axes[2][0] * (a[0] + now.platform[k][0]) + axes[2][1] * (a[1] + now.platform[k][1])]);
    order.sort((a, b) => a[1] - b[1]).forEach(([k]) => {
      if (!faint) stroke([now.base[k], now.platform[k]], ink.wash, 9);
      stroke([now.base[k], now.platform[k]], ink.use[level(rows.use[k][job.now] / job.scale.coarse)], 5);
      dot(now.base[k], 5, ink.ink); dot(now.platform[k], 4, ink.ink);
    });
    plate(plateOrder.map(k => now.platform[k]), ink.mark, .22);
    stroke([now.middle, now.gauge], ink.soft, 8);
    pen.globalAlpha = 1;
    stroke([now.gauge, now.tip], ink.hand, 4);
    dot(now.tip, 3, ink.hand);
    now.base.forEach((p, k) => { const [x, y] = flat(p); word(String(k + 1), [x, y - 10], ink.ink); });
    cross();
  };
  let waits = false;
  const soon = () => {
    if (waits) return;
    waits = true;
    requestAnimationFrame(() => { waits = false; draw(); });
  };
  const toLook = (yaw, tilt) => { look.yaw = yaw; look.tilt = tilt; orient(); fitted(); soon(); };
  const zoom = (by, x = canvas.clientWidth / 2, y = canvas.clientHeight / 2) => {
    look.x = x + (look.x - x) * by; look.y = y + (look.y - y) * by; look.scale *= by; soon();
  };
  const turn = (right, up) => {              // about the middle of the picture
    const c = [canvas.clientWidth / 2, canvas.clientHeight / 2];
    const a = [(c[0] - look.x) / look.scale, (look.y - c[1]) / look.scale];
    const p = [0, 1, 2].map(k => axes[0][k] * a[0] + axes[1][k] * a[1]);
    look.yaw += right; look.tilt = Math.max(-90, Math.min(90, look.tilt + up)); orient();
    const [x, y] = flat(p);
    look.x += c[0] - x; look.y += c[1] - y; soon();
  };
  const shift = (x, y) => { look.x += x; look.y += y; soon(); };
  const all = f => { fitted = f; fitted(); soon(); };
  const acts = {
    ...Object.fromEntries(Object.entries(LOOKS).map(([name, angles]) => [name, () => toLook(...angles)])),
    all: () => all(showAll), path: () => all(showPath), nearer: () => zoom(1.25), farther: () => zoom(.8),
  };
  document.querySelectorAll("[data-look]").forEach(b => b.addEventListener("click", () => acts[b.dataset.look]()));
  canvas.addEventListener("keydown", e => {
    const ways = {ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1]}, way = ways[e.key];
    const keys = {"+": "nearer", "=": "nearer", "-": "farther", 1: "front", 2: "side", 3: "above", 4: "aslant", f: "all", p: "path"};
    if (way && e.shiftKey) shift(-24 * way[0], -24 * way[1]);
    else if (way) turn(6 * way[0], -6 * way[1]);
    else if (keys[e.key] && !e.ctrlKey && !e.metaKey && !e.altKey) acts[keys[e.key]]();
    else return;
    e.preventDefault();
  });
  let held_at = null, gone = 0;
  const fingers = job.fingers(canvas, {
    pinch: (by, x, y, dx, dy) => {           // two fingers: apart zooms, both along moves
      const r = canvas.getBoundingClientRect();
      zoom(by, x - r.left, y - r.top); shift(dx, dy); gone = Infinity;
    },
  });
  canvas.addEventListener("pointerdown", e => { held_at = [e.clientX, e.clientY]; if (fingers.count < 2) gone = 0; });
  canvas.addEventListener("pointermove", e => {
    if (!held_at || !e.buttons || fingers.count > 1) return;
    const x = e.clientX - held_at[0], y = e.clientY - held_at[1];
    held_at = [e.clientX, e.clientY]; gone += Math.abs(x) + Math.abs(y);
    if (e.shiftKey || e.buttons === 4) shift(x, y); else turn(x * .4, y * .4);
  });
  canvas.addEventListener("pointercancel", () => { held_at = null; });
  canvas.addEventListener("pointerup", e => {
    held_at = null;
    if (gone > 4) return;                    // a click: to the nearest point of the path
    const r = canvas.getBoundingClientRect(), x = e.clientX - r.left, y = e.clientY - r.top;
    let best = 400, found = -1;
    way.forEach((p, i) => { const q = flat(p), d = (q[0] - x) ** 2 + (q[1] - y) ** 2; if (d < best) { best = d; found = i; } });
    if (found >= 0) job.toTick(rows.way.tick[found]);
  });
  canvas.addEventListener("wheel", e => {    // the page scrolls, unless the picture has the focus
    if (document.activeElement !== canvas && !e.ctrlKey) return;
    const r = canvas.getBoundingClientRect();
    zoom(e.deltaY < 0 ? 1.12 : 1 / 1.12, e.clientX - r.left, e.clientY - r.top); e.preventDefault();
  }, {passive: false});
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { inks(); soon(); });
  let size = [0, 0];
  new ResizeObserver(() => {
    const next = [canvas.clientWidth, canvas.clientHeight];
    if (next.some((x, k) => Math.abs(x - size[k]) > 1)) { size = next; fitted(); soon(); }
  }).observe(canvas);
  inks(); orient();
  job.onMove(i => {
    shown = at(i);
    document.dispatchEvent(new CustomEvent("moment", {detail: {row: i, ...shown}}));
    soon();
  });
  job.go(0);
  showAll(); draw();
})();
