// Paints the strokes of a file (named by STROKES) as the browser does, and prints count and places.
import { readFileSync } from "node:fs";

const { alongLine, OutlineVoxels, withinLoop } = await import(`file://${process.env.TIPS}`);
const found = JSON.parse(readFileSync(process.env.STROKES, "utf8")).map(({ grid, strokes, taken }) => {
  const voxels = new OutlineVoxels(grid);
  for (const { points, normal, radius, rub_out } of strokes) {
    const paint = radius
      ? (a, b) => (touch) => alongLine(grid, { a, b, first: points[0], normal, radius }, touch)
      : () => (touch) => withinLoop(grid, { points, normal }, touch);
    voxels.put(3, !rub_out, paint(points[0], points[0]));
    for (let i = 1; radius && i < points.length; i++) voxels.put(3, !rub_out, paint(points[i - 1], points[i]));
  }
  const buffer = Uint8Array.from(Buffer.from(taken, "base64")).buffer, head = new Uint32Array(buffer, 0, 6);
  const painted = voxels.mark(3);
  voxels.take(3, [...head.slice(0, 3)], [...head.slice(3)], new Uint8Array(buffer, 24));
  const again = voxels.mark(3), others = voxels.bytes.reduce((sum, byte) => sum | byte, 0);
  return { painted, again, others };
});
process.stdout.write(JSON.stringify(found));
