// Plane and mesh geometry of the picture: patient LPS, mm. Nothing is imported, nothing drawn.

export const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
export const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
export const scale = (a, s) => [a[0] * s, a[1] * s, a[2] * s];
export const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
export const cross = (a, b) => [
  a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0],
];
export const unit = (a) => scale(a, 1 / Math.hypot(...a));

// A view turned so that it looks straight at a plane: `toward` becomes the plane's normal (its
// sign that nearer to the old one), `up` stays as near to itself as it can. Never mirrored.
export function facing(view, normal) {
  const toward = unit(dot(normal, view.toward) < 0 ? scale(normal, -1) : normal);
  const up = unit(sub(view.up, scale(toward, dot(view.up, toward))));
  return { right: cross(up, toward), up, toward };
}

// Where a point lies in the picture, mm to the right of and above its centre.
export function toPicture(view, centre, point) {
  const away = sub(point, centre);
  return [dot(away, view.right), dot(away, view.up)];
}

export function fromPicture(view, centre, x, y) {
  return add(centre, add(scale(view.right, x), scale(view.up, y)));
}

// Closed loops in which a plane cuts a triangle mesh, as picture coordinates; those of the slice
// looked at last are kept: while a cut is pulled the slice stays.
// positions: Float32Array of xyz, triangles: Uint32Array of corners.
export function sectionLoops(mesh, view, centre) {
  const key = [view.right, view.up, centre].join();
  if (mesh.loopsOf !== key) {
    mesh.loops = cutLoops(mesh, view, centre);
    mesh.loopsOf = key;
  }
  return mesh.loops;
}

function cutLoops(mesh, view, centre) {
  const { positions, triangles } = mesh;
  const n = view.toward, offset = dot(n, centre);
  const count = positions.length / 3;
  const height = mesh.heights ?? (mesh.heights = new Float32Array(count));
  let low = Infinity, high = -Infinity;
  for (let v = 0, p = 0; v < count; v++, p += 3) {
    // a hair off: no vertex lies exactly in the plane, so that every loop closes
    const h = positions[p] * n[0] + positions[p + 1] * n[1] + positions[p + 2] * n[2] - offset;
    height[v] = h === 0 ? 1e-6 : h;
    if (h < low) low = h;
    if (h > high) high = h;
  }
  if (low > 0 || high < 0) return [];
  const next = new Map();
  const edgeKey = (a, b) => (a < b ? a * count + b : b * count + a);
  for (let t = 0; t < triangles.length; t += 3) {
    const a = triangles[t], b = triangles[t + 1], c = triangles[t + 2];
    const above = (height[a] > 0 ? 1 : 0) + (height[b] > 0 ? 2 : 0) + (height[c] > 0 ? 4 : 0);
    if (above === 0 || above === 7) continue;
    // the segment runs so that the mesh's inside stays at the same hand
    const [one, two, lone] = {
      1: [[a, b], [a, c], 1], 6: [[a, c], [a, b], 1], 2: [[b, c], [b, a], 1],
      5: [[b, a], [b, c], 1], 4: [[c, a], [c, b], 1], 3: [[c, b], [c, a], 1],
    }[above];
    if (lone) next.set(edgeKey(one[0], one[1]), [one, edgeKey(two[0], two[1])]);
  }
  const loops = [];
  while (next.size) {
    const first = next.keys().next().value;
    const loop = [];
    let key = first;
    while (next.has(key)) {
      const [[a, b], after] = next.get(key);
      next.delete(key);
      const s = height[a] / (height[a] - height[b]);
      const at = (axis) => positions[3 * a + axis] + s * (positions[3 * b + axis] - positions[3 * a + axis]);
      loop.push(toPicture(view, centre, [at(0), at(1), at(2)]));
      key = after;
    }
    if (loop.length > 2) loops.push(loop);
  }
  return loops;
}

// Whether a place lies inside closed loops, by the even-odd rule, so that holes are left out.
export function insideLoops(loops, x, y) {
  let inside = false;
  for (const loop of loops) {
    for (let i = 0, j = loop.length - 1; i < loop.length; j = i++) {
      const [xi, yi] = loop[i], [xj, yj] = loop[j];
      if (yi > y !== yj > y && x < xi + ((y - yi) * (xj - xi)) / (yj - yi)) inside = !inside;
    }
  }
  return inside;
}

// Pieces of line in which a plane cuts the triangles of an open patch: [[[x, y], [x, y]]..].
export function sectionSegments({ positions, triangles }, view, centre) {
  const found = [];
  for (let t = 0; t < triangles.length; t += 3) {
    const corners = [0, 1, 2].map((c) => positions.subarray(3 * triangles[t + c], 3 * triangles[t + c] + 3));
    const ends = sectionOfOutline(corners.map((c) => [...c]), view, centre);
    if (ends.length === 2) found.push(ends.map((end) => toPicture(view, centre, end)));
  }
  return found;
}

