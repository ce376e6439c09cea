// Outlines, cuts and margins over a slice, on a flat canvas.

import {
  add, bladeOutline, dot, outward, scale, sectionLoops, sectionOfOutline, sectionSegments, shownHalves, sub, toPicture, unit,
} from "./geometry.mjs";

const INK = {
  bone: "#e2d8c2", rib: "#e2d8c2", tumour: "#c58ab6", sac: "#e3b64a", cord: "#f1d58f",
  vessel: "#7fa7b8", piece: "#57c2b9", nibbled: "#9c8f74",
  root: "#f1d58f", "root modelled": "#f1d58f", segmental: "#7fa7b8", "segmental modelled": "#7fa7b8",
};
const CUT = "#57c2b9", SOFT = "#b9c6ca";
const BEHIND_MM = 12; // of the entry, a blade is drawn from here

// Draws the outlines; returns the box that the tumour takes, in pixels, or null.
export function drawContours(pen, scene) {
  const { view, centre, toPixels } = scene;
  let tumour = null;
  for (const part of scene.parts) {
    if (part.kind === "piece" || part.kind === "arch") continue;
    if (part.kind === "opened") {
      drawOpened(pen, sectionSegments(part.mesh, view, centre), toPixels);
      continue;
    }
    const path = new Path2D();
    const loops = sectionLoops(part.mesh, view, centre);
    if (part.kind === "tumour") tumour = boxOf(loops.flat().map((xy) => toPixels(...xy)));
    for (const loop of loops) {
      loop.forEach(([x, y], i) => (i ? path.lineTo(...toPixels(x, y)) : path.moveTo(...toPixels(x, y))));
      path.closePath();
    }
    pen.strokeStyle = INK[part.kind] ?? SOFT;
    pen.lineWidth = part.kind === "tumour" ? 2 : 1.2;
    pen.setLineDash(part.kind === "nibbled" ? [3, 4] : part.kind.endsWith(" modelled") ? [2, 2] : []);
    if (part.kind === "tumour" || part.kind === "nibbled") {
      pen.fillStyle = part.kind === "tumour" ? hatch(pen) : dots(pen);
      pen.fill(path, "evenodd");
    }
    pen.stroke(path);
  }
  pen.setLineDash([]);
  return tumour;
}

// Where the plan itself opens tumour: a pale line with dark breaks, wider than any outline.
function drawOpened(pen, segments, toPixels) {
  for (const [ink, width, dash] of [["#1d1030", 6, []], ["#ffd98a", 3.4, [5, 3]]]) {
    pen.strokeStyle = ink;
    pen.lineWidth = width;
    pen.setLineDash(dash);
    pen.beginPath();
    for (const [a, b] of segments) {
      pen.moveTo(...toPixels(...a));
      pen.lineTo(...toPixels(...b));
    }
    pen.stroke();
  }
  pen.setLineDash([]);
}

