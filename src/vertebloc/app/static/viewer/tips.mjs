// Which voxels a stroke touches, as outlining/strokes.py has it; painted here at once, there for
// keeps. Nothing imported, nothing drawn. A grid is {shape: [ni, nj, nk], lps: rows of lps_from_ijk}.

const TIE = 1e-6, WRAP = 4294967296;

export function halfSlice({ lps }, normal) {
  let extent = 0;
  for (let axis = 0; axis < 3; axis++) {
    extent += Math.abs(normal[0] * lps[axis] + normal[1] * lps[4 + axis] + normal[2] * lps[8 + axis]);
  }
  return extent / 2;
}

function boxOf({ shape, ijk }, points, reach) {
  const low = [0, 0, 0], high = [0, 0, 0];
  for (let axis = 0; axis < 3; axis++) {
    const row = ijk.slice(4 * axis, 4 * axis + 4), far = reach * Math.hypot(row[0], row[1], row[2]);
    const at = points.map((p) => row[0] * p[0] + row[1] * p[1] + row[2] * p[2] + row[3]);
    low[axis] = Math.max(0, Math.min(shape[axis], Math.floor(Math.min(...at) - far)));
    high[axis] = Math.max(0, Math.min(shape[axis], Math.ceil(Math.max(...at) + far) + 1));
  }
  return [low, high];
}

// Calls touch(index) for each voxel of a box whose centre, seen from `origin`, passes the test.
function scan({ shape, lps }, [low, high], origin, test, touch) {
  for (let k = low[2]; k < high[2]; k++) {
    for (let j = low[1]; j < high[1]; j++) {
      const x0 = j * lps[1] + k * lps[2] + (lps[3] - origin[0]);
      const y0 = j * lps[5] + k * lps[6] + (lps[7] - origin[1]);
      const z0 = j * lps[9] + k * lps[10] + (lps[11] - origin[2]);
      const row = shape[0] * (j + shape[1] * k);
      for (let i = low[0]; i < high[0]; i++) {
        if (test(x0 + i * lps[0], y0 + i * lps[4], z0 + i * lps[8])) touch(row + i);
      }
    }
  }
}

// The voxels under a round tip that goes straight from a to b; the slice runs through `first`.
export function alongLine(grid, { a, b, first, normal, radius }, touch) {
  const half = halfSlice(grid, normal), box = boxOf(grid, [a, b], Math.hypot(radius, half));
  const [nx, ny, nz] = normal, r2 = radius * radius + TIE;
  let [dx, dy, dz] = [b[0] - a[0], b[1] - a[1], b[2] - a[2]];
  const rise = dx * nx + dy * ny + dz * nz;
  dx -= rise * nx; dy -= rise * ny; dz -= rise * nz;
  const length2 = dx * dx + dy * dy + dz * dz;
  const lift = (a[0] - first[0]) * nx + (a[1] - first[1]) * ny + (a[2] - first[2]) * nz;
  scan(grid, box, a, (x, y, z) => {
    const height = x * nx + y * ny + z * nz;
    if (height + lift <= -half - TIE || height + lift > half - TIE) return false;
    let fx = x - height * nx, fy = y - height * ny, fz = z - height * nz;
    if (length2 > 0) {
      const share = Math.min(1, Math.max(0, (fx * dx + fy * dy + fz * dz) / length2));
      fx -= share * dx; fy -= share * dy; fz -= share * dz;
    }
    return fx * fx + fy * fy + fz * fz <= r2;
  }, touch);
  return box;
}

