// The uncertainty of one number: beside the page where it stands (a click on the number), or on a
// page of its own. Whatever links to “…/budget?…” opens the panel; with Ctrl it opens the page.
import { get } from "./api.js";
import { el, faultPart, fill, plural, symbol } from "./dom.js";
import { api, copyText, key, onJob } from "./shell.js";

export const budgetLink = (values) => `/studies/${encodeURIComponent(key)}/budget?${new URLSearchParams(values)}`;

// A number that opens its budget: numberLink(["12.3", " GPa"], { test, symbol }, "Hardness").
export const numberLink = (words, values, meaning = "") =>
  el("a", { class: "num", href: budgetLink(values), title: `Where this comes from${meaning && `: ${meaning}`}` }, words);

export const fetchBudget = (search) => get(`${api}/budget${search}`);

// Everything about one number, as elements.
export function budgetPart(d, { level = 2 } = {}) {
  const h = (words) => el(`h${level + 1}`, {}, words), unit = d.unit ? ` ${d.unit}` : "";
  return [el("div", { class: "made" },
    el("p", { class: "answer" }, d.interval.length ? `${d.value} ± ${d.u}${unit}` : [symbol(d.symbol), ` = ${d.value_with_U} ± ${d.U}${unit}`]),
    el("p", { class: "soft" }, `${d.meaning[0].toUpperCase()}${d.meaning.slice(1)} of ${d.of}. `, d.interval.length
      ? `± is the standard uncertainty. The interval for ${d.level} % goes from ${d.interval.join(" to ")}${unit}; it is not symmetric.`
      : `± is the expanded uncertainty, k = ${d.k} for ${d.level} % with ${d.dof} effective degrees of freedom.`),
    el("dl", { class: "pairs" }, el("dt", {}, "Standard uncertainty"), el("dd", {}, `${d.u}${unit} (${d.relative} %)`),
      el("dt", {}, "Random part"), el("dd", {}, `${d.u_random}${unit}`), el("dt", {}, "Systematic part"), el("dd", {}, `${d.u_systematic}${unit}`)),
    h("What it is made of"), sharesTable(d),
    d.small.n > 0 && el("p", { class: "soft small" }, `${plural(d.small.n, "input")} with shares below ${d.small.below} % not shown.`),
    d.exact.length > 0 && el("p", { class: "soft small" }, `Taken as exact: ${d.exact.join(", ")}.`),
    d.pairs.length > 0 && [h("Correlated inputs"), pairsTable(d)],
  ), el("div", { class: "from" }, h("Where it comes from"), chainPart(d),
    d.decisions.length > 0 && [h("Decisions on this test"), el("ul", { class: "plainlist" }, d.decisions.map((c) => el("li", {}, `${c.what.replaceAll("_", " ")}: ${c.why} `, el("span", { class: "soft" }, `(${c.who}, ${c.when.replace("T", " ").replace("Z", " UTC")})`))))],
    el("div", { class: "acts" }, el("button", { onclick: (e) => copyText(d.python, e.target) }, "Copy as Python"))),
  ];
}

function sharesTable(d) {
  const low = Math.min(0, ...d.rows.map((r) => r.share)), high = Math.max(...d.rows.map((r) => r.share), 1), wide = high - low;
  const bar = (r) => {
    const fillPart = el("span", { class: `fill ${r.kind}` }), zero = el("span", { class: "zero" });
    fillPart.style.left = `${100 * (Math.min(r.share, 0) - low) / wide}%`;
    fillPart.style.width = `${100 * Math.abs(r.share) / wide}%`;
    zero.style.left = `${100 * -low / wide}%`;
    return el("span", { class: "bar", "aria-hidden": "true" }, fillPart, zero);
  };
  const scroll = el("div", { class: "wide", tabindex: 0, role: "region", "aria-label": "Inputs and their shares" },
    el("table", { class: "shares" },
      el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "Input"), el("th", { scope: "col", class: "n", colspan: 2 }, "Share of the variance / %"), el("th", { scope: "col", class: "n" }, "Contribution", d.unit && ` / ${d.unit}`), el("th", { scope: "col", class: "n", title: "degrees of freedom" }, "ν"))),
      el("tbody", {}, d.rows.map((r) => el("tr", {},
        el("th", { scope: "row" }, r.words, r.kind === "systematic" && el("span", { class: "own" }, ` ${r.value} ± ${r.u}${r.unit && ` ${r.unit}`}`), el("div", { class: "soft small" }, `${r.kind}; ${r.origin}`)),
        el("td", { class: "barcell" }, bar(r)), el("td", { class: "n" }, r.share_text),
        el("td", { class: "n" }, r.contribution),
        el("td", { class: "n" }, r.dof))))));
  return [scroll, el("ul", { class: "key small" }, el("li", {}, el("span", { class: "swatch random" }), "random: this number's own"), el("li", {}, el("span", { class: "swatch systematic" }), "systematic: shared by all tests"))];
}

