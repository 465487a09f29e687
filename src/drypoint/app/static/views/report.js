// The report: preview, files, signing, and whether signatures hold.
import { get, post, query } from "../api.js";
import { el, fill, find } from "../dom.js";
import { api, began, copyText, onJob, onStudy, rememberName, say, startJob } from "../shell.js";

const version = find("#version"), files = find("#files"), signing = find("#signing"), list = find("#list"), signed = find("#signed"), preview = find("#preview");
let now = null, checks = {}, shown = "", busy = "", draft = { who: null, why: "", ledger: null, meaning: "approval" };

const address = (kind, values) => `${api}/report/${kind}?${query(values)}`;
const at = (when) => `${when.slice(0, 10)} ${when.slice(11, 16)} UTC`;
const button = (words, onclick, main = false, more = {}) => el("button", { onclick, class: main ? "main" : "", ...more }, words);
const link = (words, values) => el("a", { class: "button", href: address("file", values), download: true }, words);

async function load() {
  now = await get(`${api}/report/standing`);
  show();
}
function write() { startJob("report").catch(say); }

function show() {
  version.removeAttribute("aria-busy");
  const last = now.signatures.at(-1), ready = now.standing === "current";
  fill(version,
    el("p", {}, el("strong", {}, `Version ${now.version}`), now.signed.length ? ", signed by " + now.signed.join(", ") : ", not signed"),
    now.changes.length > 0 && [el("p", {}, `Version ${last.version} was signed by ${last.who}, ${at(last.when)}. Changed since:`), el("ul", {}, now.changes.map((c) => el("li", {}, c)))]);
  fill(files,
    ready && (now.written ? button("Write it again", write, false, { disabled: Boolean(busy) }) : button("Write the report", write, !now.signed.length, { disabled: Boolean(busy) })),
    now.written && link("HTML", { name: "report.html" }), now.pdf && link("PDF", { name: "report.pdf" }),
    ready && el("button", { class: "plain", onclick: (e) => copyText(now.report_command, e.target) }, "Copy as command"),
    ready && el("button", { class: "plain", onclick: (e) => copyText(now.python, e.target) }, "Copy as Python"));
  form(ready);
  signed.hidden = !now.signatures.length;
  fill(list, now.signatures.toReversed().map(one));
  showPreview(ready);
}

function form(ready) {
  if (!ready) return fill(signing, el("p", { class: "soft" }, "What is signed are results of the study as it is now. Run it first."));
  if (signing.contains(document.activeElement) && signing.querySelector("form")) return state();
  const name = el("input", { id: "sign-who", autocomplete: "name", required: true, maxlength: 200, value: draft.who ?? "" });
  const why = el("input", { id: "sign-why", required: true, maxlength: 1000, value: draft.why, placeholder: "what you checked" });
  const ledger = el("input", { id: "sign-ledger", type: "checkbox", checked: draft.ledger });
  const meaning = el("select", { id: "sign-meaning" }, ["author", "review", "approval"].map((m) => el("option", { value: m, selected: m === draft.meaning }, m)));
  const secret = el("input", { id: "sign-secret", type: "password", autocomplete: "current-password", maxlength: 1000 });
  const keep = () => { draft = { who: name.value, why: why.value, ledger: ledger.checked, meaning: meaning.value }; state(); };
  if (draft.ledger === null) draft.ledger = ledger.checked = now.enter;
  if (draft.who === null) { try { name.value = localStorage.getItem("drypoint-who") || ""; } catch { /* nothing kept */ } draft.who = name.value; }
  const part = el("form", { oninput: keep, onsubmit: (e) => { e.preventDefault(); sign().catch(say); } },
    el("p", { class: "soft small" }, `Report, recipe, decisions and the hashes of raw files and results are kept with the signature. Whatever changes later makes version ${now.version + 1}.`),
    el("div", { class: "field" }, el("label", { for: "sign-who" }, "Name"), name),
    el("div", { class: "field" }, el("label", { for: "sign-why" }, "Remark (it stands in the report)"), why),
    el("div", { class: "field" }, el("label", { for: "sign-meaning" }, "Meaning"), meaning),
    el("div", { class: "field" }, el("label", { for: "sign-secret" }, "Passphrase of your key (optional)"), secret,
      el("div", { class: "soft small" }, "Without a key the signature proves integrity only. A key is made with: drypoint key new")),
    el("div", { class: "field" }, el("span", { class: "label" }, "Date"), el("span", {}, `${new Date().toISOString().slice(0, 10)}, set at the moment of signing (UTC)`)),
    el("div", {}, ledger, " ", el("label", { for: "sign-ledger" }, "Enter it into the laboratory’s ledger too"), el("div", { class: "soft small mono" }, now.ledger)),
    el("div", { class: "acts" }, el("button", { class: "main", id: "sign-now" }, `Sign version ${now.version}`),
      el("button", { type: "button", class: "plain", onclick: (e) => copyText(command(), e.target) }, "Copy as command"),
      el("button", { type: "button", class: "plain", onclick: (e) => copyText(python(), e.target) }, "Copy as Python")),
    el("p", { class: "soft small", id: "sign-note" }));
  fill(signing, part);
  state();
}
const quoted = (text) => `'${text.replaceAll("'", "'\\''")}'`;
const command = () => `${now.command} ${quoted(draft.who)} --why ${quoted(draft.why)} --as ${draft.meaning}${find("#sign-secret")?.value ? " --key" : ""}${draft.ledger ? "" : " --no-ledger"}`;
const python = () => ["from drypoint import sign_study", draft.ledger && "from drypoint.ledger import Ledger", "", "sign_study(", `    ${JSON.stringify(now.study)},`,
  `    who=${JSON.stringify(draft.who)},`, `    why=${JSON.stringify(draft.why)},`, `    meaning=${JSON.stringify(draft.meaning)},`, draft.ledger && "    ledger=Ledger.open(),", ")"].filter((l) => l !== false).join("\n");
