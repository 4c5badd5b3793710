"use strict";
(() => {
  const $ = (q, e = document) => [...e.querySelectorAll(q)], one = id => document.getElementById(id);
  const list = document.querySelector(".found"), box = one("search"), sort = one("sort");
  const items = list ? $(":scope>li", list) : [];
  if (list && box) {
    const show = () => {
      const want = box.value.toLowerCase(), key = sort.value;
      items.sort((a, b) => key === "use" ? a.dataset.n - b.dataset.n : a.dataset[key] - b.dataset[key] || a.dataset.n - b.dataset.n);
      items.forEach(i => { i.hidden = !i.textContent.toLowerCase().includes(want); list.append(i); });
      one("shown").textContent = want ? items.filter(i => !i.hidden).length + " of " + items.length : "";
    };
    box.addEventListener("input", show); sort.addEventListener("change", show);
    one("find").hidden = false; show();
  }
  if (!job) return;
  $(".live").forEach(part => { part.hidden = false; });
  const {rows, held} = job;
  const slide = one("slide"), said = one("now");
  const calm = matchMedia("(prefers-reduced-motion: reduce)");

  // The numbers of the moment
  const put = (key, text) => { one("r-" + key).textContent = text; };
  const group = x => x.replace(/\B(?=(\d{3})+(?!\d))/g, ",");
  const units = ["mm/min", "deg/min", "1/min"];
  const timeOf = i => job.seconds(rows.tick[i]).toFixed(held.decimals) + " s";
  const lineOf = i => rows.line[i] ? "line " + rows.line[i] : "the approach";
  const worstOf = i => {
    const what = rows.what[i];
    return `${job.percent(rows.worst[i] / job.scale.share)} ${held.limits[Math.floor(what / 6)]} of strut ${what % 6 + 1}`;
  };
  const texts = new Map();
  $("pre span[id]").forEach(line => texts.set(+line.id.slice(1), line));
  const blocks = new Map(), shown = held.texts.split("\n");
  [...new Set(rows.line)].sort((a, b) => a - b).forEach((n, k) => blocks.set(n, shown[k]));
  const feed = x => group((x / job.scale.feed).toFixed(x / job.scale.feed < 100 ? 2 : 0));
  let marked = null;
  const read = i => {
    put("time", timeOf(i)); put("line", rows.line[i] ? String(rows.line[i]) : "approach");
    put("block", blocks.get(rows.line[i]));
    rows.pose.forEach((p, k) => put("axis-" + k, k < 3 ? job.fixed(p[i], job.scale.mm, 3) : job.fixed(p[i], job.scale.deg, 4)));
    const kind = rows.kind[i];
    put("asked", kind === 3 ? "rapid" : feed(rows.asked[i]) + " " + units[kind]);
    put("feed", feed(rows.feed[i]) + (kind === 1 ? " deg/min" : " mm/min"));
    rows.length.forEach((l, k) => put("length-" + (k + 1), job.fixed(l[i], job.scale.length, 6)));
    put("worst", worstOf(i));
    one("r-worst").classList.toggle("over", rows.worst[i] > job.scale.share);
    const words = `${timeOf(i)}, ${lineOf(i)}`;
    slide.value = rows.tick[i];
    slide.setAttribute("aria-valuetext", `${words}, ${worstOf(i)}`);
    said.textContent = `${words} · ${worstOf(i)}`;
    const line = texts.get(rows.line[i]);
    if (marked !== line) {
      if (marked) marked.classList.remove("now");
      if (line) { line.classList.add("now"); keep(line); }
      marked = line;
    }
    const tick = rows.tick[i] * held.micros / 1e6;
    items.forEach(x => x.classList.toggle("now", x.dataset.time - 1e-9 <= tick && tick <= +x.dataset.until + 1e-9));
  };
  const keep = line => {                     // the line in sight, within the program alone
    const frame = line.parentElement, y = line.offsetTop - frame.offsetTop;
    if (y < frame.scrollTop || y > frame.scrollTop + frame.clientHeight - 30) frame.scrollTop = y - frame.clientHeight / 2;
  };
  job.onMove(read);

  // The slider: a time; keys go from row to row
  slide.addEventListener("input", () => { const tick = +slide.value; job.toTick(tick); slide.value = rows.tick[job.now]; });
  slide.addEventListener("keydown", e => {
    const steps = {ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1, PageUp: 20, PageDown: -20};
    if (e.key in steps) { job.go(job.now + steps[e.key]); e.preventDefault(); }
  });

  // Findings, blocks, play
  const starts = items.map(x => ({time: +x.dataset.time, item: x})).sort((a, b) => a.time - b.time);
  const jump = way => {
    const now = job.seconds(rows.tick[job.now]), half = held.micros / 2e6;
    const found = way > 0 ? starts.find(x => x.time > now + half) : starts.findLast(x => x.time < now - half);
    if (found) { stop(); job.toTime(found.time); }
  };
  one("finding-next").addEventListener("click", () => jump(1));
  one("finding-before").addEventListener("click", () => jump(-1));
  if (!starts.length) { one("finding-next").hidden = true; one("finding-before").hidden = true; }
  const block = way => {
    let i = job.now;
    const line = rows.line[i];
    while (i + way >= 0 && i + way < job.n && rows.line[i] === line) i += way;
    if (way < 0) while (i > 0 && rows.line[i - 1] === rows.line[i]) i--;
    stop(); job.go(i);
  };
  one("block-next").addEventListener("click", () => block(1));
  one("block-before").addEventListener("click", () => block(-1));
  const play = one("play"), speed = one("speed");
  let last = null, tick = 0;
  const stop = () => { last = null; job.moving = false; play.textContent = "Play"; play.setAttribute("aria-pressed", "false"); };
  const step = stamp => {
    if (last === null) return;
    tick += Math.max(0, stamp - last) * 1e3 * speed.value / held.micros;
    last = stamp;
    let i = job.now;
    while (i + 1 < job.n && rows.tick[i + 1] <= tick) i++;
    job.go(i);
    if (i + 1 < job.n) requestAnimationFrame(step); else stop();
  };
  play.addEventListener("click", () => {
    if (last !== null) { stop(); return; }
    if (job.now >= job.n - 1) job.go(0);
    play.textContent = "Pause"; play.setAttribute("aria-pressed", "true");
    tick = rows.tick[job.now]; last = performance.now(); job.moving = true;
    requestAnimationFrame(step);
  });
  job.halt = stop;
  stop();
  const long = job.seconds(job.last);
  if (long > 60) speed.value = long > 6000 ? "1000" : long > 600 ? "100" : "10";

  // Findings and lines lead the cursor
  document.addEventListener("click", e => {
    const link = e.target.closest("a[href^='#']"), item = e.target.closest(".found>li");
    if (item) { stop(); job.toTime(+item.dataset.time); }
    const id = link ? link.getAttribute("href").slice(1) : e.target.closest("pre span[id]")?.id || "";
    if (/^f\d+$/.test(id) && one(id)) { stop(); job.toTime(+one(id).dataset.time); }
    if (/^L\d+$/.test(id) && !item) {
      const i = rows.line.indexOf(+id.slice(1));
      if (i >= 0) { stop(); job.go(i); }
    }
  });

  // Views of the path: a ring at the tool
  const {low, cell, rows: tall} = held.views, m = held.pallet_at.frame;
  const inPallet = p => {
    const d = [p[0] - m[3], p[1] - m[7], p[2] - m[11]];
    return [0, 1, 2].map(k => d[0] * m[k] + d[1] * m[k + 4] + d[2] * m[k + 8]);
  };
  const spots = $(".views .dot").map((dot, k) => ({dot, up: k + 1, tall: tall[k]}));
  const placed = (p, v) => [(p[0] - low[0]) / cell, v.tall - (p[v.up] - low[v.up]) / cell];
  const way = rows.way.tip[0].map((_, i) => inPallet(rows.way.tip.map(x => x[i] / job.scale.way)));
  document.addEventListener("moment", e => {
    const p = inPallet(e.detail.tip);
    spots.forEach(v => {
      const [x, y] = placed(p, v);
      v.dot.setAttribute("cx", x.toFixed(1)); v.dot.setAttribute("cy", y.toFixed(1)); v.dot.removeAttribute("visibility");
    });
  });
  spots.forEach(v => v.dot.closest("svg").addEventListener("click", e => {
    const svg = e.currentTarget, r = svg.getBoundingClientRect(), size = svg.viewBox.baseVal;
    const x = (e.clientX - r.left) / r.width * size.width, y = (e.clientY - r.top) / r.height * size.height;
    let best = Infinity, found = 0;
    way.forEach((p, i) => { const [a, b] = placed(p, v), d = (a - x) ** 2 + (b - y) ** 2; if (d < best) { best = d; found = i; } });
    stop(); job.toTick(rows.way.tick[found]);
  }));
  addEventListener("beforeprint", stop);
  calm.addEventListener("change", stop);
})();
