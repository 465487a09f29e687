// Scratch tracks: a list, the channels of the chosen one over one shared axis, candidates for critical
// loads and what is decided on them, and what follows over all tracks.
import { get, getBuffer, query } from "../api.js";
import { blockPart } from "../blocks.js";
import { decisionsPart } from "../decisions.js";
import { el, fill, find, plural } from "../dom.js";
import { Plot, SERIES, band, level, line, points, short, span } from "../plot.js";
import { api, askReason, decide, key, loadWithResults, onJob, onStudy, say, study } from "../shell.js";
import { pictureLayer, shares, wordsAbove } from "../scratch_parts.js";

const scroll = find("#scroll"), body = find("#grid")?.tBodies[0], plotsPlace = find("#plots"), along = find("#along"), readout = find("#readout");
const KINDS = { before: "sky", scratch: "blue", after: "plum" };
const kept = `drypoint-track:${key}`;
const remembered = () => { try { return sessionStorage.getItem(kept) || ""; } catch { return ""; } };
let all = null, one = null, raw = null, name = new URLSearchParams(location.search).get("track") || remembered();
let plots = {}, drag = null, picked = -1, hiddenPasses = new Set(), draft = { event: "", load: NaN };

const eventColour = (event) => SERIES[(1 + Math.max(all.events.findIndex((e) => e.name === event), 0)) % SERIES.length];
const byLoad = () => along.value === "load" && !one.held;
const axisWords = () => (byLoad() ? "Normal force / mN" : "Distance along the scratch / µm");
const number = (text) => parseFloat(String(text).replace(",", ".").replace("−", "-"));

// Load and distance of the chosen track, one from the other: as its stretches have them.
function between(from, to, v) {
  let last = -1;
  for (let k = 0; k < from.length; k++) {
    if (!Number.isFinite(from[k]) || !Number.isFinite(to[k])) continue;
    if (from[k] >= v) { if (last < 0) return to[k]; const s = (v - from[last]) / (from[k] - from[last] || 1); return to[last] + s * (to[k] - to[last]); }
    last = k;
  }
  return last < 0 ? NaN : to[last];
}
const loadAt = (x) => (byLoad() ? x : between(one.arrays.x, one.arrays.load, x));
const placeOf = (load) => (byLoad() ? load : between(one.arrays.load, one.arrays.x, load));
const spanOf = (c) => (byLoad() ? [c.low, c.high] : [c.x_low, c.x_high]);
const middleOf = (c) => (byLoad() ? c.load : c.x);

// The list.
function list() {
  const rows = [];
  let specimen = null;
  for (const t of all.tracks) {
    if (t.specimen !== specimen) { specimen = t.specimen; rows.push(el("tr", { class: "group" }, el("td", { colspan: 2 }, el("strong", {}, specimen)))); }
    const state = t.out ? "excluded" : t.held ? "load is held" : t.open ? `${t.open} open` : Object.entries(t.loads).map(([e, v]) => `${e} ${v}`).join(", ") || "none found";
    rows.push(el("tr", { "data-track": t.track, class: `${t.out ? "out" : ""} ${t.track === name ? "chosen" : ""}`, "aria-selected": String(t.track === name), title: t.out ? `Excluded: ${t.why}` : t.passes.join(", ") },
      el("td", {}, t.track, t.wrong ? el("span", { class: "waiting", title: plural(t.wrong, "problem") }, " !") : ""), el("td", { class: t.open && !t.out ? "waiting" : "soft" }, state)));
  }
  fill(find("#grid").tHead, el("tr", {}, el("th", { scope: "col" }, "Track"), el("th", { scope: "col" }, "Critical loads / mN")));
  fill(body, rows);
}
body?.addEventListener("click", (e) => { const tr = e.target.closest("tr[data-track]"); if (tr) choose(tr.dataset.track); });
scroll?.addEventListener("keydown", (e) => {
  const names = all.tracks.map((t) => t.track), at = names.indexOf(name);
  const to = { ArrowDown: at + 1, ArrowUp: at - 1, Home: 0, End: names.length - 1 }[e.key];
  if (to === undefined) return;
  e.preventDefault();
  choose(names[Math.min(Math.max(to, 0), names.length - 1)]);
  find("tr.chosen", body)?.scrollIntoView({ block: "nearest" });
});

