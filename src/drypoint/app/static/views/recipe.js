// The study file: checked while it is typed, written when it is right.
import { get, post } from "../api.js";
import { el, fill, find, faultPart } from "../dom.js";
import { api, onStudy, refresh, say } from "../shell.js";

const text = find("#text"), checked = find("#checked"), write = find("#write"), back = find("#back");
let written = null, version = "", timer = 0, turn = 0;

export async function load() {
  const now = await get(`${api}/recipe`);
  written = now.text; version = now.version; text.value = now.text;
  state();
}
function state(right = true) {
  const changed = text.value !== written;
  write.disabled = !changed || !right;
  back.disabled = !changed;
}
async function check() {
  const mine = ++turn;
  try {
    await post(`${api}/recipe/check`, { text: text.value });
    if (mine !== turn) return;
    fill(checked, text.value === written ? "" : el("p", { class: "soft" }, "The file would be right."));
    state(true);
  } catch (fault) {
    if (mine !== turn) return;
    fill(checked, faultPart(fault));
    state(false);
  }
}
text.addEventListener("input", () => { state(false); clearTimeout(timer); timer = setTimeout(check, 350); });
back.addEventListener("click", () => { text.value = written; fill(checked); state(); });
write.addEventListener("click", async () => {
  try {
    await post(`${api}/recipe`, { text: text.value, version });
    await load(); await refresh();
    fill(checked, el("p", { class: "soft" }, "Written."));
  } catch (fault) { say(fault); }
});
addEventListener("beforeunload", (e) => { if (written !== null && text.value !== written) e.preventDefault(); });
onStudy((s) => { if (version && s.version !== version && text.value === written) load().catch(say); });
load().catch(say);
