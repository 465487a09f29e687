// Properties against depth: unloadings as points, means as bands, windows along loading as lines.
// What is drawn goes by the test: choosing a point chooses its test, here and on the other pages.
import { get, getBuffer, query } from "../api.js";
import { el, fill, find, showFault, symbol } from "../dom.js";
import { numberLink } from "../budget.js";
import { Plot, SERIES, band, line, points, short } from "../plot.js";
import { drawFilms } from "../films.js";
import { api, chosenTest, loadWithResults, onChosen, onJob, tellChosen } from "../shell.js";

const plots = [null, null], data = [null, null], hidden = new Set();
const options = find("#options"), log = find("#log"), errors = find("#errors");
const state = { test: new URLSearchParams(location.search).get("test") || chosenTest(), names: [] };
const MARKS = ["disc", "square", "diamond", "triangle"];
const picks = new Set();
const onPick = (f) => picks.add(f);

const indexOf = (name) => state.names.indexOf(name);
function describe(n, i) {
  const d = data[n];
  if (!d || !d.names[i]) return "";
  const at = [];
  for (let k = 0; k < d.arrays.x.length; k++) if (d.arrays.test[k] === i) at.push(`${short(d.arrays.y[k])} at ${short(d.arrays.x[k])} nm`);
  return `${d.names[i]}, ${d.specimens[i]}: ${at.length > 3 ? `${at[0]} to ${at[at.length - 1]}` : at.join("; ") || "no value"}${d.unit && ` (${d.unit})`}`;
}

async function load(n) {
  const select = find(`#symbol${n}`), host = find(`#plot${n}`), want = select.value;
  host.setAttribute("aria-busy", "true");
  try {
    const d = await getBuffer(`${api}/depth/values?${query({ symbol: want })}`);
    if (want !== select.value) return;
    data[n] = d; state.names = d.names;
    specimens(d); make(n); draw(n);
    if (n === 0) bins();
  } catch (fault) { plots[n] = null; if (n && fault.status === 404) fill(host); else showFault(host, fault); } finally { host.removeAttribute("aria-busy"); }
}
function make(n) {
  const d = data[n], host = find(`#plot${n}`);
  fill(host);
  const words = d.meaning.split(",")[0];
  const plot = new Plot(host, { title: "", x: "Contact depth / nm", y: `${words[0].toUpperCase()}${words.slice(1)}${d.unit && ` / ${d.unit}`}`, height: Math.max(320, Math.min(innerHeight * 0.44, 560)), xLog: log.checked, name: (i) => d.names[i], describe: (i) => describe(n, i) });
  plot.onPick = (i) => choose(d.names[i]);
  plot.onHover = (i) => plots.forEach((p) => p && p !== plot && p.hover(i));
  plots[n] = plot;
  plot.table(["Test", "Specimen", "Unloading", "Contact depth / nm", `${d.symbol}${d.unit && ` / ${d.unit}`}`, "u", "Counts"], () => {
    const a = d.arrays;
    return Array.from(a.x, (x, k) => [d.names[a.test[k]], d.specimens[a.test[k]], a.cycle[k], short(x), short(a.y[k]), short(a.u[k], 2), a.out[k] ? "excluded" : "yes"]).filter((r) => !hidden.has(r[1]));
  });
}
const colourOf = (d) => { const at = new Map(d.order.map((s, i) => [s, i])); return (s) => SERIES[(at.get(s) ?? 0) % SERIES.length]; };
function draw(n) {
  const d = data[n], plot = plots[n];
  if (!plot) return;
  const a = d.arrays, colour = colourOf(d), key = [];
  plot.clear();
  plot.hidden = Uint8Array.from(d.names, (_, i) => (hidden.has(d.specimens[i]) || !a.test.includes(i) ? 1 : 0));
  for (const b of d.bands) {
    if (hidden.has(b.specimen)) continue;
    plot.add(band({ x: b.x, low: b.mean.map((m, k) => m - (Number.isFinite(b.U[k]) ? b.U[k] : 0)), high: b.mean.map((m, k) => m + (Number.isFinite(b.U[k]) ? b.U[k] : 0)), colour: colour(b.specimen), alpha: 0.2 }));
    plot.add(line({ x: b.x, y: b.mean, colour: colour(b.specimen), width: 1.8 }));
  }
  d.order.forEach((s, k) => {
    if (hidden.has(s)) return;
    for (const out of [0, 1]) {
      const rows = [];
      for (let i = 0; i < a.x.length; i++) if (d.specimens[a.test[i]] === s && a.out[i] === out && Number.isFinite(a.x[i]) && Number.isFinite(a.y[i]) && (!log.checked || a.x[i] > 0)) rows.push(i);
      if (!rows.length) continue;
      const pick = (v) => Float64Array.from(rows, (i) => v[i]);
      const layer = points({ x: pick(a.x), y: pick(a.y), u: errors.checked ? pick(a.u) : null, which: rows.map((i) => a.test[i]), colour: out ? "ghost" : colour(s), size: rows.length > 400 ? 2 : 3, shape: MARKS[k % MARKS.length], alpha: out ? 0.8 : 0.85 });
      layer.count = d.names.length;
      plot.add(layer);
      if (!out) key.push({ words: s, colour: colour(s), kind: "point" });
      else if (!key.some((e) => e.words === "excluded")) key.push({ words: "excluded", colour: "ghost", kind: "point" });
    }
  });
  if (d.windows) {
    plot.setCurves({ x: a.wx, y: a.wy, start: a.wstart, colour: (i) => colour(d.specimens[i]), width: 0.8, alpha: 0.6 });
    key.push({ words: "windows along loading", colour: "soft" });
  }
  if (d.bands.some((b) => !hidden.has(b.specimen))) key.push({ words: `mean with its expanded uncertainty (${d.level} %)`, colour: "soft", kind: "band" });
  plot.setKey(key);
  plot.fitAll();
  plot.choose(indexOf(state.test));
}
function specimens(d) {
  const box = find("#specimens");
  if (box.querySelector("input")) return;
  for (const s of d.order) {
    const input = el("input", { type: "checkbox", checked: true, value: s });
    input.addEventListener("change", () => { if (input.checked) hidden.delete(s); else hidden.add(s); plots.forEach((_, n) => draw(n)); bins(); });
    box.append(el("label", {}, input, " ", s));
  }
}

