// Parts of a report on a page: tables, facts, sentences, in the report's own words (blocks.py).
import { el, withSymbols } from "./dom.js";

// decorate(row, column, text) may give an element to stand in place of a cell's text.
export function tablePart(t, { decorate = null, caption = true } = {}) {
  const cell = (text, i, r) => {
    const c = t.columns[i], inner = decorate?.(r, i, text) ?? text;
    return i === 0 ? el("th", { scope: "row", class: c.wide ? "wraps" : "" }, inner) : el("td", { class: c.kind === "number" ? "n" : c.wide ? "wraps" : c.kind === "code" ? "mono" : "" }, inner);
  };
  return el("div", { class: "wide" }, el("table", { class: "report" }, caption && t.caption && el("caption", {}, withSymbols(t.caption)),
    el("thead", {}, el("tr", {}, t.columns.map((c) => el("th", { scope: "col", class: c.kind === "number" ? "n" : "" }, c.head ? withSymbols(c.head) : el("span", { class: "visually-hidden" }, "remark"))))),
    el("tbody", {}, t.rows.map((r, k) => el("tr", {}, r.map((text, i) => cell(text, i, k)))))),
  t.note && el("p", { class: "soft small" }, withSymbols(t.note)));
}

export function blockPart(b, { level = 3, ...more } = {}) {
  switch (b.block) {
    case "table": return tablePart(b, more);
    case "facts": return el("dl", { class: "pairs" }, b.pairs.map(([k, v]) => [el("dt", {}, k), el("dd", {}, v)]));
    case "items": return el("ul", { class: "sentences" }, b.items.map((i) => el("li", {}, withSymbols(i))));
    case "code": return el("details", {}, el("summary", {}, b.caption), el("pre", {}, b.text));
    case "heading": return el(`h${level}`, {}, b.text);
    case "notice": return el("p", { class: "note warn" }, withSymbols(b.text));
    default: return el("p", {}, withSymbols(b.text));
  }
}

export const sectionPart = (s, { level = 2, ...more } = {}) =>
  el("section", {}, el(`h${level}`, {}, s.title), s.blocks.map((b) => blockPart(b, { level: level + 1, ...more })));
