// Outlines, cuts, margins and words over a slice, on a flat canvas.

import { bladeOutline, dot, sectionLoops, sectionOfOutline, sub, toPicture } from "./geometry.mjs";

const INK = {
  bone: "#e2d8c2", rib: "#e2d8c2", tumour: "#c58ab6", sac: "#e3b64a", cord: "#f1d58f",
  vessel: "#7fa7b8", piece: "#57c2b9", nibbled: "#9c8f74",
};
const CUT = "#57c2b9", BRIGHT = "#f6f1e6", SOFT = "#b9c6ca";
const FONT = '14px "DejaVu Sans", system-ui, sans-serif';

export function drawContours(pen, scene) {
  const { view, centre, toPixels } = scene;
  for (const part of scene.parts) {
    if (part.kind === "piece") continue;
    const path = new Path2D();
    for (const loop of sectionLoops(part.mesh, view, centre)) {
      loop.forEach(([x, y], i) => (i ? path.lineTo(...toPixels(x, y)) : path.moveTo(...toPixels(x, y))));
      path.closePath();
    }
    pen.strokeStyle = INK[part.kind] ?? SOFT;
    pen.lineWidth = part.kind === "tumour" ? 2 : 1.2;
    pen.setLineDash(part.kind === "nibbled" ? [3, 4] : []);
    if (part.kind === "tumour") {
      pen.fillStyle = hatch(pen);
      pen.fill(path, "evenodd");
    }
    pen.stroke(path);
  }
  pen.setLineDash([]);
}

let hatched = null;
function hatch(pen) {
  if (hatched) return hatched;
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const ink = tile.getContext("2d");
  ink.fillStyle = "rgba(109, 47, 94, 0.55)";
  ink.fillRect(0, 0, 8, 8);
  ink.strokeStyle = "rgba(214, 160, 200, 0.75)";
  for (const shift of [-8, 0, 8]) {
    ink.beginPath();
    ink.moveTo(shift - 1, 9);
    ink.lineTo(shift + 9, -1);
    ink.stroke();
  }
  return (hatched = pen.createPattern(tile, "repeat"));
}

// Where each half cut shows in the slice, and where its two handles lie.
export function cutLines(marks, view, centre, mode) {
  const lines = [];
  for (const mark of marks) {
    const ends = sectionOfOutline(bladeOutline(mark), view, centre);
    if (ends.length < 2) continue;
    const out = mode === "side" ? mark.blade : mark.edge.map((e) => (mark.side === "left" ? e : -e));
    ends.sort((a, b) => dot(sub(a, b), out));
    lines.push({ mark, ends: ends.map((p) => toPicture(view, centre, p)), points: ends });
  }
  return lines;
}

export function drawCuts(pen, lines, toPixels, { wanted_mm, toward }) {
  pen.font = FONT;
  for (const { mark, ends } of lines) {
    const [a, b] = ends.map(([x, y]) => toPixels(x, y));
    pen.strokeStyle = CUT;
    pen.lineWidth = 3;
    line(pen, a, b);
    // the wanted margin, on the piece's side: dotted
    const [dx, dy] = [b[0] - a[0], b[1] - a[1]], length = Math.hypot(dx, dy) || 1;
    const inward = mark.inward_px ?? 0;
    if (inward) {
      const shift = [(-dy / length) * inward, (dx / length) * inward];
      pen.setLineDash([2, 5]);
      pen.lineWidth = 1;
      line(pen, [a[0] + shift[0], a[1] + shift[1]], [b[0] + shift[0], b[1] + shift[1]]);
      pen.setLineDash([]);
    }
  }
}

function line(pen, a, b) {
  pen.beginPath();
  pen.moveTo(...a);
  pen.lineTo(...b);
  pen.stroke();
}

// The weakest place: a ring with its words; open and faint if it lies off this slice.
export function drawWeakest(pen, weakest, { view, centre, toPixels, width, height }) {
  const off = dot(sub(weakest.point, centre), view.toward);
  const [x, y] = toPixels(...toPicture(view, centre, weakest.point));
  if (x < 0 || y < 0 || x > width || y > height) return;
  pen.globalAlpha = Math.abs(off) > 4 ? 0.55 : 1;
  pen.strokeStyle = "#ffffff";
  pen.lineWidth = 2;
  pen.beginPath();
  pen.arc(x, y, 13, 0, 2 * Math.PI);
  pen.stroke();
  const away = Math.abs(off) > 4 ? ` (${Math.abs(off).toFixed(0)} mm off this slice)` : "";
  const words = wrapped(pen, `${weakest.words}${away}`, Math.min(340, width - 40));
  const right = x < width / 2;
  const left = right ? Math.max(16, Math.min(x + 40, width - 356)) : Math.max(16, x - 380);
  const top = Math.min(Math.max(y + 34, 60), height - 20 * words.length - 70);
  pen.lineWidth = 1;
  line(pen, [x + (right ? 9 : -9), y + 9], [left + (right ? 0 : 340), top + 4]);
  words.forEach((row, i) => write(pen, row, left, top + 20 * i + 8));
  pen.globalAlpha = 1;
}

function wrapped(pen, words, width) {
  pen.font = FONT;
  const rows = [""];
  for (const word of words.split(" ")) {
    const longer = rows[rows.length - 1] ? `${rows[rows.length - 1]} ${word}` : word;
    if (pen.measureText(longer).width > width) rows.push(word);
    else rows[rows.length - 1] = longer;
  }
  return rows;
}

export function write(pen, words, x, y, align = "left", colour = BRIGHT) {
  pen.font = FONT;
  pen.textAlign = align;
  pen.textBaseline = "middle";
  const width = pen.measureText(words).width;
  const from = align === "center" ? x - width / 2 : align === "right" ? x - width : x;
  pen.fillStyle = "rgba(18, 25, 29, 0.78)";
  pen.fillRect(from - 3, y - 10, width + 6, 20);
  pen.fillStyle = colour;
  pen.fillText(words, x, y);
}

// Words at the edges, the scale, the view's name.
export function drawFrame(pen, { width, height, mmPerPixel, edges, title, stand }) {
  write(pen, title, 16, 22, "left", SOFT);
  const mid = Math.max(60, height / 2);
  write(pen, edges.up, width / 2, 52, "center");
  write(pen, stand.down ? `${edges.down} · ${stand.words}` : edges.down, width / 2, height - 18, "center");
  write(pen, edges.left, 14, mid, "left");
  write(pen, edges.right, width - 14, mid, "right");
  const bar = [50, 20, 10, 5].find((mm) => mm / mmPerPixel < width / 5) ?? 5;
  const y = height - 26, x = width - 24;
  pen.strokeStyle = BRIGHT;
  pen.lineWidth = 2;
  line(pen, [x - bar / mmPerPixel, y], [x, y]);
  write(pen, `${bar} mm`, x - bar / mmPerPixel / 2, y - 14, "center");
}