function pairsTable(d) {
  return [el("table", {}, el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "Inputs"), el("th", { scope: "col", class: "n" }, "Correlation"), el("th", { scope: "col", class: "n" }, "Brings / %"))),
    el("tbody", {}, d.pairs.map((p) => el("tr", {}, el("td", {}, `${p.first}, ${p.second}`), el("td", { class: "n" }, p.r), el("td", { class: "n" }, p.share))))),
  el("p", { class: "soft small" }, "What a correlation brings to the variance is in the shares above, half with each input.", d.more_pairs > 0 && ` ${plural(d.more_pairs, "pair")} more.`)];
}

const hash = (text) => text ? el("span", { class: "mono hash" }, text) : "none";
function chainPart(d) {
  const c = d.chain, files = () => el("ul", { class: "plainlist" }, c.raw.map((r) => el("li", {}, el("span", { class: "mono" }, r.file), el("br"), hash(r.sha256))), c.raw_files > c.raw.length && el("li", {}, `and ${c.raw_files - c.raw.length} more; summary.json has all`));
  return el("dl", { class: "pairs chain" },
    el("dt", {}, c.raw_files === 1 ? "Raw file" : "Raw files"),
    el("dd", {}, c.raw_files === 1 ? files() : el("details", {}, el("summary", {}, `${plural(c.raw_files, "file")} of ${plural(c.tests, "test")}`), files())),
    c.left_out.length > 0 && [el("dt", {}, "Left out"), el("dd", {}, el("ul", { class: "plainlist" }, c.left_out.map((t) => el("li", {}, `${t.test}: ${t.why}`))))],
    c.benches.map((b) => [el("dt", {}, `Tip ${b.tip}, ${b.frame}`), el("dd", {}, b.file
      ? [el("span", { class: "mono" }, b.file), el("br"), hash(b.sha256), el("div", {}, [b.said.name && `Calibration ${b.said.name}`, b.said.accepted_by && `accepted by ${b.said.accepted_by}, ${b.said.accepted_on.replace("T", " ").replace("Z", " UTC")}`, b.said.valid_until && `valid until ${b.said.valid_until}`].filter(Boolean).join("; ") + "."),
        b.identified_by?.length > 0 && el("div", { class: "soft" }, `Tip and frame told apart by ${b.identified_by.join("; ")}.`), b.verified?.length > 0 && el("div", { class: "soft" }, `Verified: ${b.verified.join("; ")}.`),
        b.said.inputs_sha256 && el("div", { class: "soft" }, "Its raw files: ", hash(b.said.inputs_sha256))]
      : `declared in the study file${b.declared ? `: ${b.declared}` : ""}`)]),
    el("dt", {}, "Study file"), el("dd", {}, el("span", { class: "mono" }, c.recipe.file), el("br"), hash(c.recipe.sha256)),
    el("dt", {}, "Decisions"), el("dd", {}, c.decisions.sha256 ? [el("span", { class: "mono" }, c.decisions.file), el("br"), hash(c.decisions.sha256)] : "none"),
    el("dt", {}, "Program"), el("dd", {}, `Drypoint ${c.version}`));
}

// The panel beside a page. It does not cover the page: another number may be clicked.
let panel = null, from = null;
export function closeBudget() { panel?.remove(); panel = null; document.body.classList.remove("with-budget"); from?.focus?.(); from = null; }
export async function openBudget(href, opener = null) {
  from = opener || from;
  // On the other side than the number, so that the next number stays in reach.
  const box = from?.isConnected ? from.getBoundingClientRect() : null, left = box && box.left + box.width / 2 > innerWidth / 2;
  const place = el("div", { "aria-busy": "true" }, el("p", { class: "soft" }, "…"));
  const title = el("h2", { id: "budget-title", tabindex: -1 }, "Uncertainty budget");
  const fresh = el("section", { class: `budget-panel${left ? " left" : ""}`, role: "dialog", "aria-labelledby": "budget-title" },
    el("div", { class: "head" }, title, el("a", { href, "data-page": true }, "On a page of its own"), el("button", { onclick: closeBudget, title: "Close (Esc)" }, "Close")), place);
  if (panel) panel.replaceWith(fresh); else document.body.append(fresh);
  panel = fresh; document.body.classList.add("with-budget"); title.focus();
  // Right after a decision there is nothing to show yet: it comes when the run is done.
  let stop = null;
  const load = async () => {
    try {
      const d = await fetchBudget(new URL(href, location.href).search);
      if (panel === fresh) fill(place, budgetPart(d));
      stop?.(); stop = null;
    } catch (fault) {
      if (panel === fresh) fill(place, faultPart(fault), fault.status === 404 && el("p", { class: "soft" }, "When the study has been run again, the budget comes here by itself."));
      if (fault.status === 404) stop ??= onJob((job) => { if (job.state !== "done" || job.kind !== "run") return; if (panel === fresh) load(); else { stop(); stop = null; } });
    }
    place.removeAttribute("aria-busy");
  };
  await load();
}
document.addEventListener("click", (e) => {
  const link = e.target.closest?.('a[href*="/budget?"]');
  if (!link || "page" in link.dataset || e.ctrlKey || e.metaKey || e.shiftKey || e.button) return;
  e.preventDefault(); e.stopPropagation(); openBudget(link.href, link);
}, true);
document.addEventListener("keydown", (e) => { if (e.key === "Escape" && panel && !document.querySelector("dialog[open]")) { e.preventDefault(); closeBudget(); } });
