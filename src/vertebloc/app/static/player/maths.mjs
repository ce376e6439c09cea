// What the player computes: meshes out of text, which side lies where, where the piece is.

const bytes = (text) => Uint8Array.from(atob(text), (c) => c.charCodeAt(0)).buffer;

// Corners are 16-bit shares of a box, so that a file stays small.
export function decodeMesh({ low, step, corners, triangles }) {
  const shares = new Uint16Array(bytes(corners)), positions = new Float32Array(shares.length);
  for (let i = 0; i < shares.length; i++) positions[i] = low[i % 3] + shares[i] * step[i % 3];
  return { positions, triangles: new Uint32Array(bytes(triangles)) };
}

const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];

// What lies at each edge of the picture. axes: right, up and toward of the picture; frame: left,
// back and head of the body; both patient LPS. Two directions where the edge lies between them.
export function edgesOf(axes, frame, words) {
  const named = [[frame.left, words.left, words.right], [frame.back, words.back, words.front],
    [frame.head, words.head, words.feet]];
  const at = (way) => named
    .map(([axis, plus, minus]) => ({ much: Math.abs(dot(axis, way)), words: dot(axis, way) > 0 ? plus : minus }))
    .filter(({ much }, _, all) => much > 0.38 && much > 0.55 * Math.max(...all.map((one) => one.much)))
    .sort((a, b) => b.much - a.much).map((one) => one.words).join(" · ");
  const back = (way) => way.map((x) => -x);
  return { right: at(axes.right), left: at(back(axes.right)), up: at(axes.up), down: at(back(axes.up)) };
}

// Two poses mixed: the turn about the piece's middle, and the middle's own way.
export function between(one, other, share) {
  return { quaternion: one.quaternion.clone().slerp(other.quaternion, share),
    position: one.position.clone().lerp(other.position, share) };
}

// The pose at a share of the way. poses: row by row (4, 4) that move patient LPS, the first the seat.
export function poseAt(poses, share, middle, THREE) {
  const place = share * (poses.length - 1), first = Math.min(Math.floor(place), poses.length - 1);
  const taken = [first, Math.min(first + 1, poses.length - 1)].map((n) => {
    const matrix = new THREE.Matrix4().set(...poses[n]);
    return { quaternion: new THREE.Quaternion().setFromRotationMatrix(matrix),
      position: middle.clone().applyMatrix4(matrix).sub(middle) };
  });
  return between(taken[0], taken[1], place - first);
}

// The kinds that are shown: by the step, and those that leave half-way through it.
export function shownAt(steps, step, share) {
  const { shows, leaves = [] } = steps[step];
  return new Set(shows.filter((kind) => !(leaves.includes(kind) && share >= 0.5)));
}
