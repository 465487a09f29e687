// The table of tests, linked with the curves of the series. The table asks for the rows that are in
// sight; the curves come once. Which test is chosen stays in the page (and in its address).
import { get, getBuffer, query } from "../api.js";
import { el, fill, find, symbol, plural, showFault } from "../dom.js";
import { numberLink } from "../budget.js";
import { Plot, SERIES, short } from "../plot.js";
import { decisionsPart } from "../decisions.js";
import { api, askReason, chosenTest, decide, key, loadWithResults, onChosen, onJob, onStudy, say, tellChosen, study } from "../shell.js";

const PART = 200;
const scroll = find("#scroll"), grid = find("#grid"), head = grid?.tHead, body = grid?.tBodies[0], form = find("#filters");
const state = { sort: "", down: false, columns: "", total: 0, found: 0, parts: new Map(), asked: new Map(), row: -1, name: new URLSearchParams(location.search).get("test") || chosenTest(), turn: 0, excluded: new Set() };
let plot = null, rowToCurve = new Map(), curveRows = [], names = [], specimens = [], answer = null, matches = null;

const choice = () => {
  const v = Object.fromEntries(new FormData(form));
  const number = (t) => { const n = parseFloat(String(t).replace(",", ".")); return Number.isFinite(n) ? n : undefined; };
  return { q: v.q, specimen: v.specimen, flag: v.flag, state: v.state, by: v.by, low: v.by ? number(v.low) : undefined, high: v.by ? number(v.high) : undefined,
    sort: state.sort, down: state.sort ? state.down : undefined, columns: state.columns };
};
const rowHeight = () => parseFloat(getComputedStyle(document.documentElement).fontSize) * 1.875;

async function part(n) {
  if (state.parts.has(n) || state.asked.has(n)) return state.asked.get(n);
  const turn = state.turn;
  const work = get(`${api}/tests/table?${query({ ...choice(), start: n * PART, size: PART })}`).then((a) => {
    state.asked.delete(n);
    if (turn !== state.turn) return null;
    state.parts.set(n, a.rows);
    return a;
  });
  state.asked.set(n, work);
  return work;
}

async function reload({ keep = false } = {}) {
  const turn = ++state.turn;
  const top = keep ? scroll.scrollTop : 0;
  state.asked.clear();
  const old = state.parts; state.parts = new Map();
  let a;
  const first = Math.floor(top / rowHeight() / PART);
  try { a = await part(first); } catch (fault) { state.parts = old; say(fault); return; }
  if (!a || turn !== state.turn) return;
  answer = a; state.total = a.total; state.found = a.found; state.excluded = new Set(a.excluded);
  heads(a); options(a);
  find("#count").textContent = (a.found === a.total ? plural(a.total, "test") : `${a.found.toLocaleString("en")} of ${plural(a.total, "test")}`) + (a.excluded.length ? `, ${a.excluded.length} excluded` : "") + "; ± is the standard uncertainty";
  matches = a.matches && a.found < a.total ? new Set(a.matches) : null;
  scroll.scrollTop = top;
  draw(); paint();
}

function heads(a) {
  const sorted = (name) => (state.sort === name ? (state.down ? "descending" : "ascending") : null);
  const cell = (name, inner, cls = "") => el("th", { scope: "col", class: cls, "aria-sort": sorted(name) }, el("button", { onclick: () => sortBy(name) }, inner, sorted(name) ? (state.down ? " ↓" : " ↑") : ""));
  fill(head, el("tr", {}, cell("test", "Test"), cell("specimen", "Specimen"),
    a.columns.map((c) => { const th = cell(c.symbol, symbol(c.symbol), "n"); th.title = c.meaning; th.append(el("span", { class: "unit" }, c.unit || " ")); return th; }),
    cell("flags", "Flags")));
}
function sortBy(name) {
  if (state.sort !== name) { state.sort = name; state.down = false; } else if (!state.down) state.down = true; else state.sort = "";
  reload();
}
let filled = false;
function options(a) {
  if (filled) return; filled = true;
  find("#specimen").append(...a.specimens.map((s) => el("option", { value: s }, s)));
  find("#flag").append(...a.flags.map(([f, n]) => el("option", { value: f }, `${f} (${n})`)));
  find("#by").append(...a.all_columns.map((c) => el("option", { value: c.symbol }, c.unit ? `${c.symbol} / ${c.unit}` : c.symbol)));
  const shown = new Set(a.columns.map((c) => c.symbol));
  find("#columns").append(...a.all_columns.map((c) => el("label", { title: c.meaning }, el("input", { type: "checkbox", value: c.symbol, checked: shown.has(c.symbol) }), " ", symbol(c.symbol), " ", el("span", { class: "soft" }, c.unit))));
}
// The list of columns closes with Escape and with a click elsewhere.
const columns = find(".columns");
columns?.addEventListener("keydown", (e) => { if (e.key === "Escape" && columns.open) { columns.open = false; columns.querySelector("summary").focus(); } });
document.addEventListener("click", (e) => { if (columns?.open && !columns.contains(e.target)) columns.open = false; });
find("#columns")?.addEventListener("change", (e) => {
  e.stopPropagation();
  state.columns = [...document.querySelectorAll("#columns input:checked")].map((i) => i.value).join(",");
  reload({ keep: true });
});
let timer = 0;
form?.addEventListener("input", (e) => { if (e.target.type === "checkbox") return; clearTimeout(timer); timer = setTimeout(reload, 180); });
form?.addEventListener("submit", (e) => e.preventDefault());

