// The lab's memory: control charts of a tip, studies since the last good verification, entries.
import { get, query } from "./api.js";
import { el, faultPart, fill, plural } from "./dom.js";
import { Plot, level, line, points, short, span } from "./plot.js";
import { api, say } from "./shell.js";

const DAY = 864e5, dayOf = (text) => Date.parse(text.slice(0, 10)) / DAY, dayText = (v) => (Number.isFinite(v) ? new Date(Math.round(v) * DAY).toISOString().slice(0, 10) : "");

export async function drawLedger(control, entries) {
  const own = (control.dataset.tips || "").split("\n").filter(Boolean);
  let a;
  try { a = await get(`${api}/bench/ledger`); } catch (fault) { say(fault); return; }
  if (a.fault) {
    fill(control, el("p", { class: "soft" }, `${a.fault.what} ${a.fault.remedy} A calibration that is accepted here begins one.`)); fill(entries);
    return;
  }
  const names = [...new Set([...own, ...a.tips.map((t) => t.name)])];
  const tip = el("select", { id: "ledger-tip" }, names.map((n) => el("option", { value: n }, n))), depth = el("select", { id: "ledger-depth" }), depthField = el("div", { class: "field" }, el("label", { for: "ledger-depth" }, "Contact depth / nm"), depth), charts = el("div");
  fill(control, el("form", { class: "row" }, el("div", { class: "field" }, el("label", { for: "ledger-tip" }, "Tip"), tip), depthField), charts);
  control.querySelector("form").addEventListener("submit", (e) => e.preventDefault());
  const depths = () => { const known = a.tips.find((t) => t.name === tip.value)?.depths || []; fill(depth, known.map((d) => el("option", { value: d }, short(d)))); depthField.hidden = known.length < 2; };
  const draw = () => drawCharts(charts, tip.value, depth.value).catch(say);
  tip.addEventListener("change", () => { depths(); draw(); list(tip.value); });
  depth.addEventListener("change", draw);

  const which = el("select", { id: "ledger-which" }, el("option", { value: "tip" }, "about this tip"), el("option", { value: "now" }, "that hold now"), el("option", { value: "all" }, "all, corrected ones too")), place = el("div", { class: "scroll-y", tabindex: 0, role: "region", "aria-label": "Entries of the ledger" }), count = el("p", { class: "soft small", role: "status" });
  fill(entries, el("h3", {}, "Entries of the ledger"), el("p", { class: "soft" }, el("span", { class: "mono" }, a.place), a.breaks.length === 0 && ". The chain of entries holds."),
    a.breaks.length > 0 && el("div", { class: "fault", role: "alert" }, el("p", { class: "what" }, a.breaks.join(" ")), el("p", { class: "remedy" }, "Put the ledger back from a copy.")),
    el("div", { class: "field inline" }, el("label", { for: "ledger-which" }, "Entries"), which), count, place);
  which.addEventListener("change", () => list(tip.value));
  async function list(name) {
    let b;
    try { b = await get(`${api}/bench/ledger?${query(which.value === "tip" ? { name } : which.value === "all" ? { all: true } : {})}`); } catch (fault) { say(fault); return; }
    if (b.fault) { fill(place, faultPart({ values: b.fault })); return; }
    count.textContent = b.total > b.entries.length ? `${b.entries.length} newest of ${b.total} entries` : plural(b.total, "entry", "entries");
    fill(place, b.entries.length > 0 && el("table", { class: "entries" }, el("thead", {}, el("tr", {}, ["Entry", "Kind", "Name", "On", "Written", "By", "Why", ""].map((h) => el("th", { scope: "col" }, h || el("span", { class: "visually-hidden" }, "outcome"))))),
      el("tbody", {}, b.entries.map((e) => el("tr", {}, el("th", { scope: "row", title: e.hash }, e.id), el("td", {}, e.kind), el("td", {}, e.name), el("td", {}, e.on.replace("T", " ").replace("Z", "")), el("td", {}, e.when.replace("T", " ").replace("Z", " UTC")), el("td", {}, e.who), el("td", {}, e.why), el("td", {}, e.words))))));
  }
  depths(); if (names.length) { draw(); await list(names[0]); }
}

