// A new study: files, what is understood of them, what is known of specimens and tip.
import { post, put } from "../api.js";
import { el, fill, find, plural } from "../dom.js";
import { dropPlace, groupCard } from "../intake.js";
import { say } from "../shell.js";
import { specimenBook } from "../specimens.js";

const data = JSON.parse(find("#data").textContent), form = find("#new"), name = find("#name"), groups = find("#groups"), specimens = find("#specimens");
let folder = "", cards = [], turn = 0;
const known = new Map();
const book = specimenBook({
  onChange(old, now) { // what was typed of a specimen goes with its new name
    if (old !== now && known.has(old) && !known.get(now)?.known) known.set(now, { ...known.get(old) });
    people();
  },
  onLeave: leave, onBack: look,
});
const readable = () => cards.filter((c) => c.state.group.columns.length || c.state.group.questions.length);

const folderName = () => {
  if (folder) return folder;
  const plain = name.value.trim().replace(/[^\p{L}\p{N} ._-]+/gu, "").replace(/^[.\s]+|[.\s]+$/g, "").replaceAll(" ", "-").toLowerCase();
  if (!plain) { name.focus(); throw { values: { what: "The study has no name yet.", place: "", remedy: "Give it one, then drop the files; they go into a folder of that name.", all: [] } }; }
  return plain;
};

const ask = async (files, layout, answers) => (await post("/api/look", { folder, groups: [{ files, layout, answers, specimens: book.given(files) }] })).groups[0];

// All files of the folder, understood anew. What was typed, answered and left out stays.
async function look() {
  const mine = ++turn;
  folder = folder || folderName();
  name.readOnly = false;
  groups.setAttribute("aria-busy", "true");
  if (!cards.length) fill(groups, el("p", { class: "soft" }, "Looking at the files …"));
  try {
    const found = (await post("/api/look", { folder, leave_out: [...book.left] })).groups;
    const before = new Map(cards.filter((c) => c.state.changed).map((c) => [c.like, c.state.layout]));
    book.take(found);
    const now = await Promise.all(found.map((g) => (before.has(g.like) ? ask(g.files, before.get(g.like), []) : g)));
    if (mine !== turn) return;
    if (now.some((g) => g.files.some((f) => book.left.has(f)))) return look();
    cards = now.map((g, i) => card(g, found[i].like, before.has(found[i].like)));
    fill(groups, cards.map((c) => c.node));
    find("#rest").hidden = !cards.length;
    people(); ready();
  } catch (fault) { if (!cards.length) fill(groups); say(fault); } finally { if (mine === turn) groups.removeAttribute("aria-busy"); }
  book.drawLeft(find("#left"));
}
function card(group, like, changed) {
  const made = groupCard(group, { roles: data.roles, onChange: () => { people(); ready(); },
    extra: (s) => book.table(s.group.files, s.group.columns.length > 0 || s.group.questions.length > 0),
    again: (s) => ask(s.group.files, s.layout, s.answers) });
  made.state.changed = changed;
  return Object.assign(made, { like });
}
async function leave(file) {
  for (const c of cards.filter((c) => c.state.group.files.includes(file))) {
    const files = c.state.group.files.filter((f) => f !== file);
    if (files.length) await c.without(files); else { cards.splice(cards.indexOf(c), 1); c.node.remove(); }
  }
  book.drawLeft(find("#left"));
  find("#rest").hidden = !cards.length;
  people(); ready();
}

// Poisson's ratio of each specimen: assumed, known, or that of a reference material.
function people() {
  const names = book.names(readable().flatMap((c) => c.state.group.files));
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
  const open = cards.filter((c) => c.state.group.questions.length), lost = cards.filter((c) => !readable().includes(c)).flatMap((c) => c.state.group.files);
  find("#create").disabled = !readable().length || open.length > 0;
  find("#open").textContent = [open.length && `${plural(open.length, "group of files needs", "groups of files need")} an answer first.`,
    lost.length && `${plural(lost.length, "file")} cannot be read and will not be part of the study.`].filter(Boolean).join(" ");
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
      groups: readable().map(({ state: s }) => ({ files: s.group.files, layout: s.layout, answers: s.answers, specimens: book.given(s.group.files) })),
      poisson: Object.fromEntries([...known].filter(([n, p]) => p.known && book.names(readable().flatMap((c) => c.state.group.files)).includes(n)).map(([n, p]) => [n, { nu: number(p.nu), u_nu: number(p.u_nu) }])),
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
