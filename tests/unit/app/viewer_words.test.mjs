// Words over the picture keep clear of each other; lines lie where the planner's planes lie.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

const beside = (name) => import(`file://${process.env.GEOMETRY.replace("geometry.mjs", name)}`);
const words = await beside("words.mjs");
const contours = await beside("contours.mjs");
const { dot, laid, sub } = await beside("geometry.mjs");
const { marks } = JSON.parse(readFileSync(process.env.HALF_CUTS, "utf8"));

const near = (got, wanted, within = 1e-9, what = "") =>
  assert.ok(Math.abs(got - wanted) <= within, `${what} ${got} is not ${wanted}`);
const FRAME = { left: [1, 0, 0], back: [0, 1, 0], head: [0, 0, 1], origin: [0, 0, 0] };
const STANDING_LEFT = { right: [0, 0, -1], up: [-1, 0, 0], toward: [0, 1, 0] };
const FROM_LEFT = { right: [0, 0, -1], up: [0, 1, 0], toward: [1, 0, 0] };
const PICTURE = { width: 800, height: 500, measure: (row) => 8 * row.length };
const apart = (a, b) => a.x + a.width <= b.x || b.x + b.width <= a.x
  || a.y + a.height <= b.y || b.y + b.height <= a.y;

test("words that would lie over others take their next place, or are left out", () => {
  const label = (name, rank, spots, more = {}) => ({ rows: [name], rank, spots, align: "center", ...more });
  const done = words.placed([
    label("third", 3, [[400, 250], [405, 252]]),
    label("second", 2, [[400, 250], [400, 300]]),
    label("first", 1, [[400, 250]]),
  ], PICTURE);
  assert.deepEqual(done.map((one) => one.rows[0]), ["first", "second"]);
  assert.equal(done[1].box.y, 290); // its second place, a row of 20 about y = 300
  assert.ok(apart(done[0].box, done[1].box));
});

test("what must be said is said even where all places are taken; nothing lies over a handle if it can", () => {
  const taken = [{ x: 388, y: 238, width: 24, height: 24 }];
  const said = { rows: ["words"], rank: 1, align: "center", spots: [[400, 250], [400, 300]] };
  near(words.placed([said], { ...PICTURE, taken })[0].box.y, 290);
  const only = { ...said, spots: [[400, 250]] };
  assert.equal(words.placed([only], { ...PICTURE, taken }).length, 0);
  assert.equal(words.placed([{ ...only, must: true }], { ...PICTURE, taken }).length, 1);
});

test("only shy words keep off the tumour", () => {
  const shunned = [{ x: 300, y: 200, width: 200, height: 100 }];
  const said = { rows: ["words"], rank: 1, align: "center", spots: [[400, 250], [400, 400]] };
  near(words.placed([said], { ...PICTURE, shunned })[0].box.y, 240);
  near(words.placed([{ ...said, shy: true }], { ...PICTURE, shunned })[0].box.y, 390);
});

test("the frame's words never lie over one another, however small the picture", () => {
  const edges = { left: "HEAD", right: "FEET", up: "patient's RIGHT", down: "patient's LEFT" };
  const title = "theatre view: prone, from behind, you stand at the patient's left";
  for (const [width, height] of [[900, 600], [560, 360], [380, 300]]) {
    const size = { width, height, measure: PICTURE.measure };
    const frame = { width, height, mmPerPixel: 0.17, edges, title, stand: "you stand here" };
    const done = words.placed(words.frameLabels(frame, PICTURE.measure), size);
    assert.equal(done.length, 6);
    for (const a of done) for (const b of done) assert.ok(a === b || apart(a.box, b.box), `${a.rows} ${b.rows}`);
    for (const { box } of done) assert.ok(box.x >= 0 && box.x + box.width <= width);
  }
});

test("names cannot smuggle in elements; numbers are never minus zero", () => {
  const box = { x: 0, y: 0, width: 9, height: 20 };
  const svg = words.labelSvg({ rows: ['<image href="x">&'], box, align: "left" });
  assert.ok(!svg.includes("<image") && svg.includes("&#60;image"));
  assert.equal(words.withUnit(-0.02, "°"), "0.0°");
  assert.equal(words.withUnit(-17.83, " mm"), "-17.8 mm");
});

