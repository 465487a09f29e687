// A group of raw files as it is understood, with its columns, questions, first lines and curves. The
// person's changes are kept in `group.layout` and `group.answers` and sent back as they are.
import { el, fill, plural, faultPart } from "./dom.js";
import { Plot, SERIES, line, short } from "./plot.js";
import { contactOf } from "./plot_tools.js";

const SIGNS = { "\t": "tab", ",": "comma", ";": "semicolon", " ": "blanks", "|": "bar" };
const KINDS = { text: "text", workbook: "workbook", hdf5: "HDF5", parquet: "Parquet" };
export const ROLE_WORDS = { time: "time", force: "force", depth: "depth", lateral_force: "lateral force", position: "position", x: "x", y: "y", amplitude: "amplitude of the depth", force_amplitude: "amplitude of the force", phase: "phase", frequency: "frequency", stiffness: "stiffness", acoustic_emission: "acoustic emission", temperature: "temperature", segment: "segment (label)", test: "test (label)" };

// again(group) asks the server anew and gives the group as it is understood then.
export function groupCard(group, { roles, again, title = null, onChange = null, extra = null }) {
  const node = el("section", { class: "group" });
  const state = { group, layout: { ...group.layout }, answers: [], changed: false };
  async function change(edit) {
    edit(); state.changed = true;
    node.setAttribute("aria-busy", "true");
    try { state.group = await again(state); state.layout = { ...state.group.layout }; state.answers = []; draw(); onChange?.(state); } catch (fault) {
      draw(); node.querySelector(".said").append(faultPart(fault));
    } finally { node.removeAttribute("aria-busy"); }
  }
  const declare = (column, role, unit) => change(() => {
    const columns = { ...(state.layout.columns || {}) };
    const is = column.once && column.name ? { name: column.name } : { index: column.index };
    for (const [r, c] of Object.entries(columns)) if (c.index === column.index || (column.name && c.name === column.name)) delete columns[r];
    if (role) columns[role] = { ...is, ...(unit ? { unit } : {}) };
    else if (column.role) columns.ignore = is;
    state.layout = { ...state.layout, columns };
  });
  const plain = (k, v) => change(() => { const l = { ...state.layout }; if (v === "") delete l[k]; else l[k] = v; state.layout = l; });

  function draw() {
    const g = state.group, lost = !g.columns.length && !g.questions.length, id = `g${Math.random().toString(36).slice(2, 8)}`;
    const choose = (k, words, options, now) => el("div", { class: "field" }, el("label", { for: `${id}${k}` }, words),
      el("select", { id: `${id}${k}`, onchange: (e) => plain(k, e.target.value) }, el("option", { value: "" }, "found by itself"),
        options.map(([v, w]) => el("option", { value: v, selected: (state.layout[k] ?? "") === v }, w))), now && !state.layout[k] && el("span", { class: "soft small" }, now));
    const chart = el("div");
    fill(node,
      el("header", {}, el("h2", {}, title ?? (g.files.length === 1 ? g.files[0] : `${plural(g.files.length, "file")}: ${g.files[0]} …`)),
        el("span", { class: "soft" }, [KINDS[g.kind] || g.kind || "not readable", g.encoding, g.compressed && "gzip", g.tests && plural(g.tests, "test")].filter(Boolean).join(", ")),
        el("span", { class: `state ${lost ? "fault-state" : g.clear ? "current" : "older"}` }, lost ? "cannot be read" : g.clear ? "clear" : "needs a look"), g.saved && el("span", { class: "soft" }, `saved layout ${g.saved}`)),
      extra?.(state),
      el("div", { class: "said" }),
      g.questions.map((q, k) => el("div", { class: "question" }, el("p", {}, q.what),
        q.choices.length ? el("fieldset", { class: "bare" }, el("legend", { class: "visually-hidden" }, q.what), q.choices.map((c) => el("label", {}, el("input", { type: "radio", name: `${id}q${k}`, onchange: () => change(() => { state.answers = [...state.answers, c]; }) }), " ", el("code", {}, c))))
          : el("p", { class: "small" }, q.remedy))),
      el("div", { class: "parts" },
        el("div", {},
          g.columns.length > 0 && el("table", { class: "columns" }, el("thead", {}, el("tr", {}, ["Column", "Is", "Unit", "Because"].map((h) => el("th", { scope: "col" }, h)))),
            el("tbody", {}, g.columns.map((c) => el("tr", {}, el("td", {}, c.name || el("span", { class: "soft" }, `column ${c.index}`)),
              el("td", {}, el("select", { "aria-label": `What column ${c.name || c.index} is`, onchange: (e) => declare(c, e.target.value, e.target.value === c.role ? c.unit : "") },
                el("option", { value: "" }, "not used"), roles.map((r) => el("option", { value: r, selected: r === c.role }, ROLE_WORDS[r] || r)))),
              el("td", {}, c.role && !["test", "segment"].includes(c.role) && el("input", { value: c.unit, "aria-label": `Unit of column ${c.name || c.index}`, onchange: (e) => declare(c, c.role, e.target.value.trim()) })),
              el("td", { class: "soft small" }, c.why))))),
          g.kind === "text" && el("div", { class: "row" }, choose("delimiter", "Columns parted by", Object.entries(SIGNS), g.delimiter && SIGNS[g.delimiter]),
            choose("decimal", "Decimal mark", [[".", "point"], [",", "comma"]], { ".": "point", ",": "comma" }[g.decimal]),
            choose("split", "Tests", [["one", "one a file"], ["blank lines", "between blank lines"], ["column", "by a column"]], g.split)),
          g.missing.length > 0 && el("details", { class: "small" }, el("summary", {}, `What the files do not say (${g.missing.length})`), el("ul", {}, g.missing.map((m) => el("li", {}, m)))),
          g.notes.length > 0 && el("details", { class: "small" }, el("summary", {}, plural(g.notes.length, "note")), el("ul", {}, g.notes.slice(0, 50).map((m) => el("li", {}, m)))),
          Object.keys(g.header).length > 0 && el("details", { class: "small" }, el("summary", {}, "What the header says"), el("dl", { class: "pairs" }, Object.entries(g.header).flatMap(([k, v]) => [el("dt", {}, k), el("dd", {}, v)])))),
        el("div", {},
          g.lines.length > 0 && el("div", { class: "lines", tabindex: 0, role: "group", "aria-label": "First lines" }, g.lines.map(([n, t]) => [el("b", {}, String(n).padStart(4)), t + "\n"])),
          chart)),
      g.faults.length > 0 && asideTable(g.faults));
    if (g.curves.length) {
      const plot = new Plot(chart, { title: "First curves, as recorded", x: "Depth h / nm", y: "Force F / mN", height: 250, name: (i) => g.curves[i]?.name });
      g.curves.forEach((c, i) => plot.add({ ...line({ x: c.x, y: c.y, colour: SERIES[i % SERIES.length], width: 1.2 }), count: g.curves.length }));
      plot.fitAll();
      const contact = Math.min(...g.curves.map((c) => contactOf(c.x, c.y)).filter(Number.isFinite));
      plot.startFrom(contact - 0.08 * (plot.full.x[1] - contact));
      plot.setKey(g.curves.map((c, i) => ({ words: c.name, colour: SERIES[i % SERIES.length] })));
      plot.table(["Test", "Samples", "Largest force / mN", "Largest depth / nm", "Duration / s"], () => g.first_tests.map((t) => [t.name, t.samples, short(t.force_mN), short(t.depth_nm), short(t.duration_s)]));
    }
  }
  draw();
  // Fewer files, read as before.
  const without = async (files) => {
    const was = state.changed;
    await change(() => { state.group = { ...state.group, files }; });
    state.changed = was;
  };
  return { node, state, without };
}

