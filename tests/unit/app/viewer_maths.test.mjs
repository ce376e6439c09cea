// The picture's geometry. Expectations are written by hand or in closed form; the half cuts come
// from the planner (file named by HALF_CUTS), so that the picture and the plan speak of one plane.
import assert from "node:assert/strict";
import { readFileSync } from "node:fs";
import test from "node:test";

const geometry = await import(`file://${process.env.GEOMETRY}`);
const { add, bladeOutline, cross, dot, facing, fromPicture, pulled, scale, sectionLoops,
  sectionOfOutline, shownHalves, sub, toPicture, together } = geometry;
const { marks, pairs } = JSON.parse(readFileSync(process.env.HALF_CUTS, "utf8"));

const near = (got, wanted, within = 1e-9, what = "") =>
  assert.ok(Math.abs(got - wanted) <= within, `${what} ${got} is not ${wanted}`);
const FRAME = { left: [1, 0, 0], back: [0, 1, 0], head: [0, 0, 1], origin: [0, 0, 0] };
// Standing at the left of a prone patient: head at the picture's left, patient's left below.
const STANDING_LEFT = { right: [0, 0, -1], up: [-1, 0, 0], toward: [0, 1, 0] };
const FROM_LEFT = { right: [0, 0, -1], up: [0, 1, 0], toward: [1, 0, 0] };
const FROM_RIGHT = { right: [0, 0, 1], up: [0, 1, 0], toward: [-1, 0, 0] };

test("a left rib lies below for somebody at the patient's left, the head at the left", () => {
  assert.deepEqual(toPicture(STANDING_LEFT, [0, 0, 0], [100, -40, -20]), [20, -100]);
  assert.deepEqual(toPicture(STANDING_LEFT, [0, 0, 0], [0, 0, 250]), [-250, 0]);
});

test("a place in the picture and back is the same place of the slice", () => {
  const centre = [3, -7, 11];
  const [x, y] = toPicture(STANDING_LEFT, centre, fromPicture(STANDING_LEFT, centre, 12.5, -4));
  near(x, 12.5);
  near(y, -4);
});

test("a view turned to a plane looks straight at it and never mirrors", () => {
  for (const normal of [[0, 0.9, 0.3], [0.2, -0.9, 0.3], [0, -1, 0]]) {
    const { right, up, toward } = facing(STANDING_LEFT, normal);
    near(Math.abs(dot(toward, normal)) / Math.hypot(...normal), 1);
    near(dot(cross(right, up), toward), 1);
    assert.ok(dot(toward, STANDING_LEFT.toward) > 0, "seen from the same side as before");
    assert.ok(dot(right, STANDING_LEFT.right) > 0.9);
  }
});

// A box of 10 x 20 x 30 mm about the middle; each face two triangles, outward.
function box() {
  const positions = [], [a, b, c] = [5, 10, 15];
  for (const x of [-a, a]) for (const y of [-b, b]) for (const z of [-c, c]) positions.push(x, y, z);
  const quads = [[0, 1, 3, 2], [4, 6, 7, 5], [0, 4, 5, 1], [2, 3, 7, 6], [0, 2, 6, 4], [1, 5, 7, 3]];
  const triangles = quads.flatMap(([p, q, r, s]) => [p, q, r, p, r, s]);
  return { positions: new Float32Array(positions), triangles: new Uint32Array(triangles) };
}

const areaOf = (loop) => Math.abs(loop.reduce((sum, [x, y], i) => {
  const [u, v] = loop[(i + 1) % loop.length];
  return sum + (x * v - u * y) / 2;
}, 0));

test("a plane cuts a box in one closed loop of the right area and place", () => {
  const loops = sectionLoops(box(), STANDING_LEFT, [0, 3, 0]);
  assert.equal(loops.length, 1);
  near(areaOf(loops[0]), 10 * 30, 1e-4);
  near(Math.max(...loops[0].map(([x]) => x)), 15, 1e-5);
  near(Math.max(...loops[0].map(([, y]) => y)), 5, 1e-5);
});

test("an oblique plane cuts the box in a larger loop: area over cosine", () => {
  const tilted = facing(STANDING_LEFT, [0, Math.cos(0.3), Math.sin(0.3)]);
  near(areaOf(sectionLoops(box(), tilted, [0, 0, 0])[0]), (10 * 30) / Math.cos(0.3), 1e-3);
});

test("a plane through a vertex, an edge or a face still gives closed loops or none", () => {
  for (const y of [-10, 10, 0]) {
    for (const loop of sectionLoops(box(), STANDING_LEFT, [0, y, 0])) near(areaOf(loop), 300, 1e-2);
  }
  assert.deepEqual(sectionLoops(box(), STANDING_LEFT, [0, 10.01, 0]), []);
});

const inPlane = (mark, along, forward) =>
  add(mark.entry_lps_mm, add(scale(mark.edge, along), scale(mark.blade, forward)));

test("a handle that is grabbed and not moved changes nothing, tilted and rolled as it may be", () => {
  assert.ok(marks.length >= 18);
  for (const mark of marks) {
    const outer = mark.side === "left" ? 9 : -9;
    const at = { move: inPlane(mark, 3, 7), tip: inPlane(mark, outer, 28), side: inPlane(mark, outer, 12) };
    for (const [handle, point] of Object.entries(at)) {
      const numbers = pulled(mark, handle, point, FRAME);
      for (const key of ["height_mm", "tilt_deg", "roll_deg"]) {
        near(numbers[key], mark[key], 1e-6, `${mark.side} ${handle} ${key}`);
      }
    }
  }
});

