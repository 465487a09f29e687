// Charts over uPlot: axes, cursor and zoom are uPlot's; many curves, bands, points, lines that can be
// dragged and maps are drawn here. Curves stay on uPlot's canvas (the cached picture); what is
// hovered or chosen is drawn on a canvas above it, so that pointing never draws the curves again.
//
//   const plot = new Plot(host, { title, x: "Depth h / nm", y: "Force F / mN", name: (i) => ... });
//   plot.setCurves({ x, y, start, colour: (i) => "blue" });   // start has one entry more than curves
//   plot.add({ draw(ctx, at) { ... }, extent: { x: [a, b], y: [a, b] } });     // a layer of any kind
//   plot.add(points({ x, y, u, colour: "orange" }));  plot.add(band(...));  plot.add(line(...));
//   plot.onHover = (i) => ...; plot.onPick = (i) => ...; plot.choose(i);
//   plot.dragLine({ axis: "x", value, label, onMove, onDone });
//   plot.table(["test", ...], () => rows);                    // the numbers behind it
//   plot.startFrom(x);                 // the view begins at x; what lies before is shown on request
import uPlot from "./vendor/uplot/uPlot.esm.js";
import { el, fill } from "./dom.js";
import { buttons, coordinates } from "./plot_tools.js";

export const css = (role) => getComputedStyle(document.documentElement).getPropertyValue(`--fig-${role}`).trim() || role;
const FONT = '13px "Source Sans 3", system-ui, sans-serif';
const NEAR = 14, CELL = 12, STEP = 5;
export const SERIES = ["blue", "orange", "teal", "plum", "sky", "olive"];
const DASHES = { dash: [6, 4], dot: [1.5, 3] };

export function short(v, digits = 4) {
  if (!Number.isFinite(v)) return "n/a";
  const size = Math.abs(v);
  if (size && (size < 1e-3 || size >= 1e6)) return v.toExponential(2).replace("-", "−");
  return String(Number(v.toPrecision(digits))).replace("-", "−");
}

// Round numbers along a logarithmic axis, the more the fewer powers of ten it spans.
function logTicks(u, axis, low, high) {
  const out = [], wide = Math.log10(high / low), steps = wide < 0.8 ? [1, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8] : wide < 1.6 ? [1, 2, 3, 5, 7] : wide < 3 ? [1, 2, 5] : [1];
  if (!(low > 0) || !(wide > 0)) return out;
  for (let n = Math.floor(Math.log10(low)); n <= Math.log10(high); n++) for (const s of steps) { const v = Number((s * 10 ** n).toPrecision(3)); if (v >= low && v <= high) out.push(v); }
  return out;
}

