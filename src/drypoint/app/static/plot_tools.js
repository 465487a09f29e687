// What every chart offers besides its picture: coordinates under the pointer, a button that resets the
// zoom, and, where the chart starts near the contact, one that shows the approach too.
import { el } from "./dom.js";

const unitOf = (label) => { const unit = / \/ (\S{1,12})$/u.exec(label); return unit ? ` ${unit[1]}` : ""; };

// A number to the last digit that one pixel (step) can tell apart.
export function shown(v, step) {
  if (!Number.isFinite(v)) return "";
  const size = Math.max(Math.abs(v), step);
  const text = size >= 1e6 || (size < 1e-4 && size > 0) ? v.toExponential(2) : v.toFixed(Math.min(Math.max(Math.ceil(-Math.log10(step)), 0), 8));
  return (Number(text) === 0 ? text.replace("-", "") : text).replace("-", "−");
}

// Coordinates of a place in the picture (pixels from its upper left corner), with units.
export function coordinates(plot, left, top) {
  const { u, labels } = plot, one = (scale, at, words, custom) => {
    const v = u.posToVal(at, scale);
    return custom ? custom(v) : shown(v, Math.abs(u.posToVal(at + 1, scale) - v) || 1) + unitOf(words);
  };
  return [one("x", left, labels.x, plot.xText), one("y", top, labels.y, plot.yText)].filter(Boolean).join(", ");
}

// The buttons of a chart. `show` goes after every change of the view.
export function buttons(plot) {
  const reset = el("button", { type: "button", class: "reset small", hidden: true, onclick: () => { plot.view(plot.home); plot.frame.focus({ preventScroll: true }); } }, "Reset zoom");
  const approach = el("button", { type: "button", class: "plain small", hidden: true, onclick: () => { plot.whole = !plot.whole; plot.view(plot.home); } });
  return { reset, approach, show() {
    reset.hidden = !plot.zoomed;
    approach.hidden = !plot.near;
    approach.textContent = plot.whole ? "Hide the approach" : "Show the approach";
  } };
}

// About the contact of a curve as recorded: where its force has risen by 2 % and by 8 % of the largest,
// continued to none as for a pyramid (the force goes with the square of the depth).
export function contactOf(x, y) {
  const n = Math.max(Math.floor(y.length / 50), 1);
  let base = 0, top = -Infinity;
  for (let k = 0; k < n; k++) base += y[k] / n;
  for (const v of y) if (v > top) top = v;
  const at = (share) => x[Array.prototype.findIndex.call(y, (v) => v - base > share * (top - base))];
  return 2 * at(0.02) - at(0.08);
}
