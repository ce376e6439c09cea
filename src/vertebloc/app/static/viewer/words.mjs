// Words over the picture, as SVG: they stay sharp at any zoom and are read aloud. Nothing imported.

export const LINE_PX = 20; // rows of 14 px letters
const PAD_PX = 4;

const overlaps = (a, b) =>
  a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height && b.y < a.y + a.height;

function boxAt([x, y], label, measure) {
  const width = Math.max(...label.rows.map(measure)) + 2 * PAD_PX;
  const height = label.rows.length * LINE_PX;
  const left = label.align === "center" ? x - width / 2 : label.align === "right" ? x - width : x;
  return { x: left, y: y - LINE_PX / 2, width, height };
}

// Where each label goes: in order of rank, at the first of its spots that lies in the picture and
// over nothing else; one that finds none is left out, unless it must be said.
// labels: [{rows, spots: [[x, y]..], align, rank, must, shy, colour}]; taken: boxes to keep free;
// shunned: boxes that shy labels keep free as well.
export function placed(labels, { width, height, measure, taken = [], shunned = [] }) {
  const done = [];
  const inside = (box) => box.x >= 2 && box.y >= 2
    && box.x + box.width <= width - 2 && box.y + box.height <= height - 2;
  for (const label of [...labels].sort((a, b) => a.rank - b.rank)) {
    const boxes = label.spots.map((spot) => boxAt(spot, label, measure));
    const clashes = boxes.map((box) => done.filter((other) => overlaps(box, other.box)).length
      + taken.filter((other) => overlaps(box, other)).length / 2
      + (label.shy ? shunned.filter((other) => overlaps(box, other)).length / 5 : 0));
    let best = boxes.findIndex((box, i) => inside(box) && clashes[i] === 0);
    if (best < 0 && label.must) best = clashes.indexOf(Math.min(...clashes));
    if (best >= 0) done.push({ ...label, box: boxes[best] });
  }
  return done;
}

// Words in rows no wider than asked.
export function wrapped(words, widest, measure) {
  const rows = [""];
  for (const word of words.split(" ")) {
    const longer = rows[rows.length - 1] ? `${rows[rows.length - 1]} ${word}` : word;
    if (rows[rows.length - 1] && measure(longer) > widest) rows.push(word);
    else rows[rows.length - 1] = longer;
  }
  return rows;
}

export const safe = (words) => String(words).replace(/[&<>"']/g, (c) => `&#${c.charCodeAt(0)};`);
const n = (value) => Math.round(value * 10) / 10;

export function labelSvg({ rows, box, align, colour }) {
  const x = align === "center" ? box.x + box.width / 2
    : align === "right" ? box.x + box.width - PAD_PX : box.x + PAD_PX;
  const anchor = { center: "middle", right: "end" }[align] ?? "start";
  const ground = `<rect x="${n(box.x)}" y="${n(box.y)}" width="${n(box.width)}" height="${n(box.height)}"/>`;
  const lines = rows.map((row, i) =>
    `<text x="${n(x)}" y="${n(box.y + LINE_PX * (i + 0.74))}" text-anchor="${anchor}"`
    + `${colour ? ` style="fill:${colour}"` : ""}>${safe(row)}</text>`);
  return `<g>${ground}${lines.join("")}</g>`;
}

export function lineSvg(a, b, { wide = 1, dashed = false } = {}) {
  return `<line x1="${n(a[0])}" y1="${n(a[1])}" x2="${n(b[0])}" y2="${n(b[1])}" stroke-width="${wide}"`
    + `${dashed ? ' stroke-dasharray="3 4"' : ""}/>`;
}

// The weakest place, lit: a bright ring on a dark one about a bright dot; dashed where it lies
// off this slice or on the far side.
export function litSvg([x, y], radius, dashed) {
  const circle = (r, look) => `<circle class="lit" cx="${n(x)}" cy="${n(y)}" r="${r}" style="${look}"`;
  const dash = dashed ? ' stroke-dasharray="4 4"' : "";
  return `${circle(radius, "stroke:#12191d;stroke-opacity:0.8;stroke-width:6")}/>`
    + `${circle(radius, "stroke:#fff;stroke-width:2.4")}${dash}/>`
    + (dashed ? "" : `${circle(3.4, "fill:#fff;stroke:#12191d;stroke-width:1.6")}/>`);
}

// A small dot on a face, and a line from it to its words.
export function dotSvg([x, y], box) {
  return `<circle cx="${n(x)}" cy="${n(y)}" r="3" style="fill:#12191d;stroke:#f6f1e6;stroke-width:1.5"/>`
    + leaderSvg([x, y], 3, box);
}

// From a ring's rim to the nearest place of its words' box.
export function leaderSvg([x, y], radius, box) {
  const to = [Math.min(Math.max(x, box.x), box.x + box.width),
    Math.min(Math.max(y, box.y), box.y + box.height)];
  const away = Math.hypot(to[0] - x, to[1] - y);
  if (away <= radius) return "";
  const from = [x + ((to[0] - x) * radius) / away, y + ((to[1] - y) * radius) / away];
  return lineSvg(from, to);
}

// The round length, in mm, of a scale bar that takes at most a fifth of the picture.
export function scaleBarMm(width, mmPerPixel) {
  return [100, 50, 20, 10, 5, 2].find((mm) => mm / mmPerPixel < width / 5) ?? 1;
}

// A number with one digit and its unit; never "-0.0".
export const withUnit = (value, unit) => `${(Math.round(value * 10) / 10 + 0).toFixed(1)}${unit}`;

// What is always said: the view's name, what lies at each edge, the scale.
export function frameLabels({ width, height, mmPerPixel, edges, title, stand }, measure) {
  const middle = Math.max(70, height / 2), bar = scaleBarMm(width, mmPerPixel) / mmPerPixel;
  const down = stand ? `${edges.down} · ${stand}` : edges.down;
  const frame = { rank: 0, must: true };
  const rows = wrapped(title, width - 40, measure);
  // in the middle of its edge; if a handle is there, near it
  const beside = (y) => [0, -90, 90, -180].map((aside) => [width / 2 + aside, y]);
  const above = (x) => [0, -40, 40, -80].map((aside) => [x, middle + aside]);
  return [
    { ...frame, rows, spots: [[12, 20]], align: "left", colour: "#b9c6ca" },
    { ...frame, rows: [edges.up], spots: beside(28 + LINE_PX * rows.length), align: "center" },
    { ...frame, rows: [down], spots: beside(height - 16), align: "center" },
    { ...frame, rows: [edges.left], spots: above(10), align: "left" },
    { ...frame, rows: [edges.right], spots: above(width - 10), align: "right" },
    { ...frame, rows: [`${scaleBarMm(width, mmPerPixel)} mm`], align: "center",
      spots: [[width - 24 - bar / 2, height - 40]] },
  ];
}
