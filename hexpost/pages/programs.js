"use strict";
(() => {
  const table = document.getElementById("programs"), body = table.tBodies[0], bar = document.getElementById("filters");
  const heads = [...table.querySelectorAll("th")];
  const value = (row, i) => row.cells[i].dataset.value ?? row.cells[i].textContent;
  heads.forEach((head, i) => head.firstChild.addEventListener("click", () => {
    const up = head.getAttribute("aria-sort") !== "ascending", sign = up ? 1 : -1;
    const number = head.dataset.kind === "number" || i === 0 && body.rows[0]?.cells[0].dataset.value !== undefined;
    const key = row => number ? Number(String(value(row, i)).replaceAll(",", "")) : value(row, i);
    const rows = [...body.rows].map(row => [key(row), row]);
    rows.sort(([a], [b]) => sign * (number ? a - b : a < b ? -1 : a > b ? 1 : 0));
    heads.forEach(other => other.removeAttribute("aria-sort"));
    head.setAttribute("aria-sort", up ? "ascending" : "descending");
    body.append(...rows.map(([, row]) => row));
  }));
  // What filters look at is on the rows of the table and on the findings of a program: data-name and the rest.
  const parts = [...document.querySelectorAll("[data-name]")], rows = [...body.rows];
  const keys = rows.length ? Object.keys(rows[0].dataset).filter(key => key !== "name") : [];
  const held = new Map(parts.map(part => [part, Object.fromEntries(keys.map(key =>
    [key, JSON.parse(part.dataset[key] || "[]")]))]));
  const put = (name, field) => {
    const label = document.createElement("label");
    label.append(name, field); bar.append(label);
    return field;
  };
  const box = put("Path", Object.assign(document.createElement("input"), {type: "search", id: "filter"}));
  const choices = keys.map(key => {
    const found = new Map();
    rows.forEach(row => held.get(row)[key].forEach(x => found.set(x, (found.get(x) || 0) + 1)));
    if (found.size < 2 && key !== "limit") return null;
    const field = document.createElement("select");
    field.append(new Option("all", ""), ...[...found].sort(([a], [b]) => a < b ? -1 : 1)
      .map(([x, n]) => new Option(`${x} (${n.toLocaleString("en")})`, x)));
    put(key[0].toUpperCase() + key.slice(1), field);
    return {key, field};
  }).filter(Boolean);
  const all = Object.assign(document.createElement("button"), {type: "button", textContent: "Show all"});
  const said = document.createElement("output");
  said.setAttribute("aria-live", "polite");
  bar.append(all, said);
  const show = () => {
    const wanted = box.value.toLowerCase();
    const fits = part => part.dataset.name.toLowerCase().includes(wanted) &&
      choices.every(({key, field}) => !field.value || held.get(part)[key].includes(field.value));
    parts.forEach(part => { part.hidden = !fits(part); });
    const left = rows.filter(row => !row.hidden).length;
    said.textContent = `${left.toLocaleString("en")} of ${rows.length.toLocaleString("en")} shown`;
  };
  box.addEventListener("input", show);
  choices.forEach(({field}) => field.addEventListener("change", show));
  all.addEventListener("click", () => { box.value = ""; choices.forEach(({field}) => { field.value = ""; }); show(); });
  const open = () => {
    const target = location.hash && document.getElementById(location.hash.slice(1));
    if (target && target.tagName === "DETAILS") { target.open = true; target.scrollIntoView(); }
  };
  addEventListener("hashchange", open);
  bar.hidden = false;
  show(); open();
})();