test("a pulled plane holds the place it was pulled to", () => {
  for (const mark of marks) {
    const outer = mark.side === "left" ? 9 : -9;
    for (const [handle, from] of [["move", inPlane(mark, 3, 7)], ["tip", inPlane(mark, outer, 28)],
      ["side", inPlane(mark, outer, 12)]]) {
      const point = add(from, [0, 0, 1.7]);
      const { height_mm, tilt_deg, roll_deg } = pulled(mark, handle, point, FRAME);
      const [tilt, roll] = [tilt_deg, roll_deg].map((angle) => (angle * Math.PI) / 180);
      const normal = [-Math.sin(roll), Math.cos(roll) * Math.sin(tilt), Math.cos(roll) * Math.cos(tilt)];
      const entry = add(mark.entry_lps_mm, [0, 0, height_mm - mark.height_mm]);
      near(dot(sub(point, entry), normal), 0, 1e-6, `${handle} misses by mm`);
    }
  }
});

test("pulling a tip up by one mm on a level cut tilts by atan(1 / depth)", () => {
  const mark = marks.find((m) => m.tilt_deg === 0 && m.roll_deg === 0 && m.side === "left");
  const tip = add(mark.entry_lps_mm, [0, -30, 1]);
  near(pulled(mark, "tip", tip, FRAME).tilt_deg, (Math.atan(1 / 30) * 180) / Math.PI, 1e-9);
  const edge = add(mark.entry_lps_mm, [10, 0, 1]);
  near(pulled(mark, "side", edge, FRAME).roll_deg, (Math.atan(1 / 10) * 180) / Math.PI, 1e-9);
});

test("no pull turns a cut by more than 45 degrees", () => {
  for (const mark of marks) {
    for (const handle of ["tip", "side"]) {
      for (const head of [-80, 80]) {
        const point = add(mark.entry_lps_mm, [mark.side === "left" ? 4 : -4, -5, head]);
        const numbers = pulled(mark, handle, point, FRAME);
        assert.ok(Math.abs(numbers.tilt_deg) <= 45 && Math.abs(numbers.roll_deg) <= 45);
      }
    }
  }
});

test("halves that move together lie in one plane, as the planner places them", () => {
  for (const { mark, other, height_mm } of pairs) {
    near(together(mark, mark, other, FRAME).height_mm, height_mm, 1e-6);
  }
});

test("a slice in the midline shows the whole length of a half cut", () => {
  const mark = marks.find((m) => m.tilt_deg === 0 && m.roll_deg === 0 && m.side === "left");
  for (const left of [-1e-5, 0, 1e-5]) {
    const ends = sectionOfOutline(bladeOutline(mark), FROM_LEFT, [left, 0, 0]);
    near(Math.hypot(...sub(ends[1], ends[0])), 12 + mark.depth_mm + 6, 1e-6);
  }
});

test("from the side one half of each cut is shown: the slice's, in the midline the nearer one", () => {
  const two = ["left", "right"].map((side) => ({ cut: "cranial", side, edge: [1, 0, 0] }));
  const sides = (view, left) => shownHalves(two, view, [left, 0, 0], "side", FRAME).map((m) => m.side);
  assert.deepEqual(sides(FROM_LEFT, 0), ["left"]);
  assert.deepEqual(sides(FROM_RIGHT, 0), ["right"]);
  assert.deepEqual(sides(FROM_LEFT, -6), ["right"]);
  assert.deepEqual(sides(FROM_RIGHT, 6), ["left"]);
  assert.equal(shownHalves(two, FROM_LEFT, [0, 0, 0], "behind", FRAME).length, 2);
});

test("a place lies inside loops by the even-odd rule: a hole is outside", () => {
  const square = (r) => [[-r, -r], [r, -r], [r, r], [-r, r]];
  const loops = [square(10), square(4).reverse()];
  const cases = [[7, 0, true], [0, 7, true], [0, 0, false], [3.9, -3.9, false], [11, 0, false], [-9.9, 9.9, true]];
  for (const [x, y, expected] of cases) assert.equal(geometry.insideLoops(loops, x, y), expected, `${x}, ${y}`);
});

test("an open patch is cut in the straight line that the plane makes with it", () => {
  // the square 0..10 by 0..10 at z = 0, in two triangles; cut at y = 4, seen along y
  const patch = { positions: new Float32Array([0, 0, 0, 10, 0, 0, 10, 10, 0, 0, 10, 0]), triangles: new Uint32Array([0, 1, 2, 0, 2, 3]) };
  const view = { right: [1, 0, 0], up: [0, 0, 1], toward: [0, -1, 0] };
  const found = geometry.sectionSegments(patch, view, [0, 4, 0]);
  const length = found.reduce((sum, [a, b]) => sum + Math.hypot(a[0] - b[0], a[1] - b[1]), 0);
  assert.ok(Math.abs(length - 10) < 1e-6);
  assert.ok(found.flat().every(([, y]) => Math.abs(y) < 1e-9));
  assert.deepEqual(geometry.sectionSegments(patch, view, [0, 11, 0]), []);
});

test("loops are kept for the same slice only", () => {
  const mesh = { positions: new Float32Array([0, 0, 0, 10, 0, 0, 0, 10, 0, 0, 0, 10]), triangles: new Uint32Array([0, 2, 1, 0, 1, 3, 0, 3, 2, 1, 2, 3]) };
  const view = { right: [1, 0, 0], up: [0, 1, 0], toward: [0, 0, 1] };
  const at = (z) => geometry.sectionLoops(mesh, view, [0, 0, z])[0];
  const widest = (loop) => Math.max(...loop.map(([x]) => x));
  assert.ok(Math.abs(widest(at(2)) - 8) < 1e-5); // the tetrahedron x + y + z <= 10
  assert.equal(at(2), at(2));
  assert.ok(Math.abs(widest(at(5)) - 5) < 1e-5);
  assert.ok(Math.abs(widest(at(2)) - 8) < 1e-5);
});