// The rows in sight, and some above and below; the rest of the height is empty.
function draw() {
  const h = rowHeight(), first = Math.max(0, Math.floor(scroll.scrollTop / h) - 12), last = Math.min(state.found, first + Math.ceil(scroll.clientHeight / h) + 24);
  const wide = (answer?.columns.length || 0) + 3, rows = [];
  const gap = (n) => { const r = el("tr", { class: "gap", "aria-hidden": "true" }, el("td", { colspan: wide })); r.firstChild.style.height = `${n * h}px`; return r; };
  if (first) rows.push(gap(first));
  for (let i = first; i < last; i++) {
    const p = Math.floor(i / PART), r = state.parts.get(p)?.[i - p * PART];
    if (!r) { if (!state.asked.has(p)) part(p).then((a) => a && draw()).catch(say); rows.push(el("tr", {}, el("td", { colspan: wide, class: "more" }, "…"))); continue; }
    rows.push(line(r));
  }
  if (last < state.found) rows.push(gap(state.found - last));
  fill(body, rows);
  // The parts before and after are there before they come into sight.
  for (const i of [first - PART / 2, last + PART / 2]) if (i >= 0 && i < state.found) part(Math.floor(i / PART))?.catch?.(say);
}
function line(r) {
  return el("tr", { "data-row": r.row, "data-test": r.test, class: `${r.out ? "out" : ""} ${r.test === state.name ? "chosen" : ""}`, "aria-selected": r.test === state.name ? "true" : "false", title: r.out ? `Excluded: ${r.why}` : null },
    el("td", { class: "name" }, r.test), el("td", { title: r.specimen }, r.specimen),
    answer.columns.map((c) => { const [v, u] = r.cells[c.symbol] || ["–", ""]; return el("td", { class: "n" }, v, u && el("span", { class: "u" }, `± ${u}`)); }),
    el("td", { class: "flags", title: r.flags.join("; ") }, r.flags.length ? r.flags.slice(0, 2).join("; ") + (r.flags.length > 2 ? ` +${r.flags.length - 2}` : "") : ""));
}
let due = false;
scroll?.addEventListener("scroll", () => { if (!due) { due = true; requestAnimationFrame(() => { due = false; draw(); }); } });
body?.addEventListener("click", (e) => { const tr = e.target.closest("tr[data-row]"); if (tr) choose(tr.dataset.test, Number(tr.dataset.row)); });
body?.addEventListener("dblclick", (e) => { const tr = e.target.closest("tr[data-row]"); if (tr) location.href = full(tr.dataset.test); });
body?.addEventListener("mouseover", (e) => { const tr = e.target.closest("tr[data-row]"); plot?.hover(tr ? rowToCurve.get(Number(tr.dataset.row)) ?? -1 : -1); });
scroll?.addEventListener("mouseleave", () => plot?.hover(-1));
scroll?.addEventListener("keydown", async (e) => {
  if (e.ctrlKey || e.metaKey || e.altKey || e.target.tagName === "BUTTON") return;
  const rows = state.found, at = await index();
  const to = { ArrowDown: at + 1, ArrowUp: at - 1, PageDown: at + 15, PageUp: at - 15, Home: 0, End: rows - 1 }[e.key];
  if (to !== undefined) {
    e.preventDefault();
    const i = Math.min(Math.max(to, 0), rows - 1), p = Math.floor(i / PART);
    await part(p);
    const r = state.parts.get(p)?.[i - p * PART];
    if (r) { choose(r.test, r.row); sight(i); }
  } else if (e.key === "Enter" && state.name) location.href = full(state.name);
  else if (e.key === "x" && state.name) find("#toggle")?.click();
});
async function index() {
  for (const [p, rows] of state.parts) { const k = rows.findIndex((r) => r.test === state.name); if (k >= 0) return p * PART + k; }
  return -1;
}
function sight(i) {
  const h = rowHeight(), top = i * h, headHeight = head.offsetHeight;
  if (top < scroll.scrollTop) scroll.scrollTop = top;
  else if (top + h + headHeight > scroll.scrollTop + scroll.clientHeight) scroll.scrollTop = top + h + headHeight - scroll.clientHeight + 4;
  draw();
}
const full = (name) => `/studies/${encodeURIComponent(key)}/test?${query({ test: name })}`;