// The voxels of a slice within a closed loop.
export function withinLoop(grid, { points, normal }, touch) {
  const half = halfSlice(grid, normal), box = boxOf(grid, points, half), first = points[0];
  const least = normal.map(Math.abs).indexOf(Math.min(...normal.map(Math.abs)));
  const axis = [0, 0, 0];
  axis[least] = 1;
  const cross = (p, q) => [p[1] * q[2] - p[2] * q[1], p[2] * q[0] - p[0] * q[2], p[0] * q[1] - p[1] * q[0]];
  let right = cross(normal, axis);
  const long = Math.hypot(...right);
  right = right.map((value) => value / long);
  const up = cross(normal, right), [nx, ny, nz] = normal;
  const flat = (x, y, z) => [x * right[0] + y * right[1] + z * right[2], x * up[0] + y * up[1] + z * up[2]];
  const corners = points.map((p) => flat(p[0] - first[0], p[1] - first[1], p[2] - first[2]));
  scan(grid, box, first, (x, y, z) => {
    const height = x * nx + y * ny + z * nz;
    if (height <= -half - TIE || height > half - TIE) return false;
    const [u, v] = flat(x, y, z);
    let odd = false;
    for (let at = 0; at < corners.length; at++) {
      const [ax, ay] = corners[at], [bx, by] = corners[(at + 1) % corners.length];
      if (ay === by) continue;
      if ((ay > v) !== (by > v) && u < ax + (v - ay) * ((bx - ax) / (by - ay))) odd = !odd;
    }
    return odd;
  }, touch);
  return box;
}

// Outlines as bits of one byte a voxel, with a count and a sum of places for each: what the server
// reckons from its own voxels must be the same.
export class OutlineVoxels {
  constructor(grid) {
    this.grid = grid;
    this.bytes = new Uint8Array(grid.shape[0] * grid.shape[1] * grid.shape[2]);
    this.count = new Array(8).fill(0);
    this.sum = new Array(8).fill(0);
    this.boxes = new Array(8).fill(null);
  }

  // Sets or clears a bit where `paint` says; returns the box that it looked at.
  put(slot, on, paint) {
    const bit = 1 << slot, { bytes } = this;
    const box = paint((index) => {
      const had = (bytes[index] & bit) !== 0;
      if (had === on) return;
      bytes[index] ^= bit;
      this.count[slot] += on ? 1 : -1;
      this.sum[slot] = (this.sum[slot] + (on ? index : -index)) % WRAP;
    });
    this.grow(slot, ...box);
    return box;
  }

  // The box outside which a slot has no voxel.
  grow(slot, low, high) {
    if (low.some((first, axis) => first >= high[axis])) return;
    const had = this.boxes[slot];
    this.boxes[slot] = had ? [had[0].map((a, axis) => Math.min(a, low[axis])),
      had[1].map((b, axis) => Math.max(b, high[axis]))] : [[...low], [...high]];
  }

  mark(slot) {
    return `${this.count[slot]}-${(this.sum[slot] + WRAP) % WRAP}`;
  }

  // Takes voxels as the server sends them, in the place of those there were: box, then bits, i
  // fastest. Returns the box of all that may have changed.
  take(slot, start, shape, bits) {
    const bit = 1 << slot, { bytes } = this, [ni, nj] = this.grid.shape;
    const [low, high] = this.boxes[slot] || [[0, 0, 0], [0, 0, 0]];
    for (let k = low[2]; k < high[2]; k++) {
      for (let j = low[1]; j < high[1]; j++) {
        const row = ni * (j + nj * k);
        for (let index = row + low[0]; index < row + high[0]; index++) bytes[index] &= ~bit;
      }
    }
    this.count[slot] = this.sum[slot] = 0;
    let at = 0;
    for (let k = 0; k < shape[2]; k++) {
      for (let j = 0; j < shape[1]; j++) {
        const row = start[0] + ni * (start[1] + j + nj * (start[2] + k));
        for (let i = 0; i < shape[0]; i++, at++) {
          if (!((bits[at >> 3] >> (at & 7)) & 1)) continue;
          bytes[row + i] |= bit;
          this.count[slot] += 1;
          this.sum[slot] = (this.sum[slot] + row + i) % WRAP;
        }
      }
    }
    this.grow(slot, start, start.map((first, axis) => first + shape[axis]));
    const changed = this.boxes[slot] || [[0, 0, 0], [0, 0, 0]];
    this.boxes[slot] = null;
    this.grow(slot, start, start.map((first, axis) => first + shape[axis]));
    return changed;
  }
}
