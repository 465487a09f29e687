// Every page: theme, who decides, and on pages of a study its state, undo and redo, work, events.
import { get, post } from "./api.js";
import { el, fill, find, faultPart } from "./dom.js";

const root = document.documentElement;
export const key = document.body.dataset.key || null;
export const api = key ? `/api/studies/${encodeURIComponent(key)}` : null;
const kept = (name) => { try { return localStorage.getItem(name) || ""; } catch { return ""; } };
const keep = (name, value) => { try { localStorage.setItem(name, value); } catch { /* not kept */ } };

function themeNow() {
  return root.dataset.theme || (matchMedia("(prefers-color-scheme: dark)").matches ? "dark" : "light");
}
function themeChanged() { document.dispatchEvent(new CustomEvent("drypoint:theme")); }
const themeButton = find("#theme");
function labelTheme() { themeButton.textContent = themeNow() === "dark" ? "Light" : "Dark"; }
themeButton?.addEventListener("click", () => {
  root.dataset.theme = themeNow() === "dark" ? "light" : "dark";
  keep("drypoint-theme", root.dataset.theme);
  labelTheme(); themeChanged();
});
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => { labelTheme(); themeChanged(); });
if (themeButton) labelTheme();

// Who decides. Asked once in each browser; stands on every entry.
export async function who() {
  const name = kept("drypoint-who");
  return name || askWho();
}
export function askWho() {
  return new Promise((done, stop) => {
    const input = el("input", { id: "who-name", autocomplete: "name", required: true, maxlength: 100, value: kept("drypoint-who") });
    const dialog = el("dialog", { "aria-labelledby": "who-title" },
      el("form", { method: "dialog" },
        el("h2", { id: "who-title" }, "Who decides?"),
        el("p", {}, "The name stands with every decision, in the decisions file and in the report."),
        el("div", { class: "field" }, el("label", { for: "who-name" }, "Name"), input),
        el("div", { class: "acts" }, el("button", { class: "main", value: "yes" }, "Go on"),
          el("button", { value: "no", type: "button", onclick: () => dialog.close("no") }, "Cancel"))));
    dialog.addEventListener("close", () => {
      dialog.remove();
      const name = input.value.trim();
      if (dialog.returnValue !== "yes" || !name) return stop(new Stopped());
      keep("drypoint-who", name); showWho(); done(name);
    });
    document.body.append(dialog); dialog.showModal(); input.focus();
  });
}
export function rememberName(name) { if (name && !kept("drypoint-who")) { keep("drypoint-who", name); showWho(); } }
export class Stopped extends Error {}
const whoButton = find("#who");
function showWho() { if (whoButton) whoButton.textContent = kept("drypoint-who") || "Your name"; }
whoButton?.addEventListener("click", () => askWho().catch(() => {}));
showWho();

// State of the study, as the last answer said.
export const study = { version: document.body.dataset.version || "", standing: document.body.dataset.standing || "none", accepted_sha256: document.body.dataset.accepted || "", undo: null, redo: null, decisions: [] };
const listeners = new Set();
export const onStudy = (f) => { listeners.add(f); return () => listeners.delete(f); };
function taken(values) {
  Object.assign(study, values);
  showState();
  for (const f of listeners) f(study);
}
export async function refresh() { if (api) taken(await get(api)); return study; }

export async function decide(decisions) {
  const name = await who();
  const answer = await post(`${api}/decisions`, { version: study.version, decisions: decisions.map((d) => ({ who: name, ...d })) });
  takeAnswer(answer);
  return answer;
}
function takeAnswer({ job, ...values }) { taken(values); if (job) showJob(job); }
export async function turn(which) {
  takeAnswer(await post(`${api}/${which}`, { version: study.version, who: await who() }));
}
export async function startJob(kind, options = {}) {
  return began(await post(`${api}/jobs`, { kind, options }));
}
// Work that an endpoint of a view has begun.
export function began(job) {
  showJob(job);
  return job;
}

// The test that was chosen last: pages and windows of one study share it.
const channel = key && "BroadcastChannel" in self ? new BroadcastChannel(`drypoint:${key}`) : null, chosenListeners = new Set();
export const chosenTest = () => { try { return sessionStorage.getItem(`drypoint-test:${key}`) || ""; } catch { return ""; } };
const keepChosen = (name) => { try { sessionStorage.setItem(`drypoint-test:${key}`, name); } catch { /* not kept */ } };
export const tellChosen = (name) => { if (name !== chosenTest()) { keepChosen(name); channel?.postMessage(name); } };
export const onChosen = (f) => { chosenListeners.add(f); return () => chosenListeners.delete(f); };
channel?.addEventListener("message", (e) => { keepChosen(e.data); for (const f of chosenListeners) f(e.data); });