async function choose(track) {
  name = track; picked = -1;
  try { sessionStorage.setItem(kept, name); } catch { /* not kept */ }
  const address = new URL(location.href); address.searchParams.set("track", name); history.replaceState(null, "", address);
  for (const tr of body.rows) { tr.classList.toggle("chosen", tr.dataset.track === name); if (tr.dataset.track) tr.setAttribute("aria-selected", String(tr.dataset.track === name)); }
  await show();
}
async function show() {
  const asked = name;
  plotsPlace.setAttribute("aria-busy", "true");
  try {
    const [track, read] = await Promise.all([getBuffer(`${api}/scratch/one?${query({ track: asked })}`), getBuffer(`${api}/scratch/passes?${query({ track: asked })}`).catch((fault) => ({ fault }))]);
    if (asked !== name) return;
    const same = one?.track === track.track;
    one = track; raw = read;
    if (!same) draft = { event: undecided(), load: NaN };
    if (raw.fault) say(raw.fault);
    if (picked < 0 || picked >= one.candidates.length) picked = one.candidates.findIndex((c) => c.decision === "open");
    if (!same || !Number.isFinite(draft.load)) draft.load = picked >= 0 ? one.candidates[picked].load : one.last_mN / 2;
    draw({ keep: same }); aside(); readout.textContent = "\u00a0";
  } catch (fault) { if (fault.status === 404) readout.textContent = "The study is not computed with its last change yet."; else say(fault); } finally { plotsPlace.removeAttribute("aria-busy"); }
}

// The charts, one below the other, over the same axis.
function chart(id, options) {
  const words = axisWords();
  if (plots[id] && plots[id].words === words) { plots[id].plot.clear(); return plots[id].plot; }
  plots[id]?.host.remove();
  const host = el("div");
  plotsPlace.append(host);
  const plot = new Plot(host, { x: words, ...options });
  plots[id] = { host, plot, words };
  plot.follow = el("div", { class: "follow", hidden: true });
  plot.u.over.append(plot.follow);
  plot.u.over.addEventListener("mousemove", (e) => follow(plot.u.posToVal(e.clientX - plot.u.over.getBoundingClientRect().left, "x")));
  plot.u.over.addEventListener("mouseleave", () => follow(null));
  plot.onView = () => { const s = plot.u.scales.x; for (const { plot: p } of Object.values(plots)) { const o = p.u.scales.x; if (p !== plot && o.min !== undefined && (Math.abs(o.min - s.min) > 1e-9 || Math.abs(o.max - s.max) > 1e-9)) p.u.setScale("x", { min: s.min, max: s.max }); } };
  return plot;
}
function follow(x) {
  for (const { plot } of Object.values(plots)) { plot.follow.hidden = x === null; if (x !== null) plot.follow.style.left = `${plot.u.valToPos(x, "x")}px`; }
  if (x === null || !one) { readout.textContent = "\u00a0"; return; }
  const a = one.arrays, at = byLoad() ? a.load : a.x;
  let k = 0;
  for (let i = 1; i < at.length; i++) if (Math.abs(at[i] - x) < Math.abs(at[k] - x) || !Number.isFinite(at[k])) k = i;
  const part = (words, v, u, unit, digits = 3) => (Number.isFinite(v) ? `${words} ${short(v, digits)}${Number.isFinite(u) ? ` ± ${short(u, 2)}` : ""}${unit}` : "");
  readout.textContent = [part("x", a.x[k], NaN, " µm", 4), part("F_n", a.load[k], NaN, " mN", 4), part("µ", a.mu[k], a.u_mu[k], ""), part("h", a.h_load[k], a.u_h_load[k], " nm"), part("h residual", a.h_residual[k], a.u_h_residual[k], " nm"),
    ...one.extra.map((n, i) => part(n, a[`extra${i}`][k], NaN, ""))].filter(Boolean).join(" · ");
}
function withBand(plot, x, y, u, colour) {
  if (!y.some(Number.isFinite)) return false;
  const ok = (f) => Array.from(y, (v, k) => f(v, Number.isFinite(u[k]) ? 2 * u[k] : 0));
  plot.add(band({ x, low: ok((v, d) => v - d), high: ok((v, d) => v + d), colour }));
  plot.add(line({ x, y, colour, width: 1.5 }));
  return true;
}
function decorate(plot, first) {
  for (const c of one.candidates) plot.layers.unshift(span({ from: spanOf(c)[0], to: spanOf(c)[1], colour: c.event ? eventColour(c.event) : "ghost", alpha: c.rejected ? 0.08 : c.event ? 0.3 : 0.22 }));
  for (const c of one.candidates) if (!c.event && !c.rejected) plot.add(level({ axis: "x", value: middleOf(c), colour: "soft", dash: "dot" }));
  const placed = one.verdicts.filter((v) => v.how !== "absent");
  for (const v of placed) plot.add(level({ axis: "x", value: whereOf(v), colour: eventColour(v.event), dash: null, width: 1.6 }));
  if (first) plot.add(wordsAbove([...one.candidates.filter((c) => !c.event).map((c) => ({ x: middleOf(c), words: c.rejected ? `(${c.number})` : String(c.number), colour: "soft" })), ...placed.map((v) => ({ x: whereOf(v), words: v.event, colour: eventColour(v.event) }))]));
}
const whereOf = (v) => (v.how === "confirmed" && v.number ? middleOf(one.candidates[v.number - 1]) : placeOf(v.load));