async function drawCharts(place, tip, depth) {
  const d = await get(`${api}/bench/charts?${query({ tip, depth })}`);
  if (d.fault) { fill(place, el("p", { class: "soft" }, `${d.fault.what} ${d.fault.remedy}`)); return; }
  const one = el("div"), two = el("div"), x = d.days.map(dayOf), good = d.good ? `${d.good.on.slice(0, 10)}${d.good.block ? `, on block ${d.good.block}` : ""} (entry ${d.good.entry})` : "none";
  fill(place, el("p", { class: `verdict ${d.state === "steady" ? "pass" : d.state === "changed" ? "fail" : "none"}` }, `Tip ${d.tip} at ${d.depth} nm: ${d.state}`),
    d.findings.map((f) => el("div", { class: `finding ${f.serious ? "serious" : ""}` }, f.sentence, " ", el("span", { class: "soft" }, f.next))),
    el("dl", { class: "pairs" }, el("dt", {}, "Last good verification"), el("dd", {}, good),
      d.doubtful_since && [el("dt", {}, "Not surely unchanged since"), el("dd", {}, d.doubtful_since)],
      d.bad.length > 0 && [el("dt", {}, "Not passed since"), el("dd", {}, d.bad.map((b) => `${b.on.slice(0, 10)}: ${b.verdict} (entry ${b.entry})`).join("; "))],
      el("dt", {}, "Studies since"), el("dd", {}, d.studies.length ? el("ul", { class: "plainlist" }, d.studies.map((s) => el("li", {}, `${s.name}, measured to ${s.to.slice(0, 10)} (entry ${s.entry})`))) : "none")),
    el("div", { class: "pair" }, one, two));
  const rules = (c) => { const by = new Map(); for (const [at, rule] of c.signals) by.set(at, [...(by.get(at) || []), rule]); return by; };
  chart(one, "Single checks", d.value, d.u, d.single, true);
  chart(two, "Weighted average", d.average.value, null, d.average, false);
  function chart(host, title, values, u, c, single) {
    const by = rules(c), plot = new Plot(host, { title, x: "Day of the check", y: `Area at ${d.depth} nm / ${d.unit}`, height: 300, xText: dayText, xSpace: 96, name: (i) => d.days[i], describe: (i) => `${d.days[i]}: ${short(values[i])} ${d.unit}${by.has(i) ? `; ${by.get(i).join("; ")}` : ""}` });
    if (d.between) {
      const [a, b] = d.between.map(dayOf), since = d.doubtful_since ? dayOf(d.doubtful_since) : a;
      if (since < a) plot.add(span({ from: since, to: a, colour: "orange", alpha: 0.1 }));
      plot.add(span({ from: a, to: b, colour: "orange", alpha: 0.28 }));
    }
    plot.add(level({ value: c.centre, dash: "", colour: "soft" }));
    if (single) for (const k of [-2, -1, 1, 2]) plot.add(level({ value: c.centre + k * c.sigma, dash: "dot", colour: "ghost" }));
    for (const limit of [c.lower, c.upper]) plot.add(line({ x, y: limit, dash: "dash", colour: "ink", width: 1 }));
    plot.add(line({ x, y: values, colour: single ? "ghost" : "plum", width: 1 }));
    const rings = [...by.keys()];
    plot.add(points({ x: rings.map((i) => x[i]), y: rings.map((i) => values[i]), colour: "plum", size: 6.5, which: rings, fit: false }));
    const after = new Set(d.after);
    for (const [set, colour, shape] of [[false, single ? "blue" : "plum", "disc"], [true, single ? "orange" : "plum", single ? "square" : "disc"]]) {
      const rows = x.map((_, i) => i).filter((i) => after.has(i) === set);
      const l = points({ x: rows.map((i) => x[i]), y: rows.map((i) => values[i]), u: u && rows.map((i) => u[i]), which: rows, colour, shape, size: 3.4 }); l.count = x.length;
      if (rows.length) plot.add(l);
    }
    plot.setKey([{ words: single ? "check, ± u" : "exponentially weighted average", colour: single ? "blue" : "plum", kind: "point" }, ...(single && after.size ? [{ words: "after the change", colour: "orange", kind: "point" }] : []), { words: "centre", colour: "soft" }, { words: "limits (3 standard deviations)", colour: "ink", kind: "dash" },
      ...(rings.length ? [{ words: "a rule is broken (large mark)", colour: "plum", kind: "point" }] : []), ...(d.between ? [{ words: "the change lies here", colour: "orange", kind: "band" }] : [])]);
    plot.fitAll();
    plot.table(["Day", `Area / ${d.unit}`, ...(u ? ["u"] : []), "Rules broken"], () => d.days.map((t, i) => [t, short(values[i], 5), ...(u ? [short(u[i], 2)] : []), (by.get(i) || []).join("; ")]));
  }
}
