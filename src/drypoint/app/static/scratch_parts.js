// Parts of the page of scratch tracks: a picture along the axis, words above marks, shares that failed.
import { el, fill, visible } from "./dom.js";
import { Plot, SERIES, line, points, short } from "./plot.js";

// A picture laid along the axis between two places; it is drawn again when it has come.
export function pictureLayer(address, [from, to], onLoad) {
  const image = new Image();
  image.addEventListener("load", onLoad);
  image.src = address;
  return { under: true, extent: { x: [from, to], y: [0, 1] }, draw(ctx, at) {
    if (image.complete && image.naturalWidth) ctx.drawImage(image, at.x(from), at.y(1), at.x(to) - at.x(from), at.y(0) - at.y(1));
  } };
}

// Words at the upper end of marks; those that would meet stand one below the other.
export function wordsAbove(items) {
  return { extent: null, draw(ctx, at, css) {
    ctx.font = `600 ${12 * at.r}px "Source Sans 3", system-ui, sans-serif`; ctx.textAlign = "left"; ctx.textBaseline = "top";
    const ends = [];
    for (const { x, words, colour } of [...items].sort((a, b) => a.x - b.x)) {
      const px = at.x(x) + 3 * at.r, wide = ctx.measureText(visible(words)).width + 4 * at.r;
      let row = 0;
      while (ends[row] > px) row += 1;
      ends[row] = px + wide;
      ctx.fillStyle = css(colour); ctx.fillText(visible(words), px, at.top + (2 + 14 * row) * at.r);
    }
  } };
}

// Share of the tracks that failed up to a load, a chart for each critical load: as seen, and as fitted.
export function shares(place, all, eventColour) {
  fill(place);
  const events = [...new Set(all.shares.map((s) => s.event))], specimens = [...new Set(all.shares.map((s) => s.specimen))];
  for (const event of events) {
    const host = el("div"), mine = all.shares.filter((s) => s.event === event), key = [];
    place.append(host);
    const plot = new Plot(host, { title: `${event}: share of the tracks that failed`, x: "Normal force / mN", y: "Failed / %", height: 230 });
    for (const s of mine) {
      const colour = SERIES[specimens.indexOf(s.specimen) % SERIES.length], [x, y] = s.seen;
      plot.add(points({ x, y, colour, size: 3.2, shape: specimens.indexOf(s.specimen) % 2 ? "square" : "disc" }));
      if (s.curve.length) plot.add(line({ x: s.curve[0], y: s.curve[1], colour, width: 1.4, dash: specimens.indexOf(s.specimen) % 2 ? "dash" : null }));
      if (s.stopped.length) plot.add(points({ x: s.stopped, y: s.stopped.map(() => 0), colour, size: 3.2, shape: "triangle" }));
      key.push({ words: `${s.specimen}${s.family ? `, ${s.family}` : ", too few for a distribution"}`, colour, kind: specimens.indexOf(s.specimen) % 2 ? "dash" : "line" });
    }
    if (mine.some((s) => s.stopped.length)) key.push({ words: "triangle: held up to there", colour: "soft", kind: "point" });
    plot.setKey(key); plot.fitAll();
    plot.table(["Specimen", "Load / mN", "Failed / %"], () => mine.flatMap((s) => [...s.seen[0].map((x, k) => [s.specimen, short(x), short(s.seen[1][k], 3)]), ...s.stopped.map((x) => [s.specimen, short(x), "held"])]));
  }
}
