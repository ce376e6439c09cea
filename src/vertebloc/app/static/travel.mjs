// Small maths of the way out as it is played; no drawing, so that it can be tested by itself.

// Twelve numbers of a rigid motion, row by row, as the sixteen of a matrix.
export const moveOf = (move) => [...move, 0, 0, 0, 1];

// Places come as whole hundredths of a millimetre.
export const meshOf = (mesh) => ({
  positions: Float32Array.from(mesh.places, (place) => place / 100),
  triangles: Uint32Array.from(mesh.corners),
});

// The pose that is reached after so much travel: the last one not beyond it.
export function nextPose(along, at) {
  let low = 0, high = along.length - 1;
  while (low < high) {
    const middle = Math.ceil((low + high) / 2);
    if (along[middle] <= at) low = middle; else high = middle - 1;
  }
  return low;
}

// A line with a radius as a tube of eight sides, closed by nothing: its ends lie outside the picture.
export function tubeOf({ points, radius_mm: radius }, sides = 8) {
  const positions = [], triangles = [];
  const sub = (a, b) => a.map((v, i) => v - b[i]);
  const unit = (a) => { const n = Math.hypot(...a) || 1; return a.map((v) => v / n); };
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  points.forEach((point, i) => {
    const along = unit(sub(points[Math.min(i + 1, points.length - 1)], points[Math.max(i - 1, 0)]));
    const aside = unit(cross(along, Math.abs(along[2]) < 0.9 ? [0, 0, 1] : [1, 0, 0])), up = cross(along, aside);
    for (let k = 0; k < sides; k += 1) {
      const a = (2 * Math.PI * k) / sides;
      positions.push(...point.map((v, j) => v + radius * (Math.cos(a) * aside[j] + Math.sin(a) * up[j])));
      if (!i) continue;
      const here = i * sides + k, next = i * sides + ((k + 1) % sides);
      triangles.push(here - sides, here, next, here - sides, next, next - sides);
    }
  });
  return { positions: Float32Array.from(positions), triangles: Uint32Array.from(triangles) };
}
