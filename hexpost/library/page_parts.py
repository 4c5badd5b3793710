"""Style and script of the library page: no fonts, pictures or scripts from elsewhere."""

STYLE = """
:root{color-scheme:light dark;--line:#8886;--bad:#c62828;--good:#2e7d32;--odd:#8a5a00}
@media (prefers-color-scheme:dark){:root{--bad:#ff8a80;--good:#81c784;--odd:#ffcc80}}
body{font:15px/1.45 system-ui,sans-serif;margin:1.5rem auto;max-width:72rem;padding:0 1rem}
.wide{overflow-x:auto}
table{border-collapse:collapse;width:100%}
th,td{text-align:left;padding:.3rem .6rem;border-bottom:1px solid var(--line);white-space:nowrap}
td:nth-child(3),td:nth-child(5),td:nth-child(6){text-align:right;font-variant-numeric:tabular-nums}
th button{font:inherit;font-weight:600;background:none;border:0;padding:0;color:inherit;cursor:pointer}
th[aria-sort=ascending] button::after{content:" \\25B2"}
th[aria-sort=descending] button::after{content:" \\25BC"}
.error,.fail{color:var(--bad);font-weight:600}.pass{color:var(--good)}.note{color:var(--odd)}
li.error,li.fail,li.note{color:inherit;font-weight:400;margin:.25rem 0}
code{background:#8882;padding:0 .3em}
section:target{outline:2px solid var(--line);outline-offset:.4rem}
"""

SCRIPT = """
"use strict";
const table = document.getElementById("programs"), body = table.tBodies[0];
const value = (row, i) => row.cells[i].dataset.value ?? row.cells[i].textContent;
table.querySelectorAll("th").forEach((head, i) => head.firstChild.addEventListener("click", () => {
  const up = head.getAttribute("aria-sort") !== "ascending", sign = up ? 1 : -1;
  const number = head.dataset.kind === "number" || i === 0;
  const key = row => number ? Number(String(value(row, i)).replaceAll(",", "")) : value(row, i);
  const rows = [...body.rows].map(row => [key(row), row]);
  rows.sort(([a], [b]) => sign * (number ? a - b : a < b ? -1 : a > b ? 1 : 0));
  table.querySelectorAll("th").forEach(other => other.removeAttribute("aria-sort"));
  head.setAttribute("aria-sort", up ? "ascending" : "descending");
  body.append(...rows.map(([, row]) => row));
}));
document.getElementById("filter").addEventListener("input", event => {
  const wanted = event.target.value.toLowerCase();
  for (const row of body.rows) row.hidden = !row.cells[1].textContent.toLowerCase().includes(wanted);
});
"""
