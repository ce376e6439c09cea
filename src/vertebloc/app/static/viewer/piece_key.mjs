// How the piece is coloured, as a box of SVG in the picture's lower left corner.

import { LINE_PX, safe } from "./words.mjs";

const PAD = 10, BAR = 180, SWATCH = 30, LEFT = 12, ABOVE_FOOT = 34;

const text = (x, y, said, anchor = "start") =>
  `<text x="${x}" y="${y}" text-anchor="${anchor}">${safe(said)}</text>`;
const box = (x, y, width, fill, more = "") =>
  `<rect x="${x}" y="${y}" width="${width}" height="13" style="fill:${fill};fill-opacity:1;stroke:#b9c6ca"${more}/>`;

// piece: {key, opened} of the scene; returns {box, svg}.
export function pieceKey({ key, opened }, said, height, measure) {
  const rows = [
    ...(key.wanted_mm > 0 ? [["url(#key-near)", key.wanted_words]] : []),
    ["url(#key-touched)", said.touched], [key.dissected, said.dissected],
    ...(opened.length ? [["url(#key-opened)", said.opened]] : []),
  ];
  const width = 2 * PAD + Math.max(BAR, measure(said.title), ...rows.map(([, row]) => SWATCH + 8 + measure(row)));
  const tall = 2 * PAD + LINE_PX * (3 + rows.length) + 4;
  const top = height - ABOVE_FOOT - tall, x = LEFT + PAD;
  const at = (mm) => x + (BAR * mm) / key.widest_mm;
  const drawn = [
    `<rect x="${LEFT}" y="${top}" width="${width}" height="${tall}"/>`,
    text(x, top + PAD + 12, said.title), box(x, top + PAD + LINE_PX, BAR, "url(#key-ramp)"),
    ...key.ticks.map(({ mm, words }, i) => text(at(mm), top + PAD + 2 * LINE_PX + 12, words,
      i === 0 ? "start" : i === key.ticks.length - 1 ? "end" : "middle")),
    text(x + BAR + 4, top + PAD + 2 * LINE_PX + 12, "mm"),
  ];
  if (key.wanted_mm > 0 && key.wanted_mm <= key.widest_mm) {
    drawn.push(`<line x1="${at(key.wanted_mm)}" x2="${at(key.wanted_mm)}" y1="${top + PAD + LINE_PX - 3}" `
      + `y2="${top + PAD + LINE_PX + 16}" style="stroke:${key.line};stroke-width:3"/>`);
  }
  rows.forEach(([fill, row], i) => {
    const y = top + PAD + LINE_PX * (3 + i) + 4;
    drawn.push(box(x, y, SWATCH, fill), text(x + SWATCH + 8, y + 12, row));
  });
  return { box: { x: LEFT, y: top, width, height: tall }, svg: `<g class="key">${patterns(key)}${drawn.join("")}</g>` };
}

function patterns({ ramp, tumour, tumour_hatch: hatch, opened, opened_hatch: pale, ink }) {
  const stops = ramp.map((colour, i) => `<stop offset="${i / (ramp.length - 1)}" stop-color="${colour}"/>`).join("");
  const tile = (id, size, ground, marks) => `<pattern id="${id}" width="${size}" height="${size}" `
    + `patternUnits="userSpaceOnUse"><rect width="${size}" height="${size}" style="fill:${ground};fill-opacity:1"/>${marks}</pattern>`;
  const stroke = (d, colour) => `<path d="${d}" stroke="${colour}" stroke-width="1.8"/>`;
  const rising = "M-1 9L9 -1M-1 1L1 -1M7 9L9 7", falling = "M-1 -1L9 9M7 -1L9 1M-1 7L1 9";
  return `<defs><linearGradient id="key-ramp">${stops}</linearGradient>`
    + tile("key-near", 7, ramp[0], `<circle cx="3.5" cy="3.5" r="1.6" style="fill:${ink};stroke:none"/>`)
    + tile("key-touched", 8, tumour, stroke(rising, hatch))
    + tile("key-opened", 8, opened, stroke(rising, pale) + stroke(falling, pale)) + "</defs>";
}