function state() {
  const done = now.signed.includes(draft.who.trim()), go = find("#sign-now"), note = find("#sign-note");
  if (!go) return;
  go.textContent = `Sign version ${now.version}`;
  const unseen = !now.written && !now.signed.length;
  go.disabled = Boolean(busy) || done || unseen || !draft.who.trim() || !draft.why.trim();
  note.textContent = done ? `${draft.who.trim()} has signed version ${now.version} already.` : unseen ? "Write the report and look at it first." : !draft.who.trim() || !draft.why.trim() ? "A signature needs a name and a remark." : "";
}
async function sign() {
  rememberName(draft.who.trim());
  began(await post(`${api}/report/sign`, { version: now.state, who: draft.who.trim(), why: draft.why.trim(), ledger: draft.ledger, meaning: draft.meaning, passphrase: find("#sign-secret").value }));
  find("#sign-secret").value = "";
}

function one(s) {
  const c = checks[s.number], older = s.version !== now.version;
  return el("li", {},
    el("p", {}, el("strong", {}, `Version ${s.version}`), ` · ${s.words}`),
    el("p", { class: "soft small seal" }, "Seal ", el("span", { class: "mono" }, s.seal.slice(0, 16))),
    c && c.notes.length > 0 && el("ul", { class: "soft small" }, c.notes.map((n) => el("li", {}, n))),
    c ? el("p", { class: c.broken ? "broken" : c.holds ? "holds" : "changed" }, `${c.broken ? "✕" : c.holds ? "✓" : "○"} It ${c.words}`) : older && el("p", { class: "changed" }, "○ An earlier version; the study has changed since."),
    el("div", { class: "acts" },
      button("Show", () => { shown = String(s.number); showPreview(true); }, false, { "aria-label": `Show signed report ${s.number}` }),
      link("HTML", { name: "report.html", signature: s.number }), link("PDF", { name: "report.pdf", signature: s.number })));
}

function showPreview(ready) {
  const newest = now.signatures.at(-1), latest = !now.written && newest?.version === now.version ? newest : null;
  const mine = (shown && now.signatures.find((s) => String(s.number) === shown)) || latest;
  if (!mine && !now.written) {
    return fill(preview, el("div", { class: "empty" },
      el("p", {}, busy ? "The report is being written." : ready ? "The report of this state of the study has not been written yet." : "There are no results of this state of the study yet. Run it first."),
      ready && !busy && button("Write the report", write, true)));
  }
  const values = mine ? { name: "report.html", signature: mine.number } : { name: "report.html" };
  const stamp = mine ? mine.hash : `${now.state}-${now.signatures.length}-${wrote}`, title = mine ? `Signed report, version ${mine.version}, ${mine.who}` : "Report of the study as it is now";
  if (find("iframe", preview)?.dataset.stamp === stamp) return;
  fill(preview,
    mine && el("p", {}, title + ". ", now.written && el("button", { class: "plain", onclick: () => { shown = ""; showPreview(ready); } }, "Back to the report as it is now")),
    el("iframe", { src: address("page", values), title, sandbox: "", "data-stamp": stamp }));
}

let wrote = 0;
onJob((job) => {
  const over = ["done", "stopped", "failed"].includes(job.state);
  if (!["report", "sign"].includes(job.kind)) return;
  busy = over ? "" : job.id;
  if (job.state === "done") {
    wrote += 1; checks = {};
    if (job.kind === "sign") shown = String(job.outcome.number);
    load().catch(say);
  } else if (now) show();
});
onStudy(() => load().catch(say));
find("#check").addEventListener("click", async (e) => {
  e.target.disabled = true;
  try {
    checks = Object.fromEntries((await get(`${api}/report/check`)).checks.map((c) => [c.number, c]));
    show();
  } catch (fault) { say(fault); } finally { e.target.disabled = false; }
});
load().catch(say);
