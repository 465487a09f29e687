// One test in full: as recorded with its segments, step by step, what the fit leaves over, and what a
// person may change: contact point, window of the drift, window of the unloading fit.
import { get, getBuffer, query } from "../api.js";
import { el, fill, find, symbol } from "../dom.js";
import { decisionsPart } from "../decisions.js";
import { Plot, SERIES, level, line, points, short, span } from "../plot.js";
import { api, askReason, decide, key, onJob, onStudy, say, study } from "../shell.js";

const name = find("#head").dataset.test, charts = find("#charts");
const BANDS = { approach: "ghost", loading: "blue", hold: "orange", unloading: "teal", "drift hold": "plum" };
const plots = {};
let data = null, detail = null;

function plot(id, options) {
  if (!plots[id]) plots[id] = new Plot(find(`#${id}`), options);
  plots[id].clear();
  return plots[id];
}

function traces(b) {
  const a = b.arrays, x = b.timed ? "Time t / s" : "Sample", kinds = [...new Set(b.segments.map((s) => s.kind))];
  const both = [["force", "Force, as recorded", "Force F / mN", a.raw_force], ["depth", "Depth, as recorded", "Depth h / nm", a.raw_depth]].map(([id, title, label, y]) => {
    const p = plot(id, { title, x, y: label, height: 265 });
    for (const s of b.segments) p.add(span({ from: s.from, to: s.to, colour: BANDS[s.kind] || "ghost", alpha: 0.15 }));
    p.add(line({ x: a.time, y, colour: "ink", width: 1.2 }));
    p.fitAll();
    p.table(["Segment", "Cycle", `From / ${b.timed ? "s" : "sample"}`, `To / ${b.timed ? "s" : "sample"}`], () => b.segments.map((s) => [s.kind, s.cycle, short(s.from, 5), short(s.to, 5)]), "Segments as a table");
    return p;
  });
  both[0].setKey(kinds.map((k) => ({ words: k, colour: BANDS[k] || "ghost", kind: "band" })));
  // A zoom in time in one is a zoom in the other.
  const [f, d] = both;
  const follow = (from, to) => { from.onView = () => { const s = from.u.scales.x, o = to.u.scales.x; if (Math.abs(s.min - o.min) > 1e-9 || Math.abs(s.max - o.max) > 1e-9) to.u.setScale("x", { min: s.min, max: s.max }); }; };
  follow(f, d); follow(d, f);
}

function plane(b) {
  const a = b.arrays, p = plot("plane", { title: "Load–depth, step by step", x: "Depth h / nm", y: "Force F / mN", height: 400 });
  const raw = a.raw_depth.map((v) => v - b.contact.raw_nm);
  p.add(line({ x: raw, y: a.raw_force, colour: "ghost", width: 1.2 }));
  p.add(line({ x: a.zeroed, y: a.force, colour: "sky", width: 2.6 }));
  p.add(line({ x: a.depth, y: a.force, colour: "blue", width: 1.2 }));
  b.cycles.forEach((_, i) => p.add(line({ x: a[`h${i}`], y: a[`model${i}`], colour: "orange", width: 2.2, fit: false })));
  p.fitAll();
  // From a little before the contact; the approach is often much longer than the depth.
  p.startFrom(-0.06 * a.depth.reduce((m, x) => Math.max(m, x), 0));
  p.setKey([{ words: "recorded, moved to zero", colour: "ghost" }, { words: "with scales, frame, zero", colour: "sky" }, { words: "drift-corrected", colour: "blue" }, { words: "unloading fit", colour: "orange" }]);
  p.table(["Step", "Largest depth / nm", "Depth at the end / nm"], () => [["recorded, moved to zero", raw], ["with scales, frame, zero", a.zeroed], ["drift-corrected", a.depth]].map(([w, v]) => [w, short(v.reduce((m, x) => Math.max(m, x), -Infinity), 5), short(v[v.length - 1], 5)]));
  const r = plot("rest", { title: "What the fit leaves over", x: "Depth h / nm", y: "Residual / µN", height: 210 });
  r.add(level({ value: 0 }));
  const many = b.cycles.length > 3;
  b.cycles.forEach((c, i) => r.add(points({ x: a[`h${i}`], y: a[`rest${i}`], colour: many ? "blue" : SERIES[i], size: 1.7, alpha: 0.75 })));
  r.fitAll();
  if (b.cycles.length > 1 && !many) r.setKey(b.cycles.map((c, i) => ({ words: `unloading ${c}`, colour: SERIES[i], kind: "point" })));
  r.table(["Unloading", "Points", "Root mean square / µN"], () => b.cycles.map((c, i) => { const v = a[`rest${i}`]; return [c, v.length, short(Math.sqrt(v.reduce((s, x) => s + x * x, 0) / v.length), 3)]; }));
  return p;
}