// One test is chosen: in the table, in the chart, and beside them.
export async function choose(name, row) {
  state.name = name; state.row = row; tellChosen(name);
  for (const tr of body.rows) { const me = tr.dataset.test === name; tr.classList.toggle("chosen", me); if (tr.dataset.row) tr.setAttribute("aria-selected", String(me)); }
  plot?.choose(rowToCurve.get(row) ?? -1);
  const address = new URL(location.href); address.searchParams.set("test", name); history.replaceState(null, "", address);
  await one();
}
async function one() {
  const place = find("#one"), name = state.name;
  let d;
  try { d = await get(`${api}/tests/one?${query({ test: name })}`); } catch (fault) { showFault(place, fault); return; }
  if (name !== state.name) return;
  state.row = d.row; plot?.choose(rowToCurve.get(d.row) ?? -1);
  fill(place,
    el("h2", {}, d.test, el("span", { class: "soft" }, d.specimen), d.out && el("span", { class: "state older" }, "excluded")),
    d.out && el("p", {}, "Because: ", d.why),
    el("div", { class: "acts" }, el("a", { class: "button main", href: full(name) }, "Look at it in full"),
      el("button", { id: "toggle", onclick: () => toggle(d) }, d.out ? "Include again…" : "Exclude…"), el("button", { onclick: () => remark(d) }, "Remark…")),
    d.flags.length > 0 && el("ul", { class: "flaglist" }, d.flags.map((f) => el("li", { title: f.grounds }, el("b", {}, f.code), f.sentence !== f.code ? `: ${f.sentence}` : ""))),
    el("ul", { class: "values" }, d.values.filter((v) => v.text[0] !== "–").map((v) => {
      return el("li", {}, el("span", { title: v.meaning }, symbol(v.symbol)), numberLink([v.text[0], v.text[1] && ` ± ${v.text[1]}`, v.unit && ` ${v.unit}`], { test: name, symbol: v.symbol }, v.meaning));
    })),
    el("p", { class: "soft small" }, "± is the standard uncertainty."),
    decisionsPart(d.decisions),
    el("dl", { class: "pairs small" }, el("dt", {}, "Zero"), el("dd", {}, d.zero.text ? `${d.zero.from}, ${d.zero.text} nm` : d.zero.from),
      el("dt", {}, "Drift"), el("dd", {}, d.drift.text ? `${d.drift.from}, ${d.drift.text} nm/s` : d.drift.from),
      el("dt", {}, "Tip"), el("dd", {}, d.tip), el("dt", {}, "Raw file"), el("dd", { class: "mono" }, d.source),
      el("dt", {}, "SHA-256"), el("dd", { class: "mono" }, d.source_sha256)));
}
async function toggle(d) {
  try {
    const why = await askReason(d.out ? `Include ${d.test} again` : `Exclude ${d.test}`, d.out ? "It counts in means and comparisons again." : "It is left out of means and comparisons. Its row, its curve and the reason stay. A reason is what went wrong in the test; “too low” is none.");
    await decide([{ what: d.out ? "include" : "exclude", test: d.test, why }]);
    scroll.focus({ preventScroll: true });
  } catch (fault) { say(fault); }
}
async function remark(d) {
  try { await decide([{ what: "remark", test: d.test, why: await askReason(`Remark on ${d.test}`, "It stands in the report and changes no number.") }]); } catch (fault) { say(fault); }
}