function draw({ keep = false } = {}) {
  const a = one.arrays, x = byLoad() ? a.load : a.x, view = keep && plots.friction ? { ...plots.friction.plot.u.scales.x } : null, words = plots.friction?.words;
  const heavy = (values) => Array.from(values, (v, k) => (a.load[k] > 0.03 * one.last_mN ? v : NaN));
  fill(find("#name"), `${one.track} `, el("span", { class: "soft" }, one.specimen), one.out && el("span", { class: "state older small" }, " excluded"));
  const mu = chart("friction", { title: "Friction coefficient", y: "Friction coefficient µ", height: 220, describe: (i) => said(one.candidates[i]), name: (i) => `Candidate ${i + 1}` });
  const shown = heavy(a.mu);
  withBand(mu, x, shown, a.u_mu, "blue");
  const ploughed = withBand(mu, x, heavy(a.plough), a.u_plough, "olive");
  decorate(mu, true);
  if (one.candidates.length) mu.add(points({ x: one.candidates.map(middleOf), y: one.candidates.map((c) => between(x, shown, middleOf(c)) || 0), colour: (k) => (one.candidates[k].event ? eventColour(one.candidates[k].event) : "ink"), size: 4, shape: "diamond", fit: false }));
  mu.onPick = (i) => pick(i);
  mu.setKey([{ words: "apparent, with two standard uncertainties", colour: "blue" }, ...(ploughed ? [{ words: "of this, ploughing", colour: "olive" }] : []), { words: "candidate with its interval", colour: "ghost", kind: "band" }, ...all.events.filter((e) => one.verdicts.some((v) => v.event === e.name && v.how !== "absent")).map((e) => ({ words: e.name, colour: eventColour(e.name) }))]);
  mu.table(["Distance / µm", "Normal force / mN", "µ", "u(µ)", "Ploughing"], () => Array.from(a.x, (v, k) => [short(v), short(a.load[k]), short(a.mu[k], 3), short(a.u_mu[k], 2), short(a.plough[k], 3)]));

  const down = (values) => Array.from(values, (v) => -v), depth = chart("depth", { title: "Depth from the surface", y: "Depth h / nm", height: 240, yText: (v) => short(-v, 6) });
  const key = [];
  if (withBand(depth, x, down(a.h_load), a.u_h_load, "teal")) key.push({ words: "under load", colour: "teal" });
  if (withBand(depth, x, down(a.h_residual), a.u_h_residual, "plum")) key.push({ words: "residual", colour: "plum" });
  if (a.topography.some(Number.isFinite)) { depth.add(line({ x, y: down(a.topography), colour: "ghost", width: 1 })); key.push({ words: "topography before, straight line taken off", colour: "ghost" }); }
  decorate(depth); depth.setKey(key);
  depth.table(["Distance / µm", "Normal force / mN", "Under load / nm", "u / nm", "Residual / nm", "u / nm"], () => Array.from(a.x, (v, k) => [short(v), short(a.load[k]), short(a.h_load[k]), short(a.u_h_load[k], 2), short(a.h_residual[k]), short(a.u_h_residual[k], 2)]));

  one.extra.forEach((n, i) => {
    const p = chart(`extra ${n}`, { title: n[0].toUpperCase() + n.slice(1), y: n[0].toUpperCase() + n.slice(1), height: 150 });
    p.add(line({ x, y: a[`peak${i}`], colour: "soft", width: 1 })); p.add(line({ x, y: a[`extra${i}`], colour: "ink", width: 1.2 }));
    decorate(p); p.setKey([{ words: "mean", colour: "ink" }, { words: "largest value", colour: "soft" }]);
    p.table(["Distance / µm", "Mean", "Largest"], () => Array.from(a.x, (v, k) => [short(v), short(a[`extra${i}`][k]), short(a[`peak${i}`][k])]));
  });
  passesPart();
  laidPictures();
  const wanted = new Set(["friction", "depth", ...one.extra.map((n) => `extra ${n}`), ...(plots["raw depth"]?.used ? ["raw depth", "raw forces"] : []), ...one.pictures.filter((p) => p.span_um && !byLoad()).map((p) => `picture ${p.number}`)]);
  for (const id of Object.keys(plots)) if (!wanted.has(id)) { plots[id].host.remove(); delete plots[id]; }
  const order = ["friction", "depth", ...Object.keys(plots).filter((i) => i.startsWith("extra")), ...Object.keys(plots).filter((i) => i.startsWith("picture")), ...Object.keys(plots).filter((i) => i.startsWith("raw"))];
  order.forEach((id, i) => { if (plotsPlace.children[i] !== plots[id].host) plotsPlace.insertBefore(plots[id].host, plotsPlace.children[i] || null); });
  const full = byLoad() ? [0, one.last_mN * 1.03] : [0, one.length_um], same = view && words === axisWords() ? [view.min, view.max] : full;
  for (const { plot } of Object.values(plots)) { plot.fitAll({ keep: true }); plot.full.x = full; }
  for (const { plot } of Object.values(plots)) plot.view({ x: same, y: plot.full.y });
  drag = mu.dragLine({ axis: "x", value: placeOf(draft.load), label: "place here", step: (full[1] - full[0]) / 500, onMove: (v) => { draft.load = loadAt(v); const input = find("#load"); if (input) input.value = short(draft.load, 5); buttons(); } });
  mu.choose(picked);
}
const said = (c) => `Candidate ${c.number}: ${c.text[0]} mN (${c.text[1]} to ${c.text[2]}), ${c.confidence}, ${c.decision}`;

