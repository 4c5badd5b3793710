"use strict";
(() => {
  const $ = (q, e = document) => [...e.querySelectorAll(q)];
  const list = document.querySelector(".found"), box = document.querySelector("#search"), sort = document.querySelector("#sort");
  if (list && box) {
    const items = $("li", list);
    const show = () => {
      const want = box.value.toLowerCase();
      const key = sort.value;
      items.sort((a, b) => key === "use" ? a.dataset.n - b.dataset.n : a.dataset[key] - b.dataset[key] || a.dataset.n - b.dataset.n);
      items.forEach(i => { i.hidden = !i.textContent.toLowerCase().includes(want); list.append(i); });
      document.querySelector("#shown").textContent = items.filter(i => !i.hidden).length + " of " + items.length;
    };
    box.addEventListener("input", show); sort.addEventListener("change", show);
    document.querySelector("#find").hidden = false; show();
  }
  const slide = document.querySelector("#slide");
  if (!slide) return;
  const track = JSON.parse(slide.dataset.track), until = +slide.dataset.until, ns = "http://www.w3.org/2000/svg";
  const rows = d => {                       // the steps of an envelope, as the height of each column
    const out = []; let y = 0;
    for (const [, k, v] of d.matchAll(/([Mhvz])(-?\d+(?: \d+)?)?/g)) {
      if (k === "M") y = +v.split(" ")[1];
      else if (k === "h") for (let i = 0; i < Math.abs(+v); i++) out.push(y);
      else if (k === "v") y += +v;
    }
    const n = out.length / 2;
    return [out.slice(0, n), out.slice(n).reverse()];
  };
  const charts = $("figure svg[data-low]").map(svg => {
    const [top, bottom] = rows(svg.querySelector(".e").getAttribute("d"));
    const line = document.createElementNS(ns, "path"); line.setAttribute("class", "x"); svg.append(line);
    const caption = svg.closest("figure").querySelector("figcaption"), text = caption.textContent;
    const a = +svg.dataset.low, b = +svg.dataset.high, h = svg.viewBox.baseVal.height;
    return {svg, top, bottom, line, caption, text, value: y => b - (b - a) * y / h, h};
  });
  const dots = $(".dot");
  const said = document.querySelector("#now");
  const go = i => {
    said.textContent = (until * i / (track.length || 1)).toFixed(3) + " s";
    for (const c of charts) {
      c.line.setAttribute("d", `M${i + .5} 0v${c.h}`);
      const f = x => Math.abs(x) >= 100 ? x.toFixed(0) : x.toFixed(2);
      c.caption.textContent = `${c.text} · here ${f(c.value(c.bottom[i]))} to ${f(c.value(c.top[i]))}`;
    }
    const p = track[i];
    dots.forEach((d, k) => { if (p) { d.setAttribute("cx", p[0]); d.setAttribute("cy", p[k + 1]); d.removeAttribute("visibility"); } });
  };
  slide.addEventListener("input", () => go(+slide.value));
  charts.forEach(c => c.svg.addEventListener("pointermove", e => {
    const r = c.svg.getBoundingClientRect();
    slide.value = Math.min(c.top.length - 1, Math.max(0, Math.floor((e.clientX - r.left) / r.width * c.top.length)));
    go(+slide.value);
  }));
  document.querySelector("#walk").hidden = false;
})();