// The strip: what runs, what is behind, undo and redo, faults.
const strip = find("#strip"), work = el("span", { role: "status" }), standing = el("span"), turns = el("span", { class: "row" }), trouble = find("#trouble");
if (strip) strip.append(standing, work, turns);
const WORDS = { current: "Results are up to date", older: "Results are from before the last change", none: document.body.dataset.work === "calibrate" ? "Not calibrated yet" : "Not run yet" };
let jobNow = null;
function showState() {
  if (!strip) return;
  fill(standing, el("span", { class: `state ${study.standing}` }, study.standing === "none" && study.accepted_sha256 ? "No results here yet" : WORDS[study.standing]), " ",
    study.standing !== "current" && !jobNow && el("button", { class: study.standing === "none" ? "main" : "", onclick: () => startJob(document.body.dataset.work || "run").catch(say) }, document.body.dataset.work === "calibrate" ? "Calibrate" : "Run"));
  const one = (which, d) => d && el("button", { class: "plain", onclick: () => turn(which).catch(say), title: d.why },
    `${which === "undo" ? "Undo" : "Redo"}: ${d.what.replaceAll("_", " ")} ${d.test || ""}`);
  fill(turns, one("undo", study.undo), one("redo", study.redo));
}
export function say(fault) {
  if (fault instanceof Stopped) return;
  if (!trouble) { alert(fault.message); return; }
  const part = faultPart(fault);
  part.append(el("div", { class: "acts" }, fault.status === 409 && el("button", { class: "main", onclick: () => location.reload() }, "Reload the page"),
    el("button", { onclick: () => fill(trouble) }, "Close")));
  fill(trouble, part); part.scrollIntoView({ block: "nearest" });
}
export function clearTrouble() { if (trouble) fill(trouble); }

const jobListeners = new Set();
export const onJob = (f) => { jobListeners.add(f); return () => jobListeners.delete(f); };
const NAMES = { run: "Running the study", report: "Writing the report", calibrate: "Calibrating", sign: "Signing", accept: "Accepting the calibration", stress: "Computing the stress" };
function showJob(job) {
  const over = ["done", "stopped", "failed"].includes(job.state);
  if (!over || jobNow?.id === job.id) {
    jobNow = over ? null : job;
    if (over) fill(work, job.state === "stopped" ? "Stopped; earlier results are unchanged." : "");
    else fill(work, `${NAMES[job.kind] || job.kind}: ${job.stage || "waiting"} ${job.words} `,
      el("progress", job.total ? { max: job.total, value: job.done, "aria-label": "progress" } : { "aria-label": "progress" }), " ",
      el("button", { class: "plain", onclick: () => post(`/api/jobs/${job.id}/stop`, {}).catch(say) }, "Stop"));
    showState();
  }
  if (job.state === "failed") say({ values: job.error, message: job.error?.text });
  for (const f of jobListeners) f(job);
  if (job.state === "done") refresh().catch(say);
}

// A page that has nothing to show yet is loaded again when there are results: at the end of a run, or
// at once where the run ended before this page heard of it.
export function loadWithResults() {
  onJob((job) => { if (job.state === "done" && job.kind === "run") location.reload(); });
  const look = (s) => { if (document.body.dataset.standing === "none" && s.standing !== "none") location.reload(); };
  onStudy(look);
  look(study); // the answer may have come before this module
}

let source = null, tries = 0;
function listen() {
  if (!api || source || document.hidden) return;
  source = new EventSource(`${api}/events`);
  source.addEventListener("open", () => { if (tries) refresh().catch(() => {}); tries = 0; });
  source.addEventListener("job", (e) => showJob(JSON.parse(e.data)));
  source.addEventListener("study", (e) => {
    const now = JSON.parse(e.data);
    if (now.fault) say({ message: now.fault });
    else refresh().catch(say);
  });
  source.addEventListener("error", () => { tries += 1; });
}
document.addEventListener("visibilitychange", () => {
  if (document.hidden) { source?.close(); source = null; } else { listen(); refresh().catch(() => {}); }
});
if (api && document.body.dataset.version) {
  showState();
  // Work that began before this page was (re)loaded.
  get(`${api}/jobs`).then((jobs) => jobs.filter((j) => !["done", "stopped", "failed"].includes(j.state)).forEach(showJob)).catch(() => {});
  refresh().catch(say);
  listen();
}

document.addEventListener("keydown", (e) => {
  if (!api || !(e.ctrlKey || e.metaKey) || e.altKey || /^(INPUT|TEXTAREA|SELECT)$/.test(e.target.tagName)) return;
  const which = e.key === "z" && !e.shiftKey ? "undo" : e.key === "y" || (e.key.toLowerCase() === "z" && e.shiftKey) ? "redo" : null;
  if (which && study[which]) { e.preventDefault(); turn(which).catch(say); }
});

// A dialog that asks for a reason; gives the text, or stops.
export function askReason(title, words, more = null) {
  return new Promise((done, stop) => {
    const input = el("textarea", { id: "reason-text", rows: 3, required: true, maxlength: 1000 });
    const dialog = el("dialog", { "aria-labelledby": "reason-title" },
      el("form", { method: "dialog" },
        el("h2", { id: "reason-title" }, title), words && el("p", {}, words), more,
        el("div", { class: "field" }, el("label", { for: "reason-text" }, "Reason (it stands in the report)"), input),
        el("div", { class: "acts" }, el("button", { class: "main", value: "yes" }, "Write the decision"),
          el("button", { type: "button", onclick: () => dialog.close("no") }, "Cancel"))));
    dialog.addEventListener("close", () => {
      dialog.remove();
      const text = input.value.trim();
      if (dialog.returnValue === "yes" && text) done(text); else stop(new Stopped());
    });
    document.body.append(dialog); dialog.showModal(); input.focus();
  });
}

// Buttons that copy: <button data-copy="text"> or with copied(text).
export async function copyText(text, button) {
  try { await navigator.clipboard.writeText(text); } catch {
    const area = el("textarea", { class: "visually-hidden" }); area.value = text;
    document.body.append(area); area.select(); document.execCommand("copy"); area.remove();
  }
  if (button) { const was = button.textContent; button.textContent = "Copied"; setTimeout(() => { button.textContent = was; }, 1500); }
}
