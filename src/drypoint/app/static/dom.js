// Small helpers: elements, faults, symbols.

// Text in which what would reorder or hide its surroundings is shown as code points (UAX 9).
const HIDDEN = /[\u061c\u200e\u200f\u202a-\u202e\u2066-\u206f\u2028\u2029\ufff9-\ufffb\ufeff\u007f-\u009f\u0000-\u0008\u000b\u000c\u000e-\u001f]|\p{Surrogate}|[\u{e0000}-\u{e007f}]/gu;
const PILE = /(\p{M}{30})(\p{M}+)/gu;
export const visible = (text) => String(text).replace(HIDDEN, (c) => `[U+${c.codePointAt(0).toString(16).toUpperCase().padStart(4, "0")}]`).replace(PILE, (_, kept, more) => `${kept}[${[...more].length} combining marks]`);
const part = (c) => (typeof c === "string" ? visible(c) : c);
const SEEN = ["title", "aria-label", "alt", "placeholder"];

export function el(name, attributes = {}, ...children) {
  const node = document.createElement(name);
  for (const [k, v] of Object.entries(attributes)) {
    if (v === false || v === null || v === undefined) continue;
    if (k.startsWith("on")) node.addEventListener(k.slice(2), v);
    else if (k === "class") node.className = v;
    else node.setAttribute(k, v === true ? "" : SEEN.includes(k) ? visible(v) : v);
  }
  node.append(...children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false).map(part));
  return node;
}

export const find = (selector, root = document) => root.querySelector(selector);
// A part in which a button is held down is redrawn when it is let go: if the button were replaced
// meanwhile, the browser would send no click, and what was asked for would not happen.
let held = null;
const waiting = new Map();
function letGo() {
  held = null;
  // After the click, which comes behind the release.
  setTimeout(() => { const due = [...waiting]; waiting.clear(); for (const [node, parts] of due) fill(node, ...parts); }, 0);
}
document.addEventListener("pointerdown", (e) => { held = e.target instanceof Element ? e.target.closest("button, a, label, summary") : null; }, true);
for (const end of ["pointerup", "pointercancel"]) document.addEventListener(end, letGo, true);
addEventListener("blur", letGo);
export const fill = (node, ...children) => {
  const parts = children.flat(Infinity).filter((c) => c !== null && c !== undefined && c !== false).map(part);
  waiting.delete(node);
  if (held && node.contains(held)) waiting.set(node, parts);
  else node.replaceChildren(...parts);
  return node;
};

// A symbol of the standard: H_IT with its index low.
const GREEK = { eta: "η", nu: "ν", epsilon: "ε", beta: "β" };
const WHOLE = { E_IT_star: ["E", "IT", "*"], F_over_S2: "F/S²", HV_conv: ["HV", "conv"] };
export function symbol(text) {
  const own = WHOLE[text];
  if (typeof own === "string") return el("span", { class: "symbol" }, el("i", {}, own));
  if (own) return el("span", { class: "symbol" }, own[0].length > 1 ? own[0] : el("i", {}, own[0]), own[2] && el("sup", {}, own[2]), el("sub", {}, own[1]));
  const [head, ...index] = text.split("_");
  const letter = GREEK[head] || head;
  const out = [el(letter.length > 1 ? "span" : "i", {}, letter)];
  if (index.length) out.push(el("sub", {}, index.join(" ")));
  return el("span", { class: "symbol" }, out);
}

export function faultPart(fault) {
  const v = fault.values || { what: String(fault.message || fault), place: "", remedy: "", all: [] };
  const many = v.all && v.all.length > 1;
  return el("div", { class: "fault", role: "alert" },
    v.place && !many && el("p", { class: "place" }, v.place),
    el("p", { class: "what" }, many ? v.what.split("\n")[0] : v.what),
    many && el("ul", {}, v.all.map((f) => el("li", {}, el("span", { class: "mono" }, f.place + ": "), f.what + " ", f.remedy))),
    v.remedy && !many && el("p", { class: "remedy" }, v.remedy));
}

export function showFault(place, fault) {
  if (!(fault?.values)) console.error(fault);
  fill(place, faultPart(fault));
  place.scrollIntoView({ block: "nearest" });
}

export const plural = (n, one, many = one + "s") => `${n.toLocaleString("en")} ${n === 1 ? one : many}`;

// Running text with its symbols set: the pattern of the report.
const INDEXED = /(?<![A-Za-z0-9])(HM|HV|eta|ν|nu|[A-Za-z])_(IT|max|elast|total|eff|c|r|p|s|i|f|n|0|1|2)(?![A-Za-z0-9_])/g;
export function withSymbols(text) {
  const out = [];
  let at = 0;
  for (const m of text.matchAll(INDEXED)) {
    if (m.index > at) out.push(text.slice(at, m.index));
    out.push(symbol(m[0]));
    at = m.index + m[0].length;
  }
  if (at < text.length) out.push(text.slice(at));
  return out;
}
