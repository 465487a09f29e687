// Film and substrate: modulus against a/t with every model, residuals, hardness, and their tables.
import { get, getBuffer, query } from "./api.js";
import { el, faultPart, fill, plural, showFault, withSymbols } from "./dom.js";
import { blockPart, tablePart } from "./blocks.js";
import { numberLink } from "./budget.js";
import { Plot, SERIES, band, level, line, points, short, span } from "./plot.js";
import { api } from "./shell.js";

const DASHES = ["dash", "dot"];

export async function drawFilms(place, link) {
  let a;
  try { a = await get(`${api}/depth/films`); } catch (fault) { if (fault.status !== 404) showFault(place, fault); else fill(place); return; }
  fill(place, a.failed.map((f) => el("section", {}, el("h2", {}, `Film and substrate, specimen ${f.specimen}`), faultPart({ values: { what: `No film value: ${f.what}`, place: "", remedy: f.remedy, all: [] } }))));
  for (const name of a.films) {
    const part = el("section", { "aria-label": `Film and substrate, specimen ${name}`, "aria-busy": "true" }, el("h2", {}, `Film and substrate, specimen ${name}`));
    place.append(part);
    getBuffer(`${api}/depth/film?${query({ specimen: name })}`).then((d) => one(part, d, link)).catch((fault) => fill(part, faultPart(fault))).finally(() => part.removeAttribute("aria-busy"));
  }
}

function one(part, d, link) {
  const a = d.arrays, host = el("div"), rest = el("div"), hard = el("div"), index = (name) => d.names.indexOf(name);
  const heading = el("div", { class: "film-head" }, el("h2", {}, `Film and substrate, specimen ${d.specimen}`));
  const left = el("div", {}, host, rest), right = el("div", {}, hard, tablePart(d.values, { decorate: (r, i, text) => i === 2 && d.budgets[r] ? numberLink(text, { specimen: d.specimen, symbol: d.budgets[r], film: true }) : null }));
  fill(part, heading, el("p", { class: "soft" }, d.used), el("div", { class: "film-body" }, left, right),
    d.hardness_values && blockPart(d.hardness_values),
    el("details", {}, el("summary", {}, "Layers as stated, what each given number brings"), d.tables.map((t) => blockPart(t))),
    d.remarks.length > 0 && el("ul", { class: "sentences" }, d.remarks.map((r) => el("li", {}, withSymbols(r)))));
  const tell = (values, tests, cycles, x, unit) => (i) => {
    const at = [];
    for (let k = 0; k < tests.length; k++) if (tests[k] === i) at.push(k);
    return at.length ? `${d.names[i]}: ${plural(at.length, "unloading")}, ${short(values[at[0]])} to ${short(values[at[at.length - 1]])} ${unit}` : "";
  };
  const joined = [];
  const add = (plot) => { joined.push(plot); plot.onPick = (i) => link.choose(d.names[i]); plot.onHover = (i) => joined.forEach((p) => p !== plot && p.hover(i)); plot.choose(index(link.chosen())); };
  const dots = (x, y, u, which) => { const l = points({ x, y, u, which, colour: "sky", size: 2.6 }); l.count = d.names.length; return l; };
  const hide = (plot, tests) => { const have = new Set(tests); plot.hidden = Uint8Array.from(d.names, (_, i) => (have.has(i) ? 0 : 1)); };

  const E = new Plot(host, { title: "Modulus of film and substrate together", x: "Contact radius over thickness a/t", y: "Plane-strain modulus E* / GPa", height: 400, xLog: true, name: (i) => d.names[i], describe: tell(a.y, a.test, a.cycle, a.x, "GPa") });
  hide(E, a.test);
  E.add(span({ from: d.informative[0], to: d.informative[1], colour: "ghost", alpha: 0.13 }));
  E.add(band({ x: a.cx, low: a.low, high: a.high, colour: "blue" }));
  d.models.forEach((m, i) => E.add(line({ x: a.cx, y: a[`model${i}`], colour: SERIES[1 + (i % 5)], width: 1.1, dash: DASHES[i % 2], fit: false })));
  E.add(level({ value: d.substrate, colour: "soft", dash: "dot" }));
  E.add(dots(a.x, a.y, a.u, a.test));
  E.add(line({ x: a.cx, y: a.exact, colour: "blue", width: 2 }));
  E.setKey([{ words: "unloadings, random u", colour: "sky", kind: "point" }, { words: d.exact_words, colour: "blue" }, { words: `its band (${d.level} %)`, colour: "blue", kind: "band" },
    ...d.models.map((m, i) => ({ words: m.words + (m.within ? "" : " (not good at these depths)"), colour: SERIES[1 + (i % 5)], kind: DASHES[i % 2] })),
    { words: "substrate", colour: "soft", kind: "dot" }, { words: "middle 80 % of what is known", colour: "ghost", kind: "band" }]);
  E.fitAll(); add(E);
  E.table(["Test", "Unloading", "a/t", "E* / GPa", "random u", "exact / GPa", "residual / %"], () => Array.from(a.x, (x, k) => [d.names[a.test[k]], a.cycle[k], short(x), short(a.y[k]), short(a.u[k], 2), short(a.fitted[k]), short(a.residual[k], 2)]));

  const R = new Plot(rest, { title: "What the exact solution leaves", x: "Contact radius over thickness a/t", y: "Residual / %", height: 190, xLog: true, name: (i) => d.names[i], describe: tell(a.residual, a.test, a.cycle, a.x, "%") });
  hide(R, a.test);
  R.add(level({ value: 0 })); R.add(dots(a.x, a.residual, a.u_residual, a.test));
  R.fitAll(); R.full = { x: E.full.x, y: R.full.y }; R.view(R.full); add(R);
  E.onView = () => { const s = E.u.scales.x; if (s.min && (R.u.scales.x.min !== s.min || R.u.scales.x.max !== s.max)) R.view({ x: [s.min, s.max], y: R.full.y }); };

  if (d.hardness) {
    const H = new Plot(hard, { title: "Hardness against relative depth", x: "Contact depth over thickness", y: "Indentation hardness / GPa", height: 290, xLog: true, name: (i) => d.names[i], describe: tell(a.H, a.test_H, a.cycle_H, a.beta, "GPa") });
    hide(H, a.test_H);
    const p = d.hardness.plateau, key = [{ words: "unloadings, random u", colour: "sky", kind: "point" }];
    if (p) H.add(band({ x: p.beta, low: [p.ends[0], p.ends[0]], high: [p.ends[1], p.ends[1]], colour: "blue" }));
    d.hardness.models.forEach((m, i) => { H.add(line({ x: a.cbeta, y: a[`hardness${i}`], colour: SERIES[1 + i], width: 1.1, dash: DASHES[i % 2], fit: false })); key.push({ words: m, colour: SERIES[1 + i], kind: DASHES[i % 2] }); });
    H.add(dots(a.beta, a.H, a.u_H, a.test_H));
    if (p) { H.add(line({ x: p.beta, y: [p.H, p.H], colour: "blue", width: 2 })); key.push({ words: `plateau with its interval (${d.level} %)`, colour: "blue" }); }
    H.setKey(p ? key : [...key, { words: "no plateau at these depths", colour: "paper" }]);
    H.fitAll(); add(H);
    H.table(["Test", "Unloading", "depth over thickness", "hardness / GPa", "random u"], () => Array.from(a.beta, (x, k) => [d.names[a.test_H[k]], a.cycle_H[k], short(x), short(a.H[k]), short(a.u_H[k], 2)]));
  }
  link.onPick((name) => joined.forEach((p) => p.choose(index(name))));
}
