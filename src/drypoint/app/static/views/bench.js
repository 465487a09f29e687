// Tip and frame: what a calibration found and who accepts it; tips of a study as used.
import { get, getBuffer, post } from "../api.js";
import { el, faultPart, fill, find, plural } from "../dom.js";
import { sectionPart } from "../blocks.js";
import { drawLedger } from "../ledger.js";
import { Plot, SERIES, band, level, line, points, short, span } from "../plot.js";
import { Stopped, api, askReason, decide, onJob, onStudy, say, startJob, study, who } from "../shell.js";

const found = find("#found"), tips = find("#tips");
const MARKS = ["disc", "square", "diamond", "triangle"];
const VERDICTS = { pass: "Pass: the bench agrees with every block", fail: "Fail: the bench does not agree with a block", undecided: "Undecided: the comparison cannot tell", "not verified": "Not verified: no block was tested" };
let picked = -1, plots = [], shown = null, asked = false;

async function showFound() {
  found.setAttribute("aria-busy", "true");
  let d = null, fault = null;
  try { d = await getBuffer(`${api}/bench/found`); } catch (e) { fault = e; }
  found.removeAttribute("aria-busy");
  if (d) { asked = false; shown = d; drawFound(d); return; }
  if (fault.status !== 404) { fill(found, faultPart(fault)); return; }
  const { standing, accepted } = await get(`${api}/bench/accepted`);
  // Calibrated or accepted elsewhere, for example on the command line: computed here to be shown.
  const known = standing === "current" || accepted?.same, goes = known && !asked;
  fill(found, accepted && el("p", {}, acceptedWords(accepted), !accepted.same && " The study was changed since."),
    goes ? el("p", { class: "soft" }, "What it found is computed again from its tests, to be shown here.")
      : [el("p", {}, fault.values.what, " Calibrating reads the reference tests, finds area function and frame compliance together, and verifies them on the blocks. Nothing is accepted by it."),
        el("div", { class: "acts" }, el("button", { class: "main", onclick: () => startJob("calibrate").catch(say) }, "Calibrate"))]);
  if (goes) { asked = true; await startJob("calibrate"); }
}
const acceptedWords = (a) => [`Accepted by ${a.accepted_by}, ${a.accepted_on.replace("T", " ").replace("Z", " UTC")}: ${a.why}${a.accepted_despite ? `; in spite of serious findings: ${a.accepted_despite}` : ""}. `,
  el("span", { class: "soft" }, `${a.file}, SHA-256 `, el("span", { class: "mono hash" }, a.sha256))];

