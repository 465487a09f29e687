// The raw files of a study: what is understood of each table, and what was set aside.
import { get, post, put, query } from "../api.js";
import { el, fill, find, plural } from "../dom.js";
import { asideTable, dropPlace, groupCard } from "../intake.js";
import { api, onJob, onStudy, refresh, say, startJob, study } from "../shell.js";

const data = JSON.parse(find("#data").textContent), tables = find("#tables");

function saver(state) {
  return el("div", { class: "acts" }, state.changed && el("button", { class: "main", onclick: async (e) => {
    e.target.disabled = true;
    try {
      const answer = await post(`${api}/files/layout`, { table: state.group.table, layout: state.layout, answers: [], version: study.version });
      state.changed = false; await refresh(); if (!answer.job) await startJob("run");
    } catch (fault) { say(fault); e.target.disabled = false; }
  } }, "Write this into the study file"), state.changed && el("span", { class: "soft" }, "Only seen so far, not written."));
}

async function load() {
  fill(tables);
  for (const t of data.tables) {
    const place = el("div", { "aria-busy": "true" }, el("p", { class: "soft" }, `${t.specimen}: looking at ${t.files.join(", ")} …`));
    tables.append(place);
    try {
      const group = await get(`${api}/files/table?${query({ table: t.i })}`);
      const card = groupCard(group, { roles: data.roles, title: `${t.specimen}: ${t.files.join(", ")}`, extra: saver,
        again: (s) => post(`${api}/files/look`, { table: t.i, layout: s.layout, answers: s.answers }) });
      place.replaceWith(card.node);
    } catch (fault) { place.removeAttribute("aria-busy"); fill(place); say(fault); }
  }
}

async function aside() {
  const a = await get(`${api}/files/set-aside`);
  fill(find("#aside"), el("h2", {}, "Set aside"), a.set_aside.length ? asideTable(a.set_aside) : el("p", { class: "soft" }, study.standing === "none" ? "The study has not been run yet." : "Nothing was set aside."),
    a.loose_count > 0 && el("details", {}, el("summary", {}, `${plural(a.loose_count, "file")} in the folder that no table takes`), el("ul", { class: "mono small" }, a.loose.map((f) => el("li", {}, f)))),
    a.notes.length > 0 && el("details", {}, el("summary", {}, `${plural(a.notes.length, "note")} of the last run`), el("ul", { class: "small" }, a.notes.map((n) => el("li", {}, n)))));
}

const choice = find("#into");
find("#drop").append(dropPlace(() => choice?.value || data.into[0].place, { put, say, done: async () => { await load(); await aside(); await startJob("run"); } }));
load(); aside().catch(say);
let seen = study.version;
onStudy((s) => { if (seen && seen !== s.version) load(); seen = s.version; });
onJob((job) => { if (job.state === "done" && job.kind === "run") aside().catch(say); });