// The passes as they were read: depths and forces against distance.
function passesPart() {
  const has = !raw.fault && !byLoad(), kinds = has ? [...new Set(raw.passes.map((p) => p.kind))] : [];
  fill(find("#passes"), find("#passes legend"), kinds.map((k) => el("label", {}, el("input", { type: "checkbox", checked: !hiddenPasses.has(k), onchange: (e) => { hiddenPasses[e.target.checked ? "delete" : "add"](k); draw({ keep: true }); } }), ` ${k}`)));
  for (const id of ["raw depth", "raw forces"]) if (plots[id]) plots[id].used = false;
  if (!has) return;
  const shown = raw.passes.filter((p) => !hiddenPasses.has(p.kind)), of = (p, n) => p.channels.find((c) => c.name === n);
  const depth = chart("raw depth", { title: "Depth as read, all passes", y: "Recorded depth / nm", height: 200, yText: (v) => short(-v, 6) }), forces = chart("raw forces", { title: "Forces as read", y: "Force / mN", height: 200 });
  plots["raw depth"].used = plots["raw forces"].used = true;
  for (const p of shown) {
    const h = of(p, "depth"), F = of(p, "normal force"), L = of(p, "lateral force");
    if (h) depth.add(line({ x: raw.arrays[`x${h.at}`], y: raw.arrays[`y${h.at}`].map((v) => -v), colour: KINDS[p.kind], width: 1 }));
    if (F) forces.add(line({ x: raw.arrays[`x${F.at}`], y: raw.arrays[`y${F.at}`], colour: KINDS[p.kind], width: 1 }));
    if (L) forces.add(line({ x: raw.arrays[`x${L.at}`], y: raw.arrays[`y${L.at}`], colour: p.kind === "scratch" ? "orange" : KINDS[p.kind], width: 0.9 }));
  }
  depth.setKey(kinds.filter((k) => !hiddenPasses.has(k)).map((k) => ({ words: k === "scratch" ? "scratch" : `scan ${k}`, colour: KINDS[k] })));
  forces.setKey([...kinds.filter((k) => !hiddenPasses.has(k)).map((k) => ({ words: k === "scratch" ? "normal force, scratch" : `forces, scan ${k}`, colour: KINDS[k] })), ...(hiddenPasses.has("scratch") ? [] : [{ words: "lateral force, scratch", colour: "orange" }])]);
  const rows = () => shown.map((p) => [p.kind, p.samples, ...["depth", "normal force", "lateral force"].map((n) => { const c = of(p, n); return c ? short(raw.arrays[`y${c.at}`].reduce((m, v) => Math.max(m, v), -Infinity), 4) : "none"; })]);
  depth.table(["Pass", "Samples", "Largest depth / nm", "Largest normal force / mN", "Largest lateral force / mN"], rows, "Passes as a table");
}