// The straight piece in which a plane cuts a flat convex outline; [] if it passes it by.
export function sectionOfOutline(corners, view, centre) {
  const ends = [];
  for (let i = 0; i < corners.length; i++) {
    const a = corners[i], b = corners[(i + 1) % corners.length];
    const ha = dot(sub(a, centre), view.toward), hb = dot(sub(b, centre), view.toward);
    if (ha === hb || ha * hb > 0) continue;
    ends.push(add(a, scale(sub(b, a), ha / (ha - hb))));
  }
  return ends.length >= 2 ? [ends[0], ends[ends.length - 1]] : [];
}

// The outline of a half cut's blade: from the midline outwards, from behind the entry to the tip.
// It reaches a hair over the midline: a slice in the midline itself must not graze the edge.
export function bladeOutline(mark, { behind = 12, beyond = 6, aside = 8, over = 0.25 } = {}) {
  const out = outward(mark);
  const inner = scale(out, -mark.half_width_mm - over);
  const outer = scale(out, mark.half_width_mm + aside);
  const back = scale(mark.blade, -behind), front = scale(mark.blade, mark.depth_mm + beyond);
  const at = (a, b) => add(mark.entry_lps_mm, add(a, b));
  return [at(inner, back), at(outer, back), at(outer, front), at(inner, front)];
}

// Along the entry edge, away from the midline.
export const outward = (mark) => scale(mark.edge, mark.side === "left" ? 1 : -1);

// A half cut's plane through its entry, in the vertebra's axes (left, back, head):
//   -sin(roll) left + cos(roll) (sin(tilt) back + cos(tilt) head) = 0.
const DEGREES = 180 / Math.PI;

// How far the plane rises towards the head over a step to the left and to the back.
function rise(left, back, { tilt_deg, roll_deg }) {
  const tilt = tilt_deg / DEGREES, roll = roll_deg / DEGREES;
  return (left * Math.tan(roll)) / Math.cos(tilt) - back * Math.tan(tilt);
}

// New numbers of a half cut after one of its handles was pulled to a place: the plane then holds
// that place. "move" changes the height, "tip" the tilt, "side" the roll, and nothing else.
export function pulled(mark, handle, point, frame) {
  const away = sub(point, mark.entry_lps_mm);
  const left = dot(away, frame.left), back = dot(away, frame.back), head = dot(away, frame.head);
  const { height_mm, tilt_deg, roll_deg } = mark;
  if (handle === "tip") {
    // cos(tilt) head - sin(tilt) forward = tan(roll) left
    const far = Math.hypot(head, back), level = left * Math.tan(roll_deg / DEGREES);
    const turn = Math.acos(bounded(level / Math.max(far, 1e-9), 1)) - Math.atan2(-back, head);
    return { height_mm, roll_deg, tilt_deg: bounded(turn * DEGREES, 45) };
  }
  if (handle === "side") {
    const tilt = tilt_deg / DEGREES, sign = mark.side === "left" ? 1 : -1;
    const up = Math.sin(tilt) * back + Math.cos(tilt) * head;
    return { height_mm, tilt_deg, roll_deg: bounded(Math.atan2(sign * up, sign * left) * DEGREES, 45) };
  }
  return { height_mm: height_mm + head - rise(left, back, mark), tilt_deg, roll_deg };
}

const bounded = (value, limit) => Math.max(-limit, Math.min(limit, value));

// Both halves in one plane when they move together: the other half takes the same plane.
export function together(numbers, mark, other, frame) {
  const across = sub(other.entry_lps_mm, mark.entry_lps_mm);
  const step = rise(dot(across, frame.left), dot(across, frame.back), numbers);
  return { ...numbers, height_mm: numbers.height_mm + step };
}

// A half cut moved to new numbers, as the planner will lay it: drawn until its answer is there.
export function laid(mark, numbers, frame) {
  const tilt = numbers.tilt_deg / DEGREES, roll = numbers.roll_deg / DEGREES;
  const body = ([left, back, head]) =>
    add(add(scale(frame.left, left), scale(frame.back, back)), scale(frame.head, head));
  const up = [-Math.sin(roll), Math.cos(roll) * Math.sin(tilt), Math.cos(roll) * Math.cos(tilt)];
  const out = body(mark.cut === "cranial" ? up : scale(up, -1));
  return { ...mark, ...numbers, out, up: out, polygon_lps_mm: [], margin_words: "",
    blade: body([0, -Math.cos(tilt), Math.sin(tilt)]),
    edge: body([Math.cos(roll), Math.sin(roll) * Math.sin(tilt), Math.sin(roll) * Math.cos(tilt)]),
    entry_lps_mm: add(mark.entry_lps_mm, scale(frame.head, numbers.height_mm - mark.height_mm)) };
}

// Which half cuts a picture shows: from the side only the half that is in the slice's side of
// the patient; in the midline the one nearer to the viewer.
export function shownHalves(marks, view, centre, look, frame) {
  if (look !== "side") return marks;
  const best = new Map();
  for (const mark of marks) {
    const left = dot(sub(centre, frame.origin ?? centre), frame.left);
    const inSlice = Math.abs(left) > 0.5 ? (left > 0) === (mark.side === "left")
      : dot(outward(mark), view.toward) > 0;
    if (inSlice) best.set(mark.cut, mark);
  }
  return [...best.values()];
}