// The contact point, as recorded: a line that can be dragged.
function contact(b) {
  const a = b.arrays, c = b.contact.raw_nm, reach = Math.max(30, 0.12 * Math.abs(a.depth.reduce((m, x) => Math.max(m, x), 0)));
  const p = plot("contact", { title: "Contact, as recorded", x: "Recorded depth / nm", y: "Force F / mN", height: 260 });
  const near = [];
  a.raw_depth.forEach((v, i) => { if (v > c - reach && v < c + reach) near.push(i); });
  const top = a.raw_force.indexOf(a.raw_force.reduce((m, x) => Math.max(m, x), -Infinity));
  const before = near.filter((i) => i <= top), xs = before.map((i) => a.raw_depth[i]), ys = before.map((i) => a.raw_force[i]);
  p.add(level({ axis: "x", value: c, colour: "soft" }));
  p.add(points({ x: xs, y: ys, colour: "blue", size: 1.8 }));
  p.fitAll();
  p.table(["", "Recorded depth / nm"], () => [["contact now", short(c, 6)]]);
  const input = find("#zero-value");
  const drag = p.dragLine({ axis: "x", value: c, label: "contact", step: 0.1, onMove: (v) => { input.value = v.toFixed(2); } });
  input.addEventListener("input", () => { const v = parseFloat(input.value); if (Number.isFinite(v)) drag.set(v); });
}

function hand(b) {
  const forced = b.arrays.force.reduce((m, x) => Math.max(m, x), 0), num = (id, v, words) => el("div", { class: "field" }, el("label", { for: id }, words), el("input", { id, value: v, inputmode: "decimal" }));
  const read = (id) => parseFloat(find(id).value.replace(",", "."));
  const write = async (what, value, words) => {
    try { await decide([{ what, test: name, value, why: await askReason(words, "This test alone is computed again.") }]); } catch (fault) { say(fault); }
  };
  const last = (what) => [...detail.decisions].reverse().find((d) => d.what === what && d.value !== null && d.value !== undefined);
  const back = (what, words) => last(what) && (detail.decisions.filter((d) => d.what === what).at(-1).value !== null) && el("button", { onclick: () => write(what, null, `Take back: ${words}`) }, "As the study file says");
  const hasDrift = b.segments.some((s) => s.kind === "drift hold");
  const window = (what, title, words, now, extra = null) => {
    const current = last(what)?.value || now;
    return el("fieldset", {}, el("legend", {}, title), el("p", { class: "now" }, words),
      el("div", { class: "row" }, num(`${what}-lo`, current[0], "from"), num(`${what}-hi`, current[1], "to"),
        el("button", { onclick: () => write(what, [read(`#${what}-lo`), read(`#${what}-hi`)], title) }, "Decide…"), back(what, title)), extra);
  };
  fill(find("#hand"), el("div", { class: "hand" }, el("h2", {}, "Decide by hand"),
    el("fieldset", {}, el("legend", {}, "Contact point"), el("p", { class: "now" }, `${detail.zero.from}: ${short(b.contact.raw_nm, 6)} nm as recorded; zero ${detail.zero.text} nm with the frame’s compliance taken out. Drag the line in the chart, or type.`),
      el("div", { class: "row" }, num("zero-value", b.contact.raw_nm.toFixed(2), "recorded depth / nm"), el("button", { onclick: () => write("zero", { depth_nm: read("#zero-value") }, "Move the contact point") }, "Decide…"), back("zero", "the moved contact point"))),
    window("unloading_window", "Unloading fit", `Shares of the largest force (${short(forced, 4)} mN).`, b.window),
    hasDrift && window("drift_window", "Drift", `Shares of the drift hold. Now ${detail.drift.text} nm/s (${detail.drift.from}).`, b.drift_window)));
  // The window of the fit as two lines over the load-depth curve, where there is one unloading.
  if (b.cycles.length === 1) {
    for (const end of ["lo", "hi"]) {
      const input = find(`#unloading_window-${end}`);
      const drag = plots.plane.dragLine({ axis: "y", value: parseFloat(input.value) * forced, label: `fit ${end === "lo" ? "from" : "to"}`, step: forced / 100, onMove: (v) => { input.value = (v / forced).toFixed(3); } });
      input.addEventListener("input", () => { const v = parseFloat(input.value); if (Number.isFinite(v)) drag.set(v * forced); });
    }
  }
}