function drawFound(d) {
  const serious = d.findings.filter((f) => f.serious), acc = d.acceptance, a = d.arrays;
  const standing = acc.now
    ? el("p", {}, acceptedWords({ ...acc.now, file: acc.file, sha256: acc.sha256 }))
    : el("p", {}, "Not accepted by anybody yet. ", acc.before.accepted_by && el("span", { class: "soft" }, `${acc.file} holds an earlier one, accepted by ${acc.before.accepted_by}, ${acc.before.accepted_on.replace("T", " ").replace("Z", " UTC")}.`));
  const charts = el("div", { class: "pair charts" }), oneTest = el("div", { class: "one-test", "aria-live": "polite" });
  fill(found,
    el("p", { class: `verdict ${d.verdict === "not verified" ? "none" : d.verdict}` }, VERDICTS[d.verdict]), standing,
    el("div", { class: "acts" }, !acc.now && el("button", { class: "main", onclick: () => askAccept(d, serious).catch(say) }, serious.length ? "Accept in spite of findings…" : "Accept…"), el("button", { onclick: () => startJob("calibrate").catch(say) }, "Calibrate again")),
    d.findings.length > 0 && el("section", { "aria-label": "Findings" }, el("h2", {}, "Findings"), d.findings.map((f) => el("div", { class: `finding ${f.serious ? "serious" : ""}` }, el("b", {}, f.serious ? "Serious. " : ""), f.sentence, " ", el("span", { class: "soft" }, f.next)))),
    el("p", { class: "soft" }, `Reference materials: ${d.references.join("; ")}.`),
    el("p", { class: "soft" }, `Tip and frame told apart by ${d.identified_by.join("; ")}; ${plural(d.labels.length, "unloading")}.`),
    charts, oneTest,
    d.excluded.length > 0 && el("section", {}, el("h2", {}, "Left out"), el("ul", { class: "sentences" }, d.excluded.map(([t, why]) => el("li", {}, `${t}: ${why} `, el("button", { class: "plain", onclick: () => exclude(t, true) }, "Include again…"))))),
    el("h2", {}, "In full"), d.sections.filter((s) => s.blocks.length && s.key !== "findings").map((s) => {
      const part = sectionPart(s, { level: 2 }); part.querySelector("h2")?.remove();
      return el("details", { class: "section", open: s.key === "verdict" }, el("summary", {}, s.title), el("div", {}, part));
    }));
  plots = [];
  const which = Array.from(a.test), label = (i) => `${d.names[i]}`;
  const at = (values, unit, i) => { const k = which.indexOf(i); return k < 0 ? "" : `${d.labels[k]}, ${d.materials[a.material[k]]}: ${short(values[k])}${unit} at ${short(a.x[k])} nm`; };
  const dots = (values, u = null) => d.materials.map((m, j) => {
    const rows = which.map((_, k) => k).filter((k) => a.material[k] === j), pick = (v) => Float64Array.from(rows, (k) => v[k]);
    const l = points({ x: pick(a.x), y: pick(values), u, which: rows.map((k) => which[k]), colour: SERIES[(j + 1) % SERIES.length], size: 3, shape: MARKS[j % MARKS.length] });
    l.count = d.names.length; return l;
  });
  const chart = (title, y, values, unit, layers, key) => {
    const host = el("div"); charts.append(host);
    const plot = new Plot(host, { title, x: "Contact depth / nm", y, height: 300, xLog: true, name: label, describe: (i) => at(values, unit, i) });
    plot.hidden = Uint8Array.from(d.names, (_, i) => (which.includes(i) ? 0 : 1));
    for (const l of layers) plot.add(l);
    for (const l of dots(values)) plot.add(l);
    plot.setKey([...key, ...d.materials.map((m, j) => ({ words: m, colour: SERIES[(j + 1) % SERIES.length], kind: "point" }))]);
    plot.fitAll();
    plot.onPick = (i) => pick(i);
    plot.onHover = (i) => plots.forEach((p) => p !== plot && p.hover(i));
    plot.table(["Unloading", "Material", "Contact depth / nm", y], () => which.map((_, k) => [d.labels[k], d.materials[a.material[k]], short(a.x[k]), short(values[k])]));
    plots.push(plot);
  };
  chart(`Area against the ideal ${d.shape}`, "Area / ideal area", a.seen, "", [band({ x: a.h, low: a.low, high: a.high }), line({ x: a.h, y: a.ratio, colour: "blue", width: 2 }), level({ value: 1, colour: "ink" })],
    [{ words: "area function found", colour: "blue" }, { words: "± 2u", colour: "blue", kind: "band" }, { words: `ideal ${d.shape}`, colour: "ink", kind: "dash" }]);
  chart("Residuals of the contact compliance", "Residual / standard uncertainty", a.z, " u", [level({ value: 0, dash: "", colour: "soft" }), level({ value: 2, colour: "ink" }), level({ value: -2, colour: "ink" })], [{ words: "± 2 standard uncertainties", colour: "ink", kind: "dash" }]);
  chart("Hardness of the reference tests", "Indentation hardness / GPa", a.H, " GPa", [], []);
  chart("Force over stiffness squared (needs no area)", "F/S² / (10⁻³/GPa)", a.FS2.map((v) => 1e3 * v), "", [], []);
  d.blocks.forEach((b, i) => blockChart(charts, d, b, i));

  function pick(i) {
    picked = i; for (const p of plots) p.choose(i);
    const rows = which.map((t, k) => (t === i ? k : -1)).filter((k) => k >= 0);
    fill(oneTest, el("h3", {}, d.names[i]), el("p", {}, rows.map((k) => `${d.labels[k]}: residual ${short(a.percent[k], 2)} %, ${short(a.z[k], 2)} standard uncertainties`).join("; ")),
      el("div", { class: "acts" }, el("button", { onclick: () => exclude(d.names[i], false) }, "Exclude…")));
  }
}
function blockChart(charts, d, b, i) {
  const host = el("div"); charts.append(host);
  const y = d.arrays[`block${i}`], u = d.arrays[`u_block${i}`], n = y.length, x = Float64Array.from(y, (_, k) => k + 1);
  const plot = new Plot(host, { title: `Block ${b.block}, ${b.meaning}: ${b.verdict}`, x: "Test on the block, the mean last", y: `${b.meaning[0].toUpperCase()}${b.meaning.slice(1)} / ${b.unit}`, height: 300, xText: (v) => (Number.isInteger(v) && v >= 1 && v <= n ? String(v) : ""),
    name: (k) => b.tests[k], describe: (k) => `${b.tests[k]}: ${short(y[k])} ± ${short(u[k], 2)} ${b.unit}` });
  plot.add(band({ x: [0.5, n + 1.5], low: [b.certified - b.U, b.certified - b.U], high: [b.certified + b.U, b.certified + b.U], colour: "teal", alpha: 0.22 }));
  plot.add(line({ x: [0.5, n + 1.5], y: [b.certified, b.certified], colour: "teal" }));
  for (const v of b.limits) { plot.add(line({ x: [0.5, n + 1.5], y: [v, v], colour: "ink", dash: "dash", width: 1 })); }
  plot.add(points({ x, y, u, colour: "blue", size: 3.4 }));
  const mean = points({ x: [n + 1], y: [b.mean], u: [b.u_mean], colour: "orange", shape: "diamond", size: 4.4, which: [-2] }); mean.spots = null; mean.count = 0;
  plot.add(mean);
  plot.setKey([{ words: "test, random u", colour: "blue", kind: "point" }, { words: "mean ± u", colour: "orange", kind: "point" }, { words: "certificate ± U", colour: "teal", kind: "band" }, { words: "limits of the error", colour: "ink", kind: "dash" }]);
  plot.fitAll();
  plot.table(["Test", `${b.quantity} / ${b.unit}`, "random u"], () => b.tests.map((t, k) => [t, short(y[k]), short(u[k], 2)]));
  host.append(el("p", { class: "soft small" }, b.reasons.join(" ")));
}

