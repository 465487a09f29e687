// Stress under the tip: other numbers, the exact answer at once, finite elements on request, the field.
import { get, getBuffer, post, query } from "../api.js";
import { el, fill, find } from "../dom.js";
import { Plot, line, level } from "../plot.js";
import { tablePart } from "../blocks.js";
import { api, began, copyText, onJob, onStudy, refresh, say, study } from "../shell.js";

const ask = find("#ask"), solids = find("#solids .row"), state = find("#state"), acts = find("#acts"), first = find("#first"), words = find("#words"), shown = find("#shown");
const name = find("#name"), goal = find("#goal"), value = find("#goal-value"), quality = find("#quality");
const QUANTITIES = { von_mises: "Von Mises stress / GPa", principal: "Largest principal stress / GPa", plastic: "Plastic strain" };
let stated = null, now = null, result = null, running = "", timer = 0, turn = 0, quantity = "von_mises", step = -1, plot = null, across = null, kept = new Map(), turnStep = 0;

// What differs from what the study states, as the endpoints take it.
function asked() {
  const out = { name: name.value };
  if (!stated) return out;
  const v = Number(value.value.replace(",", "."));
  if (value.value.trim() && v !== stated[goal.value]) out[goal.value] = v;
  if (quality.value !== stated.quality) out.quality = quality.value;
  const given = [...solids.querySelectorAll("input")].map((i) => i.value.replace(",", ".").trim() || "0");
  if (given.some((g, i) => Number(g) !== stated.solids[i].residual_GPa)) out.residual_GPa = given.join(",");
  return out;
}
async function begin() {
  stated = await get(`${api}/stress/look?${query({ name: name.value })}`);
  goal.value = stated.force_mN ? "force_mN" : "depth_nm";
  value.value = stated.force_mN ?? stated.depth_nm;
  quality.value = stated.quality;
  fill(solids, stated.solids.map((s, i) => el("div", { class: "field" }, el("label", { for: `residual-${i}` }, s.name),
    el("input", { id: `residual-${i}`, inputmode: "decimal", value: s.residual_GPa }))));
  await looked(stated);
}
async function look() {
  const mine = ++turn;
  state.setAttribute("aria-busy", "true");
  try {
    const answer = await get(`${api}/stress/look?${query(asked())}`);
    if (mine === turn) await looked(answer);
  } catch (fault) { if (mine === turn) { state.removeAttribute("aria-busy"); fill(state, fault.message); state.className = "changed"; fill(acts); } }
}
async function looked(answer) {
  const other = now?.key !== answer.key;
  now = answer;
  state.removeAttribute("aria-busy");
  state.className = now.changed ? "changed" : "soft";
  fill(state, now.changed ? "What if: the study file states other numbers." : "As the study file states it.");
  fill(first, el("h2", {}, "At once, if nothing yielded"), el("p", {}, now.problem), el("ul", {}, now.elastic.map((w) => el("li", {}, w))),
    el("p", { class: "soft small" }, "Exact solution of the layered half-space. Finite elements: ", now.estimate, "."));
  if (other || !result) { result = null; kept = new Map(); fill(words); if (now.kept) await show(); else nothing(); }
  buttons();
}
function buttons() {
  if (!now) return;
  fill(acts,
    !now.kept && el("button", { class: "main", disabled: Boolean(running), onclick: () => compute().catch(say) }, running ? "Computing…" : "Compute with finite elements"),
    now.changed && el("button", { onclick: () => begin().catch(say) }, "Back to the study’s numbers"),
    now.changed && el("button", { onclick: () => write().catch(say) }, "Write into the study file…"),
    !now.changed && el("button", { class: "plain", onclick: (e) => copyText(now.command, e.target) }, "Copy as command"),
    el("button", { class: "plain", onclick: (e) => copyText(now.python, e.target) }, "Copy as Python"));
}
async function compute() { began(await post(`${api}/stress/compute`, asked())); }
async function write() {
  const dialog = el("dialog", { "aria-labelledby": "write-title" }, el("form", { method: "dialog" },
    el("h2", { id: "write-title" }, `Write into [stress.${now.name}]?`),
    el("p", {}, now.problem), el("p", { class: "soft" }, "All other lines of the study file stay; comments inside this table are not kept. Results are then from before the change until the study is run."),
    el("div", { class: "acts" }, el("button", { class: "main", value: "yes" }, "Write"), el("button", { type: "button", onclick: () => dialog.close("no") }, "Cancel"))));
  document.body.append(dialog); dialog.showModal();
  await new Promise((done) => dialog.addEventListener("close", done));
  dialog.remove();
  if (dialog.returnValue !== "yes") return;
  await post(`${api}/stress/write`, { ...asked(), version: study.version });
  await refresh(); await begin();
}
function nothing() {
  plot = across = null;
  shown.removeAttribute("aria-busy");
  fill(shown, el("div", { class: "empty" }, el("p", {}, running ? "The finite elements are being computed; progress and Stop are above." : "The field has not been computed for these numbers yet."),
    el("p", { class: "small" }, now.estimate)));
}

