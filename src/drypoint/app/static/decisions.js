// Decisions as pages show them, each to be copied as Python and (where there is one) as a command.
import { el, plural } from "./dom.js";
import { copyText } from "./shell.js";

// A decision on a critical load in words.
const LOADS = {
  confirm: (v) => `the candidate at ${v.candidate_mN} mN is ${v.event}`,
  move: (v) => `${v.event} is at ${v.load_mN} mN${v.low_mN ? ` (${v.low_mN} to ${v.high_mN ?? v.load_mN})` : ""}`,
  reject: (v) => `the candidate at ${v.candidate_mN} mN is none of what was looked for`,
  absent: (v) => `${v.event} did not occur up to the largest load`,
};
const value = (d) => d.what === "critical_load" && LOADS[d.value?.verdict] ? `: ${LOADS[d.value.verdict](d.value)}` : (d.value === null || d.value === undefined ? (["exclude", "include", "remark"].includes(d.what) ? "" : ": taken back") : `: ${typeof d.value === "object" ? JSON.stringify(d.value) : d.value}`);

export function decisionsPart(decisions) {
  return decisions.length > 0 && el("details", { open: true }, el("summary", {}, plural(decisions.length, "decision")),
    decisions.map((d) => el("div", { class: "decision" },
      el("div", {}, `${d.id}. ${d.what.replaceAll("_", " ")}${d.cycle ? ` of cycle ${d.cycle}` : ""}${value(d)}`), el("div", {}, d.why),
      el("div", { class: "soft small" }, `${d.who}, ${d.when.replace("T", " ").replace("Z", " UTC")} `,
        el("button", { class: "plain", onclick: (e) => copyText(d.python, e.target) }, "Copy as Python"), " ",
        d.command && el("button", { class: "plain", onclick: (e) => copyText(d.command, e.target) }, "Copy as command")))));
}