async function exclude(test, back) {
  try {
    const why = await askReason(back ? `Include ${test} again` : `Exclude ${test}`, back ? "It counts in the calibration again." : "It is left out of the calibration. A reason is what went wrong in the test; “far from the curve” is none.");
    await decide([{ what: back ? "include" : "exclude", test, why }]);
  } catch (fault) { say(fault); }
}

async function askAccept(d, serious) {
  const name = await who();
  const why = el("textarea", { id: "accept-why", rows: 2, required: true, maxlength: 1000 }); why.value = "looked at and accepted";
  const despite = serious.length > 0 && el("textarea", { id: "accept-despite", rows: 2, required: true, maxlength: 1000 });
  const book = el("input", { type: "checkbox", id: "accept-ledger", checked: true });
  await new Promise((done, stop) => {
    const dialog = el("dialog", { "aria-labelledby": "accept-title" }, el("form", { method: "dialog" },
      el("h2", { id: "accept-title" }, "Accept this calibration"),
      el("p", {}, `As ${name}. It is written to ${d.acceptance.file}; studies that name the file use it from then on.`),
      serious.length > 0 && el("ul", { class: "sentences" }, serious.map((f) => el("li", {}, f.sentence))),
      el("div", { class: "field" }, el("label", { for: "accept-why" }, "Reason (it stands in the file and in the ledger)"), why),
      despite && el("div", { class: "field" }, el("label", { for: "accept-despite" }, "Reason for accepting it in spite of the serious findings"), despite),
      el("div", { class: "field" }, el("label", { for: "accept-ledger" }, book, " Enter it in the ledger: tip, frame, certificates, calibration, verifications")),
      el("div", { class: "acts" }, el("button", { class: "main", value: "yes" }, "Accept"), el("button", { type: "button", onclick: () => dialog.close("no") }, "Cancel"))));
    dialog.addEventListener("close", () => { dialog.remove(); if (dialog.returnValue === "yes") done(); else stop(new Stopped()); });
    document.body.append(dialog); dialog.showModal(); why.focus();
  });
  await post(`${api}/bench/accept`, { version: d.version, proposal: d.proposal, who: name, why: why.value.trim(), despite: despite ? despite.value.trim() : "", ledger: book.checked });
}