function laidPictures() {
  const address = (p) => `${api}/scratch/picture?${query({ track: one.track, number: p.number })}`, loose = [];
  for (const p of one.pictures) {
    if (!p.span_um || byLoad()) { loose.push(p); continue; }
    const plot = chart(`picture ${p.number}`, { title: p.about || "Picture of the track", y: "\u00a0", height: 130, yText: () => "" });
    plot.add(pictureLayer(address(p), p.span_um, () => plot.redraw()));
    decorate(plot);
    plot.table(["Picture", "From / µm", "To / µm", "SHA-256"], () => [[p.file, short(p.span_um[0]), short(p.span_um[1]), p.sha256]], "Picture as a table");
  }
  fill(find("#pictures"), loose.map((p) => el("figure", { class: "picture" }, el("img", { src: address(p), alt: p.about || `Picture of ${one.track}`, loading: "lazy" }),
    el("figcaption", {}, p.about, p.about && ". ", p.span_um ? "It is laid along the track where the charts are drawn against distance." : "It has no scale: it is shown beside the track, not along it. Two points in the study file give it one."))));
}

// Candidates, and the form by which a person decides. What is offered first is what is still open.
const undecided = () => (all.events.find((e) => !one.verdicts.some((v) => v.event === e.name)) || all.events[0])?.name || "";
function pick(i) {
  picked = i;
  if (i >= 0) { draft.load = one.candidates[i].load; draft.event = one.candidates[i].event || undecided(); }
  drag?.set(placeOf(draft.load)); plots.friction?.plot.choose(i);
  aside();
}
function aside() {
  const cards = one.candidates.map((c, i) => el("button", { type: "button", class: `candidate ${c.event ? "done" : ""} ${c.rejected ? "rejected" : ""}`, "aria-pressed": String(i === picked), onclick: () => pick(picked === i ? -1 : i) },
    el("span", { class: "what" }, el("span", {}, el("strong", {}, `${c.number}`), ` ${c.text[0]} mN `, el("span", { class: "soft" }, `(${c.text[1]} to ${c.text[2]})`)), el("span", { title: "Of such candidates on simulated tracks, the share that are events" }, c.confidence)),
    el("span", { class: "small soft" }, c.voices.slice(0, 3).join(", ")), el("span", { class: "small" }, c.decision === "open" ? "" : ` ${c.decision}`)));
  const names = all.events, select = el("select", { id: "event" }, names.map((e) => el("option", { value: e.name, selected: e.name === draft.event }, e.name)));
  select.addEventListener("change", () => { draft.event = select.value; aside(); });
  const seen = names.find((e) => e.name === draft.event)?.seen;
  const load = el("input", { id: "load", inputmode: "decimal", value: short(draft.load, 5), "aria-describedby": "load-help" });
  load.addEventListener("input", () => { const v = number(load.value); if (v > 0) { draft.load = v; drag?.set(placeOf(v)); } buttons(); });
  fill(find("#candidates"), el("h2", {}, "Critical loads"),
    one.held ? el("p", { class: "soft" }, "The load is held: there are no critical loads on this track.") : cards.length ? el("p", { class: "soft small" }, `Candidates with their ${one.candidates[0].level} intervals, and the share of such candidates that are events. What happened there, only you can say.`) : el("p", { class: "soft" }, "No candidate was found on this track."),
    cards,
    one.verdicts.length > 0 && el("ul", { class: "verdicts" }, one.verdicts.map((v) => el("li", {}, el("strong", {}, v.event), v.how === "absent" ? ` absent up to ${v.text[0]} mN` : ` ${v.text[0]} mN${v.text[1] !== v.text[2] ? ` (${v.text[1]} to ${v.text[2]})` : ""}, ${v.how}`, el("div", { class: "small soft" }, `${v.why} (${v.who})`)))),
    names.length ? el("fieldset", { class: "place" }, el("legend", {}, "Decide"),
      el("div", { class: "field" }, el("label", { for: "event" }, "What was seen"), select, seen && el("span", { class: "small soft" }, seen)),
      !one.held && el("div", { class: "field" }, el("label", { for: "load" }, "Load / mN"), load, el("span", { class: "small soft", id: "load-help" }, "Drag the line in the first chart, or type.")),
      el("div", { class: "acts", id: "acts" }))
      : el("p", { class: "note" }, "The study file does not say yet what was seen. Add it under [scratch.events], for example Lc1 = “first cracks across the track”; then loads can be decided on."),
    el("div", { class: "acts" }, el("button", { onclick: toggle }, one.out ? "Include the track again…" : "Exclude the track…")));
  buttons();
  fill(find("#numbers"), one.problems.length > 0 && el("ul", { class: "sentences" }, one.problems.map((p) => el("li", { class: "waiting" }, p))),
    one.numbers.length > 0 && el("table", { class: "numbers" }, el("caption", { class: "visually-hidden" }, "Numbers of the track"), el("tbody", {}, one.numbers.map((n) => el("tr", {}, el("td", {}, n.meaning, n.shared && el("div", { class: "small" }, `of its uncertainty, shared by the bench: ${n.shared}`)), el("td", { class: "n" }, n.text[0], n.text[1] && ` ± ${n.text[1]}`, n.unit && ` ${n.unit}`))))),
    el("p", { class: "soft small" }, "± is the standard uncertainty, shared part included."),
    el("details", {}, el("summary", {}, "Passes, remarks, raw files"), el("dl", { class: "pairs small" }, el("dt", {}, "Passes"), el("dd", {}, `${one.passes.join(", ")} (by ${one.passes_from})`), el("dt", {}, "Tip"), el("dd", {}, one.tip || "not stated: friction is not split"),
      one.files.map(([f, h]) => [el("dt", {}, "Raw file"), el("dd", { class: "mono" }, f, el("br"), h)])), one.remarks.length > 0 && el("ul", { class: "sentences small" }, one.remarks.map((r) => el("li", {}, r)))));
  fill(find("#decisions"), decisionsPart(one.decisions));
}
function buttons() {
  const place = find("#acts");
  if (!place) return;
  // A load far from the candidate, or one that was rejected, is set by itself.
  const c = picked >= 0 ? one.candidates[picked] : null, own = c && !c.rejected && draft.load >= c.low && draft.load <= c.high ? c : null, moved = !c || Math.abs(draft.load - c.load) > 0.0005 * c.load, good = Number.isFinite(draft.load) && draft.load > 0;
  fill(place,
    c && el("button", { class: moved ? "" : "main", onclick: () => write({ verdict: "confirm", event: draft.event, candidate_mN: Number(c.load.toPrecision(5)) }, `Candidate ${c.number} is ${draft.event}`, `${c.text[0]} mN, with its interval.`) }, `Confirm ${c.number} as ${draft.event}…`),
    !one.held && el("button", { class: moved ? "main" : "", disabled: !moved || !good, onclick: () => write({ verdict: "move", event: draft.event, load_mN: Number(draft.load.toPrecision(5)), ...(own ? { candidate_mN: Number(own.load.toPrecision(5)) } : {}) }, own ? `Move ${draft.event} to ${short(draft.load, 4)} mN` : `Set ${draft.event} at ${short(draft.load, 4)} mN`, "A load set by hand has no interval of its own.") }, own ? `Move ${draft.event} there…` : `Set ${draft.event} there…`),
    c && !c.rejected && el("button", { onclick: () => write({ verdict: "reject", candidate_mN: Number(c.load.toPrecision(5)) }, `Candidate ${c.number} is none of what was looked for`, "It stays listed, as rejected.") }, `Reject ${c.number}…`),
    !one.held && el("button", { onclick: () => write({ verdict: "absent", event: draft.event }, `${draft.event} did not occur`, `Up to the largest load, ${short(one.last_mN, 4)} mN: the track counts as one that held.`) }, `${draft.event} absent…`));
}
async function write(value, title, words) {
  try { await decide([{ what: "critical_load", test: one.track, value, why: await askReason(title, words) }]); } catch (fault) { say(fault); }
}
async function toggle() {
  const out = one.out;
  try { await decide([{ what: out ? "include" : "exclude", test: one.track, why: await askReason(out ? `Include ${one.track} again` : `Exclude ${one.track}`, out ? "It counts over the tracks again." : "Its critical loads no longer count over the tracks. A reason is what went wrong on the track; “too low” is none.") }]); } catch (fault) { say(fault); }
}

async function load() {
  try { all = await get(`${api}/scratch/tracks`); } catch (fault) {
    if (fault.status === 404) { readout.textContent = "The study is not computed with its last change yet."; plotsPlace.removeAttribute("aria-busy"); } else say(fault);
    return;
  }
  if (!all.tracks.some((t) => t.track === name)) name = all.tracks[0]?.track || "";
  list();
  shares(find("#shares"), all, eventColour);
  fill(find("#blocks"), all.blocks.map((b) => blockPart(b)), all.notes.length > 0 && el("details", {}, el("summary", {}, plural(all.notes.length, "note")), el("ul", { class: "sentences" }, all.notes.map((n) => el("li", {}, n)))));
  if (name) await show();
}
if (body) {
  along.addEventListener("change", () => draw());
  load();
  onJob((job) => { if (job.kind === "run" && job.state === "done") load(); });
  let seen = study.version;
  onStudy((s) => { if (seen && seen !== s.version && s.standing === "current") load(); seen = s.version; });
} else loadWithResults();