// The curves: once, as 32-bit floats.
async function loadCurves() {
  const host = find("#curves"), b = await getBuffer(`${api}/tests/curves`);
  if (!plot) {
    plot = new Plot(host, { title: "", x: "Depth h / nm", y: "Force F / mN", height: Math.max(330, Math.min(innerHeight * 0.46, 560)), name: (i) => names[i] || "",
      describe: (i) => `${names[i]}, ${specimens[i]}${state.excluded.has(curveRows[i]) ? ", excluded" : ""}` });
    plot.onHover = (i) => { const row = i < 0 ? -1 : curveRows[i]; for (const tr of body.rows) tr.classList.toggle("hovered", Number(tr.dataset.row) === row && row >= 0); };
    plot.onPick = (i) => pick(names[i], curveRows[i]);
  }
  names = b.names; specimens = b.specimens; curveRows = b.arrays.row;
  rowToCurve = new Map(Array.from(curveRows, (r, i) => [r, i]));
  const order = [...new Set(specimens)], colour = new Map(order.map((s, i) => [s, SERIES[i % SERIES.length]]));
  plot.setCurves({ x: b.arrays.x, y: b.arrays.y, start: b.arrays.start, colour: (i) => colour.get(specimens[i]) });
  plot.setKey([...order.map((s) => ({ words: s, colour: colour.get(s) })), { words: "excluded", colour: "ghost", kind: "dash" }, ...(b.of > names.length ? [{ words: `${names.length} of ${b.of} curves are drawn`, colour: "paper" }] : [])]);
  plot.table(["Test", "Specimen", "Points", "Largest depth / nm", "Largest force / mN"], () => names.map((n, i) => [n, specimens[i], b.arrays.start[i + 1] - b.arrays.start[i], short(plot.curves.extents[4 * i + 1]), short(plot.curves.extents[4 * i + 3])]));
  paint();
}
function paint() {
  if (!plot?.curves) return;
  plot.ghost = Uint8Array.from(curveRows, (r) => (state.excluded.has(r) ? 1 : 0));
  plot.setHidden(matches ? Uint8Array.from(curveRows, (r) => (matches.has(r) ? 0 : 1)) : null);
  plot.choose(rowToCurve.get(state.row) ?? -1);
}
async function pick(name, row) {
  await Promise.all([choose(name, row), (async () => {
    let i = await index();
    if (i < 0 && answer.matches) i = answer.matches.indexOf(row);
    if (i >= 0) { await part(Math.floor(i / PART)); sight(i); }
  })()]);
}

async function loadMeans() {
  const m = await get(`${api}/tests/means`);
  const cell = (specimen) => (v) => {
    if (!v.mean) return [el("td", { class: "n", colspan: 2 }, "withheld")];
    const other = v.with_excluded && v.with_excluded.n !== v.mean.n ? `with excluded: ${v.with_excluded.mean} ± ${v.with_excluded.U}` : "";
    return [el("td", { class: "n" }, numberLink(`${v.mean.mean} ± ${v.mean.U}`, { specimen, symbol: v.symbol }, v.symbol), other && el("div", { class: "soft small" }, other)), el("td", { class: "n soft" }, String(v.mean.n))];
  };
  fill(find("#means"), el("h2", {}, "Means"), el("table", {}, el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "Specimen"), m.means[0]?.values.map((v) => [el("th", { scope: "col", class: "n" }, symbol(v.symbol), ` / ${v.unit}`), el("th", { scope: "col", class: "n" }, "tests")]))),
    el("tbody", {}, m.means.map((r) => el("tr", {}, el("th", { scope: "row" }, r.specimen), r.values.map(cell(r.specimen)))))),
  m.populations.map((words) => el("p", { class: "small populations" }, words)),
  m.films.map((f) => el("p", { class: "small" }, `${f.specimen}: above are film and substrate together. The film itself: `, f.values.map(([s, said, why], i) => [i > 0 && "; ", symbol(s), " = ", el("strong", {}, said), ` (${why})`]), ".")),
  el("p", { class: "soft small" }, "± is the expanded uncertainty of the mean, about 95 % confidence. " , m.standing !== "current" && "These are from before the last change. ",
    m.set_aside.length > 0 && el("a", { href: `/studies/${encodeURIComponent(key)}/files` }, `${plural(m.set_aside.length, "record")} set aside`)));
}

if (grid) {
  reload().then(() => state.name && one());
  loadMeans().catch(say);
  loadCurves().catch((fault) => { if (fault.status !== 404) say(fault); else fill(find("#curves"), el("p", { class: "note" }, "The curves come with the next run.")); });
  onChosen((name) => { if (name !== state.name) { state.row = -1; choose(name, -1); } });
  let seen = study.version;
  onStudy((s) => { if (seen && seen !== s.version) { reload({ keep: true }); if (state.name) one(); } seen = s.version; });
  onJob((job) => { if (job.state === "done" && job.kind === "run") { reload({ keep: true }); loadMeans().catch(say); loadCurves().catch(say); if (state.name) one(); } });
} else {
  loadWithResults();
}
