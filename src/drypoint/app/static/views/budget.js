// The budget of one number on a page of its own; which number stands in the address.
import { get, query } from "../api.js";
import { el, faultPart, fill, find } from "../dom.js";
import { budgetPart, fetchBudget } from "../budget.js";
import { api, chosenTest, loadWithResults, onJob } from "../shell.js";

const place = find("#budget"), form = find("#choice");
let turn = 0;

async function show() {
  const mine = ++turn;
  if (location.search.length < 2) return;
  place.setAttribute("aria-busy", "true");
  let part;
  try { const d = await fetchBudget(location.search); part = budgetPart(d, { level: 1 }); } catch (fault) { part = [faultPart(fault)]; }
  if (mine === turn) { fill(place, part); place.removeAttribute("aria-busy"); }
}
function choose(values) {
  history.replaceState(null, "", `?${query(values)}`);
  show();
}
if (form) {
  const given = Object.fromEntries(new URLSearchParams(location.search));
  if (!given.symbol) {
    const test = chosenTest(), first = form.specimen.options[1]?.value;
    if (test) Object.assign(given, { test, symbol: "H_IT" }); else if (first) Object.assign(given, { specimen: first, symbol: "H_IT" });
    if (given.symbol) history.replaceState(null, "", `?${query(given)}`);
  }
  form.specimen.value = given.specimen || ""; form.test.value = given.test || ""; if (given.symbol) form.symbol.value = given.symbol;
  form.addEventListener("submit", (e) => e.preventDefault());
  form.addEventListener("change", (e) => {
    if (e.target === form.specimen && form.specimen.value) form.test.value = "";
    if (e.target === form.test && form.test.value) form.specimen.value = "";
    if (form.specimen.value || form.test.value) choose({ specimen: form.specimen.value, test: form.test.value.trim(), symbol: form.symbol.value });
  });
  let asked = 0;
  form.test.addEventListener("input", () => {
    clearTimeout(asked);
    asked = setTimeout(async () => { try { const a = await get(`${api}/tests/table?${query({ q: form.test.value, size: 30 })}`); fill(find("#tests"), a.rows.map((r) => el("option", { value: r.test }))); } catch { /* no list then */ } }, 150);
  });
  show();
}
onJob((job) => { if (job.state === "done" && job.kind === "run") { if (form) show(); } });
if (!form) loadWithResults();
