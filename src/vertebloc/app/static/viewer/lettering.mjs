// What is written over the picture: the view, sides, scale, cuts, levels, the weakest place.

import { add, dot, outward, scale, sub, toPicture } from "./geometry.mjs";
import { pieceKey } from "./piece_key.mjs";
import * as words from "./words.mjs";

const FONT = '14px "DejaVu Sans", "Segoe UI", system-ui, sans-serif';
const ON_SLICE_MM = 4, RING_PX = 13, CUT_INK = "#bdf0ea";

// Places in a column at each side of a box, those nearest to a point first.
function besides([x, y], box, wide, width, height) {
  const inside = (left) => Math.min(Math.max(left, 6), width - wide - 6), found = [];
  for (const left of [inside((box?.x ?? x) - 18 - wide), inside((box ? box.x + box.width : x) + 18)]) {
    for (let top = 84; top < height - 60; top += words.LINE_PX + 3) found.push([left, top]);
  }
  const away = ([left, top]) => Math.hypot(Math.max(left - x, x - left - wide, 0), 1.5 * (top - y));
  return found.sort((a, b) => away(a) - away(b));
}

export const lettering = {
  methods: {
    writeWords({ pen, lines, tumour, view, axes, toPixels, width, height }) {
      pen.font = FONT;
      const measure = (row) => pen.measureText(row).width;
      const solid = this.isSolid, alone = this.look === "piece", turned = solid && this.solidTurned;
      const at = (point) => toPixels(...toPicture(axes, this.centre, point));
      const labels = [
        ...words.frameLabels({ width, height, mmPerPixel: this.mmPerPixel,
          edges: turned ? this.edgesOf(axes) : view.edges, title: turned ? this.words.turned : view.title,
          stand: view.stand_down && !turned ? this.words.stand_here : "" }, measure),
        ...this.weakestLabel(solid ? axes : view, at, tumour, width, height, measure),
        ...(alone ? this.pieceLabels(axes, at, tumour, width, height, measure) : []),
        ...this.cutLabels(lines, toPixels, width, measure), ...this.faceLabels(view, at), ...this.levelLabels(at),
        ...(this.isBrushing ? this.archLabels(toPixels) : []),
      ];
      const key = alone && this.scene.piece ? pieceKey(this.scene.piece, this.words.piece, height, measure) : null;
      const taken = this.handles.map((h) => ({ x: h.x * width - 12, y: h.y * height - 12, width: 24, height: 24 }));
      if (key) taken.push(key.box, key.box, key.box); // nothing is worth covering it
      const done = words.placed(labels, { width, height, measure, taken, shunned: tumour ? [tumour] : [] });
      const bar = words.scaleBarMm(width, this.mmPerPixel) / this.mmPerPixel, right = width - 24;
      const drawn = [words.lineSvg([right - bar, height - 24], [right, height - 24], { wide: 2 })];
      for (const { ring, box } of done.filter((label) => label.ring)) {
        drawn.push(words.litSvg(ring.at, RING_PX, ring.off), words.leaderSvg(ring.at, RING_PX, box));
      }
      for (const { dot: place, box } of done.filter((label) => label.dot)) drawn.push(words.dotSvg(place, box));
      const overlay = this.$refs.overlay;
      overlay.setAttribute("viewBox", `0 0 ${width} ${height}`);
      overlay.innerHTML = (key?.svg ?? "") + drawn.join("") + done.map(words.labelSvg).join("");
    },
    weakestLabel(view, at, piece, width, height, measure) {
      if (!this.weakest) return [];
      const [x, y] = at(this.weakest.point);
      if (x < 0 || y < 0 || x > width || y > height) return [];
      const off = this.isSolid ? 0 : Math.abs(dot(sub(this.weakest.point, this.centre), view.toward));
      const hidden = this.look === "piece" && this.weakest.out && dot(this.weakest.out, view.toward) < 0;
      const away = off > ON_SLICE_MM ? ` (${off.toFixed(0)} ${this.words.off_slice})`
        : hidden ? ` (${this.words.piece.far_side})` : "";
      const rows = words.wrapped(this.weakest.words + away, Math.min(300, width / 2), measure);
      const wide = Math.max(...rows.map(measure)) + 8, low = height - 46 - words.LINE_PX * (rows.length - 1);
      if (this.look === "piece") {
        const spots = besides([x, y], piece, wide, width, height - words.LINE_PX * rows.length);
        return [{ rows, spots, align: "left", rank: 1, must: true, shy: true, ring: { at: [x, y], off: hidden } }];
      }
      const across = [12, width - 12 - wide, (width - wide) / 2], down = [low, 66, height * 0.62, height * 0.3];
      const spots = down.flatMap((top) => across.map((left) => [left, top]))
        .sort(([a, b], [c, d]) => Math.hypot(a + wide / 2 - x, b - y) - Math.hypot(c + wide / 2 - x, d - y));
      return [{ rows, spots, align: "left", rank: 1, must: true, shy: true, ring: { at: [x, y], off: hidden || off > ON_SLICE_MM } }];
    },
    // Faces that look at the viewer, with their margins, in two columns beside the piece.
    pieceLabels(axes, at, piece, width, height, measure) {
      const faces = (this.scene.piece?.faces || []).filter((face) => dot(face.out, axes.toward) > 0.2);
      const opened = (this.scene.piece?.opened || []).map((one) => {
        const on = at(one.at), wide = Math.max(...one.rows.map(measure)) + 8;
        return { rows: one.rows, rank: 2, dot: on, shy: true, must: true, align: "left", colour: this.scene.piece.key.opened_hatch,
          spots: besides(on, piece, wide, width, height - words.LINE_PX) };
      });
      return opened.concat(faces.map((face) => {
        const on = at(face.at);
        return { rows: [face.words], rank: face.cut ? 3 : 4, dot: on, shy: true, align: "left",
          spots: besides(on, piece, measure(face.words) + 8, width, height) };
      }));
    },
    cutLabels(lines, toPixels, width, measure) {
      const named = new Map();
      for (const { mark, ends } of lines) {
        const spots = [...(named.get(mark.cut)?.spots || []), ...ends.map((end) => toPixels(...end))];
        named.set(mark.cut, { words: mark.cut_words, spots });
      }
      return [...named.values()].map(({ words: name, spots }) => {
        const [x, y] = spots.sort((a, b) => a[1] - b[1])[0], [u, v] = spots[spots.length - 1];
        const half = measure(name) / 2 + 8, aside = half + 16; // clear of the picture's edge, of the line's handles
        const within = (value) => Math.min(Math.max(value, half), width - half);
        return { rows: [name], align: "center", rank: 2, must: true, colour: CUT_INK,
          spots: [[within(x), y - 26], [within(x - aside), y - 4], [within(x + aside), y - 4], [within(u), v + 26],
            [within(x), y - 52], [within(u), v + 52], [within(u - aside), v + 4], [within(u + aside), v + 4]] };
      });
    },
    faceLabels(view, at) {
      if (this.look !== "cut") return [];
      return this.facesInPlane(view).filter((mark) => mark.margin_words).map((mark) => {
        const count = mark.polygon_lps_mm.length;
        const middle = mark.polygon_lps_mm.reduce((sum, p) => add(sum, scale(p, 1 / count)), [0, 0, 0]);
        const [x, y] = at(middle), aside = at(add(middle, scale(outward(mark), mark.half_width_mm * 2.6)));
        return { rows: [mark.margin_words], align: "center", rank: 3,
          spots: [[x, y], aside, [aside[0], aside[1] + 30], [x, y + 40]] };
      });
    },
    archLabels(toPixels) {
      return (this.archShown || []).map(({ part, loops }) => {
        const loop = loops.reduce((a, b) => (b.length > a.length ? b : a));
        const [x, y] = toPixels(...[0, 1].map((i) => loop.reduce((sum, p) => sum + p[i] / loop.length, 0)));
        const gives = this.swept.get(part.name);
        return { rows: [gives ? `${part.name} ${this.words.brush.becomes}: ${gives.words}` : part.label],
          align: "center", rank: gives ? 2 : 3,
          spots: [[x, y - 30], [x, y + 30], [x, y - 56], [x, y + 56], [x - 90, y], [x + 90, y]] };
      });
    },
    levelLabels(at) {
      if (["across", "cut", "piece"].includes(this.look)) return [];
      return (this.scene.levels || []).map((level) => {
        const [x, y] = at(level.at);
        return { rows: [level.name], align: "center", rank: 4, spots: [[x, y], [x, y - 24], [x, y + 24]] };
      });
    },
  },
};