export function asideTable(items) {
  return el("table", { class: "full aside" }, el("caption", { class: "visually-hidden" }, "Set aside"), el("thead", {}, el("tr", {}, ["Set aside", "Why", "What to do"].map((h) => el("th", { scope: "col" }, h)))),
    el("tbody", {}, items.slice(0, 300).map((s) => el("tr", {}, el("td", {}, s.test && el("div", {}, s.test), el("span", { class: "mono" }, s.file + (s.line ? `, line ${s.line}` : "") + (s.column ? `, column ${s.column}` : ""))), el("td", {}, s.reason), el("td", {}, s.remedy)))));
}

// A place to drop files; every file goes on its own. done() hears when all have come.
export function dropPlace(where, { put, done, say }) {
  const input = el("input", { type: "file", multiple: true, class: "visually-hidden", id: "drop-input", tabindex: -1 });
  const list = el("ul", { class: "small", "aria-live": "polite" });
  const node = el("div", {}, el("div", { class: "drop" }, el("p", {}, "Drop raw files here, or ", el("button", { type: "button", onclick: () => input.click() }, "choose files"), input),
    el("p", { class: "small" }, "Text, workbooks, Parquet, HDF5, and zip files of these. They are kept as they come, and never replaced.")), list);
  const zone = node.firstChild;
  input.setAttribute("aria-label", "Files to add");
  async function take(files) {
    const fresh = [...files];
    if (!fresh.length) return;
    let place;
    try { place = where(); } catch (fault) { say(fault); return; }
    let came = 0;
    for (const file of fresh) {
      const row = el("li", {}, file.name, " "), bar = el("progress", { max: 1, value: 0, "aria-label": file.name });
      row.append(bar); list.append(row);
      try {
        const r = await put(`/api/files/${[...place.split("/"), file.name].map(encodeURIComponent).join("/")}`, file, (share) => { bar.value = share; });
        bar.replaceWith(r.same ? "was there already" : "taken"); came += 1;
        if (fresh.length > 8) row.remove();
      } catch (fault) { bar.remove(); row.append(faultPart(fault)); }
    }
    input.value = "";
    if (fresh.length > 8) list.prepend(el("li", {}, `${plural(came, "file")} taken`));
    if (came) await done();
  }
  input.addEventListener("change", () => take(input.files));
  for (const name of ["dragenter", "dragover"]) zone.addEventListener(name, (e) => { e.preventDefault(); zone.classList.add("over"); });
  for (const name of ["dragleave", "drop"]) zone.addEventListener(name, () => zone.classList.remove("over"));
  zone.addEventListener("drop", (e) => { e.preventDefault(); take(e.dataTransfer.files); });
  return node;
}