async function choose(name, tell = true) {
  state.test = name;
  if (tell) tellChosen(name);
  const address = new URL(location.href); address.searchParams.set("test", name); history.replaceState(null, "", address);
  for (const p of plots) p?.choose(indexOf(name));
  for (const f of picks) f(name);
  await chosen();
}
async function chosen() {
  const place = find("#chosen"), name = state.test;
  if (!name) return;
  let d;
  const symbols = [...new Set([find("#symbol0").value, find("#symbol1").value])];
  try { d = await get(`${api}/depth/unloadings?${query({ test: name, symbols: symbols.join(",") })}`); } catch (fault) { showFault(place, fault); return; }
  if (name !== state.test) return;
  fill(place, el("h2", {}, d.test, " ", el("span", { class: "soft" }, d.specimen)),
    el("div", { class: "scroll-y", tabindex: 0, role: "region", "aria-label": "Unloadings of the chosen test" }, el("table", { class: "values" },
      el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "Unloading"), d.columns.map((c) => el("th", { scope: "col", class: "n", title: c.meaning }, symbol(c.symbol), c.unit && ` / ${c.unit}`)))),
      el("tbody", {}, d.rows.map((r) => el("tr", { class: r.out ? "out" : "" }, el("th", { scope: "row" }, r.cycle, r.out && " (excluded)"), r.cells.map(([v, u], i) => el("td", { class: "n" }, v === "–" ? v : numberLink([v, u && ` ± ${u}`], { test: d.test, cycle: r.cycle, symbol: d.columns[i].symbol }, d.columns[i].meaning)))))))),
    el("p", { class: "soft small" }, "± is the standard uncertainty. A click on a number shows where it comes from. ", el("a", { href: `test?${query({ test: d.test })}` }, "The test in full")));
}
function bins() {
  const place = find("#bins"), shown = data.filter(Boolean), tables = [];
  for (const b of shown[0]?.bands || []) {
    if (hidden.has(b.specimen)) continue;
    const same = shown.map((d) => ({ d, b: d.bands.find((x) => x.specimen === b.specimen && x.dynamic === b.dynamic) })).filter((x) => x.b);
    const at = [...new Set(same.flatMap((x) => x.b.rows.map((r) => r.bin)))].sort((p, q) => p - q);
    tables.push(el("table", { class: "values" }, el("caption", {}, `${b.specimen}: means in bins of depth${b.dynamic ? " along loading" : ""}, ± expanded uncertainty`),
      el("thead", {}, el("tr", {}, el("th", { scope: "col" }, symbol("h_c"), " / nm"), same.map((x) => el("th", { scope: "col", class: "n" }, symbol(x.d.symbol), x.d.unit && ` / ${x.d.unit}`)), el("th", { scope: "col", class: "n" }, "tests"))),
      el("tbody", {}, at.map((i) => {
        const rows = same.map((x) => x.b.rows.find((r) => r.bin === i)), first = rows.find(Boolean);
        return el("tr", {}, el("th", { scope: "row" }, first.depth), rows.map((r, k) => el("td", { class: "n" }, r ? numberLink(`${r.mean} ± ${r.U}`, { specimen: b.specimen, symbol: same[k].d.symbol, depth_bin: r.bin, ...(b.dynamic && { dynamic: true }) }) : "–")), el("td", { class: "n soft" }, first.n));
      }))));
  }
  fill(place, tables.length > 0 && [el("h2", {}, "Means"), el("div", { class: "scroll-y", tabindex: 0, role: "region", "aria-label": "Tables of means" }, tables)]);
  if (!tables.length && shown.length) fill(place, el("p", { class: "soft" }, "No means in bins of depth: the specimens shown have one or two unloadings a test, or the quantity is none that is put into bins (H_IT, E_IT). The study file may state bins under series.depth_bins_nm."));
}

async function all() {
  await Promise.all([load(0), load(1)]);
  bins();
  if (state.test) { if (indexOf(state.test) >= 0) await chosen(); else state.test = ""; }
  await drawFilms(find("#films"), { chosen: () => state.test, choose, onPick });
}
if (options) {
  for (const n of [0, 1]) find(`#symbol${n}`).addEventListener("change", async () => { await load(n); bins(); chosen(); });
  log.addEventListener("change", () => plots.forEach((p, n) => { if (p) { make(n); draw(n); } }));
  errors.addEventListener("change", () => plots.forEach((p, n) => p && draw(n)));
  options.addEventListener("submit", (e) => e.preventDefault());
  onChosen((name) => { if (name !== state.test) choose(name, false); });
  all();
}
onJob((job) => { if (job.state === "done" && job.kind === "run") { if (options) all(); } });
if (!options) loadWithResults();
