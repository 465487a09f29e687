// A new study: files, what is understood of them, what is known of specimens and tip.
import { post, put } from "../api.js";
import { el, fill, find, plural } from "../dom.js";
import { dropPlace, groupCard } from "../intake.js";
import { say } from "../shell.js";

const data = JSON.parse(find("#data").textContent), form = find("#new"), name = find("#name"), groups = find("#groups"), specimens = find("#specimens");
let folder = "", cards = [];
const known = new Map();

const folderName = () => {
  if (folder) return folder;
  const plain = name.value.trim().replace(/[^\p{L}\p{N} ._-]+/gu, "").replace(/^[.\s]+|[.\s]+$/g, "").replaceAll(" ", "-").toLowerCase();
  if (!plain) { name.focus(); throw { values: { what: "The study has no name yet.", place: "", remedy: "Give it one, then drop the files; they go into a folder of that name.", all: [] } }; }
  return plain;
};

async function look() {
  folder = folder || folderName();
  name.readOnly = false;
  groups.setAttribute("aria-busy", "true");
  fill(groups, el("p", { class: "soft" }, "Looking at the files …"));
  try {
    const found = (await post("/api/look", { folder })).groups;
    cards = found.map((g) => {
      const specimen = el("input", { value: g.specimen || "specimen", "aria-label": "Specimen", onchange: () => { card.state.specimen = specimen.value.trim(); people(); } });
      const card = groupCard(g, { roles: data.roles, onChange: ready,
        extra: () => el("div", { class: "field specimen" }, el("span", { class: "label" }, "Specimen"), specimen),
        again: async (s) => (await post("/api/look", { folder, groups: [{ files: s.group.files, layout: s.layout, answers: s.answers, specimen: specimen.value.trim() }] })).groups[0] });
      card.state.specimen = specimen.value;
      return card;
    });
    fill(groups, cards.map((c) => c.node));
    find("#rest").hidden = !cards.length;
    people(); ready();
  } catch (fault) { fill(groups); say(fault); } finally { groups.removeAttribute("aria-busy"); }
}

// Poisson's ratio of each specimen: assumed, known, or that of a reference material.
function people() {
  const names = [...new Set(cards.filter((c) => c.state.group.columns.length).map((c) => c.state.specimen))];
  fill(specimens, names.map((n, k) => {
    const now = known.get(n) || { nu: "0.3", u_nu: "0.05" };
    known.set(n, now);
    const nu = el("input", { id: `nu${k}`, value: now.nu, size: 6, inputmode: "decimal", oninput: (e) => { now.nu = e.target.value; now.known = true; } });
    const u = el("input", { id: `u${k}`, value: now.u_nu, size: 6, inputmode: "decimal", oninput: (e) => { now.u_nu = e.target.value; now.known = true; } });
    return el("div", { class: "row" }, el("strong", {}, n), el("div", { class: "field" }, el("label", { for: `nu${k}` }, "Poisson’s ratio ν"), nu), el("div", { class: "field" }, el("label", { for: `u${k}` }, "its standard uncertainty"), u),
      el("div", { class: "field" }, el("label", { for: `m${k}` }, "or as in"), el("select", { id: `m${k}`, onchange: (e) => { const m = data.materials[e.target.value]; if (m) { now.known = true; now.nu = nu.value = String(m.nu); now.u_nu = u.value = String(m.u_nu); } } },
        el("option", { value: "" }, "–"), data.materials.map((m, i) => el("option", { value: i }, m.name)))));
  }));
}
function ready() {
  const open = cards.filter((c) => c.state.group.questions.length);
  find("#create").disabled = !cards.length || open.length > 0;
  find("#open").textContent = open.length ? `${plural(open.length, "group of files needs", "groups of files need")} an answer first.` : "";
}
const benchChosen = () => { find("#shape-field").hidden = Boolean(find("#bench")?.value); };
find("#bench")?.addEventListener("change", benchChosen);
benchChosen();

const number = (t) => parseFloat(String(t).replace(",", "."));
form.addEventListener("submit", async (e) => {
  e.preventDefault();
  const v = Object.fromEntries(new FormData(form));
  try {
    const made = await post("/api/studies", {
      folder, name: name.value.trim(), question: v.question, laboratory: v.laboratory, operator: v.operator, shape: v.shape, bench: v.bench || "",
      groups: cards.filter((c) => c.state.group.columns.length).map((c) => ({ files: c.state.group.files, layout: c.state.layout, answers: c.state.answers, specimen: c.state.specimen })),
      poisson: Object.fromEntries([...known].filter(([n, p]) => p.known && cards.some((c) => c.state.specimen === n)).map(([n, p]) => [n, { nu: number(p.nu), u_nu: number(p.u_nu) }])),
    });
    const key = encodeURIComponent(made.key);
    await post(`/api/studies/${key}/jobs`, { kind: "run", options: {} });
    location.href = `/studies/${key}`;
  } catch (fault) { say(fault); }
});

find("#drop").append(dropPlace(() => `${folderName()}/raw`, { put, say, done: async () => { folder = folder || folderName(); await look(); } }));
for (const b of document.querySelectorAll("button[data-folder]")) b.addEventListener("click", () => {
  folder = b.dataset.folder; if (!name.value) name.value = folder; look();
});