function numbers() {
  const d = detail, shown = ["F_max", "h_max", "h_c", "S", "m", "A_p", "E_r", "E_IT", "H_IT", "HM", "eta_IT", "C_IT"];
  fill(find("#specimen"), d.specimen); fill(find("#out"), d.out && el("span", { class: "state older small" }, "excluded"));
  const budget = document.querySelector('.views a[href$="/budget"]');
  fill(find("#numbers"),
    d.flags.length > 0 && el("ul", { class: "flaglist" }, d.flags.map((f) => el("li", { title: f.grounds }, el("b", {}, f.code), f.sentence !== f.code ? `: ${f.sentence}` : ""))),
    el("table", { class: "keyvals" }, el("caption", { class: "visually-hidden" }, "Properties"), el("tbody", {}, d.values.filter((v) => shown.includes(v.symbol) && v.text[0] !== "–").map((v) => {
      const words = `${v.text[0]}${v.text[1] ? ` ± ${v.text[1]}` : ""} ${v.unit}`;
      return el("tr", {}, el("td", {}, v.meaning), el("td", {}, symbol(v.symbol)), el("td", { class: "n" }, budget ? el("a", { href: `/studies/${encodeURIComponent(key)}/budget?${query({ test: name, symbol: v.symbol })}` }, words) : words));
    }))),
    el("p", { class: "soft small" }, "± is the standard uncertainty."),
    el("div", { class: "acts" }, el("button", { onclick: toggle }, d.out ? "Include again…" : "Exclude…"), el("button", { onclick: remark }, "Remark…")),
    d.out && el("p", {}, `Excluded because: ${d.why}`));
  fill(find("#decisions"), decisionsPart(d.decisions));
}
async function toggle() {
  const out = detail.out;
  try { await decide([{ what: out ? "include" : "exclude", test: name, why: await askReason(out ? `Include ${name} again` : `Exclude ${name}`, out ? "It counts in means and comparisons again." : "It is left out of means and comparisons. A reason is what went wrong in the test; “too low” is none.") }]); } catch (fault) { say(fault); }
}
async function remark() {
  try { await decide([{ what: "remark", test: name, why: await askReason(`Remark on ${name}`, "It stands in the report and changes no number.") }]); } catch (fault) { say(fault); }
}

async function load() {
  charts.setAttribute("aria-busy", "true");
  try {
    detail = await get(`${api}/tests/one?${query({ test: name })}`);
    numbers();
    data = await getBuffer(`${api}/test/steps?${query({ test: name })}`);
    find("#waiting").hidden = true;
    traces(data); plane(data); hand(data); contact(data);
  } catch (fault) {
    if (fault.status === 404) find("#waiting").hidden = false; else say(fault);
  } finally { charts.removeAttribute("aria-busy"); }
}
load();
let seen = study.version;
onStudy((s) => { if (seen && seen !== s.version) get(`${api}/tests/one?${query({ test: name })}`).then((d) => { detail = d; numbers(); }).catch(say); seen = s.version; });
onJob((job) => { if (job.kind === "run" && job.state === "done") load(); });
document.addEventListener("keydown", (e) => {
  if (e.ctrlKey || e.metaKey || e.altKey || /^(INPUT|TEXTAREA|SELECT)$/.test(e.target.tagName)) return;
  if (e.key === "[") find("#before")?.click(); else if (e.key === "]") find("#behind")?.click();
});