async function show() {
  const q = asked();
  result = await get(`${api}/stress/found?${query(q)}`);
  fill(words, result.stopped && el("p", { class: "changed" }, `The run ended early: ${result.stopped}. What follows holds up to there.`),
    el("h2", {}, "Found by finite elements"), el("ul", {}, result.words.map((w) => el("li", {}, w))),
    el("p", {}, result.errors), el("details", {}, el("summary", {}, "What the model cannot show"), el("ul", {}, result.cannot.map((w) => el("li", {}, w)))));
  if (step < 0 || step >= result.force_mN.length) step = result.peak;
  const slider = el("input", { type: "range", id: "step", min: 0, max: result.force_mN.length - 1, value: step }), said = el("output", { for: "step" });
  const choice = el("select", { id: "quantity" }, Object.entries(QUANTITIES).map(([k, w]) => el("option", { value: k, selected: k === quantity }, w)));
  const scale = el("div", { class: "scale" }), host = el("div", { class: "map" }), under = el("div");
  const table = (head, rows, caption) => el("div", {}, el("h2", {}, caption), el("table", {}, el("thead", {}, el("tr", {}, head.map((h, i) => el("th", { scope: "col", class: i > 0 ? "n" : "" }, h)))),
    el("tbody", {}, rows.map((r) => el("tr", {}, r.map((c, i) => el("td", { class: i > 0 ? "n" : "" }, c)))))));
  fill(shown,
    el("div", { class: "load" }, el("label", { for: "step" }, "Load"), slider, said),
    el("div", { class: "row" }, el("div", { class: "field" }, el("label", { for: "quantity" }, "Shown"), choice), scale),
    el("div", { class: "pair" }, host, under),
    el("div", { class: "tables" },
      result.seen.length > 0 && table(["Quantity", "Unit", "As seen", "True", "Difference"], result.seen, "What the instrument would see beside the truth"),
      table(result.solids.head, result.solids.rows, "First yield and largest values"),
      result.uncertain && el("div", {}, tablePart(result.uncertain))));
  plot = new Plot(host, { title: "Below the tip", x: "Distance from the axis / nm", y: "Height / nm", height: 420 });
  across = now.solids.length > 1 ? new Plot(under, { title: "Stress on the interface", x: "Radius / nm", y: "Stress / GPa", height: 360 }) : null;
  const words_of = () => {
    const way = step === result.peak ? "largest load" : step < result.peak ? "loading" : "after the peak";
    const text = `${Number(result.force_mN[step].toPrecision(4))} mN, ${Number(result.depth_nm[step].toPrecision(4))} nm, ${way}`;
    said.textContent = text; slider.setAttribute("aria-valuetext", text);
  };
  const draw = () => { words_of(); drawStep(q, scale).catch(say); };
  slider.addEventListener("input", () => { step = Number(slider.value); draw(); });
  choice.addEventListener("change", () => { quantity = choice.value; draw(); });
  shown.setAttribute("aria-busy", "true");
  draw();
}