// Tips of a study of specimens, as used.
async function showTips() {
  tips.setAttribute("aria-busy", "true");
  try {
    const d = await getBuffer(`${api}/bench/tips`), a = d.arrays;
    fill(tips, d.tips.map((t, i) => {
      const host = el("div"), said = t.said || {};
      const part = el("section", {}, el("h2", {}, `Tip ${t.tip}, ${t.frame}`), el("div", { class: "pair" }, host, el("dl", { class: "pairs" },
        el("dt", {}, "Shape"), el("dd", {}, t.shape), el("dt", {}, "Area function"), el("dd", {}, t.kind), el("dt", {}, "Used at"), el("dd", {}, t.depths ? `${short(t.depths[0], 3)} to ${short(t.depths[1], 3)} nm contact depth, ${plural(t.unloadings, "unloading")}` : "no depth"),
        t.file ? [el("dt", {}, "Calibration"), el("dd", {}, said.name || "", el("br"), el("span", { class: "mono" }, t.file), el("br"), el("span", { class: "mono hash" }, t.sha256)),
          said.accepted_by && [el("dt", {}, "Accepted"), el("dd", {}, `by ${said.accepted_by}, ${said.accepted_on.replace("T", " ").replace("Z", " UTC")}${said.why ? `: ${said.why}` : ""}`)],
          said.valid_until && [el("dt", {}, "May be used until"), el("dd", {}, said.valid_until)],
          t.identified_by?.length > 0 && [el("dt", {}, "Told apart by"), el("dd", {}, t.identified_by.join("; "))],
          t.verified?.length > 0 && [el("dt", {}, "Verified"), el("dd", {}, t.verified.join("; "))]]
        : [el("dt", {}, "Declared"), el("dd", {}, t.declared || "in the study file")])));
      if (t.depths) {
        const h = a[`h${i}`], plot = new Plot(host, { title: `Area against the ideal ${t.shape}`, x: "Contact depth / nm", y: "Area / ideal area", height: 300, xLog: true });
        plot.add(span({ from: t.depths[0], to: t.depths[1] }));
        plot.add(band({ x: h, low: a[`low${i}`], high: a[`high${i}`] })); plot.add(line({ x: h, y: a[`ratio${i}`], colour: "blue", width: 2 })); plot.add(level({ value: 1, colour: "ink" }));
        plot.setKey([{ words: "as used", colour: "blue" }, { words: "± 2u", colour: "blue", kind: "band" }, { words: `ideal ${t.shape}`, colour: "ink", kind: "dash" }, { words: "depths of the tests", colour: "ghost", kind: "band" }]);
        plot.fitAll();
        plot.table(["Contact depth / nm", "Area / ideal area", "− 2u", "+ 2u"], () => Array.from(h, (x, k) => [short(x), short(a[`ratio${i}`][k]), short(a[`low${i}`][k]), short(a[`high${i}`][k])]));
      }
      return part;
    }));
  } catch (fault) { fill(tips, fault.status === 404 && study.standing === "none" ? [] : faultPart(fault)); }
  tips.removeAttribute("aria-busy");
}

const again = () => (found ? showFound() : showTips()).catch(say);
again();
drawLedger(find("#control"), find("#entries"));
const stateKey = (s) => `${s.version} ${s.accepted_sha256}`;
let seen = stateKey(study);
onStudy((s) => {
  if (seen !== stateKey(s) && found) { again(); drawLedger(find("#control"), find("#entries")); }
  seen = stateKey(s);
});
onJob((job) => {
  if (job.state !== "done") return;
  if (["run", "calibrate", "accept"].includes(job.kind)) again();
  if (job.kind === "accept") drawLedger(find("#control"), find("#entries"));
});