test("the scale bar is of round length and takes at most a fifth of the picture", () => {
  for (const mmPerPixel of [0.04, 0.17, 0.5, 1.2]) {
    const mm = words.scaleBarMm(900, mmPerPixel);
    assert.ok([100, 50, 20, 10, 5, 2, 1].includes(mm) && mm / mmPerPixel <= 180);
  }
  assert.equal(words.scaleBarMm(900, 0.17), 20); // 180 px are 30.6 mm
});

test("rows are no wider than asked, and no word is lost", () => {
  const said = "nearest: 7.4 mm, 7 mm left of the midline, 16 mm above mid-body";
  const rows = words.wrapped(said, 160, PICTURE.measure);
  assert.equal(rows.join(" "), said);
  assert.ok(rows.every((row) => PICTURE.measure(row) <= 160));
});

test("a moved half is drawn as the planner will lay it", () => {
  for (const wanted of marks) {
    const from = marks.find((m) => m.side === wanted.side && m.tilt_deg === 0 && m.roll_deg === 0);
    const start = { ...from, cut: "cranial" };
    const drawn = laid(start, { height_mm: 9.5, tilt_deg: wanted.tilt_deg, roll_deg: wanted.roll_deg }, FRAME);
    for (const [key, name] of [["blade", "blade"], ["edge", "edge"], ["out", "normal"]]) {
      drawn[key].forEach((value, axis) => near(value, wanted[name][axis], 1e-9, key));
    }
    near(drawn.entry_lps_mm[2], 9.5);
    near(drawn.entry_lps_mm[0], wanted.entry_lps_mm[0]);
    const below = laid({ ...start, cut: "caudal" }, drawn, FRAME);
    near(dot(below.out, drawn.out), -1); // out of the piece: to the feet below it
  }
});

test("the wanted margin is drawn on the piece's side, at its true distance", () => {
  // Standing at the left the feet are at the right: the piece lies to the right of the cranial cut.
  const level = { out: [0, 0, 1], wanted_mm: 5 };
  const [right, down] = contours.marginShift(level, STANDING_LEFT, 0.25);
  near(right, 20);
  near(down, 0);
  near(contours.marginShift({ out: [0, 0, -1], wanted_mm: 5 }, STANDING_LEFT, 0.25)[0], -20);
  // A plane that leans 30 degrees out of the picture: 5 mm off it are 5 / cos(30) in the slice.
  const lean = Math.PI / 6;
  const leaning = { out: [0, Math.sin(lean), Math.cos(lean)], wanted_mm: 5 };
  near(contours.marginShift(leaning, STANDING_LEFT, 1)[0], 5 / Math.cos(lean), 1e-9);
  assert.equal(contours.marginShift({ out: [0, 1, 0], wanted_mm: 5 }, STANDING_LEFT, 1), null);
});

test("handles: height and roll from behind, height at the entry and tilt from the side", () => {
  const both = marks.filter((m) => m.tilt_deg === 0 && m.roll_deg === 0).map((m) => ({ ...m, cut: "cranial" }));
  const behind = contours.cutLines(both, STANDING_LEFT, [0, 0, 0], "behind", FRAME);
  assert.equal(behind.length, 2);
  for (const { mark, grips } of behind) {
    assert.deepEqual(Object.keys(grips), ["move", "side"]);
    // the outer end lies 8 mm outside the wall, on the mark's own side
    near(grips.side[0], (mark.side === "left" ? 1 : -1) * (2 * mark.half_width_mm + 8));
  }
  const side = contours.cutLines(both, FROM_LEFT, [0, 0, 0], "side", FRAME);
  assert.deepEqual(side.map((line) => line.mark.side), ["left"]);
  near(side[0].grips.move[1], side[0].mark.entry_lps_mm[1]); // at the back of the body
  near(side[0].grips.tip[1], side[0].mark.entry_lps_mm[1] - 34); // 28 deep and 6 beyond
  for (const { mark, grips } of [...behind, ...side]) {
    for (const at of Object.values(grips)) near(dot(sub(at, mark.entry_lps_mm), mark.normal), 0, 1e-9);
  }
});

test("in the solid picture a tip that hides behind its entry has no handle", () => {
  const level = { ...marks.find((m) => m.tilt_deg === 0 && m.roll_deg === 0), cut: "cranial" };
  const grips = (axes) => Object.keys(contours.bladesOf([level], axes, [0, 0, 0], 0.17)[0].grips);
  assert.deepEqual(grips(STANDING_LEFT), ["move", "side"]);
  assert.deepEqual(grips(FROM_LEFT), ["move", "side", "tip"]);
});