async function drawStep(q, scale) {
  const mine = ++turnStep, key = `${step}`;
  if (!kept.has(key)) kept.set(key, await getBuffer(`${api}/stress/field?${query({ ...q, step, key: now.key })}`));
  if (mine !== turnStep || !plot) return;
  shown.removeAttribute("aria-busy");
  const { arrays, interfaces } = kept.get(key), values = arrays[quantity];
  const signed = quantity === "principal", [a, b] = result.limits[quantity], high = signed ? Math.max(-a, b) && b || 1 : b || 1, low = signed ? -high : 0;
  const colours = result.colours[signed ? "both" : "one"].map((c) => `rgb(${c.join(" ")})`);
  const bar = el("canvas", { width: 64, height: 1, "aria-hidden": "true" }), g = bar.getContext("2d");
  colours.forEach((c, i) => { g.fillStyle = c; g.fillRect(i, 0, 1, 1); });
  fill(scale, `${Number(low.toPrecision(3))}`, bar, `${Number(high.toPrecision(3))}`);
  const side = 2.4 * result.radius_nm, half = (flat, c) => flat.filter((_, i) => i % 2 === c), both = (flat) => ({ x: [...half(flat, 0).toReversed().map((v) => -v), ...half(flat, 0)], y: [...half(flat, 1).toReversed(), ...half(flat, 1)] });
  plot.layers = [elements(arrays.corners, values, low, high, colours, side)];
  for (let k = 0; k < interfaces; k++) plot.layers.push(line({ ...both(arrays[`line${k}`]), colour: "ink", width: 1, fit: false }));
  if (arrays.tip.length) plot.layers.push(line({ ...both(arrays.tip), colour: "ink", width: 1.6, fit: false }));
  const zoomed = plot.zoomed; // another load is looked at through the same window
  plot.full = { x: [-side, side], y: [-0.92 * side, 0.28 * side] };
  if (zoomed) plot.redraw(); else plot.view(plot.full);
  let top = 0, at = 0;
  for (let i = 0; i < values.length; i++) if (values[i] > top) { top = values[i]; at = i; }
  const middle = (c) => ((arrays.corners[8 * at + c] + arrays.corners[8 * at + 2 + c] + arrays.corners[8 * at + 4 + c] + arrays.corners[8 * at + 6 + c]) / 4);
  plot.live.textContent = `${QUANTITIES[quantity]}: at most ${Number(top.toPrecision(3))}, at radius ${Math.round(middle(0))} nm, height ${Math.round(middle(1))} nm.`;
  plot.table(["Radius / nm", "Height / nm", QUANTITIES[quantity]], () => largest(arrays.corners, values), "Largest values of this picture");
  if (!across) return;
  across.layers = [level({ value: 0 })];
  const key2 = [];
  for (let k = 0; k < interfaces; k++) {
    const n = interfaces > 1 ? ` (interface ${k + 1})` : "";
    across.layers.push(line({ x: arrays[`r${k}`], y: arrays[`across${k}`], colour: k ? "teal" : "blue", width: 1.8 }), line({ x: arrays[`r${k}`], y: arrays[`along${k}`], colour: k ? "plum" : "orange", width: 1.8, dash: "dash" }));
    key2.push({ words: `across, tension opens it${n}`, colour: k ? "teal" : "blue" }, { words: `shear along${n}`, colour: k ? "plum" : "orange", kind: "dash" });
  }
  across.setKey(key2);
  across.fitAll();
  across.table(["Radius / nm", "Across / GPa", "Along / GPa"], () => [...arrays.r0].map((r, i) => [r, arrays.across0[i], arrays.along0[i]].map((v) => Number(v.toPrecision(4)))));
}
function largest(corners, values) {
  const order = [...values.keys()].sort((i, j) => values[j] - values[i]).slice(0, 40);
  return order.map((i) => [0, 1].map((c) => Math.round([0, 2, 4, 6].reduce((s, k) => s + corners[8 * i + k + c], 0) / 4)).concat(Number(values[i].toPrecision(3))));
}
// Elements in the colours of their values, on both sides of the axis.
function elements(corners, values, low, high, colours) {
  return { under: true, extent: null, draw(ctx, at) {
    ctx.lineWidth = 0.7 * at.r;
    for (const m of [1, -1]) for (let i = 0; i < values.length; i++) {
      const c = colours[Math.max(0, Math.min(colours.length - 1, Math.floor((values[i] - low) / (high - low) * colours.length)))];
      ctx.fillStyle = ctx.strokeStyle = c; ctx.beginPath();
      for (let k = 0; k < 8; k += 2) ctx[k ? "lineTo" : "moveTo"](at.x(m * corners[8 * i + k]), at.y(corners[8 * i + k + 1]));
      ctx.closePath(); ctx.fill(); ctx.stroke();
    }
  } };
}

if (ask) {
  ask.addEventListener("submit", (e) => e.preventDefault());
  ask.addEventListener("input", (e) => {
    if (e.target === name) { stated = now = null; step = -1; begin().catch(say); return; }
    clearTimeout(timer); turn += 1; timer = setTimeout(look, 350);
    state.setAttribute("aria-busy", "true"); state.className = "soft"; fill(state, "The exact answer is being worked out.");
  });
  onJob((job) => {
    if (job.kind !== "stress") return;
    const over = ["done", "stopped", "failed"].includes(job.state);
    running = over ? "" : job.id;
    if (over) { step = -1; look(); } else if (now && !now.kept) { buttons(); if (!result) nothing(); }
  });
  let version = "";
  onStudy((s) => { if (version && version !== s.version) look(); version = s.version; });
  begin().catch((fault) => { state.removeAttribute("aria-busy"); say(fault); });
}