export class Plot {
  constructor(host, { title = "", x, y, height = 380, name = (i) => String(i), describe = null, pad = 0.04, xLog = false, square = false, xText = null, xSpace = null, yText = null } = {}) {
    Object.assign(this, { host, name, describe, pad, labels: { x, y }, layers: [], curves: null, ghost: null, hidden: null,
      hovered: -1, chosen: -1, onHover: null, onPick: null, onView: null, lines: [], xLog, square, xText, xSpace, yText, near: null, whole: false });
    host.classList.add("chart");
    this.titleNode = el("p", { class: "title" }, title);
    this.frame = el("div", { class: "frame", tabindex: 0, role: "group", "aria-label": `${title || `${y} against ${x}`}. Arrow keys go through what is drawn, Enter chooses, plus and minus zoom, 0 resets the zoom.` });
    this.tip = el("div", { class: "label", hidden: true });
    this.tools = buttons(this);
    this.live = el("p", { class: "visually-hidden", "aria-live": "polite" });
    this.key = el("ul", { class: "key" });
    fill(host, title && el("div", { class: "head-line" }, this.titleNode, this.tools.approach), this.key, this.frame, this.live);
    this.height = height;
    this.full = { x: [xLog ? 0.1 : 0, 1], y: [0, 1] };
    this.#make();
    this.frame.addEventListener("keydown", (e) => this.#keys(e));
    new ResizeObserver(() => this.#fit()).observe(this.frame);
    document.addEventListener("drypoint:theme", () => { this.u.redraw(false, true); this.#above(); this.#keyAgain(); });
    document.fonts?.ready.then(() => this.u.redraw(false, true));
  }

  #make() {
    const axis = (label) => ({ ...(this.xLog && label === this.labels.x && { splits: logTicks, filter: (u, splits) => splits }), ...(this.xSpace && label === this.labels.x && { space: this.xSpace }), label, labelFont: FONT, font: FONT, labelSize: 20, labelGap: 0, size: label === this.labels.y ? 46 : 30, gap: 4,
      stroke: () => css("ink"), grid: { stroke: () => css("rule"), width: 1 }, ticks: { stroke: () => css("rule"), width: 1, size: 5 },
      values: (u, splits) => splits.map((v) => (v === null ? "" : label === this.labels.x && this.xText ? this.xText(v) : label === this.labels.y && this.yText ? this.yText(v) : short(v, 6))) });
    this.u = new uPlot({
      width: Math.max(this.frame.clientWidth, 200), height: this.height, legend: { show: false }, padding: [8, 12, 0, 0],
      cursor: { drag: { x: true, y: true, uni: 30 }, points: { show: false }, x: true, y: true,
        bind: { dblclick: () => () => { this.view(this.home); return null; } } },
      scales: { x: { time: false, auto: false, distr: this.xLog ? 3 : 1, range: (u, a, b) => [a, b] }, y: { auto: false, range: (u, a, b) => [a, b] } },
      axes: [axis(this.labels.x), axis(this.labels.y)],
      series: [{}, { show: true, paths: () => null, points: { show: false } }],
      hooks: {
        draw: [(u) => this.#draw(u)],
        setScale: [() => { this.grid = null; this.#place(); if (this.over) this.#above(); this.tools.show(); this.onView?.(); }],
        setCursor: [(u) => this.#point(u.cursor.left, u.cursor.top)],
      },
    }, [[0, 1], [0, 1]], this.frame);
    this.over = el("canvas");
    this.u.over.append(this.over, this.tip);
    this.u.over.addEventListener("click", () => { if (this.hovered >= 0) { this.choose(this.hovered); this.onPick?.(this.hovered); } });
    this.u.over.addEventListener("mouseleave", () => { this.#hover(-1); this.tip.hidden = true; });
    this.frame.append(this.tools.reset);
    this.view(this.full);
  }

  #fit() {
    const width = this.frame.clientWidth;
    if (width > 60 && Math.abs(width - this.u.width) > 1) {
      this.u.setSize({ width, height: this.square ? Math.min(width, 620) : this.height });
      this.grid = null;
      // uPlot lays itself out a moment later.
      queueMicrotask(() => { this.#place(); this.#above(); });
    }
  }

  view({ x, y }) {
    this.u.batch(() => { this.u.setScale("x", { min: x[0], max: x[1] }); this.u.setScale("y", { min: y[0], max: y[1] }); });
    this.grid = null; this.#place(); this.#above();
  }

  // The view without a zoom, and whether there is one.
  get home() { return this.near && !this.whole ? this.near : this.full; }
  get zoomed() {
    if (!this.u) return false;
    const off = (s, [a, b]) => Math.abs(s.min - a) + Math.abs(s.max - b) > 1e-6 * Math.abs(b - a);
    return off(this.u.scales.x, this.home.x) || off(this.u.scales.y, this.home.y);
  }
  startFrom(x) {
    const { x: [a, b], y } = this.full;
    this.near = x > a + 0.05 * (b - a) && x < b ? { x: [x, b], y } : null; // else there is little to leave out
    this.view(this.home);
  }

  // What is drawn decides how far the axes reach; the margin is a share of it.
  fitAll({ keep = false } = {}) {
    const x = [Infinity, -Infinity], y = [Infinity, -Infinity];
    const take = (r, lo, hi) => { if (lo < r[0]) r[0] = lo; if (hi > r[1]) r[1] = hi; };
    if (this.curves) for (let i = 0; i < this.curves.count; i++) {
      if (this.hidden?.[i]) continue;
      const e = this.curves.extents;
      take(x, e[4 * i], e[4 * i + 1]); take(y, e[4 * i + 2], e[4 * i + 3]);
    }
    for (const l of this.layers) if (l.extent) { take(x, ...l.extent.x); take(y, ...l.extent.y); }
    const margin = ([a, b]) => { if (!(a <= b)) return [0, 1]; const d = (b - a || Math.abs(a) || 1) * this.pad; return [a - d, b + d]; };
    this.full = { x: this.xLog ? (x[0] > 0 && x[0] <= x[1] ? [x[0] / 1.1, x[1] * 1.1] : [0.1, 1]) : margin(x), y: margin(y) };
    this.near = null;
    if (!keep) this.view(this.full); else { this.redraw(); this.tools.show(); }
  }

  setCurves({ x, y, start, colour = () => "blue", width = 1.1, alpha = 0.8 }) {
    const count = start.length - 1, extents = new Float64Array(4 * count);
    for (let i = 0; i < count; i++) {
      let a = Infinity, b = -Infinity, c = Infinity, d = -Infinity;
      for (let k = start[i]; k < start[i + 1]; k++) {
        const u = x[k], v = y[k];
        if (u < a) a = u; if (u > b) b = u; if (v < c) c = v; if (v > d) d = v;
      }
      extents.set([a, b, c, d], 4 * i);
    }
    this.curves = { x, y, start, colour, width, alpha, count, extents };
    this.hovered = this.chosen = -1; this.grid = null;
    this.fitAll();
  }
  setGhost(ghost) { this.ghost = ghost; this.redraw(); }
  setHidden(hidden) { this.hidden = hidden; this.grid = null; this.redraw(); }
  add(layer) { this.layers.push(layer); return layer; }
  clear() { this.layers = []; for (const l of this.lines) l.node.remove(); this.lines = []; }
  redraw() { this.u.redraw(false, false); this.#above(); }

  // Affine map from values to canvas pixels (uPlot's own is too slow for a million points).
  #map(u, device) {
    const r = device ? devicePixelRatio || 1 : 1, box = u.bbox;
    const left = device ? box.left : 0, top = device ? box.top : 0, w = box.width / (device ? 1 : devicePixelRatio || 1), h = box.height / (device ? 1 : devicePixelRatio || 1);
    const sx = u.scales.x, sy = u.scales.y;
    const log = this.xLog ? Math.log10 : (v) => v;
    const x0 = log(sx.min), kx = w / (log(sx.max) - x0), ky = h / (sy.max - sy.min);
    return { x: (v) => left + (log(v) - x0) * kx, y: (v) => top + h - (v - sy.min) * ky, r, left, top, w, h, kx, ky, x0, y0: sy.min };
  }

  #draw(u) {
    const ctx = u.ctx, at = this.#map(u, true);
    ctx.save();
    ctx.beginPath(); ctx.rect(at.left, at.top, at.w, at.h); ctx.clip();
    ctx.lineJoin = "round";
    for (const l of this.layers) if (l.under) l.draw(ctx, at, css);
    if (this.curves) this.#drawCurves(ctx, at);
    for (const l of this.layers) if (!l.under) l.draw(ctx, at, css);
    ctx.restore();
    this.#origin(ctx, at);
  }

  // Small print at the lower right, on the canvas, so that a copy of the chart has it too: the data
  // are invented, or computed (the page says which).
  #origin(ctx, at) {
    const words = document.body.dataset.origin;
    if (!words) return;
    ctx.save();
    ctx.font = `${11 * at.r}px "Source Sans 3", system-ui, sans-serif`;
    ctx.fillStyle = css("soft"); ctx.textAlign = "right"; ctx.textBaseline = "bottom";
    ctx.fillText(words, at.left + at.w, ctx.canvas.height - 2 * at.r);
    ctx.restore();
  }

  #drawCurves(ctx, at) {
    const { count, colour, width, alpha } = this.curves;
    const groups = new Map(), out = [];
    for (let i = 0; i < count; i++) {
      if (this.hidden?.[i]) continue;
      if (this.ghost?.[i]) { out.push(i); continue; }
      const c = colour(i);
      if (!groups.has(c)) groups.set(c, []);
      groups.get(c).push(i);
    }
    if (out.length) this.#stroke(ctx, at, out, css("ghost"), width, 0.9, DASHES.dash);
    const thin = count > 200 ? 0.75 : 1;
    for (const [c, which] of groups) this.#stroke(ctx, at, which, css(c), width * thin, alpha * thin, []);
  }

  #stroke(ctx, at, which, colour, width, alpha, dash) {
    const { x, y, start } = this.curves;
    ctx.lineJoin = "round"; ctx.strokeStyle = colour; ctx.lineWidth = width * at.r; ctx.globalAlpha = alpha; ctx.setLineDash(dash.map((d) => d * at.r));
    ctx.beginPath();
    for (const i of which) {
      let begun = false;
      for (let k = start[i]; k < start[i + 1]; k++) {
        const px = at.x(x[k]), py = at.y(y[k]);
        if (px !== px || py !== py) { begun = false; continue; }
        if (begun) ctx.lineTo(px, py); else { ctx.moveTo(px, py); begun = true; }
      }
    }
    ctx.stroke();
    ctx.globalAlpha = 1; ctx.setLineDash([]);
  }

  // Above: the hovered and the chosen curve.
  #above() {
    const { u } = this, r = devicePixelRatio || 1, w = u.over.clientWidth, h = u.over.clientHeight;
    if (this.over.width !== Math.round(w * r) || this.over.height !== Math.round(h * r)) {
      this.over.width = Math.round(w * r); this.over.height = Math.round(h * r);
      this.over.style.width = `${w}px`; this.over.style.height = `${h}px`;
    }
    const ctx = this.over.getContext("2d");
    ctx.setTransform(1, 0, 0, 1, 0, 0); ctx.clearRect(0, 0, this.over.width, this.over.height); ctx.scale(r, r);
    const at = { ...this.#map(u, false), r: 1 };
    for (const [i, width] of [[this.chosen, 2.6], [this.hovered, 2]]) {
      if (i < 0) continue;
      if (this.curves && i < this.curves.count && !this.hidden?.[i]) {
        this.#stroke(ctx, at, [i], css("paper"), width + 2.5, 0.8, []);
        this.#stroke(ctx, at, [i], css(i === this.chosen ? this.curves.colour(i) : "ink"), i === this.chosen ? width + 1 : width, 1, this.ghost?.[i] ? DASHES.dash : []);
      }
      for (const l of this.layers) l.mark?.(ctx, at, css, i, i === this.chosen);
    }
  }

  choose(i) { this.chosen = i; this.#above(); }

  #hover(i) {
    if (i !== this.hovered) {
      this.hovered = i; this.#above(); this.onHover?.(i);
    }
  }
  // Beside the pointer: what is near it, and its coordinates.
  #tell(left, top) {
    const name = this.hovered < 0 ? "" : this.describe ? this.describe(this.hovered) : this.name(this.hovered);
    fill(this.tip, name && el("div", {}, name), el("div", { class: "at" }, coordinates(this, left, top)));
    const wide = this.u.over.clientWidth, flip = left > wide / 2;
    this.tip.style.left = flip ? "auto" : `${left + 14}px`; this.tip.style.right = flip ? `${wide - left + 12}px` : "auto";
    this.tip.style.top = `${Math.max(top - (name ? 52 : 30), 2)}px`;
    this.tip.hidden = false;
  }
  hover(i) { this.hovered = i; this.tip.hidden = true; this.#above(); }

  #point(left, top) {
    if (left < 0) { this.#hover(-1); this.tip.hidden = true; return; }
    if (!this.grid) this.grid = this.#net();
    this.#hover(this.#nearest(left, top));
    this.#tell(left, top);
  }

  // A net of cells over the picture with the curves (and points) that go through each.
  #net() {
    const { u } = this, at = { ...this.#map(u, false) }, w = u.over.clientWidth, h = u.over.clientHeight;
    const nx = Math.ceil(w / CELL) + 1, ny = Math.ceil(h / CELL) + 1;
    let size = 1 << 15, n = 0, px = new Float32Array(size), py = new Float32Array(size), who = new Int32Array(size), next = new Int32Array(size);
    const head = new Int32Array(nx * ny).fill(-1);
    const put = (x, y, i) => {
      if (!(x >= 0 && y >= 0 && x <= w && y <= h)) return;
      if (n === size) {
        size *= 2;
        const more = (a) => { const b = new a.constructor(size); b.set(a); return b; };
        px = more(px); py = more(py); who = more(who); next = more(next);
      }
      const cell = Math.floor(y / CELL) * nx + Math.floor(x / CELL);
      px[n] = x; py[n] = y; who[n] = i; next[n] = head[cell]; head[cell] = n++;
    };
    if (this.curves) {
      const { x, y, start, count } = this.curves;
      for (let i = 0; i < count; i++) {
        if (this.hidden?.[i]) continue;
        let ax = NaN, ay = NaN;
        for (let k = start[i]; k < start[i + 1]; k++) {
          const bx = at.x(x[k]), by = at.y(y[k]);
          const steps = Math.min(Math.ceil(Math.hypot(bx - ax, by - ay) / STEP) || 1, 400);
          for (let s = 1; s <= steps; s++) put(steps === 1 ? bx : ax + (bx - ax) * s / steps, steps === 1 ? by : ay + (by - ay) * s / steps, i);
          ax = bx; ay = by;
        }
      }
    }
    for (const l of this.layers) l.spots?.((x, y, i) => put(at.x(x), at.y(y), i));
    return { head, nx, ny, px, py, who, next };
  }

  #nearest(left, top) {
    const { head, nx, ny, px, py, who, next } = this.grid;
    const cx = Math.floor(left / CELL), cy = Math.floor(top / CELL), reach = Math.ceil(NEAR / CELL);
    let best = NEAR * NEAR, found = -1;
    for (let gy = Math.max(cy - reach, 0); gy <= Math.min(cy + reach, ny - 1); gy++)
      for (let gx = Math.max(cx - reach, 0); gx <= Math.min(cx + reach, nx - 1); gx++)
        for (let k = head[gy * nx + gx]; k >= 0; k = next[k]) {
          const d = (px[k] - left) ** 2 + (py[k] - top) ** 2;
          if (d < best) { best = d; found = who[k]; }
        }
    return found;
  }

  get count() { return this.curves ? this.curves.count : Math.max(0, ...this.layers.map((l) => l.count || 0)); }

  #keys(e) {
    if (e.target !== this.frame) return;
    const n = this.count, at = this.hovered >= 0 ? this.hovered : this.chosen, go = (i, d) => { for (let k = 0; k < n; k++) { const j = (i + n) % n; if (!this.hidden?.[j]) return j; i += d; } return -1; };
    const zoom = (f) => {
      const { x, y } = this.u.scales, mid = (s) => (s.min + s.max) / 2, half = (s) => (s.max - s.min) / 2 * f;
      this.view({ x: [mid(x) - half(x), mid(x) + half(x)], y: [mid(y) - half(y), mid(y) + half(y)] });
    };
    const acts = {
      ArrowRight: () => this.#say(go(at + 1, 1)), ArrowDown: () => this.#say(go(at + 1, 1)),
      ArrowLeft: () => this.#say(go(at < 0 ? n - 1 : at - 1, -1)), ArrowUp: () => this.#say(go(at < 0 ? n - 1 : at - 1, -1)),
      Home: () => this.#say(go(0, 1)), End: () => this.#say(go(n - 1, -1)),
      Enter: () => { if (this.hovered >= 0) { this.choose(this.hovered); this.onPick?.(this.hovered); } },
      "+": () => zoom(0.7), "-": () => zoom(1 / 0.7), 0: () => this.view(this.home), Escape: () => this.#say(-1),
    };
    if (acts[e.key] && (n || "+-0".includes(e.key))) { e.preventDefault(); acts[e.key](); }
  }
  #say(i) {
    this.hovered = i; this.tip.hidden = true; this.#above(); this.onHover?.(i);
    this.live.textContent = i < 0 ? "" : this.describe ? this.describe(i) : this.name(i);
  }

  // A line across the picture that can be dragged, or moved with the arrow keys.
  dragLine({ axis = "x", value, label = "", step = null, onMove = null, onDone = null }) {
    const node = el("div", { class: `drag ${axis}`, tabindex: 0, role: "slider", "aria-label": label, "aria-orientation": axis === "x" ? "horizontal" : "vertical" }, el("span", {}, label));
    const entry = { axis, value, node, set: (v) => { entry.value = v; this.#place(); } };
    const scale = () => this.u.scales[axis];
    const moved = (v, done) => {
      entry.value = Math.min(Math.max(v, scale().min), scale().max);
      this.#place(); onMove?.(entry.value); if (done) onDone?.(entry.value);
    };
    node.addEventListener("pointerdown", (e) => { e.stopPropagation(); node.setPointerCapture(e.pointerId); entry.held = true; });
    node.addEventListener("mousedown", (e) => e.stopPropagation());
    node.addEventListener("pointermove", (e) => {
      if (!entry.held) return;
      const box = this.u.over.getBoundingClientRect();
      moved(axis === "x" ? this.u.posToVal(e.clientX - box.left, "x") : this.u.posToVal(e.clientY - box.top, "y"), false);
    });
    node.addEventListener("pointerup", () => { if (entry.held) { entry.held = false; onDone?.(entry.value); } });
    node.addEventListener("keydown", (e) => {
      const d = (step ?? (scale().max - scale().min) / 200) * (e.shiftKey ? 10 : 1);
      const way = { ArrowRight: 1, ArrowUp: 1, ArrowLeft: -1, ArrowDown: -1 }[e.key];
      if (way) { e.preventDefault(); e.stopPropagation(); moved(entry.value + way * d, true); }
    });
    this.u.over.append(node); this.lines.push(entry); this.#place();
    return entry;
  }
  #place() {
    for (const l of this.lines || []) {
      const at = this.u.valToPos(l.value, l.axis), size = l.axis === "x" ? this.u.over.clientWidth : this.u.over.clientHeight;
      l.node.style[l.axis === "x" ? "left" : "top"] = `${at}px`;
      l.node.hidden = !(at >= -1 && at <= size + 1);
      l.node.classList.toggle("left", l.axis === "x" && at > size - 130);
      const scale = this.u.scales[l.axis], plain = (v) => String(Number(v.toPrecision(6)));
      l.node.setAttribute("aria-valuenow", plain(l.value)); l.node.setAttribute("aria-valuetext", short(l.value, 6));
      l.node.setAttribute("aria-valuemin", plain(scale.min)); l.node.setAttribute("aria-valuemax", plain(scale.max));
    }
  }

  // What the colours mean: [{ words, colour, kind: "line" | "point" | "band" | "dash" | "dot" }].
  setKey(entries) { this.entries = entries; this.#keyAgain(); }
  #keyAgain() {
    if (!this.entries) return;
    fill(this.key, this.entries.map(({ words, colour, kind = "line" }) => {
      const c = el("canvas", { width: 44, height: 20, "aria-hidden": "true" });
      c.style.width = "22px"; c.style.height = "10px";
      const g = c.getContext("2d"); g.scale(2, 2); g.strokeStyle = g.fillStyle = css(colour); g.lineWidth = 2;
      if (kind === "point") { g.beginPath(); g.arc(11, 5, 3, 0, 7); g.fill(); }
      else if (kind === "band") { g.globalAlpha = 0.3; g.fillRect(0, 0, 22, 10); }
      else { if (DASHES[kind]) g.setLineDash(kind === "dash" ? [5, 3] : DASHES[kind]); g.beginPath(); g.moveTo(1, 5); g.lineTo(21, 5); g.stroke(); }
      return el("li", {}, c, words);
    }));
  }

  // The numbers of the picture as a table, made when it is opened.
  table(head, rows, words = "Numbers of this chart") {
    this.details?.remove();
    const place = el("div", { class: "scroll", tabindex: 0, role: "group", "aria-label": words });
    this.details = el("details", {}, el("summary", {}, words), place);
    this.details.addEventListener("toggle", () => {
      if (!this.details.open) return;
      fill(place, el("table", {}, el("thead", {}, el("tr", {}, head.map((h, i) => el("th", { scope: "col", class: i ? "n" : "" }, h)))),
        el("tbody", {}, rows().map((r) => el("tr", {}, r.map((c, i) => el("td", { class: i ? "n" : "" }, String(c))))))));
    });
    this.host.append(this.details);
  }
}

const reach = (values, u = null) => {
  let a = Infinity, b = -Infinity;
  for (let k = 0; k < values.length; k++) { const d = u ? u[k] || 0 : 0; if (values[k] - d < a) a = values[k] - d; if (values[k] + d > b) b = values[k] + d; }
  return [a, b];
};

// Points with (optional) uncertainties in y (u) and x (ux); indices may name tests (which).
export function points({ x, y, u = null, ux = null, colour = "blue", size = 3, shape = "disc", which = null, alpha = 0.9, fit = true }) {
  const col = typeof colour === "function" ? colour : () => colour;
  const form = (ctx, px, py, s) => {
    ctx.beginPath();
    if (shape === "square") ctx.rect(px - s, py - s, 2 * s, 2 * s);
    else if (shape === "diamond") { ctx.moveTo(px, py - 1.3 * s); ctx.lineTo(px + 1.3 * s, py); ctx.lineTo(px, py + 1.3 * s); ctx.lineTo(px - 1.3 * s, py); ctx.closePath(); }
    else if (shape === "triangle") { ctx.moveTo(px, py - 1.3 * s); ctx.lineTo(px + 1.2 * s, py + s); ctx.lineTo(px - 1.2 * s, py + s); ctx.closePath(); }
    else ctx.arc(px, py, s, 0, 2 * Math.PI);
  };
  return {
    count: x.length, extent: fit ? { x: reach(x, ux), y: reach(y, u) } : null,
    spots(put) { for (let k = 0; k < x.length; k++) put(x[k], y[k], which ? which[k] : k); },
    draw(ctx, at, css) {
      for (let k = 0; k < x.length; k++) {
        const px = at.x(x[k]), py = at.y(y[k]), c = css(col(k));
        ctx.strokeStyle = ctx.fillStyle = c; ctx.globalAlpha = alpha * 0.6; ctx.lineWidth = at.r;
        ctx.beginPath();
        if (u && u[k]) { ctx.moveTo(px, at.y(y[k] - u[k])); ctx.lineTo(px, at.y(y[k] + u[k])); }
        if (ux && ux[k]) { ctx.moveTo(at.x(x[k] - ux[k]), py); ctx.lineTo(at.x(x[k] + ux[k]), py); }
        ctx.stroke(); ctx.globalAlpha = alpha;
        form(ctx, px, py, size * at.r); ctx.fill();
      }
      ctx.globalAlpha = 1;
    },
    mark(ctx, at, css, i, chosen) {
      for (let k = 0; k < x.length; k++) {
        if ((which ? which[k] : k) !== i) continue;
        ctx.lineWidth = 2; ctx.strokeStyle = css(chosen ? "orange" : "ink"); form(ctx, at.x(x[k]), at.y(y[k]), size + 3); ctx.stroke();
      }
    },
  };
}

// A band between two lines.
export function band({ x, low, high, colour = "blue", alpha = 0.18, fit = true }) {
  return {
    under: true, extent: fit ? { x: reach(x), y: [reach(low)[0], reach(high)[1]] } : null,
    draw(ctx, at, css) {
      ctx.beginPath();
      for (let k = 0; k < x.length; k++) ctx[k ? "lineTo" : "moveTo"](at.x(x[k]), at.y(high[k]));
      for (let k = x.length - 1; k >= 0; k--) ctx.lineTo(at.x(x[k]), at.y(low[k]));
      ctx.closePath(); ctx.fillStyle = css(colour); ctx.globalAlpha = alpha; ctx.fill(); ctx.globalAlpha = 1;
    },
  };
}

// A span of x (a segment, a window), over the whole height.
export function span({ from, to, colour = "ghost", alpha = 0.16 }) {
  return { under: true, extent: null, draw(ctx, at, css) { ctx.fillStyle = css(colour); ctx.globalAlpha = alpha; ctx.fillRect(at.x(from), at.top, at.x(to) - at.x(from), at.h); ctx.globalAlpha = 1; } };
}

// A line through points, in their order.
export function line({ x, y, colour = "ink", width = 1.5, dash = null, alpha = 1, fit = true }) {
  return {
    extent: fit ? { x: reach(x), y: reach(y) } : null,
    draw(ctx, at, css) {
      ctx.strokeStyle = css(colour); ctx.lineWidth = width * at.r; ctx.globalAlpha = alpha; ctx.setLineDash((DASHES[dash] || []).map((d) => d * at.r));
      ctx.beginPath();
      let begun = false;
      for (let k = 0; k < x.length; k++) {
        const px = at.x(x[k]), py = at.y(y[k]);
        if (px !== px || py !== py) { begun = false; continue; }
        ctx[begun ? "lineTo" : "moveTo"](px, py); begun = true;
      }
      ctx.stroke(); ctx.globalAlpha = 1; ctx.setLineDash([]);
    },
  };
}

// A level across the whole picture.
export function level({ axis = "y", value, colour = "soft", dash = "dash", width = 1 }) {
  return { extent: null, draw(ctx, at, css) {
    ctx.strokeStyle = css(colour); ctx.lineWidth = width * at.r; ctx.setLineDash((DASHES[dash] || []).map((d) => d * at.r)); ctx.beginPath();
    if (axis === "y") { ctx.moveTo(at.left, at.y(value)); ctx.lineTo(at.left + at.w, at.y(value)); } else { ctx.moveTo(at.x(value), at.top); ctx.lineTo(at.x(value), at.top + at.h); }
    ctx.stroke(); ctx.setLineDash([]);
  } };
}

// Values of a grid as colours: x and y are the edges of its cells, values go row by row.
export function map({ x, y, values, low, high, colours }) {
  const nx = x.length - 1, ny = y.length - 1, picture = el("canvas", { width: nx, height: ny }), ctx = picture.getContext("2d"), data = ctx.createImageData(nx, ny);
  for (let j = 0; j < ny; j++) for (let i = 0; i < nx; i++) {
    const v = values[j * nx + i], o = 4 * ((ny - 1 - j) * nx + i);
    if (!Number.isFinite(v)) continue;
    const c = colours[Math.max(0, Math.min(colours.length - 1, Math.floor((v - low) / (high - low || 1) * colours.length)))];
    data.data.set([c[0], c[1], c[2], 255], o);
  }
  ctx.putImageData(data, 0, 0);
  return { under: true, extent: { x: [x[0], x[nx]], y: [y[0], y[ny]] }, draw(out, at) {
    out.imageSmoothingEnabled = false;
    out.drawImage(picture, at.x(x[0]), at.y(y[ny]), at.x(x[nx]) - at.x(x[0]), at.y(y[0]) - at.y(y[ny]));
  } };
}

// Contours: each is a list of x, y, x, y, ... from the server; a level each.
export function contours({ lines, colour = "ink", width = 0.9 }) {
  return { extent: null, draw(ctx, at, css) {
    ctx.strokeStyle = css(colour); ctx.lineWidth = width * at.r; ctx.beginPath();
    for (const l of lines) for (let k = 0; k < l.length; k += 2) ctx[k ? "lineTo" : "moveTo"](at.x(l[k]), at.y(l[k + 1]));
    ctx.stroke();
  } };
}