export function boxOf(points) {
  if (!points.length) return null;
  let [left, top] = points[0], [right, bottom] = points[0];
  for (const [x, y] of points) {
    left = Math.min(left, x);
    right = Math.max(right, x);
    top = Math.min(top, y);
    bottom = Math.max(bottom, y);
  }
  return { x: left, y: top, width: right - left, height: bottom - top };
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

let dotted = null;
function dots(pen) {
  if (dotted) return dotted;
  const tile = document.createElement("canvas");
  tile.width = tile.height = 7;
  const ink = tile.getContext("2d");
  ink.fillStyle = "rgba(18, 25, 29, 0.5)";
  ink.fillRect(0, 0, 7, 7);
  ink.fillStyle = "#f4f1e8";
  ink.beginPath();
  ink.arc(3.5, 3.5, 1.5, 0, 2 * Math.PI);
  ink.fill();
  return (dotted = pen.createPattern(tile, "repeat"));
}

// The arch's parts while they are brushed; what was swept is dotted at once if it will be nibbled.
export function drawArch(pen, shown, swept, toPixels) {
  for (const { part, loops } of shown) {
    const path = new Path2D(), gives = swept.get(part.name);
    for (const loop of loops) {
      loop.forEach(([x, y], i) => (i ? path.lineTo(...toPixels(x, y)) : path.moveTo(...toPixels(x, y))));
      path.closePath();
    }
    if (gives?.fate === "piecemeal") {
      pen.fillStyle = dots(pen);
      pen.fill(path, "evenodd");
    }
    pen.strokeStyle = gives ? "#ffffff" : CUT;
    pen.lineWidth = gives ? 3.4 : 1.6;
    pen.stroke(path);
  }
}

// Where each half cut shows in the slice, and where its handles lie: [{mark, ends, points, grips}],
// points and grips in patient LPS. From the side height is held at the entry, tilt at the tip; from
// behind height in the middle, roll at the outer end.
export function cutLines(marks, view, centre, look, frame) {
  const lines = [];
  for (const mark of shownHalves(marks, view, centre, look, frame)) {
    const points = sectionOfOutline(bladeOutline(mark, { behind: BEHIND_MM }), view, centre);
    if (points.length < 2) continue;
    const out = look === "side" ? mark.blade : outward(mark);
    points.sort((a, b) => dot(sub(a, b), out));
    const along = unit(sub(points[1], points[0]));
    const grips = look === "side"
      ? { move: add(points[0], scale(along, BEHIND_MM)), tip: points[1] }
      : { move: scale(add(points[0], points[1]), 0.5), side: points[1] };
    lines.push({ mark, points, grips, ends: points.map((p) => toPicture(view, centre, p)) });
  }
  return lines;
}

// In the solid picture the whole blade is seen, and all three handles that do not hide each other.
export function bladesOf(marks, axes, centre, mmPerPixel) {
  return marks.map((mark) => {
    const half = scale(outward(mark), mark.half_width_mm + 8);
    const entry = mark.entry_lps_mm, grips = { move: entry, side: add(entry, half) };
    const tip = add(entry, scale(mark.blade, mark.depth_mm + 6));
    const apart = toPicture(axes, entry, tip);
    if (Math.hypot(...apart) / mmPerPixel > 30) grips.tip = tip;
    const corners = bladeOutline(mark).map((p) => toPicture(axes, centre, p));
    return { mark, grips, corners, ends: [toPicture(axes, centre, entry), toPicture(axes, centre, grips.side)] };
  });
}

// The wanted margin lies on the piece's side of the line: as a shift in pixels, x right, y down.
export function marginShift(mark, view, mmPerPixel) {
  const across = [-dot(mark.out, view.right), dot(mark.out, view.up)];
  const steep = Math.hypot(...across);
  // a plane that meets the slice at a slant lies farther off in it than the margin
  return steep < 0.3 ? null : across.map((a) => (a / steep / steep) * (mark.wanted_mm / mmPerPixel));
}

export function drawCuts(pen, lines, view, toPixels, mmPerPixel) {
  for (const { mark, ends } of lines) {
    const [a, b] = ends.map(([x, y]) => toPixels(x, y));
    pen.strokeStyle = CUT;
    pen.lineWidth = 3;
    line(pen, a, b);
    const shift = mark.wanted_mm ? marginShift(mark, view, mmPerPixel) : null;
    if (shift) {
      pen.setLineDash([2, 4]);
      pen.lineWidth = 1.4;
      line(pen, [a[0] + shift[0], a[1] + shift[1]], [b[0] + shift[0], b[1] + shift[1]]);
      pen.setLineDash([]);
    }
  }
}

export function drawBlades(pen, blades, toPixels) {
  pen.strokeStyle = CUT;
  pen.lineWidth = 1.4;
  for (const { corners } of blades) polygon(pen, corners.map((c) => toPixels(...c)));
}

// The faces of one cut, seen in its plane, tinted by their room to tumour.
export function drawFaces(pen, marks, view, centre, toPixels) {
  for (const mark of marks) {
    polygon(pen, mark.polygon_lps_mm.map((p) => toPixels(...toPicture(view, centre, p))), mark.ink);
  }
}

function polygon(pen, corners, ink) {
  pen.beginPath();
  corners.forEach((at, i) => (i ? pen.lineTo(...at) : pen.moveTo(...at)));
  pen.closePath();
  if (ink) {
    pen.fillStyle = ink;
    pen.globalAlpha = 0.42;
    pen.fill();
    pen.globalAlpha = 1;
    pen.strokeStyle = CUT;
    pen.lineWidth = 2;
  }
  pen.stroke();
}

function line(pen, a, b) {
  pen.beginPath();
  pen.moveTo(...a);
  pen.lineTo(...b);
  pen.stroke();
}
