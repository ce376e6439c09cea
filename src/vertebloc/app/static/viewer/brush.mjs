// Brushing the arch on a slice: parts that are swept take another fate. Methods of the viewer.

import { boxOf } from "./contours.mjs";
import { add, dot, fromPicture, insideLoops, scale, sectionLoops, sub } from "./geometry.mjs";

const STEP_PX = 4; // a quick hand sends few places: none of the parts between is missed

export const brush = {
  computed: {
    canBrush() { return this.arch.length > 0 && this.marks.length > 0 && !this.isSolid; },
    isBrushing() { return this.brushing && this.canBrush; },
  },
  methods: {
    toggleBrush() {
      this.brushing = !this.brushing;
      if (this.brushing) this.centreOnArch();
      this.draw();
    },
    // The arch comes into the middle; into the slice as well, if it does not meet it yet.
    centreOnArch() {
      const view = this.view(), meshes = this.parts.filter((part) => part.kind === "arch");
      if (!meshes.length) return;
      let shown = this.archInSlice(view, this.centre);
      if (!shown.length) {
        const { positions } = meshes[0].mesh, on = [...positions.subarray(0, 3)];
        this.centre = add(this.centre, scale(view.toward, dot(sub(on, this.centre), view.toward)));
        shown = this.archInSlice(view, this.centre);
      }
      const box = boxOf(shown.flatMap(({ loops }) => loops.flat()));
      if (box) this.centre = fromPicture(view, this.centre, box.x + box.width / 2, box.y + box.height / 2);
    },
    // What the slice shows of each part: [{part, loops}], loops in mm of the picture.
    archInSlice(view, centre) {
      return this.arch.flatMap((part) => {
        const mesh = this.parts.find((one) => one.kind === "arch" && one.name === part.name)?.mesh;
        const loops = mesh ? sectionLoops(mesh, view, centre) : [];
        return loops.length ? [{ part, loops }] : [];
      });
    },
    partAt(clientX, clientY) {
      const box = this.$refs.stage.getBoundingClientRect();
      const x = (clientX - box.left - box.width / 2) * this.mmPerPixel;
      const y = (box.top + box.height / 2 - clientY) * this.mmPerPixel;
      return (this.archShown || []).find(({ loops }) => insideLoops(loops, x, y))?.part;
    },
    beginSweep(event) {
      this.swept = new Map();
      this.held = { kind: "brush", x: event.clientX, y: event.clientY };
      this.sweepTo(event);
    },
    sweepTo(event) {
      const { x, y } = this.held, dx = event.clientX - x, dy = event.clientY - y;
      const steps = Math.max(1, Math.ceil(Math.hypot(dx, dy) / STEP_PX));
      for (let i = 1; i <= steps; i++) {
        const part = this.partAt(x + (dx * i) / steps, y + (dy * i) / steps);
        // the first part says what the sweep does; all others follow it
        if (part && !this.swept.has(part.name)) {
          this.sweepGives ??= { fate: part.next, words: part.next_words };
          this.swept.set(part.name, this.sweepGives);
        }
      }
      this.held.x = event.clientX;
      this.held.y = event.clientY;
      this.draw();
    },
    endSweep(event) {
      const { swept, sweepGives } = this;
      this.sweepGives = undefined;
      if (event.type !== "pointerup" || !swept.size) this.swept = new Map();
      else this.$emit("brush", { fate: sweepGives.fate, parts: [...swept.keys()].join("|") });
      this.draw();
    },
  },
};
