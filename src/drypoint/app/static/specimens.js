// Which specimen each file of a new study belongs to: proposed by file name, typed by a person, never
// reset. Files of one stem can be named together; a file can be left out and put back.
import { el, fill, visible } from "./dom.js";

const tidy = (text) => text.trim().split(/\s+/u).join(" ");

// onChange(old, now): a specimen was named; onLeave(file), onBack(file): a file goes or comes back.
export function specimenBook({ onChange, onLeave, onBack }) {
  const typed = new Map(), proposed = new Map(), left = new Set(), rows = new Map();
  const of = (file) => typed.get(file) ?? proposed.get(file) ?? "specimen";
  const stem = (file) => [...rows.keys()].filter((f) => proposed.get(f) === proposed.get(file));

  function show() {
    const stems = new Map();
    for (const f of rows.keys()) stems.set(proposed.get(f), [...(stems.get(proposed.get(f)) || []), f]);
    for (const [name, files] of stems) {
      const several = new Set(files.map(of)).size > 1;
      for (const f of files) {
        const row = rows.get(f);
        if (document.activeElement !== row.input) row.input.value = of(f);
        row.all.hidden = !several;
        row.all.textContent = visible(`Apply to all ${files.length} of “${name}”`);
      }
    }
  }
  function set(file, text) {
    const old = of(file), now = tidy(text);
    if (now) typed.set(file, now); else typed.delete(file);
    return [old, of(file)];
  }
  function row(file) {
    const input = el("input", { value: of(file), "aria-label": `Specimen of ${file}`, maxlength: 200, autocomplete: "off",
      oninput: () => { if (tidy(input.value)) { const [old, now] = set(file, input.value); show(); onChange(old, now); } },
      onchange: () => { const [old, now] = set(file, input.value); input.value = of(file); show(); onChange(old, now); },
      onkeydown: (e) => { if (e.key === "Enter") { e.preventDefault(); input.blur(); } } });
    const all = el("button", { type: "button", class: "plain", onclick: () => {
      const now = of(file);
      for (const f of stem(file)) { const [old] = set(f, now); onChange(old, now); }
      show();
    } });
    rows.set(file, { input, all });
    return el("tr", { "data-file": file }, el("td", { class: "mono" }, file), el("td", {}, input, " ", all), el("td", {}, leave(file)));
  }
  const leave = (file) => el("button", { type: "button", class: "plain", "aria-label": `Leave out ${file}`, onclick: () => { left.add(file); rows.delete(file); onLeave(file); } }, "Leave out");

  return {
    of, left,
    names: (files) => [...new Set(files.map(of))],
    given: (files) => Object.fromEntries(files.map((f) => [f, of(f)])),
    take(groups) { rows.clear(); proposed.clear(); for (const g of groups) for (const [f, name] of Object.entries(g.specimens)) proposed.set(f, name || "specimen"); },
    table(files, readable) {
      const part = el("div", { class: "scroll files", tabindex: 0, role: "group", "aria-label": "Files of this group" }, el("table", {},
        el("thead", {}, el("tr", {}, el("th", { scope: "col" }, "File"), readable && el("th", { scope: "col" }, "Specimen"), el("th", { scope: "col" }, el("span", { class: "visually-hidden" }, "Leave out")))),
        el("tbody", {}, files.map((f) => (readable ? row(f) : el("tr", { "data-file": f }, el("td", { class: "mono" }, f), el("td", {}, leave(f))))))));
      show();
      return part;
    },
    drawLeft(place) {
      fill(place, left.size > 0 && [el("h2", {}, "Left out"), el("p", { class: "soft small" }, "These files stay in the folder and are not part of the study."),
        el("ul", { class: "plain-list" }, [...left].sort().map((f) => el("li", { "data-left": f }, el("span", { class: "mono" }, f), " ", el("button", { type: "button", class: "plain", "aria-label": `Put back ${f}`, onclick: () => { left.delete(f); onBack(f); } }, "Put back"))))]);
    },
  };
}
